"""Mixtures of maps: quantiles, bands and moments against SciPy, closed forms and sampling."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kerfwright.errors import GeometryError, ModelError
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.uncertain_map import MapNode, UncertainMap, mixture_quantile

DOMAIN = (0.0, 0.0, 1000.0, 600.0)
XY = np.array([(0.0, 0.0), (500.0, 300.0), (1000.0, 600.0), (120.0, 480.0)])


def node(weight, seed, *, dof=5.0, size=0.02, rank=12):
    rng = np.random.default_rng(seed)
    affine = np.array([[1.0, 0.0, 5.0], [0.0, 1.0, -3.0]]) + rng.normal(0.0, 1e-4, (2, 3))
    factor = np.zeros((12, 12))
    factor[:, :rank] = rng.normal(0.0, size, (12, rank))
    return MapNode(
        weight=weight, map=PlaneMap(affine=affine), factor=factor, dof=dof, model=f"m{seed}"
    )


def mixed(*nodes):
    return UncertainMap(
        nodes=nodes, centre=np.array([500.0, 300.0]), length_mm=500.0, domain=DOMAIN
    )


MIXED = mixed(node(0.6, 1), node(0.3, 2, dof=3.5, rank=7), node(0.1, 3, dof=200.0, size=0.1))


def scales(one, xy):
    """Scale of the Student error of one node along x and y, written out point by point."""
    out = []
    for x, y in xy:
        u, v = (x - 500.0) / 500.0, (y - 300.0) / 500.0
        row = np.array([1.0, u, v, u * u, u * v, v * v])
        cov = one.factor @ one.factor.T
        out.append((np.sqrt(row @ cov[:6, :6] @ row), np.sqrt(row @ cov[6:, 6:] @ row)))
    return np.array(out)


@pytest.mark.reference("SciPy: the Student distribution")
@pytest.mark.parametrize("level", [0.5, 0.95, 0.999])
def test_one_node_gives_student_quantiles(level):
    one = node(1.0, 4, dof=3.7)
    low, high = mixed(one).interval(XY, level)
    middle, reach = one.map.map_points(XY), stats.t.ppf(0.5 + level / 2.0, 3.7) * scales(one, XY)
    np.testing.assert_allclose(low, middle - reach, atol=1e-9)
    np.testing.assert_allclose(high, middle + reach, atol=1e-9)


@pytest.mark.reference("SciPy: the Student distribution")
@pytest.mark.parametrize("level", [0.5, 0.9, 0.95, 0.99, 0.9999])
def test_mixture_has_just_the_chance_asked_for_on_each_side(level):
    for end, chance in zip(
        MIXED.interval(XY, level), (0.5 - level / 2, 0.5 + level / 2), strict=True
    ):
        below = sum(
            n.weight * stats.t.cdf((end - n.map.map_points(XY)) / scales(n, XY), n.dof)
            for n in MIXED.nodes
        )
        np.testing.assert_allclose(below, chance, atol=1e-7)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.001, 0.999))
def test_quantiles_of_any_mixture_are_found(seed, level):
    rng = np.random.default_rng(seed)
    weight, dof = rng.dirichlet(np.ones(4)), rng.uniform(2.1, 50.0, 4)
    at, scale = rng.normal(0.0, 10.0, (4, 3)), 10.0 ** rng.uniform(-6.0, 2.0, (4, 3))
    found = mixture_quantile(weight, at, scale, dof, level)

    def chance(x):
        return (weight[:, None] * stats.t.cdf((x - at) / scale, dof[:, None])).sum(axis=0)

    grain = 2e-9 * scale.max(axis=0)
    assert (chance(found - grain) <= level + 1e-12).all()
    assert (chance(found + grain) >= level - 1e-12).all()


def test_wider_levels_nest():
    inner, outer = MIXED.interval(XY, 0.9), MIXED.interval(XY, 0.95)
    assert (outer[0] < inner[0]).all()
    assert (inner[1] < outer[1]).all()


def test_moments_are_those_of_drawn_maps():
    rng = np.random.default_rng(0)
    one = mixed(node(0.7, 1, dof=9.0), node(0.3, 3, dof=12.0, size=0.05))
    drawn = []
    for n in one.nodes:
        count = round(40_000 * n.weight)
        wide = np.sqrt(n.dof / rng.chisquare(n.dof, count))[:, None]
        off = ((rng.standard_normal((count, 12)) @ n.factor.T) * wide).reshape(count, 2, 6)
        drawn.append(n.map.map_points(XY) + np.einsum("pk,sak->spa", one.basis(XY), off))
    every = np.concatenate(drawn)
    np.testing.assert_allclose(every.std(axis=0), one.sd(XY), rtol=0.03)
    np.testing.assert_allclose(every.mean(axis=0), one.map(XY), atol=5e-3)


def test_band_holds_over_the_whole_domain_at_once():
    rng = np.random.default_rng(1)
    x, y = np.meshgrid(np.linspace(0.0, 1000.0, 9), np.linspace(0.0, 600.0, 7))
    grid = np.column_stack((x.ravel(), y.ravel()))
    radius, mean, basis = MIXED.simultaneous_band(grid, 0.9), MIXED.map(grid), MIXED.basis(grid)
    held = 0.0
    for n in MIXED.nodes:
        wide = np.sqrt(n.dof / rng.chisquare(n.dof, 1500))[:, None]
        off = ((rng.standard_normal((1500, 12)) @ n.factor.T) * wide).reshape(-1, 2, 6)
        away = n.map.map_points(grid) - mean + np.einsum("pk,sak->spa", basis, off)
        held += n.weight * (np.hypot(away[..., 0], away[..., 1]) <= radius).all(axis=1).mean()
    assert held >= 0.9
    low, high = MIXED.interval(grid, 0.9)
    assert (radius >= 0.5 * (high - low).max(axis=1)).all()


@pytest.mark.reference("Scheffe's bound for one node: sqrt(r F(r, f)) scales; SciPy's F")
def test_band_of_one_node_of_rank_one_axis():
    factor = np.zeros((12, 12))
    factor[0, 0], factor[6, 1] = 0.3, 0.3
    one = MapNode(weight=1.0, map=PlaneMap(affine=np.eye(2, 3)), factor=factor, dof=6.0)
    want = 0.3 * np.sqrt(2.0 * stats.f.ppf(0.95, 2, 6.0))
    np.testing.assert_allclose(mixed(one).simultaneous_band(XY, 0.95), want, rtol=1e-12)


@pytest.mark.reference(
    "Bookstein 1989, IEEE PAMI 11(6):567-585, square to kite: closed form by derivation"
)
def test_mean_of_a_kite_and_the_identity_is_half_a_kite():
    w = 1.0 / (16.0 * np.log(2.0))
    square = np.array([(0.0, 1.0), (-1.0, 0.0), (0.0, -1.0), (1.0, 0.0)])
    kite = PlaneMap(
        affine=np.eye(2, 3), centres=square, weights=np.outer(w * np.array((-1, 1, -1, 1)), (0, 1))
    )
    target = [(0.0, 0.75), (-1.0, 0.25), (0.0, -1.25), (1.0, 0.25)]
    np.testing.assert_allclose(kite.map_points(square), target, atol=1e-12)
    pair = [
        MapNode(weight=0.5, map=m, factor=np.zeros((12, 12)), dof=4.0)
        for m in (kite, PlaneMap(affine=np.eye(2, 3)))
    ]
    half = UncertainMap(nodes=tuple(pair), domain=(-1.0, -1.0, 1.0, 1.0))
    at = np.array([(0.3, 0.1)])
    np.testing.assert_allclose(half.map(at), [(0.3, (0.1278841714 + 0.1) / 2.0)], atol=1e-10)
    off = (0.1278841714 - 0.1) / 2.0  # two maps equally likely, this far from their mean
    np.testing.assert_allclose(half.sd(at), [(0.0, off)], atol=1e-10)


def test_mean_map_maps_as_the_weighted_mean_with_steps():
    step = PlaneMap(affine=np.eye(2, 3), steps=np.array([(1.0, 300.0, 0.1, -0.2)]), blend_mm=2.0)
    nodes = (
        MapNode(weight=0.25, map=step, factor=np.zeros((12, 12)), dof=5.0),
        node(0.75, 8),
    )
    want = 0.25 * step.map_points(XY) + 0.75 * nodes[1].map.map_points(XY)
    np.testing.assert_allclose(mixed(*nodes).map(XY), want, atol=1e-12)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda: mixed(node(0.5, 1)), "add up to 0.5"),
        (mixed, "UncertainMap.nodes is empty"),
        (lambda: node(0.0, 1), "weight"),
        (lambda: node(1.0, 1, dof=2.0), "dof is 2.0"),
        (lambda: node(1.0, 1, dof=float("nan")), "dof is nan"),
        (lambda: UncertainMap(nodes=(node(1.0, 1),), domain=(0, 0, 0, 1)), "domain .* is empty"),
        (
            lambda: UncertainMap(nodes=(node(1.0, 1),), domain=DOMAIN, length_mm=float("inf")),
            "length_mm",
        ),
    ],
)
def test_broken_mixtures_are_refused(change, words):
    with pytest.raises(ModelError, match=words):
        change()


@pytest.mark.parametrize("level", [0.0, 1.0, -0.1, float("nan")])
def test_levels_outside_are_refused(level):
    with pytest.raises(GeometryError, match="level"):
        MIXED.interval(XY, level)
    with pytest.raises(GeometryError, match="level"):
        MIXED.simultaneous_band(XY, level)


def test_points_that_are_none_are_refused():
    with pytest.raises(GeometryError):
        MIXED.sd([(0.0, np.nan)])
