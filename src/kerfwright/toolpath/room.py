"""How far the blade may go on into the waste past a corner before it reaches a part again.

Two rays are sent from each corner, shifted to both sides by the tolerance; a part is reached
only where both meet an edge, so that a cut along a neighbour's edge is no cut into it. Edges are
found through a grid of square cells no smaller than the longest ray.
"""

from __future__ import annotations

from math import atan2, cos, floor, inf, pi, sin, sqrt, tau
from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.toolpath.corners import WASTE
from kerfwright.toolpath.sections import FIRST, LAST, MEETS_0, MEETS_1, ROOM_0, ROOM_1, Sections
from kerfwright.toolpath.shapes import (
    BACK,
    FORTH,
    LENGTH,
    SNAP,
    SWEEP,
    X0,
    X1,
    Y0,
    Y1,
    Shapes,
    bend_of,
    end_of,
    on_edge,
    start_of,
)

_PIECES_PER_EDGE = 4
_ROW = 1 << 31  # cells per column of the grid
_PARALLEL = 1e-12


class _Grid(NamedTuple):
    """Edges by cell: `key` is sorted, `edge` says which edge has a piece in that cell."""

    key: I64
    edge: I64
    x0: float
    y0: float
    cell: float


def with_rooms(
    sections: Sections, shapes: Shapes, part_side: I64, *, reach_mm: float, aside_mm: float
) -> Sections:
    """Return the sections with the room past each corner into waste, up to `reach_mm`."""
    into_waste = sections.rows[:, [MEETS_0, MEETS_1]] == WASTE
    if not into_waste.any() or reach_mm <= 0.0:
        return sections
    of_parts = np.flatnonzero(np.repeat(part_side, np.diff(shapes.first)))
    total = float(shapes.edge[of_parts, LENGTH].sum())
    cell = max(reach_mm + 2.0 * aside_mm, total / (_PIECES_PER_EDGE * len(of_parts)))
    x0, y0 = (float(shapes.edge[:, column].min()) for column in (X0, Y0))
    key, owner = _cells(shapes.edge, of_parts, x0, y0, cell)
    order = np.argsort(key, kind="stable")
    grid = _Grid(key[order], owner[order], x0, y0, cell)
    rows = _rooms(
        sections.rows, sections.first, shapes.edge, shapes.first, grid, reach_mm, aside_mm
    )
    return sections._replace(rows=rows)


@kernel
def _cells(edge: F64, index: I64, x0: float, y0: float, cell: float) -> tuple[I64, I64]:
    """Return the cells that pieces of the edges, no longer than a cell, may lie in."""
    nothing = np.zeros(0, np.int64)
    n = 0
    for k in index:
        n = _add_edge(nothing, nothing, n, edge, k, x0, y0, cell)
    key, owner = np.zeros(n, np.int64), np.zeros(n, np.int64)
    n = 0
    for k in index:
        n = _add_edge(key, owner, n, edge, k, x0, y0, cell)
    return key, owner


@inner
def _add_edge(
    key: I64, owner: I64, n: int, edge: F64, k: int, x0: float, y0: float, cell: float
) -> int:
    """Add the cells of an edge; only count them where there are no arrays to fill."""
    length = edge[k, LENGTH]
    pieces = 1 + int(length / cell)
    rise = abs(edge[k, SWEEP]) / pieces * length / pieces / 8.0
    ax, ay, _ = on_edge(edge, k, FORTH, 0.0)
    for j in range(pieces):
        bx, by, _ = on_edge(edge, k, FORTH, length * (j + 1) / pieces)
        left, right = _cell(min(ax, bx) - rise - x0, cell), _cell(max(ax, bx) + rise - x0, cell)
        low, high = _cell(min(ay, by) - rise - y0, cell), _cell(max(ay, by) + rise - y0, cell)
        for column in range(left, right + 1):
            for row in range(low, high + 1):
                if len(key):
                    key[n], owner[n] = column * _ROW + row, k
                n += 1
        ax, ay = bx, by
    return n


@inner
def _cell(way: float, cell: float) -> int:
    return floor(way / cell)


@kernel
def _rooms(
    rows: F64, sections: I64, edges: F64, first: I64, grid: _Grid, reach: float, aside: float
) -> F64:
    out = rows.copy()
    for path in range(len(first) - 1):
        begun, n = first[path], first[path + 1] - first[path]
        for i in range(sections[path], sections[path + 1]):
            k = begun + int(rows[i, FIRST])
            if rows[i, MEETS_0] == WASTE:
                other = begun + (k - begun - 1) % n
                out[i, ROOM_0] = _room(edges, k, other, BACK, grid, reach, aside)
            k = begun + int(rows[i, LAST])
            if rows[i, MEETS_1] == WASTE:
                other = begun + (k - begun + 1) % n
                out[i, ROOM_1] = _room(edges, k, other, FORTH, grid, reach, aside)
    return out


@inner
def _room(
    edge: F64, k: int, other: int, sense: int, grid: _Grid, reach: float, aside: float
) -> float:
    """Return the room where an edge, as travelled, runs out of the corner with another."""
    x, y, heading = end_of(edge, k, sense)
    u, v = cos(heading), sin(heading)
    left = _first_hit(edge, grid, x - aside * v, y + aside * u, u, v, reach, k, other)
    right = _first_hit(edge, grid, x + aside * v, y - aside * u, u, v, reach, k, other)
    return max(left, right)


@inner
def _first_hit(
    edge: F64,
    grid: _Grid,
    x: float,
    y: float,
    u: float,
    v: float,
    reach: float,
    own: int,
    other: int,
) -> float:
    """Return the distance to the first edge a ray meets, but for the two of its own corner."""
    near = reach
    ax, ay = x - grid.x0, y - grid.y0
    bx, by = ax + reach * u, ay + reach * v
    for column in range(_cell(min(ax, bx), grid.cell), _cell(max(ax, bx), grid.cell) + 1):
        for row in range(_cell(min(ay, by), grid.cell), _cell(max(ay, by), grid.cell) + 1):
            key = column * _ROW + row
            j = _place(grid.key, key)
            while j < len(grid.key) and grid.key[j] == key:
                k = grid.edge[j]
                if own != k != other:
                    near = min(near, _hit(edge, k, x, y, u, v))
                j += 1
    return near


@inner
def _place(keys: I64, key: int) -> int:
    """Return where a key is, or would be, among sorted ones."""
    low, high = 0, len(keys)
    while low < high:
        middle = (low + high) // 2
        if keys[middle] < key:
            low = middle + 1
        else:
            high = middle
    return low


@inner
def _hit(edge: F64, k: int, x: float, y: float, u: float, v: float) -> float:
    """Return the distance along a ray to an edge, infinite when it misses."""
    ax, ay = edge[k, X0] - x, edge[k, Y0] - y
    if edge[k, SWEEP] == 0.0:
        dx, dy = edge[k, X1] - edge[k, X0], edge[k, Y1] - edge[k, Y0]
        across = u * dy - v * dx
        if abs(across) <= _PARALLEL * edge[k, LENGTH]:
            return inf
        way, share = (ax * dy - ay * dx) / across, (ax * v - ay * u) / across
        return float(way) if way >= -SNAP and 0.0 <= share <= 1.0 else inf
    _, _, heading = start_of(edge, k, FORTH)
    radius = 1.0 / bend_of(edge, k)
    cx, cy = ax - radius * sin(heading), ay + radius * cos(heading)
    foot, gap = cx * u + cy * v, cx * v - cy * u
    if abs(gap) >= abs(radius):
        return inf
    half = sqrt(radius * radius - gap * gap)
    for way in (foot - half, foot + half):
        if way >= -SNAP and _is_swept(way * u - cx, way * v - cy, heading, edge[k, SWEEP]):
            return float(way)
    return inf


@inner
def _is_swept(dx: float, dy: float, heading: float, sweep: float) -> bool:
    """Whether a point seen from an arc's centre lies in its sweep."""
    sign = 1.0 if sweep > 0.0 else -1.0
    ahead = (sign * (atan2(dy, dx) - heading) + pi / 2.0) % tau
    return bool(ahead <= abs(sweep))
