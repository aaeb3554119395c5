"""Rings a cutter's centre follows, prepared for questions by arc length."""

from __future__ import annotations

from math import atan2, cos, hypot, inf, pi, sin
from typing import NamedTuple

import numpy as np

from kerfwright.geometry import edges
from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner

X0, Y0, X1, Y1, CX, CY, SWEEP, BEGIN, LENGTH = range(9)
"""Columns of a ring's edge: ends, centre (0 for lines), signed sweep (0 for lines), arc length at
which it begins, and its length [mm, rad]."""


class Ring(NamedTuple):
    """One path of a cutter's centre.

    Parameters
    ----------
    edge : ndarray of shape (E, 9), float
        Edges in the order of travel.
    closed : bool
        Whether it comes back to where it began.
    """

    edge: F64
    closed: bool


def ring_rows(paths: PathSet) -> tuple[F64, I64]:
    """Return the edges of all paths as rows, and the first row of each path, shape (K + 1,)."""
    e = edges_of(paths)
    length = edges.length_mm(e.start, e.end, e.bulge)
    centre = np.nan_to_num(edges.centre_mm(e.start, e.end, e.bulge))
    sweep = edges.sweep_rad(e.bulge)
    counts = np.bincount(e.path, minlength=len(paths))
    first = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
    total = np.concatenate(([0.0], np.cumsum(length)))
    begin = total[:-1] - total[first[e.path]]
    return np.column_stack((e.start, e.end, centre, sweep, begin, length)), first


@inner
def length_of(ring: Ring) -> float:
    """Return the length of a ring [mm]."""
    last = ring.edge[len(ring.edge) - 1]
    return float(last[BEGIN] + last[LENGTH])


@inner
def edge_at(ring: Ring, s: float) -> int:
    """Return the edge a place from 0 to the length lies on."""
    low, high = 0, len(ring.edge) - 1
    while low < high:
        middle = (low + high + 1) // 2
        if ring.edge[middle, BEGIN] <= s:
            low = middle
        else:
            high = middle - 1
    return low


@inner
def point_on(row: F64, along: float) -> tuple[float, float]:
    """Return the point a way along an edge; its ends to the last bit."""
    if along <= 0.0:
        return row[X0], row[Y0]
    if along >= row[LENGTH]:
        return row[X1], row[Y1]
    share = along / row[LENGTH]
    if row[SWEEP] == 0.0:
        return row[X0] + share * (row[X1] - row[X0]), row[Y0] + share * (row[Y1] - row[Y0])
    c, s = cos(share * row[SWEEP]), sin(share * row[SWEEP])
    dx, dy = row[X0] - row[CX], row[Y0] - row[CY]
    return row[CX] + dx * c - dy * s, row[CY] + dx * s + dy * c


@inner
def heading_on(row: F64, along: float) -> float:
    """Return the direction of travel a way along an edge [rad]."""
    if row[SWEEP] == 0.0:
        return atan2(row[Y1] - row[Y0], row[X1] - row[X0])
    x, y = point_on(row, along)
    quarter = pi / 2.0 if row[SWEEP] > 0.0 else -pi / 2.0
    return atan2(y - row[CY], x - row[CX]) + quarter


@inner
def wrapped(ring: Ring, s: float) -> float:
    """Return a place from 0 to the length; of an open path the nearer end."""
    total = length_of(ring)
    if ring.closed:
        return s % total
    return min(max(s, 0.0), total)


@inner
def place_at(ring: Ring, s: float) -> tuple[float, float, float]:
    """Return x, y and direction of travel at a place."""
    at = wrapped(ring, s)
    row = ring.edge[edge_at(ring, at)]
    x, y = point_on(row, at - row[BEGIN])
    return x, y, heading_on(row, at - row[BEGIN])


@inner
def nearest(ring: Ring, px: float, py: float) -> tuple[float, float]:
    """Return the distance of a point to a ring, and the place nearest to it."""
    best, place = inf, 0.0
    for i in range(len(ring.edge)):
        row = ring.edge[i]
        gap, along = _foot(row, px, py)
        if gap < best:
            best, place = gap, row[BEGIN] + along
    return best, place


@inner
def _foot(row: F64, px: float, py: float) -> tuple[float, float]:
    along = 0.0
    if row[SWEEP] == 0.0:
        ux, uy = row[X1] - row[X0], row[Y1] - row[Y0]
        size = hypot(ux, uy)
        if size > 0.0:
            along = min(max(((px - row[X0]) * ux + (py - row[Y0]) * uy) / size, 0.0), row[LENGTH])
    else:
        sense = 1.0 if row[SWEEP] > 0.0 else -1.0
        begin = atan2(row[Y0] - row[CY], row[X0] - row[CX])
        turn = (sense * (atan2(py - row[CY], px - row[CX]) - begin)) % (2.0 * pi)
        radius = hypot(row[X0] - row[CX], row[Y0] - row[CY])
        span = abs(row[SWEEP])
        if turn <= span:
            return abs(hypot(px - row[CX], py - row[CY]) - radius), turn * radius
        along = row[LENGTH] if turn - span < 2.0 * pi - turn else 0.0
    x, y = point_on(row, along)
    return hypot(px - x, py - y), along
