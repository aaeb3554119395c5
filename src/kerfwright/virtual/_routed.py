"""The wall a cutter leaves along a contour: where it is against where it should be."""

from __future__ import annotations

from math import inf

import numpy as np

from kerfwright.geometry.distance import nearest_on_paths
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.virtual._following import Face
from kerfwright.virtual._lines import Line, Matched, densified, small_rigid_step
from kerfwright.virtual._owning import owners
from kerfwright.virtual.cutting import CutTrace
from kerfwright.virtual.truth import Truth

_COARSE_MM = 0.5
_FITS = 8
_STILL_MM = 1e-6


def told_apart(
    trace: CutTrace, truth: Truth, contours: PathSet, middle: BOOL, reach_mm: float
) -> tuple[CutTrace, CutTrace]:
    """Return what is measured where it goes, and the ways of cutters whose wall is measured."""
    is_way = trace.half_mm > 0.0
    if is_way.any() and middle.any():
        followed = np.flatnonzero(is_way)
        owner, _ = owners(trace.select(followed), truth, contours.select(middle), reach_mm)
        is_way = is_way.copy()
        is_way[followed[owner >= 0]] = False
    return trace.select(~is_way), trace.select(is_way)


def wall(line: Line, ways: CutTrace, reach_mm: float) -> Matched | None:
    """Return the wall opposite to every place of a contour, None where no cutter comes near.

    A cutter sweeps a disc, so the wall lies its radius away from its way. Where the way is
    farther off than that by more than `reach_mm` nothing was cut. Ways through the bottom face
    count before those that end inside the stock.
    """
    for face in (Face.BOTTOM, Face.TOP, Face.TIP):
        found = _opposite(line, ways.select(ways.face == face), reach_mm)
        if found is not None:
            return found
    return None


def _opposite(line: Line, ways: CutTrace, reach_mm: float) -> Matched | None:
    if not len(ways.pieces):
        return None
    best, foot = np.full(len(line.points), -inf), np.zeros_like(line.points)
    half = np.zeros(len(line.points))
    for size in np.unique(ways.half_mm).tolist():
        near = nearest_on_paths(ways.pieces.select(ways.half_mm == size), line.points)
        beyond = size - near.distance_mm
        better = beyond > best
        best[better], foot[better], half[better] = beyond[better], near.foot[better], size
    is_cut = best >= -reach_mm
    if not is_cut.any():
        return None
    points, weight = line.points[is_cut], line.weights()
    away = points - foot[is_cut]
    size = np.hypot(away[:, 0], away[:, 1])
    across = away / np.maximum(size, 1e-300)[:, None]
    return Matched(
        cut=foot[is_cut] + half[is_cut, None] * across,
        foot=points,
        across=across,
        weight=weight[is_cut],
        from_cut_mm=np.abs(best[is_cut]),
        line_rows=np.flatnonzero(is_cut),
        from_line_mm=np.abs(best[is_cut]),
        uncut_mm=float(weight[~is_cut].sum()),
    )


def wall_size(line: Line, ways: CutTrace, reach_mm: float) -> float:
    """Return the worst deviation from the true shape, moved rigidly to fit the wall best [mm]."""
    m = wall(line, ways, reach_mm)
    for _ in range(_FITS):
        if m is None:
            return inf
        linear, shift = small_rigid_step(m)
        points = line.points @ linear.T + shift
        if np.abs(points - line.points).max() < _STILL_MM:
            break
        line = line.moved_to(points)
        m = wall(line, ways, reach_mm)
    return inf if m is None else float(m.from_line_mm.max())


def stray_ways_mm(every: Line, ways: CutTrace, reach_mm: float) -> float:
    """Return the length of strokes of cutters that come near no contour [mm]."""
    points, weight, piece = densified(ways.pieces, _COARSE_MM)
    beyond = every.nearest(points).distance_mm - ways.half_mm[piece]
    stroke = np.unique(ways.stroke, return_inverse=True)[1].astype(np.int64)
    return _of_strokes(stroke[piece], weight, beyond > reach_mm)


def _of_strokes(stroke: I64, weight: F64, is_far: BOOL) -> float:
    near = np.bincount(stroke, weights=~is_far)
    length = np.bincount(stroke, weights=weight)
    return float(length[near == 0].sum())
