"""Which placement to go on with: of either hand, near the turn it should have, or of any scale."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from scipy.stats import binom

from kerfwright.geometry.record import F64, I64
from kerfwright.registration.matching_words import TURNED_RAD
from kerfwright.registration.votes import TRIED, VOTES, A, B, X, Y, best_placement

LEAST_LEAD = 2
"""Marks by which a placement must lead those elsewhere to be certain."""
APART_MM = 20.0
"""Placements nearer than this to one another at every mark are the same one."""
WIDE = (0.45, 2.2)
"""Scales tried when no placement of usual scale explains what is seen."""
_WIDE_MAKERS = 14  # nominal marks whose pairs suggest placements of any scale


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What was asked."""

    found: F64
    nominal: F64
    cov: F64 | None
    tolerance_mm: float
    scale_limit: float
    may_be_mirrored: bool
    turn_rad: float | None
    turn_limit_rad: float | None

    @property
    def scales(self) -> tuple[float, float]:
        """Least and greatest usual scale."""
        return 1.0 - self.scale_limit, 1.0 + self.scale_limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """The best placement, and how many marks the best one elsewhere explains."""

    best: F64
    rival_votes: int
    mirrored: bool

    @property
    def votes(self) -> int:
        """How many marks it explains."""
        return int(self.best[VOTES])

    @property
    def is_certain(self) -> bool:
        """Whether it leads every placement elsewhere by two marks."""
        return self.votes - self.rival_votes >= LEAST_LEAD

    def linear(self) -> F64:
        """Return the affine map of the placement, (2, 3)."""
        a, b, x, y = self.best[[A, B, X, Y]].tolist()
        hand = -1.0 if self.mirrored else 1.0
        return np.array(((hand * a, -b, x), (hand * b, a, y)))

    def by_chance(self, case: Case) -> float:
        """Return how many placements as good marks strewn over the same box would give."""
        box = np.ptp(case.found, axis=0) + 2.0 * case.tolerance_mm
        hit = len(case.found) * pi * case.tolerance_mm**2 / float(np.prod(box))
        rest = len(case.nominal) - 2
        return float(self.best[TRIED]) * float(binom.sf(self.votes - 3, rest, min(hit, 1.0)))


def _best(
    case: Case,
    scales: tuple[float, float],
    turn: tuple[float, float],
    *,
    mirrored: bool,
    other: F64 | None = None,
) -> F64:
    """Return the best placement of one hand, apart from another one where that is given."""
    many = len(case.nominal)
    makers = many if scales == case.scales else min(many, _WIDE_MAKERS)
    nominal = case.nominal if makers == many else case.nominal[_spread_out(case.nominal)]
    return best_placement(
        case.found,
        nominal * (-1.0, 1.0) if mirrored else nominal,
        case.tolerance_mm,
        *scales,
        np.array(turn),
        np.zeros(7) if other is None else other,
        -1.0 if other is None else APART_MM,
        makers,
    )


def _spread_out(xy: F64) -> I64:
    """Return the order of points in which each lies farthest from those before it."""
    order = [int(np.hypot(*(xy - xy.mean(axis=0)).T).argmax())]
    away = np.full(len(xy), np.inf)
    for _ in range(len(xy) - 1):
        away = np.minimum(away, np.hypot(*(xy - xy[order[-1]]).T))
        away[order] = -1.0
        order.append(int(away.argmax()))
    return np.array(order)


def of_any_scale(case: Case) -> Tried:
    """Return the best placement from half to twice the size, not mirrored."""
    best = _best(case, WIDE, (0.0, pi), mirrored=False)
    rival = _best(case, WIDE, (0.0, pi), mirrored=False, other=best)
    return Tried(best=best, rival_votes=int(rival[VOTES]), mirrored=False)


def chosen(case: Case) -> Tried:
    """Return the placement of usual scale to go on with, with its strongest rival.

    A mirrored one is taken where it may be, or where it explains two marks more: then the print
    is mirrored, and that is said.
    """
    anywhere = _of_both_hands(case, (0.0, pi))
    if case.turn_rad is None:
        return anywhere
    if case.turn_limit_rad is not None:
        near = _of_both_hands(case, (case.turn_rad, min(case.turn_limit_rad, pi)))
        if near.mirrored and not (case.may_be_mirrored or anywhere.mirrored):
            return anywhere  # marks on one line: turned by half it is as good
        enough = near.votes >= 2 and anywhere.votes - near.votes < LEAST_LEAD
        return near if enough else anywhere
    near = _of_both_hands(case, (case.turn_rad, TURNED_RAD))
    if near.votes < max(anywhere.votes, 2) or near.mirrored != anywhere.mirrored:
        return anywhere
    same = np.array_equal(near.best[:TRIED], anywhere.best[:TRIED])
    rival = anywhere.rival_votes if same else anywhere.votes
    return Tried(best=near.best, rival_votes=rival, mirrored=near.mirrored)


def _of_both_hands(case: Case, turn: tuple[float, float]) -> Tried:
    hands = [_best(case, case.scales, turn, mirrored=m) for m in (False, True)]
    lead = 1 if case.may_be_mirrored else LEAST_LEAD
    mirrored = bool(hands[1][VOTES] - hands[0][VOTES] >= lead)
    best, second = hands[int(mirrored)], hands[int(not mirrored)]
    rival = _best(case, case.scales, turn, mirrored=mirrored, other=best)
    counts = case.may_be_mirrored or mirrored
    votes = max(int(rival[VOTES]), int(second[VOTES]) if counts else 0)
    return Tried(best=best, rival_votes=votes, mirrored=mirrored)
