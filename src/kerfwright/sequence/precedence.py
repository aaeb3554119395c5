"""What must be cut before what, as a graph of cuts and of nodes that stand for no cut.

*Region*: what lies directly inside a closed contour that is cut through, or, at the root, on the
sheet outside all of them. An outline and what is directly inside it make one part.

Rules (common practice, no source):

1. Passes of a line in order; on one contour partial cuts first, then operations as listed.
2. Inside before outside: everything partial inside a closed contour before its partial cut,
   everything inside it before it is cut through. So an enclosing outline comes last.
3. In a region all partial cuts come before any cut through: kiss and score while all still holds.
4. A partial cut or an open through cut that reaches over a closed contour, so that the forest does
   not place it inside, comes before that contour is cut through: else it would cut a loose part.
   "Reaches over" is judged by boxes, which may ask for more than needed but never for less.

Rules 2 to 4 would need pairs of all with all; nodes that stand for no cut keep the edges few:
K(u) "all partial cuts inside u done", F(u) "all inside u done", B(r) "all partial cuts of region r
done". No partial cut ever waits for a through cut, no open line for a closed one, and the rest
only climbs the forest: the rules cannot contradict themselves. Pairs given by an operation can.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.operation import Operation
from kerfwright.sequence.cuts import Cuts
from kerfwright.sequence.overlaps import box_overlaps


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Graph:
    """Edges of the precedence, listed by the node they leave; the first N nodes are the cuts.

    Parameters
    ----------
    n_nodes : int
        Number of nodes.
    first : ndarray of shape (n_nodes + 1,), int
        Where the edges of each node begin in `after`.
    after : ndarray of shape (D,), int
        Node each edge leads to.
    """

    n_nodes: int
    first: I64
    after: I64

    def waits_for(self) -> I64:
        """Return how many nodes come directly before each node, shape (n_nodes,)."""
        return np.bincount(self.after, minlength=self.n_nodes)


def make_graph(edges: I64, n_nodes: int) -> Graph:
    """Return the graph of edges (D, 2)."""
    order = np.argsort(edges[:, 0], kind="stable")
    first = np.zeros(n_nodes + 1, np.int64)
    np.cumsum(np.bincount(edges[:, 0], minlength=n_nodes), out=first[1:])
    return Graph(n_nodes=n_nodes, first=first, after=edges[order, 1])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """K lines of U contours as precedence sees them.

    Parameters
    ----------
    contour : ndarray of shape (K,), int
        Contour of each line.
    through : ndarray of shape (K,), bool
        Whether the line is cut through.
    rank : ndarray of shape (K,), int
        Place of its operation in the list of operations.
    parent : ndarray of shape (U,), int
        Innermost closed contour around each contour, -1 for none.
    closed : ndarray of shape (U,), bool
        Whether the contour is closed.
    bounds : ndarray of shape (U, 4), float
        Box of each contour [mm].
    """

    contour: I64
    through: BOOL
    rank: I64
    parent: I64
    closed: BOOL
    bounds: F64

    @property
    def frees(self) -> BOOL:
        """Whether each contour is closed and cut through, shape (U,)."""
        cut = np.bincount(self.contour[self.through], minlength=len(self.parent)) > 0
        return cut & self.closed

    def region(self) -> I64:
        """Return the innermost contour around each one that frees what is inside, shape (U,)."""
        frees, region = self.frees, self.parent.copy()
        while True:
            climb = (region >= 0) & ~frees[region]
            if not climb.any():
                return region
            region[climb] = self.parent[region[climb]]


def first_lines(contours: tuple[str, ...]) -> tuple[I64, I64]:
    """Return the first line of each contour (U,) and the contour of each line (K,)."""
    number = {name: i for i, name in enumerate(dict.fromkeys(contours))}
    contour = np.array([number[name] for name in contours], np.int64)
    return np.unique(contour, return_index=True)[1], contour


def make_lines(
    paths: PathSet,
    *,
    contour: I64,
    first: I64,
    parent: I64,
    operations: tuple[Operation, ...],
    operation: I64,
) -> Lines:
    """Return the lines; `parent` (U,) is the containment forest of the paths of `first`."""
    through = np.array([o.bounds_part for o in operations], bool)
    own = paths.select(first)
    return Lines(
        contour=contour,
        through=through[operation] if len(operation) else np.zeros(0, bool),
        rank=operation,
        parent=parent,
        closed=own.closed,
        bounds=own.bounds_mm(),
    )


def precedence(cuts: Cuts, lines: Lines) -> Graph:
    """Return what must come before what."""
    n, u = len(cuts), len(lines.parent)
    partial_in, all_in, barrier = n, n + u, n + 2 * u  # the root's barrier comes last
    first, last, passes = _passes(cuts, len(lines.contour))
    here = np.flatnonzero(first >= 0)
    begin, end, contour = first[here], last[here], lines.contour[here]
    through, parent, region = lines.through[here], lines.parent[contour], lines.region()
    up = np.flatnonzero(lines.parent >= 0)
    every = np.arange(u)
    kiss, held = ~through, parent >= 0
    parts = [
        cuts.before,
        passes,
        _same_contour(lines, here, begin, end),
        _pairs(partial_in + every, all_in + every),
        _pairs(partial_in + up, partial_in + lines.parent[up]),
        _pairs(all_in + up, all_in + lines.parent[up]),
        _pairs(partial_in + contour[kiss], begin[kiss]),
        _pairs(all_in + contour[through], begin[through]),
        _pairs(end[kiss & held], partial_in + parent[kiss & held]),
        _pairs(end[through & held], all_in + parent[through & held]),
        _pairs(end[kiss], barrier + region[contour[kiss]] % (u + 1)),
        _pairs(barrier + region[contour[through]] % (u + 1), begin[through]),
    ]
    over, extra = _reaching_over(lines, here, end, barrier, n + 3 * u + 1)
    return make_graph(np.concatenate([*parts, over]), n + 3 * u + 1 + extra)


def _passes(cuts: Cuts, n_lines: int) -> tuple[I64, I64, I64]:
    """Return first and last cut of each line, -1 where it has none, and the pairs of passes."""
    order = np.lexsort((cuts.pass_no, cuts.line))
    line = cuts.line[order]
    first, last = np.full(n_lines, -1), np.full(n_lines, -1)
    first[line[::-1]] = order[::-1]
    last[line] = order
    same = line[1:] == line[:-1]
    return first, last, _pairs(order[:-1][same], order[1:][same])


def _same_contour(lines: Lines, here: I64, begin: I64, end: I64) -> I64:
    """Return the pairs that bring lines on one contour into order."""
    contour = lines.contour[here]
    order = np.lexsort((lines.rank[here], lines.through[here], contour))
    same = contour[order][1:] == contour[order][:-1]
    return _pairs(end[order[:-1][same]], begin[order[1:][same]])


def _reaching_over(lines: Lines, here: I64, end: I64, barrier: int, spare: int) -> tuple[I64, int]:
    """Return the pairs of rule 4 and how many nodes it adds."""
    contour, through = lines.contour[here], lines.through[here]
    may = ~(through & lines.closed[contour])
    frees = np.flatnonzero(lines.frees)
    reaching = np.unique(contour[may])
    found = box_overlaps(lines.bounds[reaching], lines.bounds[frees])
    if found is None:  # so many that one common node says it as well
        return _all_before(lines, here, end, frees, barrier, spare), 1
    x, c = reaching[found[0]], frees[found[1]]
    apart = ~_is_around(lines.parent, c, x) & (x != c)
    x, c = x[apart], c[apart]
    rows = np.flatnonzero(may)
    order = np.argsort(contour[rows], kind="stable")
    rows = rows[order]
    low = np.searchsorted(contour[rows], x, "left")
    count = np.searchsorted(contour[rows], x, "right") - low
    row = rows[np.repeat(low, count) + _count_up(count)]
    target = np.repeat(c, count)
    kind = np.where(through[row], len(lines.parent), 2 * len(lines.parent))
    return _pairs(end[row], barrier - 2 * len(lines.parent) + kind + target), 0


def _all_before(lines: Lines, here: I64, end: I64, frees: I64, barrier: int, spare: int) -> I64:
    """Return pairs that bring every partial and open line before every contour that frees."""
    may = ~(lines.through[here] & lines.closed[lines.contour[here]])
    gate = np.full(np.count_nonzero(may), spare)
    return np.concatenate(
        (
            _pairs(end[may], gate),
            _pairs(np.full(len(frees), spare), barrier - len(lines.parent) + frees),
        )
    )


def _is_around(parent: I64, outer: I64, inner: I64) -> BOOL:
    """Return for each pair whether the outer contour is an ancestor of the inner one."""
    found = np.zeros(len(outer), bool)
    at = parent[inner]
    while (at >= 0).any():
        found |= at == outer
        at = np.where(at >= 0, parent[at], -1)
    return found


def _count_up(sizes: I64) -> I64:
    """Return 0, 1, ... within each group of the given sizes."""
    return np.arange(sizes.sum()) - np.repeat(np.cumsum(sizes) - sizes, sizes)


def _pairs(before: I64, after: I64) -> I64:
    return np.column_stack((before, after)).astype(np.int64)
