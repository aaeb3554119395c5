"""The walk to the nearest, the best entries and the bound, each against a slow second way."""

from __future__ import annotations

from itertools import pairwise, permutations, product

import numpy as np
import pytest
from scipy.sparse.csgraph import minimum_spanning_tree

from kerfwright.sequence.bound import travel_bound_s
from kerfwright.sequence.cost import link_s, over_s, travel_law, turn_rad
from kerfwright.sequence.cuts import Cuts
from kerfwright.sequence.entries import best_entries
from kerfwright.sequence.greedy import greedy_order
from kerfwright.sequence.groups import tool_groups
from kerfwright.sequence.precedence import make_graph
from kerfwright.sequence.tree import build_tree
from studies._sequence_jobs import make_table

AXES = make_table().axes


def random_cuts(rng, n, *, heads=1, most_rows=4, spread_mm=400.0):
    rows = rng.integers(1, most_rows + 1, n)
    total = int(rows.sum())
    centre = np.repeat(rng.uniform(0.0, spread_mm, (n, 2)), rows, axis=0)

    def poses():
        xy = centre + rng.uniform(0.0, 30.0, (total, 2))
        quarter = rng.choice((0.0, 0.25, 0.5, 0.75), total) * 6283185308
        return np.column_stack((np.rint(xy / 1e-6), np.rint(quarter)))

    pose_in = poses()
    pose_out = np.where(rng.random((total, 1)) < 0.5, pose_in, poses())
    head = rng.integers(0, heads, n)
    return Cuts(
        line=np.arange(n),
        pass_no=np.zeros(n, np.int64),
        first_row=np.concatenate(([0], np.cumsum(rows))).astype(np.int64),
        station=head + 1,
        head=head,
        before=np.zeros((0, 2), np.int64),
        pose_in=pose_in,
        pose_out=pose_out,
        time_s=rng.uniform(0.0, 0.5, total),
        entry_s=np.zeros(total),
        reversed=np.zeros(total, bool),
    )


def way(cuts, law, a, b, function=link_s):
    """Return the time from the exit of row a to the entry of row b."""
    dx, dy = np.abs(cuts.pose_in[b] - cuts.pose_out[a])[:2] * 1e-6
    same = cuts.head[cuts.cut_of_row[a]] == cuts.head[cuts.cut_of_row[b]]
    return function(dx, dy, turn_rad(cuts.pose_out[a, 2], cuts.pose_in[b, 2]) * same, law)


def rows_of(cuts, cut):
    return range(cuts.first_row[cut], cuts.first_row[cut + 1])


@pytest.mark.parametrize("case", range(25))
def test_entries_are_the_best_of_all_combinations(case):
    rng = np.random.default_rng(case)
    n = int(rng.integers(1, 6))
    cuts, law = random_cuts(rng, n, heads=2), travel_law(AXES, rise_mm=20.0)
    order = rng.permutation(n)
    rows, time_s = best_entries(cuts, order, law)
    assert cuts.cut_of_row[rows].tolist() == order.tolist()

    def total(combination):
        links = pairwise(combination)
        return cuts.time_s[list(combination)].sum() + sum(way(cuts, law, a, b) for a, b in links)

    assert total(rows.tolist()) == pytest.approx(time_s, rel=1e-12)
    least = min(total(c) for c in product(*(rows_of(cuts, cut) for cut in order)))
    assert time_s == pytest.approx(least, rel=1e-12)


@pytest.mark.parametrize("case", range(20))
def test_each_step_of_the_walk_goes_to_the_nearest_that_may_be_done(case):
    rng = np.random.default_rng(case)
    n = int(rng.integers(2, 60))
    cuts, law = random_cuts(rng, n), travel_law(AXES, rise_mm=20.0)
    pick = rng.permutation(n)
    edges = np.sort(rng.integers(0, n, (n // 2, 2)), axis=1)
    edges = pick[edges[edges[:, 0] != edges[:, 1]]]
    graph = make_graph(edges, n)
    order = greedy_order(
        cuts, graph, tool_groups(cuts.station, graph), build_tree(cuts.pose_in), law
    )
    assert sorted(order.tolist()) == list(range(n))
    needs = [set(edges[edges[:, 1] == i, 0].tolist()) for i in range(n)]
    at, done = np.zeros(3), set()
    for cut in order.tolist():
        assert needs[cut] <= done
        may = [c for c in range(n) if c not in done and needs[c] <= done]
        found = []
        for row in (r for c in may for r in rows_of(cuts, c)):
            dx, dy = np.abs(cuts.pose_in[row] - at)[:2] * 1e-6
            time = link_s(dx, dy, turn_rad(at[2], cuts.pose_in[row, 2]), law)
            found.append((time, over_s(dx, dy, law), row))
        row = min(found)[2]
        assert cuts.cut_of_row[row] == cut
        at = cuts.pose_out[row]
        done.add(cut)


def axis_s(d, v, a, jump):
    """Least time on one axis from jump to jump, told by speeds: up, along, down."""
    ends = min(jump, v)
    peak = min(v, np.sqrt(ends**2 + a * d))
    along = d - (peak**2 - ends**2) / a
    return 2 * (peak - ends) / a + max(along, 0.0) / peak


def dense_weights(cuts):
    """Least time between all pairs of cuts, from all rows to all rows."""
    n = len(cuts)
    weight = np.full((n, n), np.inf)
    for a in range(len(cuts.cut_of_row)):
        for b in range(len(cuts.cut_of_row)):
            i, j = cuts.cut_of_row[a], cuts.cut_of_row[b]
            dx, dy = np.abs(cuts.pose_in[b] - cuts.pose_out[a])[:2] * 1e-6
            turn = turn_rad(cuts.pose_out[a, 2], cuts.pose_in[b, 2]) * (
                cuts.head[i] == cuts.head[j]
            )
            time = max(
                axis_s(
                    d,
                    min(AXES.speed[k], AXES.rapid_mm_s if k < 2 else np.inf),
                    AXES.acceleration[k],
                    AXES.jump[k],
                )
                for d, k in ((dx, 0), (dy, 1), (turn, 3))
            )
            weight[i, j] = min(weight[i, j], time)
            weight[j, i] = weight[i, j] = min(weight[i, j], weight[j, i])
    return weight


@pytest.mark.parametrize("case", range(12))
def test_the_bound_is_the_weight_of_the_spanning_tree(case):
    rng = np.random.default_rng(case)
    cuts = random_cuts(rng, int(rng.integers(2, 40)), heads=1 + case % 2)
    weight = dense_weights(cuts)
    np.fill_diagonal(weight, 0.0)
    expected = float(minimum_spanning_tree(weight + 1e-300).sum())
    found = travel_bound_s(cuts, travel_law(AXES, rise_mm=0.0))
    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("case", range(12))
def test_no_order_beats_the_bound(case):
    rng = np.random.default_rng(100 + case)
    cuts = random_cuts(rng, int(rng.integers(2, 7)), heads=1 + case % 2, most_rows=3)
    law = travel_law(AXES, rise_mm=0.0)
    bound = travel_bound_s(cuts, law)
    free = cuts.time_s * 0.0
    still = Cuts(**{n: getattr(cuts, n) for n in Cuts.__dataclass_fields__} | {"time_s": free})
    least = min(best_entries(still, np.array(p), law)[1] for p in permutations(range(len(cuts))))
    assert 0.0 < bound <= least * (1 + 1e-12)
    assert bound > 0.2 * least, "a bound near 0 would say nothing"


def test_one_cut_has_no_way_to_bound():
    cuts = random_cuts(np.random.default_rng(0), 1)
    assert travel_bound_s(cuts, travel_law(AXES, rise_mm=0.0)) == 0.0
