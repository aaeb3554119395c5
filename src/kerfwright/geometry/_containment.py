"""Compiled code of the containment forest."""

from __future__ import annotations

import math

import numpy as np

from kerfwright.geometry._box_tree import meets_run, nearest_edge, winding_number
from kerfwright.geometry._edge_kernels import length_of_edge, point_on_edge, take_part, tube_bound
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner, kernel

_DEPTH = 128
_FINEST = 0.01  # of the tolerance: an interval this short is decided by its middle


@kernel
def wind(edges: F64, nodes: F64, xy: F64) -> I64:
    """Return the winding number of one closed path around each point."""
    out = np.zeros(len(xy), np.int64)
    for i in range(len(xy)):
        out[i] = winding_number(edges, nodes, 0, 0, len(edges), xy[i, 0], xy[i, 1])
    return out


@inner
def _edge_leaves(
    edges: F64, nodes: F64, root: int, first: int, count: int, edge: F64, tolerance: float
) -> bool:
    """Return whether some point of an edge lies outside a closed run by more than the tolerance.

    Halves the edge until each piece is decided: by its distance to the run, which changes no
    faster than the place along the edge; by one edge of the run that it stays close to; or by
    its side, when it does not meet the run at all.
    """
    length = length_of_edge(edge)
    part = np.zeros(5)
    low, high = np.zeros(_DEPTH), np.zeros(_DEPTH)
    high[0] = 1.0
    top = 0
    which = first
    while top >= 0:
        a, b = low[top], high[top]
        top -= 1
        px, py = point_on_edge(edge, 0.5 * (a + b))
        half = 0.5 * (b - a) * length
        gap, which = nearest_edge(edges, nodes, root, first, count, px, py, math.inf, which)
        if gap + half <= tolerance:
            continue
        take_part(edge, a, b, part)
        if tube_bound(edges[which], part, 2.0 * half) <= tolerance:
            continue
        is_out = gap > 0.0 and winding_number(edges, nodes, root, first, count, px, py) == 0
        if is_out and gap > tolerance:
            return True
        if half < _FINEST * tolerance:
            continue
        is_clear = gap > half or not meets_run(
            edges, nodes, root, first, count, part, 0.001 * tolerance
        )
        if is_clear and not is_out:
            continue
        if b - a > 1e-15 and top < _DEPTH - 3:
            low[top + 1], high[top + 1] = a, 0.5 * (a + b)
            low[top + 2], high[top + 2] = 0.5 * (a + b), b
            top += 2
    return False


@inner
def _stays_inside(
    edges: F64, nodes: F64, starts: I64, outer: int, within: int, tolerance: float
) -> bool:
    """Return whether no point of path `within` lies outside path `outer` by more than tolerance."""
    first, count = starts[outer], starts[outer + 1] - starts[outer]
    root = 2 * first - outer
    stack = np.zeros((_DEPTH, 3), np.int64)
    stack[0, 0], stack[0, 1] = 2 * starts[within] - within, starts[within]
    stack[0, 2] = starts[within + 1] - starts[within]
    top = 0
    while top >= 0:
        node, start, n = stack[top, 0], stack[top, 1], stack[top, 2]
        top -= 1
        px = 0.5 * (nodes[node, 0] + nodes[node, 2])
        py = 0.5 * (nodes[node, 1] + nodes[node, 3])
        reach = 0.5 * math.hypot(nodes[node, 2] - nodes[node, 0], nodes[node, 3] - nodes[node, 1])
        gap, _ = nearest_edge(
            edges, nodes, root, first, count, px, py, (reach + tolerance) * (1.0 + 1e-9), -1
        )
        if gap + reach <= tolerance:
            continue
        if gap > reach and gap > 0.0:  # the whole run lies on one side
            if winding_number(edges, nodes, root, first, count, px, py) != 0:
                continue
            if gap - reach > tolerance:
                return False
        if n == 1:
            if _edge_leaves(edges, nodes, root, first, count, edges[start], tolerance):
                return False
            continue
        half = n // 2
        stack[top + 1, 0], stack[top + 1, 1], stack[top + 1, 2] = node + 1, start, half
        stack[top + 2, 0], stack[top + 2, 1] = node + 2 * half, start + half
        stack[top + 2, 2] = n - half
        top += 2
    return True


@inner
def _box_holds(outer: F64, within: F64, tolerance: float) -> bool:
    return bool(
        outer[0] - tolerance <= within[0]
        and outer[1] - tolerance <= within[1]
        and outer[2] + tolerance >= within[2]
        and outer[3] + tolerance >= within[3]
    )


@inner
def _contains(
    edges: F64, nodes: F64, starts: I64, closed: BOOL, box: F64, p: int, q: int, tolerance: float
) -> bool:
    if not _stays_inside(edges, nodes, starts, p, q, tolerance):
        return False
    is_same = (
        closed[q]
        and _box_holds(box[q], box[p], tolerance)
        and _stays_inside(edges, nodes, starts, q, p, tolerance)
    )
    return not is_same


@kernel
def find_parents(
    edges: F64,
    nodes: F64,
    starts: I64,
    closed: BOOL,
    box: F64,
    size: F64,
    order: I64,
    tree: F64,
    tolerance: float,
) -> I64:
    """Return the smallest container of each path; `tree` stands over the closed paths in `order`.

    Its fifth column is the least size below a node: the branch with the smaller one is searched
    first, and none that cannot hold a smaller container than the one found.
    """
    parent = np.full(len(starts) - 1, -1, np.int64)
    stack = np.zeros((_DEPTH, 3), np.int64)
    for q in range(len(parent)):
        best = math.inf
        stack[0, 0], stack[0, 1], stack[0, 2] = 0, 0, len(order)
        top = 0
        while top >= 0:
            node, first, n = stack[top, 0], stack[top, 1], stack[top, 2]
            top -= 1
            if tree[node, 4] > best or not _box_holds(tree[node], box[q], tolerance):
                continue
            if n == 1:
                p = order[first]
                is_better = size[p] < best or p < parent[q]  # of equals the first
                if (
                    is_better
                    and size[p] > size[q]
                    and _contains(edges, nodes, starts, closed, box, p, q, tolerance)
                ):
                    best, parent[q] = size[p], p
                continue
            half = n // 2
            right = node + 2 * half
            swap = 1 if tree[node + 1, 4] <= tree[right, 4] else 0
            stack[top + 1 + swap, 0], stack[top + 1 + swap, 1] = node + 1, first
            stack[top + 1 + swap, 2] = half
            stack[top + 2 - swap, 0], stack[top + 2 - swap, 1] = right, first + half
            stack[top + 2 - swap, 2] = n - half
            top += 2
    return parent
