"""Who bites whom: how far cutters reach into parts, how far they stray from lines they run on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.verify.columns import BOOL, F64, I64, ROW, X0, Y0
from kerfwright.verify.cutter_case import CutterCase, known_ways
from kerfwright.verify.cutter_gouge import RESOLUTION_MM, farthest, gouges
from kerfwright.verify.nesting import holds_points


@dataclass(frozen=True, slots=True, kw_only=True)
class Bites:
    """Measures of K contours.

    Parameters
    ----------
    own, other, off : ndarray of shape (K,), float
        Greatest reach into the part by cuts of the contour itself and by cuts of others; greatest
        distance of the axis from a contour it should run on [mm].
    own_xy, other_xy, off_xy : ndarray of shape (K, 2), float
        Where the axis is then [mm].
    other_row : ndarray of shape (K,), int
        Contour whose cut bites into this one, -1 for none or for a cut of no contour.
    """

    own: F64
    other: F64
    off: F64
    own_xy: F64
    other_xy: F64
    off_xy: F64
    other_row: I64


def bites_of(case: CutterCase) -> Bites:
    """Measure how far cutters reach into parts."""
    meetings, routed = case.meetings, case.routed
    known = known_ways(case.ways, meetings.way)
    has_part = routed.part_side[meetings.row] != 0
    own = np.flatnonzero(known & has_part & meetings.shares)
    depth, at = _gouges(case, own)
    worst, worst_xy, _ = _worst(case, meetings.row[own], depth, at, own)
    foreign = np.flatnonzero(known & has_part & ~meetings.shares)
    foreign = foreign[~_belongs_there(case, foreign, every=False)]
    depth, at = _gouges(case, foreign)
    bad = np.flatnonzero(depth > case.tolerances.cut_mm)
    bad = bad[~_belongs_there(case, foreign[bad], every=True)]
    other, other_xy, index = _worst(
        case, meetings.row[foreign[bad]], depth[bad], at[bad], foreign[bad]
    )
    culprit = (
        np.where(index >= 0, meetings.row_of[meetings.way[np.maximum(index, 0)]], -1)
        if len(meetings.way)
        else index
    )
    line = np.flatnonzero(routed.is_on[meetings.row] & meetings.shares)
    off, off_xy = _farthest(case, line)
    off, off_xy, _ = _worst(case, meetings.row[line], off, off_xy, line)
    return Bites(
        own=worst,
        other=other,
        off=off,
        own_xy=worst_xy,
        other_xy=other_xy,
        off_xy=off_xy,
        other_row=culprit,
    )


def _gouges(case: CutterCase, index: I64) -> tuple[F64, F64]:
    way, row, first, near = _picked(case, index)
    return gouges(
        case.wanted.shape,
        way,
        row,
        first,
        near,
        *case.cutters(),
        case.routed.part_side,
        case.meetings.signed[index],
        case.routed.reach[row],
        case.design.top_z_mm,
        0.0,
    )


def _farthest(case: CutterCase, index: I64) -> tuple[F64, F64]:
    way, row, first, near = _picked(case, index)
    most = case.routed.reach[row]
    return farthest(case.wanted.shape, way, first, near, case.ways.pieces, most, RESOLUTION_MM)


def _picked(case: CutterCase, index: I64) -> tuple[I64, I64, I64, I64]:
    """Return way, row and pieces of some meetings."""
    meetings = case.meetings
    count = (meetings.first[1:] - meetings.first[:-1])[index]
    first = np.concatenate(([0], np.cumsum(count)))
    entry = np.repeat(meetings.first[index] - first[:-1], count) + np.arange(first[-1])
    return meetings.way[index], meetings.row[index], first, meetings.near[entry]


def _belongs_there(case: CutterCase, index: I64, *, every: bool) -> BOOL:
    """Return which ways belong to a contour that lies over the part of the one they are near.

    A hole in a part, or another hole beside it, is cut where the part is: that is wanted, and what
    it does wrong is seen on itself. One vertex of such a contour is looked at, or `every` one.
    """
    meetings, links = case.meetings, case.wanted.shape.links
    rows = max(len(case.routed.radius), 1)
    one, two = meetings.row_of[meetings.way[index]], meetings.row[index]
    pair, back = np.unique(one * rows + two, return_inverse=True)
    # A way of no contour makes a negative pair; it belongs nowhere.
    valid = np.flatnonzero(pair >= 0)
    j, k = pair[valid] // rows, pair[valid] % rows
    begins = np.searchsorted(links[:, ROW], np.arange(rows + 1))
    count = begins[j + 1] - begins[j] if every else np.ones(len(j), np.int64)
    of = np.repeat(np.arange(len(j)), count)
    number = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    xy = case.wanted.shape.pieces[begins[j[of]] + number][:, X0 : Y0 + 1]
    inside = holds_points(case.wanted.shape, k[of], xy)
    over_part = inside == _protects_inside(case)[k[of]]
    out = np.zeros(len(pair), bool)
    out[valid[of[over_part]]] = True
    return out[back]


def _protects_inside(case: CutterCase) -> BOOL:
    sides = [case.design.operations[o].side == "outside" for o in case.design.operation.tolist()]
    return np.array(sides, bool)


def _worst(case: CutterCase, row: I64, value: F64, xy: F64, index: I64) -> tuple[F64, F64, I64]:
    """Return the greatest value per contour, where it is, and the entry it is of, -1 for none."""
    rows = len(case.routed.radius)
    worst, at, of = np.zeros(rows), np.zeros((rows, 2)), np.full(rows, -1, np.int64)
    order = np.argsort(value, kind="stable")
    order = order[value[order] > 0.0]
    worst[row[order]], at[row[order]], of[row[order]] = value[order], xy[order], index[order]
    return worst, at, of
