"""Fit and error budget -> the chance that each contour lands inside its tolerance.

Deviation is the whole distance between a place of the contour and where it is cut, so a corner
counts with its full displacement. It is the sum of what the marks leave open of the map, drawn from
the fit's mixture for the whole contour at once, and of the budget, which shifts a contour as a
whole. So the chance is that of the greatest deviation of all its places, not of each place alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from kerfwright.errors import UsageError
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.fit import SheetFit
from kerfwright.model.verdict import ErrorBudget, PlacedLines, Verdict, VerdictState
from kerfwright.registration.verdict_draws import DRAWS, Draws, deviations, draw_sheets
from kerfwright.registration.verdict_places import Places, places_of
from kerfwright.registration.verdict_reasons import print_terms, reason_of, size_terms

WILL_CUT, CHECK = 0.99, 0.5
"""Chances from which a contour is cut, and may be let through."""
_BOUND = 0.95
_BLOCK = 512  # places looked at together: stays in a processor's cache
_NO_JUDGE = "these marks leave nothing to judge it by: look at more"
_OUTSIDE = "it reaches outside the part of the sheet that was fitted: fit the whole sheet"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chances:
    """Of K contours, one tolerance: chance, median, 95 % bound, worst place, main cause."""

    kind: Literal["print", "size"]
    chance: F64
    expected_mm: F64
    bound_mm: F64
    worst: F64
    term: list[str]


def verdict(
    fit: SheetFit,
    budget: ErrorBudget,
    parts: PlacedLines,
    *,
    will_cut: float = WILL_CUT,
    check: float = CHECK,
    seed: int = 0,
) -> tuple[Verdict, ...]:
    """Return a verdict for every contour of a sheet.

    Parameters
    ----------
    fit : SheetFit
        How the sheet lies and what is not known of it.
    budget : ErrorBudget
        Errors the marks cannot show.
    parts : PlacedLines
        K contours on the nominal sheet with their tolerances.
    will_cut, check : float
        Chances from which a contour is cut, and from which it may be let through, rules of the
        job.
    seed : int, default 0
        Seed of the draws; chances are good to about 0.0015 at 0.99.

    Returns
    -------
    tuple of Verdict
        One per contour, in order. A contour that keeps its size is judged twice, against the
        print and against its shape, and the lower chance counts. It needs a person when the marks
        leave nothing to judge the fit by, or when it lies outside the fitted part of the sheet.

    Raises
    ------
    UsageError
        If the budget does not say how far a head in use strays, or the thresholds are not in
        order.
    """
    if not 0.0 < check <= will_cut <= 1.0:
        raise UsageError(f"thresholds {check} and {will_cut} must rise between 0 and 1")
    missing = sorted(set(parts.head) - set(budget.motion_sd_mm))
    if missing:
        raise UsageError(f"the error budget has no motion_sd_mm for head {', '.join(missing)}")
    if not len(parts.paths):
        return ()
    outside = _outside(parts, fit)
    to_print = _print_chances(fit, budget, parts, seed)
    to_size = _size_chances(budget, parts, to_print)
    keeps = np.array([word == "size" for word in parts.fidelity])
    by_size = keeps & (to_size.chance < to_print.chance)
    return tuple(
        _verdict(
            k,
            to_size if by_size[k] else to_print,
            parts,
            (will_cut, check),
            _OUTSIDE if outside[k] else _NO_JUDGE if fit.spare == 0 else "",
        )
        for k in range(len(parts.contours))
    )


def _outside(parts: PlacedLines, fit: SheetFit) -> BOOL:
    """Return which contours leave the domain of the fit by more than rounding."""
    box, d = parts.paths.bounds_mm(), np.array(fit.domain)
    grain = 1e-6 * (d[2:] - d[:2]).max()
    low, high = box[:, :2] < d[:2] - grain, box[:, 2:] > d[2:] + grain
    return np.asarray((low | high).any(axis=1), dtype=np.bool_)


def _print_chances(fit: SheetFit, budget: ErrorBudget, parts: PlacedLines, seed: int) -> _Chances:
    """Judge every contour by where it is cut against where it is printed."""
    d = fit.domain
    places = places_of(parts.paths, max(d[2] - d[0], d[3] - d[1]))
    cut = _cut_places(places, fit, parts)
    draws = draw_sheets(fit, seed)
    moves = {head: _moved(budget, head, draws) for head in set(parts.head)}
    count = len(parts.contours)
    chance, middle, bound = np.zeros(count), np.zeros(count), np.zeros(count)
    worst = np.zeros(count, np.int64)
    for rows, low, high in _blocks(places, parts):
        some = Places(xy=places.xy[rows], path=places.path[rows])
        found = deviations(fit, some, cut[rows], draws, moves[parts.head[low]])
        limit = parts.print_mm[low:high, None]
        chance[low:high] = (found.greatest <= limit).mean(axis=1)
        ranks = (DRAWS // 2, round(_BOUND * DRAWS))
        ordered = np.partition(found.greatest, ranks, axis=1)
        middle[low:high], bound[low:high] = ordered[:, ranks[0]], ordered[:, ranks[1]]
        worst[low:high] = found.worst + rows.start
    terms = print_terms(fit, budget, parts.head, places.xy[worst], cut[worst])
    return _Chances(
        kind="print",
        chance=chance,
        expected_mm=middle,
        bound_mm=bound,
        worst=places.xy[worst],
        term=_largest(terms),
    )


def _size_chances(budget: ErrorBudget, parts: PlacedLines, to_print: _Chances) -> _Chances:
    """Judge every contour by where it is cut against its shape: a plane normal error."""
    sd = np.sqrt([budget.size_variance_mm2(head) for head in parts.head])
    with np.errstate(divide="ignore"):
        chance = -np.expm1(-0.5 * (parts.size_mm / sd) ** 2)
    return _Chances(
        kind="size",
        chance=chance,
        expected_mm=sd * np.sqrt(2.0 * np.log(2.0)),
        bound_mm=sd * np.sqrt(-2.0 * np.log1p(-_BOUND)),
        worst=to_print.worst,
        term=_largest(size_terms(budget, parts.head)),
    )


def _cut_places(places: Places, fit: SheetFit, parts: PlacedLines) -> F64:
    """Return where each place is cut: along the mean map, or with its part as one piece."""
    keeps = np.array([word == "size" for word in parts.fidelity])[places.path]
    rigid = parts.rigid[parts.part[places.path]]
    moved = np.einsum("pij,pj->pi", rigid[:, :, :2], places.xy) + rigid[:, :, 2]
    return np.where(keeps[:, None], moved, fit.map(places.xy))


def _moved(budget: ErrorBudget, head: str, draws: Draws) -> F64:
    """Return how far head and gantry put a cut off in each draw, shape (S, 2) [mm]."""
    value, vector = np.linalg.eigh(budget.head_cov_mm2)
    rest = budget.print_covariance_mm2(head) - budget.head_cov_mm2
    at_head = (draws.head * np.sqrt(np.maximum(value, 0.0))) @ vector.T
    return np.asarray(at_head + np.sqrt(rest[0, 0]) * draws.own, dtype=np.float64)


def _blocks(places: Places, parts: PlacedLines) -> Iterator[tuple[slice, int, int]]:
    """Yield rows of places and the run of contours they belong to, of one head each."""
    count = len(parts.contours)
    ends: I64 = np.searchsorted(places.path, np.arange(count + 1))
    low = 0
    while low < count:
        high = low + 1
        while (
            high < count
            and parts.head[high] == parts.head[low]
            and ends[high + 1] - ends[low] <= _BLOCK
        ):
            high += 1
        yield places.rows(low, high), low, high
        low = high


def _largest(terms: dict[str, F64]) -> list[str]:
    names = list(terms)
    return [names[i] for i in np.stack(list(terms.values())).argmax(axis=0).tolist()]


def _verdict(
    k: int, found: _Chances, parts: PlacedLines, thresholds: tuple[float, float], doubt: str
) -> Verdict:
    limit = parts.print_mm if found.kind == "print" else parts.size_mm
    chance, bound = float(found.chance[k]), float(found.bound_mm[k])
    return Verdict(
        contour=parts.contours[k],
        state=VerdictState.NEEDS_YOU if doubt else _state(chance, thresholds),
        p_in_tolerance=0.0 if doubt == _OUTSIDE else chance,
        worst_xy=found.worst[k],
        limit_mm=float(limit[k]),
        reason=reason_of(
            found.kind, chance, bound, float(limit[k]), found.worst[k], found.term[k], doubt
        ),
        kind=found.kind,
        expected_mm=float(found.expected_mm[k]),
        bound_mm=bound,
        part=int(parts.part[k]),
    )


def _state(chance: float, thresholds: tuple[float, float]) -> VerdictState:
    will_cut, check = thresholds
    if chance >= will_cut:
        return VerdictState.WILL_CUT
    return VerdictState.CHECK if chance >= check else VerdictState.WILL_NOT_CUT
