"""Choices of all operations -> the order of the cuts, with entries and a bound on travel."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.geometry.containment import containment_forest
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64, I64, require
from kerfwright.model.cut import CutChoices, CutOrder
from kerfwright.model.operation import Operation
from kerfwright.model.table import Table
from kerfwright.sequence.bound import travel_bound_s
from kerfwright.sequence.cost import travel_law
from kerfwright.sequence.cuts import Cuts, gather_cuts
from kerfwright.sequence.entries import best_entries
from kerfwright.sequence.greedy import greedy_order
from kerfwright.sequence.groups import free_cuts, tool_groups
from kerfwright.sequence.improving import SHARES, improve
from kerfwright.sequence.precedence import Graph, first_lines, make_lines, precedence
from kerfwright.sequence.tree import Tree, build_tree

_STARTS = 4
_STEPS = _STARTS + SHARES + 3

Progress = Callable[[int, int], None]


def order(
    choices: Sequence[CutChoices],
    *,
    paths: PathSet,
    contours: tuple[str, ...],
    operations: tuple[Operation, ...],
    operation: ArrayLike,
    table: Table,
    travel_z_mm: float,
    tolerance_mm: float = 0.001,
    seed: int = 0,
    iterations: int = 2,
    progress: Progress | None = None,
) -> CutOrder:
    """Return an order of all cuts that breaks no precedence and loses little time.

    Precedence is a matter of `precedence`, tool changes are the fewest it allows. Inside a tool
    group the order begins as a walk to the cut reached soonest, the best of a few first cuts
    (drawn with `seed`), and is then made better by moves of runs and turned stretches (see
    `improving`); it never takes longer than the walk with its best entries. Entries and
    directions are the best there are for the order returned. The same job moved as a whole gives
    the same order.

    Parameters
    ----------
    choices : sequence of CutChoices
        Ways to do the cuts, one entry per operation. Lines without choices are not cut; what is
        inside them still comes before what is around them.
    paths : PathSet
        K lines in the table frame as planned [mm].
    contours : tuple of str
        Contour id of each line; a contour under several operations stands once for each.
    operations : tuple of Operation
        Operations; on one contour they are done as listed, partial ones first.
    operation : array_like of shape (K,), int
        Index into `operations` for each line.
    table : Table
        Table with the stations.
    travel_z_mm : float
        Height of the tip above the bed between cuts; the time to rise to it from the bed is
        counted for every way that moves [mm].
    tolerance_mm : float, default 0.001
        How far a contour may poke out of another one and still be inside it [mm].
    seed : int, default 0
        Seed of the first cuts that are tried and of the disturbances.
    iterations : int, default 2
        Disturbances tried per cut; 0 only makes the moves that gain. Time grows in step with it.
    progress : callable, optional
        Called with steps done and steps in all; may raise to stop.

    Returns
    -------
    CutOrder
        Every cut once; `lower_bound_s` as proven in `bound`, for travel over the sheet alone.

    Raises
    ------
    ModelError
        If a choice names no line, a cut comes twice, the pairs of an operation contradict the
        rules, or paths, contours and operations do not belong together.
    UnknownNameError
        If the table has no station for an operation.

    Notes
    -----
    Costs take C around by the shorter way; limits of C are kept by `link`, which may have to
    rewind. No order is proven least; `lower_bound_s` says how far it may be from that, and
    `studies/sequence_tour.py` compares it with near-optimal tours through fixed entries.
    """
    tell = progress or _silent
    index = np.asarray(operation, np.int64)
    _check_lines(paths, contours, operations, index, travel_z_mm, iterations)
    found = _gather(choices, contours, operations, index, table)
    if not len(found[0]):
        return _named(found[0], np.zeros(0, np.int64), np.zeros(0, np.int64), 0.0, contours, ())
    cuts = found[0]
    first, contour = first_lines(contours)
    forest = containment_forest(paths.select(first), tolerance_mm=tolerance_mm)
    tell(1, _STEPS)
    lines = make_lines(
        paths, contour=contour, first=first, parent=forest, operations=operations, operation=index
    )
    graph = precedence(cuts, lines)
    group = tool_groups(cuts.station, graph)
    tell(2, _STEPS)
    law = travel_law(table.axes, rise_mm=travel_z_mm)
    tree = build_tree(cuts.pose_in)
    rows = improve(
        cuts,
        graph,
        group,
        tree,
        law,
        _best_of_starts(cuts, graph, group, tree, law, seed, tell),
        iterations=iterations * len(cuts),
        seed=seed,
        tell=lambda share: tell(_STARTS + 2 + share, _STEPS),
    )
    bound = min(travel_bound_s(c, law) for c in found)
    tell(_STEPS, _STEPS)
    names = tuple(operations[i].id for i in index.tolist())
    return _named(cuts, rows, group, bound, contours, names)


def _check_lines(
    paths: PathSet,
    contours: tuple[str, ...],
    operations: tuple[Operation, ...],
    operation: I64,
    travel_z_mm: float,
    iterations: int,
) -> None:
    require(len(contours) == len(paths), f"{len(paths)} paths need as many contour ids")
    require(operation.shape == (len(paths),), f"{len(paths)} paths need as many operations")
    known = (operation >= 0) & (operation < len(operations))
    require(known.all(), f"a path names an operation beyond the {len(operations)} that are listed")
    require(iterations >= 0, f"iterations is {iterations}, must not be below 0")
    require(0.0 < travel_z_mm < np.inf, f"travel height {travel_z_mm} mm must be above the bed")


def _gather(
    choices: Sequence[CutChoices],
    contours: tuple[str, ...],
    operations: tuple[Operation, ...],
    operation: I64,
    table: Table,
) -> tuple[Cuts, ...]:
    """Return the cuts where the gantry has to go and, with several heads, as they lie on the table.

    Times are counted from the one; the bound has to hold for both, whoever adds the offsets.
    """
    both = [
        gather_cuts(
            choices,
            contours=contours,
            operations=operations,
            operation=operation,
            table=table,
            head_offsets=offsets,
        )
        for offsets in (True, False)
    ]
    several = len(np.unique(both[0].head)) > 1
    return tuple(both) if several else (both[0],)


def _best_of_starts(
    cuts: Cuts, graph: Graph, group: I64, tree: Tree, law: F64, seed: int, tell: Progress
) -> I64:
    """Return the rows, in order, of the best of a few first orders."""
    free = free_cuts(len(cuts), graph)
    free = free[group[free] == 0]
    drawn = np.random.default_rng(seed).permutation(free)[: _STARTS - 1].tolist()
    best, least = np.zeros(0, np.int64), np.inf
    for i, begin in enumerate([-1, *drawn]):
        sequence = greedy_order(cuts, graph, group, tree, law, begin_with=begin)
        rows, time_s = best_entries(cuts, sequence, law)
        if time_s < least:
            best, least = rows, time_s
        tell(3 + i, _STEPS)
    return best


def _named(
    cuts: Cuts,
    rows: I64,
    group: I64,
    bound: float,
    contours: tuple[str, ...],
    names: tuple[str, ...],
) -> CutOrder:
    cut = cuts.cut_of_row[rows]
    line = cuts.line[cut].tolist()
    return CutOrder(
        contour=tuple(contours[i] for i in line),
        operation=tuple(names[i] for i in line),
        pass_no=cuts.pass_no[cut],
        entry_s=cuts.entry_s[rows],
        reversed=cuts.reversed[rows],
        group=group[cut],
        lower_bound_s=bound,
    )


def _silent(done: int, of: int) -> None:
    """Report to nobody."""
