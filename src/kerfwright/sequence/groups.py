"""Tool groups: the fewest tool changes that the precedence allows.

With one tool in hand it never harms to do at once all that the tool may do, because nothing is
forbidden by having done more. So an order of tools says everything, and orders of tools are
searched breadth first: the first that finishes has the fewest changes. Two orders that have done
the same cuts are one. Where more states would have to be kept than `_KEPT`, only those that have
done most go on, and the number of changes is then not proven least; with up to three stations and
seven changes that cannot happen.
"""

from __future__ import annotations

import numpy as np

from kerfwright.errors import ModelError
from kerfwright.geometry.record import BOOL, I64
from kerfwright.kernels import kernel
from kerfwright.sequence.precedence import Graph

_KEPT = 192


def tool_groups(station: I64, graph: Graph) -> I64:
    """Return the tool group of each cut, shape (N,), counted up from 0.

    Parameters
    ----------
    station : ndarray of shape (N,), int
        Station number of each cut; earlier stations are preferred as they first appear.
    graph : Graph
        What must come before what.

    Raises
    ------
    ModelError
        If the precedence runs in a circle.
    """
    numbers, first, tool_of_cut = np.unique(station, return_index=True, return_inverse=True)
    tool = np.full(graph.n_nodes, -1)
    tool[: len(station)] = tool_of_cut
    preferred: list[int] = np.argsort(first).tolist()
    done, waits = _advance(
        np.zeros(graph.n_nodes, np.bool_), graph.waits_for(), tool, -1, graph.first, graph.after
    )
    states: list[tuple[tuple[int, ...], BOOL, I64]] = [((), done, waits)]
    while not states[0][1].all():
        states = _next_states(states, preferred, tool, graph)
        finished = [s for s in states if s[1].all()]
        states = finished or states
        _check_progress(states, len(numbers))
    return _number_groups(states[0][0], tool, graph)[: len(station)]


def free_cuts(n_cuts: int, graph: Graph) -> I64:
    """Return the cuts that wait for no other cut."""
    tool = np.full(graph.n_nodes, -1)
    tool[:n_cuts] = 0
    nothing = np.zeros(graph.n_nodes, np.bool_)
    _, waits = _advance(nothing, graph.waits_for(), tool, -1, graph.first, graph.after)
    return np.flatnonzero(waits[:n_cuts] == 0)


def _next_states(
    states: list[tuple[tuple[int, ...], BOOL, I64]], preferred: list[int], tool: I64, graph: Graph
) -> list[tuple[tuple[int, ...], BOOL, I64]]:
    """Return the states one tool further, each set of done cuts once."""
    found: dict[bytes, tuple[tuple[int, ...], BOOL, I64]] = {}
    for past, done, waits in states:
        ready = np.unique(tool[(waits == 0) & ~done])
        for number in preferred:
            if number in ready:
                more = _advance(done, waits, tool, number, graph.first, graph.after)
                found.setdefault(more[0].tobytes(), ((*past, number), *more))
    ranked = sorted(found.values(), key=lambda s: -int(s[1].sum()))
    return ranked[:_KEPT] if len(ranked) > _KEPT else list(found.values())


def _check_progress(states: list[tuple[tuple[int, ...], BOOL, I64]], n_tools: int) -> None:
    if not states:
        msg = (
            f"the precedence of the cuts runs in a circle, so none of {n_tools} tools can go on; "
            "check the pairs given by the operations"
        )
        raise ModelError(msg)


def _number_groups(tools: tuple[int, ...], tool: I64, graph: Graph) -> I64:
    group = np.zeros(graph.n_nodes, np.int64)
    done, waits = np.zeros(graph.n_nodes, np.bool_), graph.waits_for()
    for number, one in enumerate((-1, *tools)):
        more, waits = _advance(done, waits, tool, one, graph.first, graph.after)
        group[more & ~done] = max(number - 1, 0)
        done = more
    return group


@kernel
def _advance(
    done: BOOL, waits: I64, tool: I64, now: int, first: I64, after: I64
) -> tuple[BOOL, I64]:
    """Do all that one tool can do, and the nodes that stand for no cut."""
    done, waits = done.copy(), waits.copy()
    ready = np.zeros(len(done), np.int64)
    depth = 0
    for node in range(len(done)):
        if waits[node] == 0 and not done[node] and (tool[node] == now or tool[node] < 0):
            ready[depth] = node
            depth += 1
    while depth > 0:
        depth -= 1
        node = ready[depth]
        done[node] = True
        for i in range(first[node], first[node + 1]):
            waits[after[i]] -= 1
            if waits[after[i]] == 0 and (tool[after[i]] == now or tool[after[i]] < 0):
                ready[depth] = after[i]
                depth += 1
    return done, waits
