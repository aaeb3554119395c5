"""Whether a move of cuts would break the precedence, asked of the graph itself.

Inside one tool group a cut waits for another directly or over nodes that stand for no cut. A chain
that leads over a third cut needs no look: that cut stands between the two, and one of the shorter
chains is broken whenever the long one is. So from each moved cut only nodes without cut are
walked, and marks are left on all that is met; what follows costs no more than the move itself.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import I64
from kerfwright.kernels import inner
from kerfwright.sequence.precedence import Graph, make_graph
from kerfwright.sequence.trail import Setting, Trail


class Bonds(NamedTuple):
    """The edges of the precedence both ways, nodes without cut apart, and marks on the nodes.

    `out_first` and `out` list all nodes behind each cut, `on_first` and `on` only the nodes
    without cut behind each node without cut; `in_...` and `off_...` the same the other way.
    `mark` says which question a node was marked for last, `since` the first place that marked
    it, `question` (1,) counts questions, `stack` and `blocks` are scratch.
    """

    out_first: I64
    out: I64
    on_first: I64
    on: I64
    in_first: I64
    into: I64
    off_first: I64
    off: I64
    mark: I64
    since: I64
    question: I64
    stack: I64
    blocks: I64


def make_bonds(graph: Graph, group: I64) -> Bonds:
    """Return the edges among the cuts of one group and all nodes that stand for no cut."""
    n, size = len(group), graph.n_nodes
    edges = np.column_stack((np.repeat(np.arange(size), np.diff(graph.first)), graph.after))
    of = np.concatenate((group, np.full(size - n, -1)))
    inside = (of[edges] < 0).any(axis=1) | (of[edges[:, 0]] == of[edges[:, 1]])
    edges = edges[inside]
    free = (edges >= n).all(axis=1)
    out, on = make_graph(edges[edges[:, 0] < n], size), make_graph(edges[free], size)
    back = edges[:, ::-1]
    into, off = make_graph(back[back[:, 0] < n], size), make_graph(back[free], size)
    return Bonds(
        out.first, out.after, on.first, on.after, into.first, into.after, off.first, off.after,
        mark=np.zeros(size, np.int64),
        since=np.zeros(size, np.int64),
        question=np.zeros(1, np.int64),
        stack=np.zeros(size, np.int64),
        blocks=np.zeros(n + 1, np.int64),
    )  # fmt: skip


@inner
def may_swap(low: int, middle: int, high: int, trail: Trail, bonds: Bonds) -> bool:
    """Return whether two stretches side by side may change places."""
    bonds.question[0] += 1
    cut, mark, question = trail.cut, bonds.mark, bonds.question[0]
    if middle - low <= high - middle:
        out_first, in_first, into = bonds.out_first, bonds.in_first, bonds.into
        for i in range(low, middle):
            if out_first[cut[i]] < out_first[cut[i] + 1]:
                _mark_behind(cut[i], i, bonds)
        for i in range(middle, high):
            if _marked(cut[i], in_first, into, mark, question, len(cut)):
                return False
        return True
    in_first, out_first, out = bonds.in_first, bonds.out_first, bonds.out
    for i in range(middle, high):
        if in_first[cut[i]] < in_first[cut[i] + 1]:
            _mark_ahead(cut[i], i, bonds)
    for i in range(low, middle):
        if _marked(cut[i], out_first, out, mark, question, len(cut)):
            return False
    return True


@inner
def may_turn(low: int, high: int, trail: Trail, bonds: Bonds) -> bool:
    """Return whether no cut of a stretch waits for another one in it."""
    bonds.question[0] += 1
    cut, mark, question = trail.cut, bonds.mark, bonds.question[0]
    for i in range(low, high):
        if _marked(cut[i], bonds.in_first, bonds.into, mark, question, len(cut)):
            return False
        _mark_behind(cut[i], i, bonds)
    return True


@inner
def turn_round(low: int, high: int, setting: Setting, trail: Trail, bonds: Bonds) -> None:
    """Write a stretch turned round into the scratch, as far as the precedence lets it.

    Cuts that wait for one another keep their order inside the least blocks that hold them; the
    blocks are turned round.
    """
    count = _find_blocks(low, high, trail, bonds)
    at, end = 0, high
    for b in range(count - 1, -1, -1):
        begin = bonds.blocks[b]
        alone = end - begin == 1
        for i in range(begin, end):
            trail.new_cut[at] = trail.cut[i]
            trail.new_row[at] = setting.back[trail.row[i]] if alone else trail.row[i]
            at += 1
        end = begin


@inner
def _find_blocks(low: int, high: int, trail: Trail, bonds: Bonds) -> int:
    """Find where the blocks begin; return how many there are."""
    bonds.question[0] += 1
    question, cut, mark, since = bonds.question[0], trail.cut, bonds.mark, bonds.since
    out_first, in_first, into, blocks = bonds.out_first, bonds.in_first, bonds.into, bonds.blocks
    count, n = 0, len(cut)
    for i in range(low, high):
        begin = _marked_since(cut[i], i, in_first, into, mark, since, question, n)
        while count > 0 and blocks[count - 1] > begin:
            count -= 1  # the block that holds `begin` takes in all that follow
        if begin == i:
            blocks[count] = i
            count += 1
        if out_first[cut[i]] < out_first[cut[i] + 1]:
            _mark_behind(cut[i], i, bonds)
    return count


@inner
def _mark_behind(cut: int, place: int, bonds: Bonds) -> None:
    """Mark what directly waits for a cut."""
    _spread(cut, place, bonds.out_first, bonds.out, bonds.on_first, bonds.on, bonds)


@inner
def _mark_ahead(cut: int, place: int, bonds: Bonds) -> None:
    """Mark what a cut directly waits for."""
    _spread(cut, place, bonds.in_first, bonds.into, bonds.off_first, bonds.off, bonds)


@inner
def _spread(
    cut: int, place: int, out_first: I64, out: I64, on_first: I64, on: I64, bonds: Bonds
) -> None:
    depth = 0
    for i in range(out_first[cut], out_first[cut + 1]):
        depth = _meet(out[i], place, depth, bonds)
    while depth > 0:
        depth -= 1
        node = bonds.stack[depth]
        for i in range(on_first[node], on_first[node + 1]):
            depth = _meet(on[i], place, depth, bonds)


@inner
def _meet(node: int, place: int, depth: int, bonds: Bonds) -> int:
    if bonds.mark[node] != bonds.question[0]:
        bonds.mark[node], bonds.since[node] = bonds.question[0], place
        bonds.stack[depth] = node
        depth += 1
    return depth


@inner
def _marked(cut: int, first: I64, nodes: I64, mark: I64, question: int, n: int) -> bool:
    """Return whether a cut or a node without cut next to it is marked."""
    if mark[cut] == question:
        return True
    for i in range(first[cut], first[cut + 1]):
        if nodes[i] >= n and mark[nodes[i]] == question:
            return True
    return False


@inner
def _marked_since(
    cut: int, place: int, first: I64, nodes: I64, mark: I64, since: I64, question: int, n: int
) -> int:
    """Return the first place in the stretch that a cut waits for, or its own."""
    least = place
    if mark[cut] == question:
        least = min(least, since[cut])
    for i in range(first[cut], first[cut + 1]):
        if nodes[i] >= n and mark[nodes[i]] == question:
            least = min(least, since[nodes[i]])
    return least
