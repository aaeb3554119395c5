"""Where offset primitives meet: nodes, and the pieces between them that keep the distance."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from kerfwright.geometry._box_tree import (
    box_gap,
    boxes_gap,
    nodes_of,
    order_of,
    winding_number,
)
from kerfwright.geometry._edge_kernels import (
    curvature_of_edge,
    foot_on_edge,
    length_of_edge,
    meetings_of_edges,
    point_on_edge,
    tangent_at,
)
from kerfwright.geometry._offset_parts import END, Parts
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner

_DEPTH = 128
_SLACK_MM = 1e-9  # ends this near to another primitive lie on it
SNAP_MM = 1e-7
"""Nodes of one primitive nearer than this are one."""
_NEARER_MM = 2e-10  # a point nearer to the source than this much less than the distance is not kept


class Source(NamedTuple):
    """The runs a group is offset from.

    Parameters
    ----------
    edges : ndarray of shape (E, 5), float
        Edges, run after run.
    starts : ndarray of shape (K + 1,), int
        First edge of each run.
    closed : ndarray of shape (K,), bool
        Whether a run is closed.
    flat : ndarray of shape (E, 2), bool
        Ends cut off square.
    runs : ndarray of shape (2 E - K, 4), float
        Box trees over the runs.
    order : ndarray of shape (E,), int
        Edges in the order of `tree`.
    tree : ndarray of shape (2 E - 1, 4), float
        Box tree over all edges.
    """

    edges: F64
    starts: I64
    closed: BOOL
    flat: BOOL
    runs: F64
    order: I64
    tree: F64


class Splits(NamedTuple):
    """Places where primitives meet others.

    Parameters
    ----------
    part : ndarray of shape (S,), int
        Primitive.
    fraction : ndarray of shape (S,), float
        Place along it, 0 to 1 of its length.
    node : ndarray of shape (S,), int
        Node there.
    xy : ndarray of shape (N, 2), float
        All nodes.
    root : ndarray of shape (N,), int
        A node that stands for each.
    """

    part: I64
    fraction: F64
    node: I64
    xy: F64
    root: I64


@inner
def boxes_of(edges: F64) -> F64:
    """Return x0, y0, x1, y1 around each edge, wide enough for its arc."""
    out = np.zeros((len(edges), 4))
    for i in range(len(edges)):
        e = edges[i]
        rise = 0.5 * abs(e[4]) * math.hypot(e[2] - e[0], e[3] - e[1])
        out[i, 0], out[i, 1] = min(e[0], e[2]) - rise, min(e[1], e[3]) - rise
        out[i, 2], out[i, 3] = max(e[0], e[2]) + rise, max(e[1], e[3]) + rise
    return out


@inner
def source_of(edges: F64, starts: I64, closed: BOOL, flat: BOOL) -> Source:
    """Return runs with their trees."""
    boxes = boxes_of(edges)
    order = order_of(boxes)
    whole = np.zeros(2, np.int64)
    whole[1] = len(edges)
    return Source(
        edges, starts, closed, flat, nodes_of(boxes, starts), order, nodes_of(boxes[order], whole)
    )


@inner
def is_nearer(source: Source, px: float, py: float, limit: float) -> bool:
    """Return whether a point is nearer to the source than a limit.

    Beyond the line across an end that is cut off square nothing is near that end.
    """
    stack = np.zeros((_DEPTH, 3), np.int64)
    stack[0, 2] = len(source.edges)
    top = 0
    while top >= 0:
        node, first, n = stack[top, 0], stack[top, 1], stack[top, 2]
        top -= 1
        if box_gap(source.tree[node], px, py) >= limit:
            continue
        if n > 1:
            half = n // 2
            stack[top + 1, 0], stack[top + 1, 1], stack[top + 1, 2] = node + 1, first, half
            stack[top + 2, 0], stack[top + 2, 1] = node + 2 * half, first + half
            stack[top + 2, 2] = n - half
            top += 2
            continue
        i = source.order[first]
        gap, fraction, _, _ = foot_on_edge(source.edges[i], px, py)
        beyond = (fraction <= 0.0 and source.flat[i, 0]) or (fraction >= 1.0 and source.flat[i, 1])
        if gap < limit and not beyond:
            return True
    return False


@inner
def is_inside(source: Source, px: float, py: float) -> bool:
    """Return whether a point lies in an odd number of the closed runs."""
    odd = False
    for run in range(len(source.closed)):
        first = source.starts[run]
        count = source.starts[run + 1] - first
        root = 2 * first - run
        if not source.closed[run] or box_gap(source.runs[root], px, py) > 0.0:
            continue
        if winding_number(source.edges, source.runs, root, first, count, px, py) != 0:
            odd = not odd
    return odd


@inner
def may_stay(source: Source, parts: Parts, distance: float, inside: int) -> I64:
    """Return the primitives of which some point may keep the distance on the side wanted.

    The distance to the source changes no faster than the place along a primitive; where the
    middle is further from the source than half the length, all of it lies on one side.
    """
    out = np.zeros(parts.size, np.int64)
    kept = 0
    any_flat = source.flat.any()  # there the distance jumps
    for i in range(parts.size):
        half = 0.5 * length_of_edge(parts.rows[i])
        limit = distance - half - _NEARER_MM
        px, py = point_on_edge(parts.rows[i], 0.5)
        if half == 0.0 or (not any_flat and limit > 0.0 and is_nearer(source, px, py, limit)):
            continue
        # Not nearer than `limit`, and where that is no less than half, on one side.
        if inside >= 0 and limit > half and is_inside(source, px, py) != (inside == 1):
            continue
        out[kept] = i
        kept += 1
    return out[:kept]


@inner
def _near_pairs(rows: F64) -> I64:
    """Return the pairs of edges whose boxes meet, shape (P, 2)."""
    if not len(rows):
        return np.zeros((0, 2), np.int64)
    boxes = boxes_of(rows)
    order = order_of(boxes)
    whole = np.zeros(2, np.int64)
    whole[1] = len(rows)
    tree = nodes_of(boxes[order], whole)
    stack = np.zeros((_DEPTH, 3), np.int64)
    pairs = np.zeros((4 * len(rows) + 16, 2), np.int64)
    count = 0
    for a in range(len(rows)):
        stack[0, 0], stack[0, 1], stack[0, 2] = 0, 0, len(rows)
        top = 0
        while top >= 0:
            at, first, n = stack[top, 0], stack[top, 1], stack[top, 2]
            top -= 1
            if boxes_gap(tree[at], boxes[a]) > _SLACK_MM:
                continue
            if n > 1:
                half = n // 2
                stack[top + 1, 0], stack[top + 1, 1], stack[top + 1, 2] = at + 1, first, half
                stack[top + 2, 0], stack[top + 2, 1] = at + 2 * half, first + half
                stack[top + 2, 2] = n - half
                top += 2
            elif order[first] > a:
                if count == len(pairs):
                    more = np.zeros((2 * count, 2), np.int64)
                    more[:count] = pairs
                    pairs = more
                pairs[count, 0], pairs[count, 1] = a, order[first]
                count += 1
    return pairs[:count]


@inner
def splits_of(parts: Parts, live: I64) -> Splits:
    """Return where live primitives meet one another; their own ends are among the splits."""
    rows = parts.rows[live]
    pairs = _near_pairs(rows)
    room = 2 * len(live) + 8 * len(pairs)
    part, node, fraction = np.zeros(room, np.int64), np.zeros(room, np.int64), np.zeros(room)
    xy = np.zeros((parts.nodes + 2 * len(pairs), 2))
    xy[: parts.nodes] = parts.xy[: parts.nodes]
    root = np.arange(len(xy))
    nodes, count = parts.nodes, 0
    for i in live:
        for end in range(2):
            part[count], fraction[count], node[count] = i, float(end), parts.node[i, end]
            count += 1
    met = np.zeros((2, 4))
    for p in range(len(pairs)):
        a, b = pairs[p, 0], pairs[p, 1]
        one, two = live[a], live[b]
        count = _ends_on(parts, one, two, part, fraction, node, root, count)
        count = _ends_on(parts, two, one, part, fraction, node, root, count)
        for k in range(meetings_of_edges(rows[a], rows[b], _SLACK_MM, met)):
            part[count], fraction[count], node[count] = one, met[k, 0], nodes
            part[count + 1], fraction[count + 1], node[count + 1] = two, met[k, 1], nodes
            xy[nodes, 0], xy[nodes, 1] = met[k, 2], met[k, 3]
            nodes += 1
            count += 2
    by = np.argsort(part[:count] + 0.5 * fraction[:count], kind="mergesort")
    part, fraction, node = part[by], fraction[by], node[by]
    _snap(part, node, xy, root)
    return Splits(part, fraction, node, xy, root)


@inner
def _snap(part: I64, node: I64, xy: F64, root: I64) -> None:
    """Make nodes that follow one another on a primitive, and are in one place, one."""
    for k in range(len(part) - 1):
        p, q = node[k], node[k + 1]
        near = math.hypot(xy[p, 0] - xy[q, 0], xy[p, 1] - xy[q, 1]) <= SNAP_MM
        if part[k] == part[k + 1] and near:
            _unite(root, p, q)
    for k in range(len(root)):
        root[k] = _find(root, k)


@inner
def _ends_on(
    parts: Parts, one: int, two: int, part: I64, fraction: F64, node: I64, root: I64, count: int
) -> int:
    """Split primitive `two` where an end of `one` lies on it; ends in one place are one node."""
    for end in range(2):
        px, py = parts.rows[one, 2 * end], parts.rows[one, 2 * end + 1]
        own = parts.node[one, end]
        if own in (parts.node[two, 0], parts.node[two, 1]):
            continue
        gap, at, _, _ = foot_on_edge(parts.rows[two], px, py)
        if gap > _SLACK_MM:
            continue
        if at <= 0.0 or at >= 1.0:
            _unite(root, own, parts.node[two, 0 if at <= 0.0 else 1])
        else:
            part[count], fraction[count], node[count] = two, at, own
            count += 1
    return count


@inner
def _find(root: I64, k: int) -> int:
    while root[k] != k:
        root[k] = root[root[k]]
        k = root[k]
    return k


@inner
def _unite(root: I64, p: int, q: int) -> None:
    p, q = _find(root, p), _find(root, q)
    if p < q:
        root[q] = p
    else:
        root[p] = q


@inner
def pieces_of(
    source: Source, parts: Parts, splits: Splits, distance: float, inside: int
) -> tuple[I64, F64]:
    """Return the pieces that keep the distance on the side wanted.

    Parameters
    ----------
    source, parts, splits
        The group.
    distance : float
        Distance to the source [mm].
    inside : int
        1 keeps pieces inside the region, 0 those outside, -1 all.

    Returns
    -------
    ndarray of shape (P, 3), int
        Node it begins and ends at, as it is travelled with the region on its left, and primitive.
    ndarray of shape (P, 2), float
        Fractions of the primitive it begins and ends at.
    """
    count = len(splits.part)
    pieces, span = np.zeros((count, 3), np.int64), np.zeros((count, 2))
    found = 0
    for k in range(count - 1):
        i = splits.part[k]
        u, v = splits.root[splits.node[k]], splits.root[splits.node[k + 1]]
        if splits.part[k + 1] != i or u == v:
            continue
        a, b = splits.fraction[k], splits.fraction[k + 1]
        px, py = _middle(parts, source, i, 0.5 * (a + b))
        if is_nearer(source, px, py, distance - _NEARER_MM):
            continue
        if inside >= 0 and is_inside(source, px, py) != (inside == 1):
            continue
        # What grows has its source on the left of travel, what shrinks on the right.
        forth = parts.left[i] == (inside == 1)
        if forth:
            pieces[found, 0], pieces[found, 1] = u, v
            span[found, 0], span[found, 1] = a, b
        else:
            pieces[found, 0], pieces[found, 1] = v, u
            span[found, 0], span[found, 1] = b, a
        pieces[found, 2] = i
        found += 1
    return pieces[:found], span[:found]


@inner
def _middle(parts: Parts, source: Source, i: int, fraction: float) -> tuple[float, float]:
    """Return a point of a primitive; of a line across an open end one a hair beyond the end."""
    px, py = point_on_edge(parts.rows[i], fraction)
    row, edge = parts.rows[i], source.edges[parts.source[i]]
    if parts.kind[i] != END or curvature_of_edge(row) != 0.0:
        return px, py
    at_end = row[2] == edge[2] and row[3] == edge[3]
    tx, ty = tangent_at(edge, 1.0 if at_end else 0.0)
    away = SNAP_MM if at_end else -SNAP_MM
    return px + away * tx, py + away * ty
