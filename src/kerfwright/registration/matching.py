"""Marks as seen and as they should be -> which is which, and how the sheet roughly lies."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import Severity, UsageError
from kerfwright.geometry._checks import points_of
from kerfwright.geometry.record import F64
from kerfwright.model.marks import MarkMatch
from kerfwright.registration.matching_choice import LEAST_LEAD, Case, Tried, chosen, of_any_scale
from kerfwright.registration.matching_refit import is_line, refined
from kerfwright.registration.matching_words import match_words, said

SCALE_LIMIT = 0.006
"""Growth a print may have without anybody asking; more was done on purpose or by a driver."""
MOST_MARKS = 400
_LEAST_VOTES_WIDE = 4
_BY_CHANCE = 0.05
"""Placements as good that marks strewn at random would give; above this a match means nothing."""
_FEW_FOUND = 4
_SHEARED = 3.0


def match_marks(
    found_xy_mm: ArrayLike,
    nominal_xy_mm: ArrayLike,
    *,
    tolerance_mm: float,
    found_cov_mm2: ArrayLike | None = None,
    scale_limit: float = SCALE_LIMIT,
    may_be_mirrored: bool = False,
    turn_rad: float | None = None,
    turn_limit_rad: float | None = None,
) -> MarkMatch:
    """Return which found mark is which nominal one, whatever the turn of the sheet.

    Every placement that a pair of marks suggests is tried, so the answer does not depend on
    chance. It counts as certain when it explains at least two marks more than any placement that
    has the sheet elsewhere. Marks missing and marks that are none do no harm as long as that holds.

    Parameters
    ----------
    found_xy_mm : array_like of shape (M, 2)
        Marks seen, table frame; at most 400 [mm].
    nominal_xy_mm : array_like of shape (N, 2)
        Marks as they should be, sheet frame; at most 400 [mm].
    tolerance_mm : float
        How far a mark may lie from where a rigid sheet would have it: bow, skew and growth within
        the limit included [mm].
    found_cov_mm2 : array_like of shape (M, 2, 2), optional
        Covariance of the marks seen [mm2].
    scale_limit : float, default 0.006
        Growth up to which a scale needs no word [1].
    may_be_mirrored : bool, default False
        Whether the sheet may lie face down.
    turn_rad : float, optional
        How the sheet should be turned; of placements that explain as many marks, one within 45
        degrees of it is taken, and a turn by more is said [rad].
    turn_limit_rad : float, optional
        Largest turn away from `turn_rad` that the throw allows. Placements beyond it no longer
        make a match ambiguous; they are taken only where they explain two marks more [rad].

    Returns
    -------
    MarkMatch
        Pairs with an affine map by least squares, a similarity where there are two or all lie on a
        line. Without pairs where nothing fits; findings say what is wrong in words.

    Raises
    ------
    UsageError
        If a number is out of its range, or there are too many marks.
    GeometryError
        If a place is not finite or of another shape.
    """
    case = _case(found_xy_mm, nominal_xy_mm, found_cov_mm2, tolerance_mm, scale_limit,
                 may_be_mirrored=may_be_mirrored, turn_rad=turn_rad,
                 turn_limit_rad=turn_limit_rad)  # fmt: skip
    if min(len(case.found), len(case.nominal)) < 2:
        few = min(len(case.found), len(case.nominal))
        return _nothing("LOK-125", measured=float(few), limit=2.0)
    best = chosen(case)
    if not best.is_certain and (best.votes <= 2 or best.by_chance(case) > _BY_CHANCE):
        wide = of_any_scale(case)
        if wide.is_certain and wide.votes >= _LEAST_VOTES_WIDE:
            best = wide if wide.by_chance(case) <= _BY_CHANCE else best
    if _is_nothing(best, case):
        return _nothing("LOK-120", count=len(case.found))
    return _match(best, case)


def _case(
    found_xy_mm: ArrayLike,
    nominal_xy_mm: ArrayLike,
    found_cov_mm2: ArrayLike | None,
    tolerance_mm: float,
    scale_limit: float,
    *,
    may_be_mirrored: bool,
    turn_rad: float | None,
    turn_limit_rad: float | None,
) -> Case:
    found, nominal = _points(found_xy_mm), _points(nominal_xy_mm)
    if not (np.isfinite(tolerance_mm) and tolerance_mm > 0.0):
        raise UsageError(f"tolerance_mm is {tolerance_mm}, must be above 0")
    if not 0.0 <= scale_limit < 0.5:
        raise UsageError(f"scale_limit is {scale_limit}, must be from 0 to below 0.5")
    if turn_limit_rad is not None and (turn_rad is None or not turn_limit_rad > 0.0):
        raise UsageError(
            f"turn_limit_rad is {turn_limit_rad}; it must be above 0 and needs turn_rad"
        )
    if max(len(found), len(nominal)) > MOST_MARKS:
        raise UsageError(
            f"{len(found)} marks were seen and {len(nominal)} are nominal, most are {MOST_MARKS}; "
            "look at fewer places"
        )
    cov = None if found_cov_mm2 is None else np.asarray(found_cov_mm2, dtype=np.float64)
    if cov is not None and (cov.shape != (len(found), 2, 2) or not np.isfinite(cov).all()):
        raise UsageError(
            f"found_cov_mm2 has shape {cov.shape}; give {len(found)} finite 2 x 2 matrices"
        )
    return Case(
        found=found,
        nominal=nominal,
        cov=cov,
        tolerance_mm=float(tolerance_mm),
        scale_limit=scale_limit,
        may_be_mirrored=may_be_mirrored,
        turn_rad=turn_rad,
        turn_limit_rad=turn_limit_rad,
    )


def _points(given: ArrayLike) -> F64:
    return points_of(given) if np.size(given) else np.zeros((0, 2))


def _is_nothing(best: Tried, case: Case) -> bool:
    """Return whether what fits is no more than chance."""
    if best.votes < 2:
        return True
    if best.is_certain or len(case.found) < _FEW_FOUND:
        return False
    return (best.votes > 2 and best.by_chance(case) > 1.0) or _many_fit_two(best, case)


def _many_fit_two(best: Tried, case: Case) -> bool:
    """Return whether many marks were seen and yet no three of them fit."""
    return best.votes == 2 and len(case.found) > _FEW_FOUND


def _match(best: Tried, case: Case) -> MarkMatch:
    pairs, affine = refined(case.found, case.nominal, best.linear(), case.cov, case.tolerance_mm)
    if len(pairs) < 2:
        return _nothing("LOK-120", count=len(case.found))
    on_a_line = is_line(case.nominal[pairs[:, 1]])
    rival, votes = best.rival_votes, len(pairs)
    sheared = len(pairs) == 3 and not on_a_line and _shear(affine) > _SHEARED * case.scale_limit
    ambiguous = votes - rival < LEAST_LEAD or sheared
    findings = match_words(
        affine,
        votes=votes,
        needed=max(rival + LEAST_LEAD, votes + 1 if sheared else 0),
        wanted=len(case.nominal),
        scale_limit=case.scale_limit,
        mirrored=best.mirrored,
        may_be_mirrored=case.may_be_mirrored,
        ambiguous=ambiguous,
        on_a_line=on_a_line,
        turn_rad=case.turn_rad,
    )
    return MarkMatch(
        pairs=pairs,
        is_ambiguous=ambiguous,
        mirrored=best.mirrored,
        table_from_sheet=affine,
        votes=votes,
        rival_votes=rival,
        scale=(float(np.hypot(*affine[:, 0])), float(np.hypot(*affine[:, 1]))),
        findings=tuple(findings),
    )


def _shear(affine: F64) -> float:
    """Return by how much a map stretches one direction more than another, as a share."""
    sizes = np.linalg.svd(affine[:, :2], compute_uv=False)
    return float(sizes[0] / sizes[1] - 1.0)


def _nothing(
    code: str, measured: float | None = None, limit: float | None = None, **params: int
) -> MarkMatch:
    """Return a match without pairs; its map is the identity and means nothing."""
    return MarkMatch(
        pairs=np.zeros((0, 2), np.int64),
        is_ambiguous=True,
        table_from_sheet=np.eye(2, 3),
        votes=0,
        rival_votes=0,
        findings=(said(code, Severity.BLOCKS, measured, limit, "", **params),),
    )
