"""Offset primitives: every source edge shifted to both sides, and what joins them.

A line shifted is a line, an arc an arc of a radius less or more; round a corner goes an arc about
it, on the side that opens. Primitives that follow one another share a node. Where two edges meet
with next to no turn both end on the bisector: on the side that closes two nearly parallel lines
would have to be crossed, and what they leave beyond would hardly be nearer to the source.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from kerfwright.geometry._edge_kernels import (
    curvature_of_edge,
    distance_to_edge,
    length_of_edge,
    tangent_at,
)
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner

EDGE, CORNER, END = 0, 1, 2
"""What a primitive follows: an edge shifted, a corner rounded, an open end closed."""

_SMOOTH_MM = 1e-9  # a corner that rises by less is none; some times what counts as nearer
_SMALL_MM = 1e-7  # an arc about a corner that is shorter is none
_POINT_MM = 1e-9  # an arc of a smaller radius is a point


class Parts(NamedTuple):
    """M primitives of one group.

    Parameters
    ----------
    rows : ndarray of shape (M, 5), float
        Ends and bulge.
    node : ndarray of shape (M, 2), int
        Nodes at both ends.
    source : ndarray of shape (M,), int
        Source edge each one follows, or that begins at its corner.
    kind : ndarray of shape (M,), int
        EDGE, CORNER or END.
    left : ndarray of shape (M,), bool
        Whether it lies to the left of the source edge.
    xy : ndarray of shape (N, 2), float
        Nodes.
    size : int
        Primitives in use.
    nodes : int
        Nodes in use.
    """

    rows: F64
    node: I64
    source: I64
    kind: I64
    left: BOOL
    xy: F64
    size: int
    nodes: int


@inner
def parts_of(edges: F64, starts: I64, closed: BOOL, flat: BOOL, distance: float) -> Parts:
    """Return the primitives of runs of edges on both sides, at a distance.

    `flat` (E, 2) says which ends of an edge are open ends cut off square; other open ends are
    rounded.
    """
    n = len(edges)
    room = 6 * n + 4 * len(closed)
    rows, node = np.zeros((room, 5)), np.zeros((room, 2), np.int64)
    source, kind, left = (
        np.zeros(room, np.int64),
        np.zeros(room, np.int64),
        np.zeros(room, np.bool_),
    )
    xy = np.zeros((8 * n + 8 * len(closed), 2))
    first, last = np.zeros(n, np.int64), np.zeros(n, np.int64)  # nodes of each shifted edge
    count, nodes = 0, 0
    for side in (1.0, -1.0):
        for run in range(len(closed)):
            low, high = starts[run], starts[run + 1]
            for i in range(low, high):
                ends_run = i + 1 == high
                if ends_run and not closed[run]:
                    nodes = _put(xy, nodes, edges[i, 2], edges[i, 3], edges[i], 1.0, side, distance)
                    last[i] = nodes - 1
                    continue
                j = low if ends_run else i + 1
                px, py = edges[j, 0], edges[j, 1]
                ax, ay = tangent_at(edges[i], 1.0)
                bx, by = tangent_at(edges[j], 0.0)
                turn = math.atan2(ax * by - ay * bx, ax * bx + ay * by)
                if _is_smooth(edges[i], edges[j], turn, side, distance):
                    _on_bisector(xy, nodes, edges[i], edges[j], turn, side, distance)
                    last[i], first[j] = nodes, nodes
                    nodes += 1
                    continue
                nodes = _put(xy, nodes, px, py, edges[i], 1.0, side, distance)
                nodes = _put(xy, nodes, px, py, edges[j], 0.0, side, distance)
                last[i], first[j] = nodes - 2, nodes - 1
                if side * turn < 0.0:
                    _arc(rows, node, xy, count, nodes - 2, nodes - 1, math.tan(turn / 4.0))
                    source[count], kind[count], left[count] = j, CORNER, side > 0.0
                    count += 1
            if not closed[run]:
                nodes = _put(
                    xy, nodes, edges[low, 0], edges[low, 1], edges[low], 0.0, side, distance
                )
                first[low] = nodes - 1
            for i in range(low, high):
                a, b = first[i], last[i]
                if _shift(rows, xy, count, edges[i], a, b, side, distance):
                    node[count, 0], node[count, 1] = a, b
                    source[count], kind[count], left[count] = i, EDGE, side > 0.0
                    count += 1
            if not closed[run]:
                count, nodes = _ends(
                    rows, node, source, kind, left, xy, count, nodes,
                    edges, low, high, flat, side, first[low], last[high - 1],
                )  # fmt: skip
    return Parts(rows, node, source, kind, left, xy, count, nodes)


@inner
def _is_smooth(one: F64, two: F64, turn: float, side: float, distance: float) -> bool:
    """Return whether two edges that follow one another share the end of what is shifted.

    Where the corner opens only if no arc is to be seen there; where it closes if the two would
    cross at so small an angle that what lies beyond is hardly nearer to the source.
    """
    way = distance * abs(turn)
    if way <= _SMALL_MM:
        return True
    if side * turn < 0.0 or way * abs(turn) > 8.0 * _SMOOTH_MM:
        return False
    return way < min(length_of_edge(one), length_of_edge(two))


@inner
def _on_bisector(
    xy: F64, at: int, one: F64, two: F64, turn: float, side: float, distance: float
) -> None:
    """Put the node two smoothly joined edges share: the distance away from both."""
    ax, ay = tangent_at(one, 1.0)
    bx, by = tangent_at(two, 0.0)
    tx, ty = ax + bx, ay + by
    size = math.hypot(tx, ty)
    nx, ny = -side * ty / size, side * tx / size
    reach = distance
    if distance * abs(turn) > _SMALL_MM:
        reach /= math.cos(0.5 * turn)
    qx, qy = two[0] + reach * nx, two[1] + reach * ny
    if reach != distance:
        # Lines would meet here; arcs leave their tangents by a little: one step by Newton.
        f = distance - distance_to_edge(one, qx, qy)
        g = distance - distance_to_edge(two, qx, qy)
        ux, uy, vx, vy = -side * ay, side * ax, -side * by, side * bx
        size = ux * vy - uy * vx
        qx, qy = qx + (f * vy - g * uy) / size, qy + (g * ux - f * vx) / size
    xy[at, 0], xy[at, 1] = qx, qy


@inner
def _put(
    xy: F64, nodes: int, px: float, py: float, edge: F64, end: float, side: float, distance: float
) -> int:
    """Put a node beside an end of an edge; return how many there are."""
    tx, ty = tangent_at(edge, end)
    xy[nodes, 0], xy[nodes, 1] = px - side * distance * ty, py + side * distance * tx
    return nodes + 1


@inner
def _arc(rows: F64, node: I64, xy: F64, at: int, a: int, b: int, bulge: float) -> None:
    rows[at, 0], rows[at, 1] = xy[a, 0], xy[a, 1]
    rows[at, 2], rows[at, 3] = xy[b, 0], xy[b, 1]
    rows[at, 4] = bulge
    node[at, 0], node[at, 1] = a, b


@inner
def _shift(
    rows: F64, xy: F64, at: int, edge: F64, a: int, b: int, side: float, distance: float
) -> bool:
    """Shift an edge between two nodes; return whether anything is left of it.

    An arc on its inner side with a radius of the distance or less leaves nothing: of the points
    it would hold each is nearer to another point of the arc.
    """
    rows[at, 0], rows[at, 1] = xy[a, 0], xy[a, 1]
    rows[at, 2], rows[at, 3] = xy[b, 0], xy[b, 1]
    rows[at, 4] = edge[4]
    bent = curvature_of_edge(edge)
    if bent == 0.0:
        return True
    sense = 1.0 if edge[4] > 0.0 else -1.0
    radius = 1.0 / bent - side * sense * distance
    if radius <= _POINT_MM:
        if radius > -_POINT_MM:  # both ends meet in the centre
            xy[b, 0], xy[b, 1] = xy[a, 0], xy[a, 1]
        return False
    # A smooth joint has moved the ends along the edge a little.
    sx, sy = tangent_at(edge, 0.0)
    ex, ey = tangent_at(edge, 1.0)
    at_start = (xy[a, 0] - edge[0]) * sx + (xy[a, 1] - edge[1]) * sy
    at_end = (xy[b, 0] - edge[2]) * ex + (xy[b, 1] - edge[3]) * ey
    more = sense * (at_end - at_start) / radius
    rows[at, 4] = math.tan(math.atan(edge[4]) + 0.25 * more)
    return True


@inner
def _ends(
    rows: F64, node: I64, source: I64, kind: I64, left: BOOL, xy: F64, count: int, nodes: int,
    edges: F64, low: int, high: int, flat: BOOL, side: float, first: int, last: int,
) -> tuple[int, int]:  # fmt: skip
    """Close an open run: quarter circles to the point straight ahead of each end, or half a line.

    Both sides put their half, and meet in a node of the same place.
    """
    for end in range(2):
        i = low if end == 0 else high - 1
        tx, ty = tangent_at(edges[i], float(end))
        px, py = edges[i, 2 * end], edges[i, 2 * end + 1]
        own = first if end == 0 else last
        if flat[i, end]:
            xy[nodes, 0], xy[nodes, 1], bulge = px, py, 0.0
        else:
            reach = math.hypot(xy[own, 0] - px, xy[own, 1] - py) * (1.0 if end == 1 else -1.0)
            xy[nodes, 0], xy[nodes, 1] = px + reach * tx, py + reach * ty
            # On the left of travel the way from the side to the front turns clockwise.
            bulge = -side * math.tan(math.pi / 8.0)
        nodes += 1
        if end == 1:
            _arc(rows, node, xy, count, own, nodes - 1, bulge)
        else:
            _arc(rows, node, xy, count, nodes - 1, own, bulge)
        source[count], kind[count], left[count] = i, END, side > 0.0
        count += 1
    return count, nodes
