"""A first order: always on to the cut that is reached soonest among those that may come next.

Cuts wait until all that must come before them are done. Those that may be done stand as live rows
in a k-d tree, so that a whole order costs about n log n. What remains after it (crossings, cuts
left behind) is the business of improvement, not of this file.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.errors import ModelError
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.sequence.cost import MM_PER_STEP, link_s, over_s, turn_rad
from kerfwright.sequence.cuts import Cuts
from kerfwright.sequence.precedence import Graph
from kerfwright.sequence.tree import Tree, gap_mm, least_turn_rad, nearer_first


class _Ways(NamedTuple):
    """Cuts and their rows."""

    pose_in: F64
    pose_out: F64
    first_row: I64
    cut_of_row: I64
    head: I64
    group: I64


class _Waiting(NamedTuple):
    """What is still to be done; made and written inside the kernel."""

    first_after: I64
    after: I64
    waits: I64
    alive: BOOL
    live: I64
    stack: I64


def greedy_order(
    cuts: Cuts, graph: Graph, group: I64, tree: Tree, law: F64, *, begin_with: int = -1
) -> I64:
    """Return the cuts in a good order that breaks no precedence, shape (N,).

    Parameters
    ----------
    cuts : Cuts
        Cuts and the ways to do them.
    graph : Graph
        What must come before what.
    group : ndarray of shape (N,), int
        Tool group of each cut; groups are done in rising order.
    tree : Tree
        Tree over the entries.
    law : ndarray of shape (4, 3)
        See `travel_law`.
    begin_with : int
        Cut to begin with; -1 takes the one reached soonest from the job's lower left corner.

    Raises
    ------
    ModelError
        If the groups do not fit the precedence.
    """
    ways = _Ways(cuts.pose_in, cuts.pose_out, cuts.first_row, cuts.cut_of_row, cuts.head, group)
    groups = int(group.max(initial=-1)) + 1
    found = _walk(ways, graph.first, graph.after, graph.waits_for(), tree, law, begin_with, groups)
    if (found < 0).any():
        msg = "the tool groups leave cuts that may never begin; their precedence runs in a circle"
        raise ModelError(msg)
    return found


@kernel
def _walk(
    ways: _Ways,
    first_after: I64,
    after: I64,
    waits_for: I64,
    tree: Tree,
    law: F64,
    begin_with: int,
    groups: int,
) -> I64:
    n = len(ways.head)
    alive, live = np.zeros(len(tree.leaf), np.bool_), np.zeros(len(tree.low), np.int64)
    stack = np.zeros(len(waits_for), np.int64)
    waiting = _Waiting(first_after, after, waits_for.copy(), alive, live, stack)
    found, done, row = np.full(n, -1), 0, -1
    branches, at, head = np.zeros(64, np.int64), np.zeros(3), -1
    _release_free_nodes(ways, waiting, tree)
    for now in range(groups):
        turns = 1.0
        for cut in range(n):
            if ways.group[cut] == now and waiting.waits[cut] == 0:
                _set_alive(cut, 1, ways, waiting, tree)
                turns = 1.0 if head < 0 or head == ways.head[cut] else 0.0
        while waiting.live[0] > 0:
            if done == 0 and begin_with >= 0:
                row = ways.first_row[begin_with]
            else:
                row = _soonest(at, turns, ways.pose_in, waiting, tree, law, branches)
            cut = ways.cut_of_row[row]
            found[done], at, head, turns = cut, ways.pose_out[row], ways.head[cut], 1.0
            done += 1
            _set_alive(cut, -1, ways, waiting, tree)
            _release(cut, now, ways, waiting, tree)
    return found


@inner
def _set_alive(cut: int, step: int, ways: _Ways, waiting: _Waiting, tree: Tree) -> None:
    """Let the rows of a cut be found (1), or no longer (-1)."""
    for row in range(ways.first_row[cut], ways.first_row[cut + 1]):
        waiting.alive[row] = step > 0
        node = tree.leaf[row]
        while node >= 0:
            waiting.live[node] += step
            node = (node + 1) // 2 - 1


@inner
def _release_free_nodes(ways: _Ways, waiting: _Waiting, tree: Tree) -> None:
    """Take out the nodes that stand for no cut and wait for nothing."""
    n = len(ways.head)
    free = waiting.waits.copy()
    for node in range(n, len(free)):
        if free[node] == 0:
            _release(node, -1, ways, waiting, tree)


@inner
def _release(node: int, now: int, ways: _Ways, waiting: _Waiting, tree: Tree) -> None:
    """Take a node as done and let begin what waited for it alone."""
    n, depth = len(ways.head), 1
    waiting.stack[0] = node
    while depth > 0:
        depth -= 1
        top = waiting.stack[depth]
        for i in range(waiting.first_after[top], waiting.first_after[top + 1]):
            after = waiting.after[i]
            waiting.waits[after] -= 1
            if waiting.waits[after] == 0:
                if after >= n:
                    waiting.stack[depth] = after
                    depth += 1
                elif ways.group[after] == now:
                    _set_alive(after, 1, ways, waiting, tree)


@inner
def _soonest(
    at: F64, turns: float, pose: F64, waiting: _Waiting, tree: Tree, law: F64, branches: I64
) -> int:
    """Return the live row reached soonest; among equals the nearer one, then the first."""
    best, best_time, best_over = -1, np.inf, np.inf
    branches[0], depth = 0, 1
    while depth > 0:
        depth -= 1
        node = branches[depth]
        if waiting.live[node] == 0 or not _may_hold(
            at, turns, tree.box[node], law, best_time, best_over
        ):
            continue
        if 2 * node + 1 < len(tree.low):
            near, far = nearer_first(at, node, tree.box)
            branches[depth], branches[depth + 1] = far, near
            depth += 2
            continue
        for i in range(tree.low[node], tree.high[node]):
            row = tree.order[i]
            if waiting.alive[row]:
                dx = abs(pose[row, 0] - at[0]) * MM_PER_STEP
                dy = abs(pose[row, 1] - at[1]) * MM_PER_STEP
                time = link_s(dx, dy, turns * turn_rad(at[2], pose[row, 2]), law)
                over = over_s(dx, dy, law)
                nearer = over < best_over or (over == best_over and row < best)
                if time < best_time or (time == best_time and nearer):
                    best, best_time, best_over = row, time, over
    return best


@inner
def _may_hold(at: F64, turns: float, box: F64, law: F64, time: float, over: float) -> bool:
    """Return whether a node may hold a row as good as the best so far."""
    dx, dy = gap_mm(box[0], box[2], at[0]), gap_mm(box[1], box[3], at[1])
    least_over = over_s(dx, dy, law)
    turn = turns * least_turn_rad(box, at[2])
    least = link_s(dx, dy, turn, law) * (1.0 - 1e-12)
    return least <= time and not (least >= time * (1.0 - 1e-9) and least_over > over)
