"""An order made better: moves that gain until none does, then disturbed and mended again.

Each disturbance lets two short stretches side by side, drawn by the seed, change places; moves
that gain are then made around the three breaks until none is left. If the whole is no worse, it
stays, else the order goes back to what it was. How often is a number, never a clock: the same
seed gives the same order on every machine.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.sequence.blocking import Bonds, make_bonds, may_swap
from kerfwright.sequence.cost import MM_PER_STEP, STEPS_PER_TURN, link_s, turn_rad
from kerfwright.sequence.cuts import Cuts
from kerfwright.sequence.entries import best_entries
from kerfwright.sequence.near import nearest_cuts
from kerfwright.sequence.precedence import Graph
from kerfwright.sequence.shifting import move_run, shift_run
from kerfwright.sequence.trail import (
    Setting,
    Trail,
    inverse_law,
    look_at,
    make_trail,
    settle,
    stretch_s,
)
from kerfwright.sequence.tree import Tree, build_tree
from kerfwright.sequence.turning import turn_stretch

SHARES = 16
"""In how many shares the disturbances are made; entries are chosen anew over all between them."""

_NEAR = 8
_SPAN = 10  # longest stretch of a disturbance
_DRAWS = 3


def improve(
    cuts: Cuts,
    graph: Graph,
    group: I64,
    tree: Tree,
    law: F64,
    rows: I64,
    *,
    iterations: int,
    seed: int,
    tell: Callable[[int], None],
) -> I64:
    """Return rows, in an order that breaks no precedence and takes no longer, shape (N,).

    Parameters
    ----------
    cuts : Cuts
        Cuts and the ways to do them.
    graph : Graph
        What must come before what.
    group : ndarray of shape (N,), int
        Tool group of each cut.
    tree : Tree
        Tree over the entries.
    law : ndarray of shape (4, 3)
        See `travel_law`.
    rows : ndarray of shape (N,), int
        Rows in the order to begin with, which breaks no precedence.
    iterations : int
        Disturbances in all.
    seed : int
        Seed of the disturbances.
    tell : callable
        Called with the shares done, 1 to `SHARES`; may raise to stop.
    """
    order = cuts.cut_of_row[rows]
    if len(order) < 2:
        return rows
    setting = _make_setting(cuts, group, tree, law)
    trail = make_trail(order, rows, int(np.diff(cuts.first_row).max()))
    bonds = make_bonds(graph, group)
    best, least = best_entries(cuts, order, law)
    random = np.random.default_rng(seed)
    at = np.linspace(0, iterations, SHARES + 1).astype(np.int64)
    for share in range(SHARES):
        draws = random.random((at[share + 1] - at[share], _DRAWS))
        _disturb(setting, trail, bonds, draws, int(share == 0))
        found, time_s = best_entries(cuts, trail.cut, law)
        trail.row[:] = trail.kept_row[:] = found
        if time_s < least:
            best, least = found, time_s
        tell(share + 1)
    return best


def _make_setting(cuts: Cuts, group: I64, tree: Tree, law: F64) -> Setting:
    after, after_s, after_row = nearest_cuts(cuts, group, tree, law, count=_NEAR)
    exits = build_tree(cuts.pose_out)
    ahead, ahead_s, ahead_row = nearest_cuts(cuts, group, exits, law, count=_NEAR, backwards=True)
    ends = np.cumsum(np.bincount(group))
    return Setting(
        ways=np.column_stack(
            (cuts.pose_in, cuts.pose_out, cuts.time_s, cuts.head[cuts.cut_of_row])
        ),
        least_s=np.minimum.reduceat(cuts.time_s, cuts.first_row[:-1]),
        first_row=cuts.first_row,
        back=_ways_back(cuts.pose_in, cuts.pose_out, cuts.time_s, cuts.first_row, law),
        group_low=(ends - np.bincount(group))[group],
        group_high=ends[group],
        after=after,
        after_s=after_s,
        after_row=after_row,
        ahead=ahead,
        ahead_s=ahead_s,
        ahead_row=ahead_row,
        inverse=inverse_law(law),
    )


@kernel
def _ways_back(pose_in: F64, pose_out: F64, time_s: F64, first_row: I64, law: F64) -> I64:
    """Return for each row the row of its cut that comes closest to the same way run backwards."""
    back = np.zeros(len(pose_in), np.int64)
    for cut in range(len(first_row) - 1):
        for row in range(first_row[cut], first_row[cut + 1]):
            least = np.inf
            for other in range(first_row[cut], first_row[cut + 1]):
                apart = time_s[other]
                apart += _apart_s(pose_out[row], pose_in[other], law)
                apart += _apart_s(pose_in[row], pose_out[other], law)
                if apart < least:
                    least, back[row] = apart, other
    return back


@inner
def _apart_s(pose: F64, other: F64, law: F64) -> float:
    """Return the time from one pose to another looked at backwards."""
    dx, dy = abs(pose[0] - other[0]) * MM_PER_STEP, abs(pose[1] - other[1]) * MM_PER_STEP
    c = (pose[2] + STEPS_PER_TURN / 2.0) % STEPS_PER_TURN
    return link_s(dx, dy, turn_rad(c, other[2]), law)


@kernel
def _disturb(setting: Setting, trail: Trail, bonds: Bonds, draws: F64, everywhere: int) -> None:
    """Mend everywhere if asked, then disturb and mend once per draw."""
    if everywhere > 0:
        for place in range(len(trail.cut)):
            look_at(place, trail)
        _mend(setting, trail, bonds)
        _keep(trail)
    for i in range(len(draws)):
        gain = _swap_stretches(draws[i], setting, trail, bonds)
        if trail.touched[1] >= 0:
            gain += _mend(setting, trail, bonds)
            if gain >= 0.0:
                _keep(trail)
            else:
                _go_back(trail)


@inner
def _mend(setting: Setting, trail: Trail, bonds: Bonds) -> float:
    """Make moves that gain at the cuts in the queue until it is empty; return the gain."""
    total, n = 0.0, len(trail.cut)
    while trail.ends[0] != trail.ends[1]:
        cut = trail.queue[trail.ends[0]]
        trail.ends[0] = (trail.ends[0] + 1) % (n + 1)
        trail.queued[cut] = False
        place = trail.place[cut]
        gain = settle(place, setting, trail)
        if gain > 0.0:
            look_at(place - 1, trail)
            look_at(place + 1, trail)
        gain += shift_run(cut, setting, trail, bonds)
        gain += turn_stretch(cut, setting, trail, bonds)
        if gain > 0.0:
            look_at(trail.place[cut], trail)
        total += gain
    return total


@inner
def _swap_stretches(draw: F64, setting: Setting, trail: Trail, bonds: Bonds) -> float:
    """Let two stretches change places if they may; return the time gained, mostly below 0."""
    place = int(draw[0] * len(trail.cut))
    high = setting.group_high[trail.cut[place]]
    span = min(_SPAN, (high - place) // 2)
    if span < 1:
        return 0.0
    middle = place + 1 + int(draw[1] * span)
    end = middle + 1 + int(draw[2] * span)
    if not may_swap(place, middle, end, trail, bonds):
        return 0.0
    before = stretch_s(place, end, trail.row, setting.ways, setting.inverse)
    for i in range(place, middle):
        trail.new_cut[i - place], trail.new_row[i - place] = trail.cut[i], trail.row[i]
    move_run(place, middle - place, end, trail)
    return before - stretch_s(place, end, trail.row, setting.ways, setting.inverse)


@inner
def _keep(trail: Trail) -> None:
    for i in range(trail.touched[0], trail.touched[1]):
        trail.kept_cut[i], trail.kept_row[i] = trail.cut[i], trail.row[i]
    trail.touched[0], trail.touched[1] = len(trail.cut), -1


@inner
def _go_back(trail: Trail) -> None:
    for i in range(trail.touched[0], trail.touched[1]):
        cut = trail.kept_cut[i]
        trail.cut[i], trail.row[i], trail.place[cut] = cut, trail.kept_row[i], i
    trail.touched[0], trail.touched[1] = len(trail.cut), -1
