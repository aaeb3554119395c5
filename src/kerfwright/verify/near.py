"""Which contours each slice comes near, and how well it lies on each."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, hypot, inf, pi, sin

import numpy as np
import shapely

from kerfwright.kernels import kernel
from kerfwright.verify.chord import pose
from kerfwright.verify.columns import (
    BOOL,
    BREF,
    F64,
    I64,
    RADIUS,
    ROW,
    SSWEEP,
    SWEEP,
    SX0,
    SX1,
    SY0,
    SY1,
    SZ0,
    SZ1,
    X0,
    X1,
    Y0,
    Y1,
    Shape,
)
from kerfwright.verify.foot import fold, foot
from kerfwright.verify.slices import Slices

REACH_MM = 3.0
"""A slice whose tip is farther from every contour belongs to none."""
ACROSS = pi / 3.0
"""A slice whose blade and way both lie more than this across a contour does not belong to it."""
_ALIGN_MM = 0.5  # what lying fully across costs, as a distance
_STILL_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Views:
    """V pairs of a slice and a contour near it; pairs of one slice stand together.

    Parameters
    ----------
    slice, row : ndarray of shape (V,), int
        Slice and contour.
    first, last : ndarray of shape (V,), int
        The pieces of that contour near the slice are ``near[first:last]``.
    near : ndarray of int
        Pieces.
    cost : ndarray of shape (V,), float
        Mean distance of the tip from the contour, a little more where it lies across; infinite
        where it is out of reach [mm].
    across : ndarray of shape (V,), bool
        Whether the tip is in reach and both blade and way lie across.
    """

    slice: I64
    row: I64
    first: I64
    last: I64
    near: I64
    cost: F64
    across: np.ndarray


def views_of(slices: Slices, shape: Shape, blades: F64, top_z: float, left_out: BOOL) -> Views:
    """Return the contours near each slice, some rows left out."""
    i, piece = _pairs(slices, shape, blades, top_z)
    keep = ~left_out[shape.links[piece, ROW]]
    i, piece = i[keep], piece[keep]
    row = shape.links[piece, ROW]
    order = np.lexsort((piece, row, i))
    i, row, piece = i[order], row[order], piece[order]
    new = np.ones(len(i), bool)
    new[1:] = (i[1:] != i[:-1]) | (row[1:] != row[:-1])
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(i)) if len(first) else first
    own = i[first]
    cost = _costs(shape, piece, first, last, own, slices.at, slices.blade, blades)
    across = np.isinf(cost[:, 0]) & (cost[:, 1] <= REACH_MM)
    return Views(
        slice=own,
        row=row[first],
        first=first,
        last=last,
        near=piece,
        cost=cost[:, 0],
        across=across,
    )


def piece_boxes(shape: Shape) -> F64:
    """Return x0, y0, x1, y1 that hold each piece of a shape."""
    return curve_boxes(shape.pieces)


def curve_boxes(p: F64) -> F64:
    """Return x0, y0, x1, y1 that hold each line or arc, arcs by a margin of their rise."""
    rise = np.abs(p[:, RADIUS]) * (1.0 - np.cos(p[:, SWEEP] / 2.0))
    low = np.minimum(p[:, X0 : Y0 + 1], p[:, X1 : Y1 + 1]) - rise[:, None]
    high = np.maximum(p[:, X0 : Y0 + 1], p[:, X1 : Y1 + 1]) + rise[:, None]
    return np.hstack((low, high))


def pairs_in(boxes: F64, others: F64) -> tuple[I64, I64]:
    """Return all pairs of boxes that meet: index of the first and of the second."""
    if not len(boxes) or not len(others):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    # A box's diagonal has the same envelope, and costs half of what a polygon does.
    tree = shapely.STRtree(shapely.linestrings(others.reshape(-1, 2, 2)))
    one, two = tree.query(shapely.linestrings(boxes.reshape(-1, 2, 2)))
    return one.astype(np.int64), two.astype(np.int64)


def _pairs(slices: Slices, shape: Shape, blades: F64, top_z: float) -> tuple[I64, I64]:
    at = slices.at
    sweep = np.abs(at[:, SSWEEP])
    rise = slices.length * np.minimum(sweep / 4.0, 1.0)
    height = np.maximum(top_z - np.minimum(at[:, SZ0], at[:, SZ1]), 0.0)
    blade = blades[slices.blade]
    height = np.minimum(height, blade[:, 4])
    half = np.abs(blade[:, 0]) + blade[:, 1] + height * np.maximum(blade[:, 2], blade[:, 3])
    margin = (rise + half + REACH_MM)[:, None]
    low = np.minimum(at[:, SX0 : SY0 + 1], at[:, SX1 : SY1 + 1]) - margin
    high = np.maximum(at[:, SX0 : SY0 + 1], at[:, SX1 : SY1 + 1]) + margin
    return pairs_in(np.hstack((low, high)), piece_boxes(shape))


@kernel
def _costs(
    shape: Shape,
    near: I64,
    first: I64,
    last: I64,
    own: I64,
    at: F64,
    blade_of: I64,
    blades: F64,
) -> F64:
    """Return the cost of each view, and the distance at the middle whatever the direction."""
    out = np.full((len(own), 2), inf)
    for v in range(len(own)):
        one = at[own[v]]
        ahead = blades[blade_of[own[v]], BREF]
        way = hypot(one[SX1] - one[SX0], one[SY1] - one[SY0])
        total = 0.0
        for n in range(3):
            share = 0.5 if n == 0 else float(n - 1)
            x, y, _, c = pose(one, share)
            qx, qy = x + ahead * cos(c), y + ahead * sin(c)
            bx, by, _, _ = pose(one, max(share - 1e-3, 0.0))
            fx, fy, _, _ = pose(one, min(share + 1e-3, 1.0))
            moves = way > _STILL_MM
            tx, ty = fx - bx, fy - by
            best = inf
            for j in range(first[v], last[v]):
                distance, _, head = foot(shape.pieces[near[j]], qx, qy)
                if n == 0:
                    out[v, 1] = min(out[v, 1], distance)
                off = abs(sin(fold(head - c)))
                if moves:
                    length = max(hypot(tx, ty), 1e-300)
                    off = min(off, abs(tx * sin(head) - ty * cos(head)) / length)
                if off <= sin(ACROSS):
                    best = min(best, distance + _ALIGN_MM * off)
            if n == 0 and best > REACH_MM + _ALIGN_MM:
                total = inf
                break
            total += min(best, 2.0 * REACH_MM)
        out[v, 0] = total / 3.0
    return out
