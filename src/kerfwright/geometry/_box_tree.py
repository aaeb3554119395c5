"""Trees of boxes over edges, and what is asked of them from compiled code.

A tree stands over a run of n rows (edges, or paths) and has 2 n - 1 nodes in preorder: the left
child of a node is the next row, the right child lies ``2 * left count`` rows on, with the left
half taking ``n // 2`` of the rows. So no links are stored. Trees over runs stand one after the
other: the tree of run k begins at node ``2 * starts[k] - k``.
"""

from __future__ import annotations

import math

import numpy as np

from kerfwright.geometry._edge_kernels import (
    distance_of_edges,
    distance_to_edge,
    frame_of,
    into_frame,
    signed_distance,
)
from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel

_DEPTH = 128  # two entries a level suffice for any run that fits in memory


@kernel
def build_nodes(boxes: F64, starts: I64) -> F64:
    """Return the nodes of the trees over runs of boxes: x0, y0, x1, y1, the least of a fifth."""
    return nodes_of(boxes, starts)


@inner
def nodes_of(boxes: F64, starts: I64) -> F64:
    """Return what `build_nodes` does, to compiled code."""
    nodes = np.zeros((2 * len(boxes) - (len(starts) - 1), boxes.shape[1]))
    stack = np.zeros((_DEPTH, 4), np.int64)
    for run in range(len(starts) - 1):
        top = 0
        _push(stack, 0, 2 * starts[run] - run, starts[run], starts[run + 1] - starts[run])
        stack[0, 3] = 0
        while top >= 0:
            node, first, count = stack[top, 0], stack[top, 1], stack[top, 2]
            half = count // 2
            right = node + 2 * half
            if count == 1:
                nodes[node] = boxes[first]
                top -= 1
            elif stack[top, 3] == 1:
                _join(nodes[node], nodes[node + 1], nodes[right])
                top -= 1
            else:
                stack[top : top + 3, 3] = 0
                stack[top, 3] = 1
                _push(stack, top + 1, node + 1, first, half)
                _push(stack, top + 2, right, first + half, count - half)
                top += 2
    return nodes


@kernel
def spread_order(boxes: F64) -> I64:
    """Return an order of boxes under which the tree over one run splits the plane well.

    Each half of a run takes the lower half of the middles along the wider axis. Of boxes with the
    same middle the smaller comes first.
    """
    return order_of(boxes)


@inner
def order_of(boxes: F64) -> I64:
    """Return what `spread_order` does, to compiled code."""
    count = len(boxes)
    order = np.arange(count)
    middle = np.zeros((count, 2))
    for i in range(count):
        middle[i, 0], middle[i, 1] = boxes[i, 0] + boxes[i, 2], boxes[i, 1] + boxes[i, 3]
    stack = np.zeros((_DEPTH, 2), np.int64)
    stack[0, 1] = count
    top = 0
    while top >= 0:
        low, high = stack[top, 0], stack[top, 1]
        top -= 1
        if high - low < 2:
            continue
        part = order[low:high]
        wide_x = np.max(middle[part, 0]) - np.min(middle[part, 0])
        wide_y = np.max(middle[part, 1]) - np.min(middle[part, 1])
        if wide_x == 0.0 and wide_y == 0.0:
            size = boxes[part, 2] - boxes[part, 0] + boxes[part, 3] - boxes[part, 1]
            order[low:high] = part[np.argsort(size, kind="mergesort")]
            continue
        axis = 0 if wide_x >= wide_y else 1
        order[low:high] = part[np.argsort(middle[part, axis], kind="mergesort")]
        half = low + (high - low) // 2
        stack[top + 1, 0], stack[top + 1, 1] = low, half
        stack[top + 2, 0], stack[top + 2, 1] = half, high
        top += 2
    return order


@inner
def _join(out: F64, one: F64, two: F64) -> None:
    for c in range(len(out)):
        out[c] = max(one[c], two[c]) if c in (2, 3) else min(one[c], two[c])


@inner
def _push(stack: I64, at: int, node: int, first: int, count: int) -> None:
    stack[at, 0], stack[at, 1], stack[at, 2] = node, first, count


@inner
def box_gap(node: F64, px: float, py: float) -> float:
    """Return the distance of a point to a box, 0 inside."""
    dx = max(node[0] - px, px - node[2], 0.0)
    dy = max(node[1] - py, py - node[3], 0.0)
    return math.hypot(dx, dy)


@inner
def boxes_gap(one: F64, two: F64) -> float:
    """Return the distance of two boxes, 0 when they overlap."""
    dx = max(one[0] - two[2], two[0] - one[2], 0.0)
    dy = max(one[1] - two[3], two[1] - one[3], 0.0)
    return math.hypot(dx, dy)


@inner
def nearest_edge(
    edges: F64,
    nodes: F64,
    root: int,
    first: int,
    count: int,
    px: float,
    py: float,
    limit: float,
    guess: int,
) -> tuple[float, int]:
    """Return the distance of a point to a run of edges and the edge; `limit` and -1 if farther.

    A good guess of the edge, -1 for none, spares most of the search.
    """
    best, which = limit, -1
    if guess >= 0:
        d = distance_to_edge(edges[guess], px, py)
        if d < best:
            best, which = d, guess
    stack = np.zeros((_DEPTH, 3), np.int64)
    gaps = np.zeros(_DEPTH)
    _push(stack, 0, root, first, count)
    gaps[0] = box_gap(nodes[root], px, py)
    top = 0
    while top >= 0:
        node, start, n = stack[top, 0], stack[top, 1], stack[top, 2]
        if gaps[top] >= best:
            top -= 1
        elif n == 1:
            d = distance_to_edge(edges[start], px, py)
            if d < best:
                best, which = d, start
            top -= 1
        else:
            half = n // 2
            right = node + 2 * half
            left_gap, right_gap = box_gap(nodes[node + 1], px, py), box_gap(nodes[right], px, py)
            swap = 1 if left_gap <= right_gap else 0  # the nearer child goes on top
            _push(stack, top + swap, node + 1, start, half)
            gaps[top + swap] = left_gap
            _push(stack, top + 1 - swap, right, start + half, n - half)
            gaps[top + 1 - swap] = right_gap
            top += 1
    return best, which


@inner
def _crossings_of_edge(edge: F64, px: float, py: float) -> int:
    """Return the signed count of crossings of an edge with the ray from a point towards +x.

    The chord is counted by the half-open rule of heights; the piece between chord and arc is
    added where it holds the point. Both ask on which side of the chord the point lies by one
    number, read for a point moved a hair to +x and less to +y, so that they cannot disagree.
    """
    side = (edge[2] - edge[0]) * (py - edge[1]) - (px - edge[0]) * (edge[3] - edge[1])
    if side == 0.0:
        side = edge[1] - edge[3]
        if side == 0.0:
            side = edge[2] - edge[0]
    total = 0
    if edge[1] <= py < edge[3] and side > 0.0:
        total += 1
    elif edge[3] <= py < edge[1] and side < 0.0:
        total -= 1
    if edge[4] != 0.0 and (side < 0.0) == (edge[4] > 0.0) and side != 0.0:
        mx, my, ux, uy, a, b, mirror = frame_of(edge)
        x, y = into_frame(mx, my, ux, uy, mirror, px, py)
        if a > 0.0 and b > 0.0 and signed_distance(x, y, a, b) < 0.0:
            total += 1 if edge[4] > 0.0 else -1
    return total


@inner
def winding_number(
    edges: F64, nodes: F64, root: int, first: int, count: int, px: float, py: float
) -> int:
    """Return how often a closed run of edges winds around a point, counter-clockwise positive.

    Exact for arcs. A run whose box does not hold the point counts by its two ends alone.
    """
    total = 0
    stack = np.zeros((_DEPTH, 3), np.int64)
    _push(stack, 0, root, first, count)
    top = 0
    while top >= 0:
        node, start, n = stack[top, 0], stack[top, 1], stack[top, 2]
        top -= 1
        box = nodes[node]
        if py < box[1] or py > box[3] or px > box[2]:
            continue
        if px < box[0]:
            begin, end = edges[start, 1], edges[start + n - 1, 3]
            total += int(begin <= py < end) - int(end <= py < begin)
            continue
        if n == 1:
            total += _crossings_of_edge(edges[start], px, py)
            continue
        half = n // 2
        _push(stack, top + 1, node + 1, start, half)
        _push(stack, top + 2, node + 2 * half, start + half, n - half)
        top += 2
    return total


@inner
def meets_run(
    edges: F64, nodes: F64, root: int, first: int, count: int, part: F64, near: float
) -> bool:
    """Return whether a piece of an edge comes as near as `near` to any edge of a run."""
    rise = 0.5 * abs(part[4]) * math.hypot(part[2] - part[0], part[3] - part[1])
    box = np.zeros(4)
    box[0], box[1] = min(part[0], part[2]) - rise, min(part[1], part[3]) - rise
    box[2], box[3] = max(part[0], part[2]) + rise, max(part[1], part[3]) + rise
    stack = np.zeros((_DEPTH, 3), np.int64)
    _push(stack, 0, root, first, count)
    top = 0
    while top >= 0:
        node, start, n = stack[top, 0], stack[top, 1], stack[top, 2]
        top -= 1
        if boxes_gap(nodes[node], box) > near:
            continue
        if n == 1:
            if distance_of_edges(edges[start], part) <= near:
                return True
            continue
        half = n // 2
        _push(stack, top + 1, node + 1, start, half)
        _push(stack, top + 2, node + 2 * half, start + half, n - half)
        top += 2
    return False
