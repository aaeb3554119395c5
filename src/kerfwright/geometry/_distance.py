"""Compiled code of the distances between paths."""

from __future__ import annotations

import math

import numpy as np

from kerfwright.geometry._box_tree import boxes_gap, nearest_edge
from kerfwright.geometry._edge_kernels import (
    distance_of_edges,
    foot_on_edge,
    frame_of,
    into_frame,
    is_beside,
    length_of_edge,
    point_on_edge,
    take_part,
    tube_bound,
)
from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel

_DEPTH = 128


@kernel
def nearest_of_points(edges: F64, nodes: F64, xy: F64) -> tuple[F64, I64, F64, F64]:
    """Return distance, edge, fraction and foot for each point, of one tree over all edges."""
    count = len(xy)
    distance, row = np.zeros(count), np.zeros(count, np.int64)
    fraction, foot = np.zeros(count), np.zeros((count, 2))
    for i in range(count):
        px, py = xy[i, 0], xy[i, 1]
        guess = row[i - 1] if i > 0 else 0
        _, row[i] = nearest_edge(edges, nodes, 0, 0, len(edges), px, py, math.inf, guess)
        distance[i], fraction[i], foot[i, 0], foot[i, 1] = foot_on_edge(edges[row[i]], px, py)
    return distance, row, fraction, foot


@inner
def _distance_of_runs(
    edges: F64, nodes: F64, starts: I64, one: int, two: int, limit: float
) -> float:
    """Return the least distance of two runs of edges, `limit` if they are farther apart."""
    best = limit
    stack = np.zeros((2 * _DEPTH, 6), np.int64)
    stack[0, 0], stack[0, 1] = 2 * starts[one] - one, starts[one]
    stack[0, 2] = starts[one + 1] - starts[one]
    stack[0, 3], stack[0, 4] = 2 * starts[two] - two, starts[two]
    stack[0, 5] = starts[two + 1] - starts[two]
    top = 0
    while top >= 0:
        a, first_a, n_a = stack[top, 0], stack[top, 1], stack[top, 2]
        b, first_b, n_b = stack[top, 3], stack[top, 4], stack[top, 5]
        top -= 1
        if boxes_gap(nodes[a], nodes[b]) >= best:
            continue
        if n_a == 1 and n_b == 1:
            best = min(best, distance_of_edges(edges[first_a], edges[first_b]))
            continue
        # the longer run is halved; the half that is nearer goes on top
        is_a = n_a >= n_b
        node, first, n = (a, first_a, n_a) if is_a else (b, first_b, n_b)
        other = b if is_a else a
        half = n // 2
        right = node + 2 * half
        gap_left = boxes_gap(nodes[node + 1], nodes[other])
        swap = 1 if gap_left <= boxes_gap(nodes[right], nodes[other]) else 0
        column = 0 if is_a else 3
        for row in (top + 1, top + 2):
            stack[row, 0], stack[row, 1], stack[row, 2] = a, first_a, n_a
            stack[row, 3], stack[row, 4], stack[row, 5] = b, first_b, n_b
        row = top + 1 + swap
        stack[row, column], stack[row, column + 1], stack[row, column + 2] = node + 1, first, half
        row = top + 2 - swap
        stack[row, column], stack[row, column + 1] = right, first + half
        stack[row, column + 2] = n - half
        top += 2
    return best


@kernel
def distances_of_pairs(edges: F64, nodes: F64, starts: I64, pairs: I64, limit: F64) -> F64:
    """Return the least distance of each pair of runs, its limit if they are farther apart."""
    out = np.zeros(len(pairs))
    for i in range(len(pairs)):
        out[i] = _distance_of_runs(edges, nodes, starts, pairs[i, 0], pairs[i, 1], limit[i])
    return out


@kernel
def pairs_of_boxes(
    tree: F64, order: I64, box: F64, limit: float, max_pairs: int
) -> tuple[int, I64]:
    """Return how many pairs of boxes come as near as `limit`, and the pairs, the smaller first."""
    pairs = np.zeros((1024, 2), np.int64)
    stack = np.zeros((_DEPTH, 3), np.int64)
    count = 0
    for q in range(len(order)):
        stack[0, 0], stack[0, 1], stack[0, 2] = 0, 0, len(order)
        top = 0
        while top >= 0:
            node, first, n = stack[top, 0], stack[top, 1], stack[top, 2]
            top -= 1
            if boxes_gap(tree[node], box[q]) > limit:
                continue
            if n == 1:
                if order[first] > q:
                    if count >= max_pairs:
                        return max_pairs + 1, pairs
                    if count == len(pairs):
                        more = np.zeros((2 * count, 2), np.int64)
                        more[:count] = pairs
                        pairs = more
                    pairs[count, 0], pairs[count, 1] = q, order[first]
                    count += 1
                continue
            half = n // 2
            stack[top + 1, 0], stack[top + 1, 1], stack[top + 1, 2] = node + 1, first, half
            stack[top + 2, 0], stack[top + 2, 1] = node + 2 * half, first + half
            stack[top + 2, 2] = n - half
            top += 2
    return count, pairs[:count].copy()


@inner
def _circles_apart(edge: F64, part: F64) -> float:
    """Return a bound on the distance from each point of an arc to another; inf if none holds.

    Centres and radii differ by so much at most. Seen from a centre inside the other circle an
    arc turns one way only, so when both its ends have their feet on the edge, all of it has.
    """
    mx, my, ux, uy, a, b, mirror = frame_of(edge)
    nx, ny, vx, vy, c, d, other = frame_of(part)
    if a == 0.0 or c == 0.0 or b < 1e-6 or d < 1e-6:
        return math.inf
    for end in range(2):
        x, y = into_frame(mx, my, ux, uy, mirror, part[2 * end], part[2 * end + 1])
        if not is_beside(x, y, a, b):
            return math.inf
    radius, lift = 0.5 * a * (1.0 + b * b) / b, 0.5 * a * (1.0 - b * b) / b
    radius_2, lift_2 = 0.5 * c * (1.0 + d * d) / d, 0.5 * c * (1.0 - d * d) / d
    apart = math.hypot(
        mx - mirror * lift * uy - nx + other * lift_2 * vy,
        my + mirror * lift * ux - ny - other * lift_2 * vx,
    )
    return apart + abs(radius - radius_2) if apart < radius_2 else math.inf


@kernel
def reach_from(
    source: F64, target: F64, nodes: F64, accuracy: float, limit: int
) -> tuple[float, float, int]:
    """Return bounds of the greatest distance from a point of `source` to `target`, and the work."""
    low, high, pieces = 0.0, 0.0, 0
    part = np.zeros(5)
    begin, end, guess = np.zeros(_DEPTH), np.zeros(_DEPTH), np.zeros(_DEPTH, np.int64)
    for row in range(len(source)):
        edge = source[row]
        length = length_of_edge(edge)
        begin[0], end[0], guess[0] = 0.0, 1.0, 0
        top = 0
        while top >= 0:
            a, b = begin[top], end[top]
            top -= 1
            pieces += 1
            if pieces > limit:
                return low, math.inf, pieces
            px, py = point_on_edge(edge, 0.5 * (a + b))
            gap, which = nearest_edge(
                target, nodes, 0, 0, len(target), px, py, math.inf, guess[top + 1]
            )
            low = max(low, gap)
            half = 0.5 * (b - a) * length
            bound = gap + half
            if bound > low + accuracy:
                take_part(edge, a, b, part)
                bound = min(
                    bound,
                    tube_bound(target[which], part, 2.0 * half),
                    _circles_apart(target[which], part),
                )
            if bound <= low + accuracy or b - a < 1e-15 or top > _DEPTH - 4:
                high = max(high, bound)
                continue
            begin[top + 1], end[top + 1], guess[top + 1] = a, 0.5 * (a + b), which
            begin[top + 2], end[top + 2], guess[top + 2] = 0.5 * (a + b), b, which
            top += 2
    return low, max(high, low), pieces
