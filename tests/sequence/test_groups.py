"""Tool groups: the fewest changes, against a search over every order of single cuts."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from kerfwright.errors import ModelError
from kerfwright.sequence.groups import free_cuts, tool_groups
from kerfwright.sequence.precedence import make_graph


def fewest_groups(station, edges):
    """Least number of runs of one station over all orders, by sets of cuts done."""
    n = len(station)
    needs = [{a for a, b in edges if b == i} for i in range(n)]

    @cache
    def rest(done, last):
        if len(done) == n:
            return 0
        return min(
            rest(done | {i}, station[i]) + (station[i] != last)
            for i in range(n)
            if i not in done and needs[i] <= done
        )

    return rest(frozenset(), None)


def random_edges(rng, n, share):
    order = rng.permutation(n)
    pairs = [(a, b) for i, a in enumerate(order) for b in order[i + 1 :] if rng.random() < share]
    return np.array(pairs, np.int64).reshape(-1, 2)


@pytest.mark.parametrize("case", range(60))
def test_groups_are_the_fewest_and_keep_the_precedence(case):
    rng = np.random.default_rng(case)
    n = int(rng.integers(1, 9))
    station = rng.choice((1, 2, 4, 7)[: rng.integers(1, 5)], size=n)
    edges = random_edges(rng, n, 0.3)
    group = tool_groups(station, make_graph(edges, n))
    assert (group[edges[:, 0]] <= group[edges[:, 1]]).all()
    assert sorted(set(group.tolist())) == list(range(group.max() + 1))
    for g in range(group.max() + 1):
        assert len(set(station[group == g].tolist())) == 1
    expected = fewest_groups(tuple(station.tolist()), [tuple(e) for e in edges.tolist()])
    assert group.max() + 1 == expected


def test_nodes_without_cut_pass_precedence_on():
    # cut 0 (station 1) -> node 3 -> cut 1 (station 2) -> node 4 -> cut 2 (station 1)
    graph = make_graph(np.array([(0, 3), (3, 1), (1, 4), (4, 2)]), 5)
    assert tool_groups(np.array((1, 2, 1)), graph).tolist() == [0, 1, 2]
    assert free_cuts(3, graph).tolist() == [0]


def test_a_circle_is_refused():
    graph = make_graph(np.array([(0, 1), (1, 2), (2, 1)]), 3)
    with pytest.raises(ModelError, match="runs in a circle"):
        tool_groups(np.array((1, 1, 2)), graph)
