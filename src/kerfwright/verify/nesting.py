"""Which side of a contour is the part: closed through cuts, nested; even depth, part inside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.kernels import inner, kernel
from kerfwright.model.design import Design
from kerfwright.verify.columns import (
    BOOL,
    CX,
    CY,
    F64,
    HEAD,
    I64,
    LENGTH,
    RADIUS,
    ROW,
    SWEEP,
    UX,
    UY,
    X0,
    X1,
    Y0,
    Y1,
    Shape,
)
from kerfwright.verify.near import pairs_in, piece_boxes
from kerfwright.verify.wanted import Wanted

_INSIDE_MM = 1e-3
_INSIDE_SHARE = 1e-3
"""How far inside a contour the point lies that tells what it is inside of: a micrometre, or a
thousandth of a short edge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Nesting:
    """The regions that closed through cuts make of the sheet.

    Parameters
    ----------
    frees : ndarray of shape (K,), bool
        Which rows are closed through cuts; a contour named twice counts once.
    side : ndarray of shape (K,), int
        Side of the part seen along the drawn direction: 1 left, -1 right, 0 for rows that free
        nothing.
    boxes : ndarray of shape (K, 4), float
        x0, y0, x1, y1 of each row [mm].
    shape : Shape
        The contours.
    """

    frees: BOOL
    side: I64
    boxes: F64
    shape: Shape

    def is_part(self, xy: F64) -> BOOL:
        """Return which points lie in a part; all of them where nothing is freed."""
        if not self.frees.any():
            return np.ones(len(xy), bool)
        depth = _depth(self.shape, self.frees, self.boxes, xy, np.full(len(xy), -1))
        is_odd: BOOL = depth % 2 == 1
        return is_odd

    def regions(self, xy: F64) -> I64:
        """Return the innermost freeing contour that holds each point, -1 for none."""
        point, row = _holders(self.shape, self.frees, self.boxes, xy, np.full(len(xy), -1))
        size = self.boxes[:, 2:] - self.boxes[:, :2]
        order = np.lexsort((row, size[row, 0] * size[row, 1], point))
        points, first = np.unique(point[order], return_index=True)
        out = np.full(len(xy), -1, np.int64)
        out[points] = row[order][first]
        return out


def nesting_of(design: Design, wanted: Wanted) -> Nesting:
    """Return the regions of a design."""
    shape = wanted.shape
    area = design.nominal.areas_mm2()
    area = np.where(wanted.turns_over, -area, area) if len(area) else area
    cuts = wanted.through & shape.closed & (shape.length > 0.0) & (area != 0.0)
    frees = cuts & ~_is_freed_elsewhere(design, cuts)
    boxes = _row_boxes(shape, len(cuts))
    rows = np.flatnonzero(frees)
    depth = _depth(shape, frees, boxes, _inner_points(shape, rows, area), rows)
    side = np.zeros(len(cuts), np.int64)
    side[rows] = np.where(depth % 2 == 0, 1, -1) * np.sign(area[rows]).astype(np.int64)
    return Nesting(frees=frees, side=side, boxes=boxes, shape=shape)


def holds_points(shape: Shape, row: I64, xy: F64) -> BOOL:
    """Return which points lie inside a closed contour each."""
    first = np.searchsorted(shape.links[:, ROW], np.arange(len(shape.length) + 1))
    return _holds(shape.pieces, first, row, xy)


def _depth(shape: Shape, frees: BOOL, boxes: F64, xy: F64, own: I64) -> I64:
    """Return how many freeing contours hold each point, its own and twins of it left out."""
    point, _ = _holders(shape, frees, boxes, xy, own)
    return np.bincount(point, minlength=len(xy)).astype(np.int64)


def _holders(shape: Shape, frees: BOOL, boxes: F64, xy: F64, own: I64) -> tuple[I64, I64]:
    """Return pairs of a point and a freeing contour that holds it, its own and twins left out."""
    rows = np.flatnonzero(frees)
    point, index = pairs_in(np.hstack((xy, xy)), boxes[rows])
    row, mine = rows[index], own[point]
    apart = np.abs(boxes[row] - boxes[mine]).max(axis=1, initial=0.0) >= _INSIDE_MM
    keep = (mine < 0) | ((row != mine) & apart)
    point, row = point[keep], row[keep]
    first = np.searchsorted(shape.links[:, ROW], np.arange(len(frees) + 1))
    inside = _holds(shape.pieces, first, row, xy[point])
    return point[inside], row[inside]


def _inner_points(shape: Shape, rows: I64, area: F64) -> F64:
    """Return a point just inside each contour, off the middle of its longest piece."""
    p, own = shape.pieces, shape.links[:, ROW]
    order = np.lexsort((p[:, LENGTH], own))
    one = p[order[np.searchsorted(own[order], rows, side="right") - 1]]
    half = one[:, HEAD] + one[:, SWEEP] / 2.0
    middle = (one[:, X0 : Y0 + 1] + one[:, X1 : Y1 + 1]) / 2.0
    rise = one[:, RADIUS] * (1.0 - np.cos(one[:, SWEEP] / 2.0))
    left = np.column_stack((-np.sin(half), np.cos(half)))
    step = np.minimum(_INSIDE_MM, one[:, LENGTH] * _INSIDE_SHARE) * np.sign(area[rows])
    points: F64 = middle + left * (step - rise)[:, None]
    return points


def _is_freed_elsewhere(design: Design, cuts: BOOL) -> BOOL:
    """Return which rows name a contour that an earlier row already cuts through."""
    seen: set[str] = set()
    out = np.zeros(len(cuts), bool)
    for k in np.flatnonzero(cuts).tolist():
        out[k] = design.contours[k] in seen
        seen.add(design.contours[k])
    return out


def _row_boxes(shape: Shape, rows: int) -> F64:
    out = np.zeros((rows, 4))
    if not len(shape.pieces):
        return out
    own, boxes = shape.links[:, ROW], piece_boxes(shape)
    first = np.flatnonzero(np.append([True], own[1:] != own[:-1]))
    out[own[first], :2] = np.minimum.reduceat(boxes[:, :2], first)
    out[own[first], 2:] = np.maximum.reduceat(boxes[:, 2:], first)
    return out


@kernel
def _holds(pieces: F64, first: I64, row: I64, xy: F64) -> BOOL:
    out = np.zeros(len(row), np.bool_)
    for n in range(len(row)):
        count = 0
        for i in range(first[row[n]], first[row[n] + 1]):
            count += _crossings(pieces[i], xy[n, 0], xy[n, 1])
        out[n] = count % 2 == 1
    return out


@inner
def _crossings(piece: F64, x: float, y: float) -> int:
    """Return how often a piece crosses the ray from a point towards +x.

    A stretch that rises or falls all along counts when exactly one of its ends lies above the
    ray, so that no vertex is counted twice or missed.
    """
    if piece[RADIUS] == 0.0:
        if (piece[Y0] > y) == (piece[Y1] > y):
            return 0
        share = (y - piece[Y0]) / (piece[Y1] - piece[Y0])
        return int(piece[X0] + share * (piece[X1] - piece[X0]) > x)
    sign = 1.0 if piece[SWEEP] > 0.0 else -1.0
    size = sign * piece[RADIUS]
    # Angle of the start seen from the centre; the arc is cut at its highest and lowest points.
    start = np.arctan2(-sign * piece[UX], sign * piece[UY])
    count, angle, level = 0, start, piece[Y0]
    end = start + piece[SWEEP]
    quarter = np.pi / 2.0
    turn = np.floor(start / np.pi - 0.5) if sign < 0.0 else np.ceil(start / np.pi - 0.5)
    bound = turn * np.pi + quarter
    if bound == start:
        bound += sign * np.pi
    for _ in range(4):
        is_last = (bound - end) * sign >= 0.0
        top = piece[CY] + size * (1.0 if np.sin(bound) > 0.0 else -1.0)
        stop = piece[Y1] if is_last else top
        if (level > y) != (stop > y):
            rise = min(abs(y - piece[CY]), size)
            run = np.sqrt((size - rise) * (size + rise))
            middle = (angle + (end if is_last else bound)) / 2.0
            across = piece[CX] + (run if np.cos(middle) > 0.0 else -run)
            count += int(across > x)
        if is_last:
            break
        angle, level = bound, stop
        bound += sign * np.pi
    return count
