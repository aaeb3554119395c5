"""The few cuts of the same group that are reached soonest from each cut, by any of their rows."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.sequence.cost import MM_PER_STEP, link_s, turn_rad
from kerfwright.sequence.cuts import Cuts
from kerfwright.sequence.tree import Tree, gap_mm, least_turn_rad, nearer_first

_BEGINNINGS = 10


class _Rows(NamedTuple):
    """Where ways begin and end, and the cuts and groups of the rows."""

    begin: F64
    end: F64
    first_row: I64
    cut_of_row: I64
    group: I64


def nearest_cuts(
    cuts: Cuts, group: I64, tree: Tree, law: F64, *, count: int, backwards: bool = False
) -> tuple[I64, F64, I64]:
    """Return the cuts reached soonest from each cut, in which time [s] and from which of its rows.

    All three have the shape (N, count). Where a cut has more than some twenty rows, ways from a
    part of them are looked at.

    Parameters
    ----------
    cuts : Cuts
        Cuts and the ways to do them.
    group : ndarray of shape (N,), int
        Tool group of each cut; only cuts of one group are near one another.
    tree : Tree
        Tree over the entries; over the exits if `backwards`.
    law : ndarray of shape (4, 3)
        See `travel_law`.
    count : int
        How many cuts; where there are fewer, -1, infinity and -1 stand for them.
    backwards : bool
        Look for the cuts from which each cut is reached soonest.
    """
    begin, end = cuts.pose_out, cuts.pose_in
    if backwards:
        begin, end = end, begin
    rows = _Rows(begin, end, cuts.first_row, cuts.cut_of_row, group)
    return _search_all(rows, tree, law, count)


@kernel
def _search_all(rows: _Rows, tree: Tree, law: F64, count: int) -> tuple[I64, F64, I64]:
    n = len(rows.group)
    near, time_s = np.full((n, count), -1), np.full((n, count), np.inf)
    from_row, branches = np.full((n, count), -1), np.zeros(64, np.int64)
    for cut in range(n):
        # Of many rows every third, fifth, ... begins a search: an odd step meets both directions.
        step = ((rows.first_row[cut + 1] - rows.first_row[cut]) // _BEGINNINGS) | 1
        for row in range(rows.first_row[cut], rows.first_row[cut + 1], step):
            _search(row, near[cut], time_s[cut], from_row[cut], rows, tree, law, branches)
    return near, time_s, from_row


@inner
def _search(
    start: int,
    near: I64,
    time_s: F64,
    from_row: I64,
    rows: _Rows,
    tree: Tree,
    law: F64,
    branches: I64,
) -> None:
    """Go from one row through the tree and put what is nearer into the list of its cut."""
    at, own = rows.begin[start], rows.cut_of_row[start]
    branches[0], depth = 0, 1
    while depth > 0:
        depth -= 1
        node = branches[depth]
        box = tree.box[node]
        dx, dy = gap_mm(box[0], box[2], at[0]), gap_mm(box[1], box[3], at[1])
        if link_s(dx, dy, least_turn_rad(box, at[2]), law) * (1.0 - 1e-12) > time_s[-1]:
            continue
        if 2 * node + 1 < len(tree.low):
            closer, farther = nearer_first(at, node, tree.box)
            branches[depth], branches[depth + 1] = farther, closer
            depth += 2
            continue
        for i in range(tree.low[node], tree.high[node]):
            row = tree.order[i]
            cut = rows.cut_of_row[row]
            if cut != own and rows.group[cut] == rows.group[own]:
                dx = abs(rows.end[row, 0] - at[0]) * MM_PER_STEP
                dy = abs(rows.end[row, 1] - at[1]) * MM_PER_STEP
                time = link_s(dx, dy, turn_rad(at[2], rows.end[row, 2]), law)
                if time < time_s[-1]:
                    _put(cut, time, start, near, time_s, from_row)


@inner
def _put(cut: int, time: float, row: int, near: I64, time_s: F64, from_row: I64) -> None:
    """Sort a cut into a rising list of times, in which each cut stands once."""
    last = len(near) - 1
    for i in range(len(near)):
        if near[i] == cut:
            if time_s[i] <= time:
                return
            last = i
            break
    while last > 0 and time_s[last - 1] > time:
        near[last], time_s[last] = near[last - 1], time_s[last - 1]
        from_row[last] = from_row[last - 1]
        last -= 1
    near[last], time_s[last], from_row[last] = cut, time, row
