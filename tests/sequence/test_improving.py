"""The improved order against all orders and the walk it begins with; near cuts told slowly."""

from __future__ import annotations

from itertools import pairwise, permutations

import numpy as np
import pytest

from kerfwright.sequence.cost import travel_law
from kerfwright.sequence.entries import best_entries
from kerfwright.sequence.greedy import greedy_order
from kerfwright.sequence.groups import tool_groups
from kerfwright.sequence.improving import SHARES, improve
from kerfwright.sequence.near import nearest_cuts
from kerfwright.sequence.precedence import make_graph
from kerfwright.sequence.tree import build_tree
from sequence.test_first_order import AXES, random_cuts, rows_of, way

LAW = travel_law(AXES, rise_mm=20.0)


def random_edges(rng, n, count, spare=0):
    """Return edges without circle among n cuts and as many nodes without cut as `spare`."""
    rank = rng.permutation(n + spare)
    edges = rank[np.sort(rng.integers(0, n + spare, (count, 2)), axis=1)]
    rank_of = np.argsort(rank)
    edges = edges[edges[:, 0] != edges[:, 1]]
    return edges[np.argsort(rank_of[edges[:, 0]], kind="stable")]


def reach(edges, n_nodes):
    """Return which node comes before which, over any chain, (n_nodes, n_nodes)."""
    before = np.zeros((n_nodes, n_nodes), bool)
    before[edges[:, 0], edges[:, 1]] = True
    for k in range(n_nodes):
        before |= before[:, k : k + 1] & before[k]
    return before


def improved(cuts, graph, *, iterations, seed=0):
    """Return the rows and time of the walk, and of the order made of it."""
    group, tree = tool_groups(cuts.station, graph), build_tree(cuts.pose_in)
    walk = greedy_order(cuts, graph, group, tree, LAW)
    rows, time_s = best_entries(cuts, walk, LAW)
    told = []
    found = improve(
        cuts, graph, group, tree, LAW, rows, iterations=iterations, seed=seed, tell=told.append
    )
    assert told == list(range(1, SHARES + 1)) or len(cuts) < 2
    return time_s, found, group


def total_s(cuts, rows):
    return cuts.time_s[rows].sum() + sum(way(cuts, LAW, a, b) for a, b in pairwise(rows.tolist()))


@pytest.mark.parametrize("case", range(40))
def test_nothing_is_broken_and_nothing_takes_longer(case):
    rng = np.random.default_rng(case)
    n, spare = int(rng.integers(1, 70)), int(rng.integers(0, 20))
    cuts = random_cuts(rng, n, heads=1 + case % 3, most_rows=1 + case % 6)
    edges = random_edges(rng, n, int(rng.integers(0, n + 1)), spare)
    graph = make_graph(edges, n + spare)
    walk_s, rows, group = improved(cuts, graph, iterations=200, seed=case)
    order = cuts.cut_of_row[rows]
    assert sorted(order.tolist()) == list(range(n))
    assert (np.diff(group[order]) >= 0).all()
    before = reach(edges, n + spare)[:n, :n][np.ix_(order, order)]
    assert not np.tril(before).any()
    assert total_s(cuts, rows) <= walk_s * (1 + 1e-12)


@pytest.mark.parametrize("case", range(24))
def test_few_cuts_come_close_to_the_best_of_all_orders(case):
    # A search promises no optimum: most of these are found exactly, the worst may stand 5 % above.
    rng = np.random.default_rng(1000 + case)
    n = int(rng.integers(2, 7 if case else 8))
    cuts = random_cuts(rng, n, heads=1 + case % 2, most_rows=3)
    edges = random_edges(rng, n, case % 4)
    before = reach(edges, n)
    _, rows, group = improved(cuts, make_graph(edges, n), iterations=300)
    allowed = (
        np.array(p)
        for p in permutations(range(n))
        if not np.tril(before[np.ix_(p, p)]).any() and (np.diff(group[list(p)]) >= 0).all()
    )
    least = min(best_entries(cuts, p, LAW)[1] for p in allowed)
    assert least * (1 - 1e-12) <= total_s(cuts, rows) <= least * 1.05


def test_the_seed_alone_decides():
    cuts, graph = random_cuts(np.random.default_rng(3), 80), make_graph(np.zeros((0, 2), int), 80)
    one, same = (improved(cuts, graph, iterations=400, seed=5)[1] for _ in range(2))
    assert np.array_equal(one, same)


def test_a_line_of_points_is_walked_from_one_end_to_the_other():
    rng = np.random.default_rng(1)
    cuts = random_cuts(rng, 60, most_rows=1)
    x = rng.permutation(60) * 1e7
    cuts.pose_in[:] = cuts.pose_out[:] = np.column_stack((x, np.zeros((60, 2))))
    _, rows, _ = improved(cuts, make_graph(np.zeros((0, 2), int), 60), iterations=2000)
    assert set(np.diff(x[rows])) in ({1e7}, {-1e7})


@pytest.mark.parametrize("backwards", [False, True])
def test_near_cuts_are_those_of_all_pairs(backwards):
    rng = np.random.default_rng(4)
    cuts, group = random_cuts(rng, 50), rng.integers(0, 2, 50)
    tree = build_tree(cuts.pose_out if backwards else cuts.pose_in)
    near, near_s, row = nearest_cuts(cuts, group, tree, LAW, count=5, backwards=backwards)
    for cut in range(50):
        others = [c for c in range(50) if c != cut and group[c] == group[cut]]
        best = sorted(
            min(
                way(cuts, LAW, *((b, a) if backwards else (a, b)))
                for a in rows_of(cuts, cut)
                for b in rows_of(cuts, other)
            )
            for other in others
        )
        assert near_s[cut] == pytest.approx(best[:5], rel=1e-12)
        assert set(near[cut].tolist()) <= set(others)
        assert (cuts.cut_of_row[row[cut]] == cut).all()
