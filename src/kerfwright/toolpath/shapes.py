"""Contours as flat arrays the kernels walk along: edges with headings and arc lengths.

Kernels get the edges of one contour as a slice, and whether it is closed. *Sense*: +1 along the
drawn direction, -1 against it. *s*: arc length from the drawn start.
"""

from __future__ import annotations

from math import atan, atan2, cos, hypot, pi, sin, tan, tau
from typing import NamedTuple, cast

import numpy as np

from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner, kernel

X0, Y0, X1, Y1, HEADING, SWEEP, LENGTH, S = range(8)
"""Columns of `Shapes.edge`: ends, heading at the start, turn, length, s of the start."""


# Not plain numbers, because the compiler would make one function for each value of those.
FORTH, BACK = cast("int", np.int64(1)), cast("int", np.int64(-1))
"""Senses."""


SNAP = 1e-9
"""Places along a contour no further apart are one, since lengths are sums with rounding [mm]."""


class Shapes(NamedTuple):
    """K contours with E edges in all.

    Parameters
    ----------
    edge : ndarray of shape (E, 8), float
        One row per edge, columns as named above [mm, rad].
    first : ndarray of shape (K + 1,), int
        Row of each contour's first edge; a contour that is a point has none.
    closed : ndarray of shape (K,), bool
        Whether the last edge is followed by the first.
    """

    edge: F64
    first: I64
    closed: BOOL


class Contour(NamedTuple):
    """The edges of one contour, and whether the last is followed by the first."""

    edge: F64
    closed: bool


class Run(NamedTuple):
    """A piece of a contour as it is travelled.

    Parameters
    ----------
    contour : Contour
        The contour.
    s : float
        Where it begins [mm].
    sense : int
        Which way it goes.
    length : float
        How long it is; distances on it are called sigma [mm].
    """

    contour: Contour
    s: float
    sense: int
    length: float


def shapes_of(paths: PathSet, *, noise_mm: float) -> Shapes:
    """Return contours without what lies below `noise_mm`.

    Edges shorter than that are merged into their neighbour, and arcs that rise less become lines.
    """
    edge, first = _build(paths.points, paths.bulges, paths.starts, paths.closed, noise_mm)
    return Shapes(edge, first, paths.closed)


@kernel
def _build(points: F64, bulges: F64, starts: I64, closed: BOOL, noise: float) -> tuple[F64, I64]:
    edge = np.zeros((len(points), 8))
    first = np.zeros(len(closed) + 1, np.int64)
    n = 0
    for k in range(len(closed)):
        size = starts[k + 1] - starts[k]
        goal = 0 if closed[k] else size - 1
        own = slice(starts[k], starts[k + 1])
        n += _add_edges(edge[n:], points[own], bulges[own], goal, noise)
        first[k + 1] = n
        for j in range(first[k] + 1, n):
            edge[j, S] = edge[j - 1, S] + edge[j - 1, LENGTH]
    return edge[:n], first


@inner
def _add_edges(rows: F64, points: F64, bulges: F64, goal: int, noise: float) -> int:
    """Fill in the edges of a contour that ends at vertex `goal`, 0 if closed; return how many."""
    x, y = points[0, 0], points[0, 1]
    n, size = 0, len(points)
    for i in range(size if goal == 0 else goal):
        after = (i + 1) % size
        if hypot(points[after, 0] - x, points[after, 1] - y) >= noise:
            _set_edge(rows[n], x, y, points[after, 0], points[after, 1], bulges[i], noise)
            x, y = points[after, 0], points[after, 1]
            n += 1
    if n > 0 and (x != points[goal, 0] or y != points[goal, 1]):  # tiny edges at the end
        row = rows[n - 1]
        bulge = tan(row[SWEEP] / 4.0)
        _set_edge(row, row[X0], row[Y0], points[goal, 0], points[goal, 1], bulge, noise)
    return n


@inner
def _set_edge(
    row: F64, x0: float, y0: float, x1: float, y1: float, bulge: float, noise: float
) -> None:
    chord = hypot(x1 - x0, y1 - y0)
    half = 2.0 * atan(bulge)
    if abs(bulge) * chord / 2.0 < noise:
        half = 0.0
    row[X0], row[Y0], row[X1], row[Y1] = x0, y0, x1, y1
    row[HEADING] = atan2(y1 - y0, x1 - x0) - half
    row[SWEEP] = 2.0 * half
    row[LENGTH] = chord if half == 0.0 else chord * half / sin(half)


@inner
def wrap(angle: float) -> float:
    """Return the same direction in -pi < angle <= pi [rad]."""
    if -pi < angle <= pi:
        return angle
    return pi - (pi - angle) % tau


@inner
def total_of(edge: F64) -> float:
    """Return the length of a contour [mm]."""
    return float(edge[-1, S] + edge[-1, LENGTH])


@inner
def following(contour: Contour, k: int, sense: int) -> int:
    """Return the edge after another one as travelled; past the end of an open path, that edge."""
    after, n = k + sense, len(contour.edge)
    if 0 <= after < n:
        return after
    if not contour.closed:
        return k
    return 0 if after > 0 else n - 1


@inner
def start_of(edge: F64, k: int, sense: int) -> tuple[float, float, float]:
    """Return x, y and heading at the start of an edge as it is travelled."""
    if sense > 0:
        return edge[k, X0], edge[k, Y0], edge[k, HEADING]
    return edge[k, X1], edge[k, Y1], edge[k, HEADING] + edge[k, SWEEP] + pi


@inner
def end_of(edge: F64, k: int, sense: int) -> tuple[float, float, float]:
    """Return x, y and heading at the end of an edge as it is travelled."""
    if sense > 0:
        return edge[k, X1], edge[k, Y1], edge[k, HEADING] + edge[k, SWEEP]
    return edge[k, X0], edge[k, Y0], edge[k, HEADING] + pi


@inner
def bend_of(edge: F64, k: int) -> float:
    """Return the signed curvature of an edge as drawn [1/mm]."""
    return float(edge[k, SWEEP] / edge[k, LENGTH])


@inner
def on_edge(edge: F64, k: int, sense: int, t: float) -> tuple[float, float, float]:
    """Return x, y and heading at a distance into an edge."""
    if t == edge[k, LENGTH]:
        return end_of(edge, k, sense)
    x, y, heading = start_of(edge, k, sense)
    half = sense * bend_of(edge, k) * t / 2.0
    chord = t if half == 0.0 else t * sin(half) / half
    return x + chord * cos(heading + half), y + chord * sin(heading + half), heading + 2.0 * half


@inner
def locate(contour: Contour, s: float, sense: int) -> tuple[int, float]:
    """Return the edge ahead of a place and the distance into it, as travelled."""
    edge, total = contour.edge, total_of(contour.edge)
    if contour.closed:
        s %= total
        if sense > 0 and s > total - SNAP:
            s = 0.0
        elif sense < 0 and s < SNAP:
            s = total
    low, high = 0, len(edge)  # the edge wanted is the last that begins before s, or at it
    while high - low > 1:
        middle = (low + high) // 2
        if edge[middle, S] <= s + sense * SNAP:
            low = middle
        else:
            high = middle
    t = min(max(s - edge[low, S], 0.0), edge[low, LENGTH])
    return low, t if sense > 0 else edge[low, LENGTH] - t


@inner
def pose_at(run: Run, sigma: float) -> tuple[float, float, float]:
    """Return x, y and heading at a distance of a run; outside it goes on straight."""
    edge = run.contour.edge
    k, t = locate(run.contour, run.s, run.sense)
    inside = min(max(sigma, 0.0), run.length)
    ahead = inside
    for _ in range(most_edges(run)):
        room = edge[k, LENGTH] - t
        if ahead <= room + SNAP:
            break
        ahead -= room
        k, t = following(run.contour, k, run.sense), 0.0
    x, y, heading = on_edge(edge, k, run.sense, min(t + ahead, edge[k, LENGTH]))
    beyond = sigma - inside
    return x + beyond * cos(heading), y + beyond * sin(heading), heading


@inner
def most_edges(run: Run) -> int:
    """Return a number of edges no run passes: loops take less than four laps."""
    return 4 * len(run.contour.edge) + 4
