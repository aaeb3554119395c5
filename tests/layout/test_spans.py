"""The search against slow second ways: places by sampling with Shapely, polygons by area."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.geometry.paths import make_path
from kerfwright.layout._spans import edge_rows, first_place, slide_back
from kerfwright.layout.rings import SHRINK_MM, ring_of, shrunk
from layout.pieces import box, polygon
from strategies import contours


def stock_of(solids, gap, *, width=500.0, height=400.0):
    rings = [np.array([(0, 0), (width, 0), (width, height), (0, height)], float), *solids]
    return (
        np.concatenate(rings),
        np.concatenate(([0], np.cumsum([len(r) for r in rings]))).astype(np.int64),
        np.array([[*r.min(axis=0), *r.max(axis=0)] for r in rings]),
        np.full(len(rings), gap),
    )


def home(contour):
    ring = ring_of(contour, is_solid=True)
    return ring - ring.min(axis=0)


@st.composite
def scenes(draw):
    shape = home(draw(contours()))
    rng = np.random.default_rng(draw(st.integers(0, 999)))
    solids = [
        home(draw(contours())) + rng.uniform(0, (400, 300)) for _ in range(draw(st.integers(0, 3)))
    ]
    return shape, solids, draw(st.sampled_from([0.0, 4.0])), float(rng.uniform(0, 200))


@settings(max_examples=60, deadline=None)
@given(scene=scenes())
def test_the_leftmost_place_on_a_level_is_the_one_sampling_finds(scene):
    shape, solids, gap, level = scene
    small, size = shrunk(shape), shape.max(axis=0)
    own = np.array((0.0, 0.0, *size))
    hit, x = first_place(
        small, edge_rows(small), own, np.array([level]), *stock_of(solids, gap), SHRINK_MM
    )
    free = shapely.box(gap, gap, 500.0 - gap, 400.0 - gap)
    taken = [shapely.Polygon(s) for s in solids]
    here = shapely.Polygon(shape)

    def fits(at, slack):
        moved = shapely.transform(here, lambda p: p + np.array((at, level)))
        if moved.difference(free).area > slack * moved.length:
            return False
        if gap == 0.0:
            return all(moved.intersection(t).area <= slack * moved.length for t in taken)
        return all(moved.distance(t) >= gap - slack for t in taken)

    sampled = next((a for a in np.arange(0.0, 500.0, 2.0) if fits(a, 0.0)), None)
    if hit < 0:
        assert sampled is None
    else:
        assert fits(x, 1e-5)
        assert sampled is None or x <= sampled + 1e-6


@settings(max_examples=30, deadline=None)
@given(scene=scenes())
def test_sliding_stops_where_something_is_touched(scene):
    shape, solids, gap, _ = scene
    small, own = shrunk(shape), np.array((0.0, 0.0, *shape.max(axis=0)))
    stock = stock_of(solids, gap, width=3000.0)
    stop = slide_back(edge_rows(small), own, 2000.0, 120.0, *stock, SHRINK_MM)
    assert gap - 1e-6 <= stop <= 2000.0
    here = shapely.Polygon(shape + np.array((stop, 120.0)))
    taken = [shapely.Polygon(s) for s in solids]
    assert all(here.distance(t) >= gap - 1e-6 for t in taken)
    if stop > gap + 1e-6:
        nudged = shapely.Polygon(shape + np.array((stop - 1e-3, 120.0)))
        assert min(nudged.distance(t) for t in taken) < max(gap, 1e-9)


@settings(max_examples=60, deadline=None)
@given(contour=contours())
def test_polygons_lie_on_the_safe_side(contour):
    exact = polygon(contour, chord_mm=1e-3)
    outside = shapely.Polygon(ring_of(contour, is_solid=True))
    inside = shapely.Polygon(ring_of(contour, is_solid=False))
    slack = 2e-3 * exact.length
    assert exact.difference(outside).area <= slack
    assert inside.difference(exact).area <= slack
    assert outside.hausdorff_distance(exact) <= 0.004 * max(np.ptp(exact.bounds), 1.0) + 0.01


@pytest.mark.parametrize("turn", range(8))
def test_boxes_of_round_shapes_stay_exact(turn):
    angle = turn * 0.4
    c, s = 50.0 * np.cos(angle), 50.0 * np.sin(angle)
    disc = make_path([(c, s), (-c, -s)], [1.0, 1.0], closed=True)
    ring = ring_of(disc, is_solid=True)
    np.testing.assert_allclose(
        [*ring.min(axis=0), *ring.max(axis=0)], [-50, -50, 50, 50], atol=1e-8
    )


def test_shrinking_moves_every_side_inwards():
    ring = ring_of(box(10.0, 10.0), is_solid=True)
    np.testing.assert_allclose(np.abs(shrunk(ring) - ring), SHRINK_MM, rtol=1e-6)
