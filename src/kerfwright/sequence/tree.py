"""A k-d tree over rows from which rows can be taken out, for nearest-in-time questions.

Nodes are numbered like a heap: the children of node k are 2k + 1 and 2k + 2. Each node knows the
box of its rows and an interval of directions that holds theirs, so that whole branches are left
out by a time that none of their rows can beat.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.sequence.cost import MM_PER_STEP, STEPS_PER_TURN, turn_rad

_ROWS_PER_LEAF = 6


class Tree(NamedTuple):
    """Rows sorted into nodes; plain arrays, because kernels take nothing else.

    `order` (R,) lists the rows node by node, `low` and `high` (Q,) say which part of it each node
    holds, `box` (Q, 6) is x0, y0, x1, y1, middle direction and greatest distance from it [steps],
    and `leaf` (R,) is the leaf of each row.
    """

    order: I64
    low: I64
    high: I64
    box: F64
    leaf: I64


def build_tree(pose: F64) -> Tree:
    """Return the tree over poses in steps, shape (R, 3); there must be at least one row."""
    depth = 0
    while len(pose) > _ROWS_PER_LEAF << depth:
        depth += 1
    order, low, high = _split(pose, depth)
    box, leaf = _boxes(pose, order, low, high)
    return Tree(order, low, high, box, leaf)


@inner
def _select(values: F64, order: I64, low: int, high: int, place: int) -> None:
    """Reorder a part of `order` so that the value at `place` stands as if sorted."""
    while high - low > 1:
        pivot = values[order[(low + high) // 2]]
        i, j = low, high - 1
        while i <= j:
            while values[order[i]] < pivot:
                i += 1
            while values[order[j]] > pivot:
                j -= 1
            if i <= j:
                order[i], order[j] = order[j], order[i]
                i += 1
                j -= 1
        if place <= j:
            high = j + 1
        elif place >= i:
            low = i
        else:
            return


@inner
def _width(values: F64, order: I64, low: int, high: int) -> float:
    least, most = np.inf, -np.inf
    for i in range(low, high):
        least, most = min(least, values[order[i]]), max(most, values[order[i]])
    return most - least


@kernel
def _split(pose: F64, depth: int) -> tuple[I64, I64, I64]:
    nodes = (2 << depth) - 1
    low, high = np.zeros(nodes, np.int64), np.zeros(nodes, np.int64)
    order = np.arange(len(pose))
    columns = pose.T.copy()
    high[0] = len(pose)
    for k in range((1 << depth) - 1):
        middle = (low[k] + high[k]) // 2
        wide = _width(columns[0], order, low[k], high[k])
        tall = _width(columns[1], order, low[k], high[k])
        _select(columns[0 if wide >= tall else 1], order, low[k], high[k], middle)
        low[2 * k + 1], high[2 * k + 1] = low[k], middle
        low[2 * k + 2], high[2 * k + 2] = middle, high[k]
    return order, low, high


@kernel
def _boxes(pose: F64, order: I64, low: I64, high: I64) -> tuple[F64, I64]:
    nodes = len(low)
    box, leaf = np.zeros((nodes, 6)), np.zeros(len(pose), np.int64)
    for k in range(nodes - 1, -1, -1):
        if 2 * k + 1 >= nodes:
            _leaf_box(pose, order[low[k] : high[k]], box[k])
            for i in range(low[k], high[k]):
                leaf[order[i]] = k
        else:
            _join_boxes(box[2 * k + 1], box[2 * k + 2], box[k])
    return box, leaf


@inner
def _leaf_box(pose: F64, rows: I64, box: F64) -> None:
    box[0], box[1], box[2], box[3] = np.inf, np.inf, -np.inf, -np.inf
    box[4] = pose[rows[0], 2]
    for row in rows:
        box[0], box[1] = min(box[0], pose[row, 0]), min(box[1], pose[row, 1])
        box[2], box[3] = max(box[2], pose[row, 0]), max(box[3], pose[row, 1])
        box[5] = max(box[5], abs(_ahead(pose[row, 2] - box[4])))


@inner
def _join_boxes(one: F64, other: F64, box: F64) -> None:
    box[0], box[1] = min(one[0], other[0]), min(one[1], other[1])
    box[2], box[3] = max(one[2], other[2]), max(one[3], other[3])
    ahead = _ahead(other[4] - one[4])
    first = min(-one[5], ahead - other[5])
    last = max(one[5], ahead + other[5])
    box[4] = (one[4] + (first + last) / 2.0) % STEPS_PER_TURN
    box[5] = (last - first) / 2.0


@inner
def _ahead(turn: float) -> float:
    """Return a difference of directions brought into half a turn either way [steps]."""
    return float(turn - STEPS_PER_TURN * np.floor(turn / STEPS_PER_TURN + 0.5))


@inner
def gap_mm(low: float, high: float, place: float) -> float:
    """Return how far a place lies outside an interval, all in steps [mm]."""
    return max(low - place, place - high, 0.0) * MM_PER_STEP


@inner
def least_turn_rad(box: F64, c: float) -> float:
    """Return the least turn from a direction to any row of a node [rad]."""
    # One step less: the middle of the interval is rounded.
    return max(turn_rad(c % STEPS_PER_TURN, float(box[4])) - (float(box[5]) + 1.0) * 1e-9, 0.0)


@inner
def nearer_first(at: F64, node: int, box: F64) -> tuple[int, int]:
    """Return the children of a node, the one nearer to a place first."""
    one, other = 2 * node + 1, 2 * node + 2
    return (one, other) if _away_mm(at, box[one]) <= _away_mm(at, box[other]) else (other, one)


@inner
def _away_mm(at: F64, box: F64) -> float:
    return gap_mm(box[0], box[2], at[0]) + gap_mm(box[1], box[3], at[1])
