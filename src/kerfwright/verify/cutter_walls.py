"""What is left of the wall beside each routed contour, and how far the cutter stays from it.

*Passed* is what a cutter goes along at full depth, however far it stays off within `NEAR_MM`;
*left* is where more than the tolerance of a cut still stands at full depth; *tight* is what a disc
of the cutter's radius cannot touch at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.verify.columns import BOOL, F64, I64
from kerfwright.verify.cutter_case import NEAR_MM, CutterCase
from kerfwright.verify.cutter_near import ROOM_MM
from kerfwright.verify.cutter_reach import unreachable
from kerfwright.verify.cutter_spans import both, holds, without

RESOLUTION_MM = 5e-4
_FAINT_MM = 1e-5  # a stretch that short is what rounding leaves


@dataclass(frozen=True, slots=True, kw_only=True)
class Walls:
    """Sets of stretches on the scale, and measures of K contours.

    Parameters
    ----------
    rows : ndarray of shape (K,), bool
        Contours on which anything stands at full depth; the sets below are of these alone.
    domain : ndarray of shape (N, 2), float
        All of them.
    touched, passed, left, tight : ndarray of shape (N, 2), float
        What a cutter goes along in the stock at all, at full depth; where material stands at full
        depth; what cannot be reached.
    worst, tight_worst : ndarray of shape (K,), float
        Greatest material beside what was passed, and where it cannot be reached, of the latter at
        most `ROOM_MM` [mm].
    worst_at, tight_at : ndarray of shape (K,), float
        Where on the scale; NaN for nowhere.
    """

    rows: BOOL
    domain: F64
    touched: F64
    passed: F64
    left: F64
    tight: F64
    worst: F64
    worst_at: F64
    tight_worst: F64
    tight_at: F64


def walls_of(case: CutterCase) -> Walls:
    """Measure what is left beside the routed contours."""
    routed, domain = case.routed, case.scale.domain()
    everywhere = np.arange(len(case.scale.piece))
    top, deep = np.full(len(routed.radius), case.face_z), routed.deep_z
    fine = np.full(len(everywhere), RESOLUTION_MM)
    stands = without(domain, case.swept(deep, fine, everywhere, loose=False))
    # Only contours on which anything stands are looked at more closely.
    rows = case.scale.row_lengths(stands) > 0.0
    touched, passed = passed_at(case, top, rows), passed_at(case, deep, rows)
    left = left_at(case, deep, rows)
    tight = unreachable(case.wanted.shape, case.scale, routed, case.tolerances.sum_mm)
    rough = without(both(stands, passed), tight)
    worst, worst_at = _greatest(case, rough, RESOLUTION_MM, np.full(len(deep), NEAR_MM))
    corners = both(left, tight)
    # Ways are known as far off as they belong to a contour.
    most = np.full(len(deep), ROOM_MM)
    tight_worst, tight_at = _greatest(case, corners, case.tolerances.cut_mm, most)
    return Walls(
        rows=rows,
        domain=case.scale.domain(np.flatnonzero(rows[case.scale.row])),
        touched=touched,
        passed=passed,
        left=left,
        tight=tight,
        worst=worst,
        worst_at=worst_at,
        tight_worst=tight_worst,
        tight_at=tight_at,
    )


def passed_at(case: CutterCase, limit_z: F64, rows: BOOL) -> F64:
    """Return what of some contours cutters go along with the tip at or below a height each."""
    pieces = np.flatnonzero(rows[case.scale.row])
    return case.swept(limit_z, np.full(len(pieces), NEAR_MM), pieces, loose=True)


def left_at(case: CutterCase, limit_z: F64, rows: BOOL) -> F64:
    """Return where on some contours more than the tolerance stands at a height of the tip each."""
    pieces = np.flatnonzero(rows[case.scale.row])
    slack = np.full(len(pieces), case.tolerances.cut_mm)
    return without(case.scale.domain(pieces), case.swept(limit_z, slack, pieces, loose=False))


def _greatest(case: CutterCase, where: F64, least: float, most: F64) -> tuple[F64, F64]:
    """Return the greatest material at full depth inside a set per contour, and where it stands.

    Halved between a least and a greatest value per piece until known within the resolution.
    """
    rows = len(case.routed.radius)
    worst, at = np.zeros(rows), np.full(rows, np.nan)
    owner = case.scale.find((where[:, 0] + where[:, 1]) / 2.0)
    picked = np.unique(case.scale.find(_cut_up(case, where)[:, 0])) if len(where) else owner
    if not len(picked):
        return worst, at
    low = np.full(len(picked), least)
    high = most[case.scale.row[picked]]
    place = np.full(len(picked), np.nan)
    inside = _cut_up(case, where)
    _note(case, picked, inside, np.ones(len(picked), bool), place)
    while (high - low).max() > RESOLUTION_MM:
        middle = (low + high) / 2.0
        swept = case.swept(case.routed.deep_z, middle, picked, loose=False)
        stands = _cut_up(case, without(where, swept))
        more = _has(case, picked, stands)
        _note(case, picked, stands, more, place)
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    row = case.scale.row[picked]
    order = np.argsort(high, kind="stable")
    worst[row[order]], at[row[order]] = high[order], place[order]
    return worst, at


def _cut_up(case: CutterCase, spans: F64) -> F64:
    """Return a set cut at the ends of pieces, faint stretches left out."""
    scale = case.scale
    one, two = scale.find(spans[:, 0]), scale.find(np.maximum(spans[:, 1] - _FAINT_MM, spans[:, 0]))
    count = two - one + 1
    of = np.repeat(np.arange(len(spans)), count)
    piece = np.repeat(one, count) + np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    low = np.maximum(spans[of, 0], scale.base[piece])
    high = np.minimum(spans[of, 1], (scale.base + scale.length)[piece])
    keep = high - low > _FAINT_MM
    out: F64 = np.column_stack((low, high))[keep]
    return out


def _has(case: CutterCase, picked: I64, spans: F64) -> BOOL:
    has: BOOL = np.isin(picked, case.scale.find(spans[:, 0]))
    return has


def _note(case: CutterCase, picked: I64, spans: F64, wanted: BOOL, place: F64) -> None:
    """Note the middle of the longest stretch on each piece that is wanted."""
    piece = case.scale.find(spans[:, 0])
    order = np.argsort(spans[:, 1] - spans[:, 0], kind="stable")
    middle = np.full(len(case.scale.piece), np.nan)
    middle[piece[order]] = spans[order].mean(axis=1)
    place[wanted] = middle[picked[wanted]]


def longest(case: CutterCase, spans: F64) -> F64:
    """Return the middle of the longest stretch of a set per contour; NaN for none."""
    out = np.full(len(case.routed.radius), np.nan)
    row, ends = case.scale.holes(spans)
    order = np.argsort(ends[:, 1] - ends[:, 0], kind="stable")
    middle = case.scale.wrap(ends.mean(axis=1), row)
    out[row[order]] = middle[order]
    return out


def meets(one: F64, spans: F64) -> BOOL:
    """Return which stretches have more than a faint part in common with a set.

    Stretches over a seam are looked at up to it.
    """
    points = np.sort(np.concatenate((spans.ravel(), [np.inf])))
    out = np.zeros(len(one), bool)
    for i, (low, high) in enumerate(one.tolist()):
        inner = points[np.searchsorted(points, low) : np.searchsorted(points, high)]
        cuts = np.concatenate(([low], inner, [high]))
        middle, size = (cuts[1:] + cuts[:-1]) / 2.0, np.diff(cuts)
        out[i] = bool((holds(spans, middle) & (size > _FAINT_MM)).any())
    return out
