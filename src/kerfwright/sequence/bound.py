"""A time that no order of the cuts can beat.

Any order of N cuts, whatever its entries and directions, goes from cut to cut over N - 1 links.
Seen as edges between cuts these links make a path through all of them, which is a tree that spans
them. The link from i to j takes at least ``w(i, j)``: the least of `least_s` over all exits of one
and entries of the other, either way round. `least_s` holds for every link, because x, y and C each
start and end with at most their allowed jump of speed, and the way there is one block. So the
travel time of any order is at least the weight of the lightest tree that spans all cuts under w:
the bound. Rising, coming down, tool changes and the ways from and to the park position are left
out; they only add. Between two heads C does not count.

The tree is built after Boruvka: every component looks for its lightest edge to another one, and
all these edges are joined, at most log2 N times; k-d trees answer the questions.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.sequence.cost import MM_PER_STEP, least_s, reach_within, turn_rad
from kerfwright.sequence.cuts import Cuts
from kerfwright.sequence.tree import Tree, build_tree, gap_mm, least_turn_rad, nearer_first


class _Search(NamedTuple):
    """What the search for light edges knows; made inside the kernel.

    Per part, named after its first cut: the cut `near` that its lightest edge leads to, the time
    of that edge, the cut it starts from, and how far x, y and C get in that time.
    """

    cut_of_row: I64
    head: I64
    part: I64
    near: I64
    near_time: F64
    start: I64
    reach: F64


def travel_bound_s(cuts: Cuts, law: F64) -> float:
    """Return a time below which no order of the cuts can stay on its links [s]."""
    if len(cuts) < 2:
        return 0.0
    trees = build_tree(cuts.pose_in), build_tree(cuts.pose_out)
    return float(
        _spanning_weight(cuts.pose_in, cuts.pose_out, *trees, cuts.cut_of_row, cuts.head, law)
    )


@kernel
def _spanning_weight(
    pose_in: F64,
    pose_out: F64,
    tree_in: Tree,
    tree_out: Tree,
    cut_of_row: I64,
    head: I64,
    law: F64,
) -> float:
    weight, parts = 0.0, len(head)
    part, near, start = np.arange(parts), np.zeros(parts, np.int64), np.zeros(parts, np.int64)
    search = _Search(cut_of_row, head, part, near, np.zeros(parts), start, np.zeros((parts, 3)))
    floor_out, floor_in = np.zeros(len(pose_out)), np.zeros(len(pose_in))
    while parts > 1:
        search.near[:] = -1
        search.near_time[:] = np.inf
        search.reach[:] = np.inf
        _look(pose_out, pose_in, tree_in, floor_out, search, law)
        _look(pose_in, pose_out, tree_out, floor_in, search, law)
        for one in range(len(search.near)):
            if search.near[one] >= 0:
                a, b = _root(search.part, search.start[one]), _root(search.part, search.near[one])
                if a != b:
                    weight += search.near_time[one]
                    parts -= 1
                    search.part[max(a, b)] = min(a, b)
        for cut in range(len(search.part)):
            search.part[cut] = _root(search.part, cut)
    return weight


@inner
def _root(part: I64, cut: int) -> int:
    while part[cut] != cut:
        part[cut] = part[part[cut]]
        cut = part[cut]
    return cut


@inner
def _look(away: F64, towards: F64, tree: Tree, floor: F64, search: _Search, law: F64) -> None:
    """Better the lightest edge of every part by ways from `away` to rows of the tree.

    `floor` keeps what a row cannot beat; it stays true, since parts only grow.
    """
    whole = _part_of_nodes(tree, search)
    turns = search.head.min() == search.head.max()
    branches = np.zeros(64, np.int64)
    for row in tree.order:  # neighbours one after the other, so that memory is near
        cut = search.cut_of_row[row]
        mine = search.part[cut]
        if floor[row] >= search.near_time[mine]:
            continue
        branches[0], depth = 0, 1
        while depth > 0:
            depth -= 1
            node = branches[depth]
            if whole[node] == mine or not _may_hold(
                away[row], turns, tree.box[node], search.reach[mine]
            ):
                continue
            if 2 * node + 1 < len(tree.low):
                near, far = nearer_first(away[row], node, tree.box)
                branches[depth], branches[depth + 1] = far, near
                depth += 2
            else:
                _look_in_leaf(
                    away[row],
                    cut,
                    towards,
                    tree.order[tree.low[node] : tree.high[node]],
                    search,
                    law,
                )
        floor[row] = search.near_time[mine]


@inner
def _look_in_leaf(at: F64, cut: int, towards: F64, rows: I64, search: _Search, law: F64) -> None:
    mine = search.part[cut]
    for row in rows:
        other = search.cut_of_row[row]
        if search.part[other] != mine:
            dx = abs(towards[row, 0] - at[0]) * MM_PER_STEP
            dy = abs(towards[row, 1] - at[1]) * MM_PER_STEP
            if dx >= search.reach[mine, 0] or dy >= search.reach[mine, 1]:
                continue
            same = search.head[cut] == search.head[other]
            time = least_s(dx, dy, turn_rad(at[2], towards[row, 2]) if same else 0.0, law)
            if time < search.near_time[mine]:
                search.near[mine], search.near_time[mine] = other, time
                search.start[mine] = cut
                for i in range(3):
                    search.reach[mine, i] = reach_within(time, law[i, 0], law[i, 1], law[i, 2])


@inner
def _part_of_nodes(tree: Tree, search: _Search) -> I64:
    """Return the part all rows of a node belong to, -1 where they differ."""
    whole = np.full(len(tree.low), -1)
    for node in range(len(whole) - 1, -1, -1):
        if 2 * node + 1 < len(whole):
            one, other = whole[2 * node + 1], whole[2 * node + 2]
            whole[node] = one if one == other else -1
        else:
            rows = tree.order[tree.low[node] : tree.high[node]]
            whole[node] = search.part[search.cut_of_row[rows[0]]]
            for row in rows:
                if search.part[search.cut_of_row[row]] != whole[node]:
                    whole[node] = -1
                    break
    return whole


@inner
def _may_hold(at: F64, turns: bool, box: F64, reach: F64) -> bool:  # noqa: FBT001 - kernels take arguments by position
    if gap_mm(box[0], box[2], at[0]) >= reach[0] or gap_mm(box[1], box[3], at[1]) >= reach[1]:
        return False
    return not turns or least_turn_rad(box, at[2]) < reach[2]
