"""Nesting, distances, fits and maps against Shapely, SciPy and dense sampling."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.geometry.containment import containment_forest, contains_points
from kerfwright.geometry.distance import hausdorff, nearest_on_paths
from kerfwright.geometry.edges import point_at
from kerfwright.geometry.fit import fit_bezier, fit_ellipse_arc
from kerfwright.geometry.flatten import flatten
from kerfwright.geometry.paths import edges_of, join_sets, make_circle, make_path
from kerfwright.geometry.plane_map import PlaneMap, rigid_map


def dense(paths, per_edge=4000):
    """Return points on every edge, ends included."""
    e = edges_of(paths)
    rows = np.repeat(np.arange(len(e.bulge)), per_edge)
    f = np.tile(np.linspace(0, 1, per_edge), len(e.bulge))
    return point_at(e.start[rows], e.end[rows], e.bulge[rows], f)


@pytest.mark.reference("Shapely on chords within 1e-5 mm; points nearer than 1e-3 mm are left out")
@given(st.integers(0, 5000))
def test_points_inside_are_those_shapely_finds(seed):
    rng = np.random.default_rng(seed)
    points = rng.uniform(-50, 50, (7, 2))
    points = points[np.argsort(np.arctan2(points[:, 1], points[:, 0]))]
    path = make_path(points, rng.uniform(-0.5, 0.5, 7), closed=True)
    ring = shapely.LinearRing(flatten(path, tolerance_mm=1e-5).points)
    if not ring.is_simple:
        return
    xy = rng.uniform(-70, 70, (60, 2))
    far = shapely.distance(shapely.points(xy), ring) > 1e-3
    inside = shapely.contains_xy(shapely.Polygon(ring), xy[:, 0], xy[:, 1])
    assert (contains_points(path, xy) == inside)[far].all()


@given(st.integers(0, 5000), st.integers(2, 25))
def test_parents_are_the_smallest_circles_around(seed, n):
    rng = np.random.default_rng(seed)
    centre, radius = rng.uniform(-60, 60, (n, 2)), rng.uniform(1, 60, n)
    parent = containment_forest(
        join_sets([make_circle(c, r) for c, r in zip(centre, radius, strict=True)]),
        tolerance_mm=1e-9,
    )
    apart = np.hypot(*(centre[:, None] - centre[None]).transpose(2, 0, 1))
    holds = apart + radius[None, :] < radius[:, None] - 1e-6
    for k in range(n):
        around = np.flatnonzero(holds[:, k])
        wanted = around[radius[around].argmin()] if around.size else -1
        assert parent[k] == wanted


@pytest.mark.reference("Shapely's distance on chords within 1e-5 mm")
@given(st.integers(0, 3000))
def test_distances_agree_with_shapely(seed):
    rng = np.random.default_rng(seed)
    path = make_path(rng.uniform(-50, 50, (5, 2)), [*rng.uniform(-1, 1, 4), 0.0], closed=False)
    line = shapely.LineString(flatten(path, tolerance_mm=1e-5).points)
    xy = rng.uniform(-80, 80, (20, 2))
    near = nearest_on_paths(path, xy)
    assert near.distance_mm == pytest.approx(shapely.distance(shapely.points(xy), line), abs=2e-5)
    assert np.hypot(*(near.foot - xy).T) == pytest.approx(near.distance_mm)


def test_hausdorff_distance_of_concentric_circles():
    found = hausdorff(make_circle((0, 0), 5.0), make_circle((0, 0), 5.25), accuracy_mm=1e-6)
    assert found.low_mm <= 0.25 + 1e-12
    assert found.high_mm == pytest.approx(0.25, abs=1e-6)


@given(st.floats(1, 200), st.floats(0.02, 1.0), st.floats(-3, 3), st.floats(0.3, 6.2))
def test_an_ellipse_is_fitted_within_its_tolerance_both_ways(a, ratio, start, sweep):
    tolerance = 0.01
    fitted = fit_ellipse_arc(
        (5.0, -3.0), (a, 0.0), ratio=ratio, start_rad=start, end_rad=start + sweep,
        tolerance_mm=tolerance,
    )  # fmt: skip
    assert fitted.hausdorff_mm <= tolerance
    t = np.linspace(start, start + sweep, 4001)
    curve = np.column_stack((5.0 + a * np.cos(t), -3.0 + ratio * a * np.sin(t)))
    assert nearest_on_paths(fitted.paths, curve).distance_mm.max() <= tolerance * (1 + 1e-6)
    chords = shapely.LineString(curve)
    step = np.hypot(*np.diff(curve, axis=0).T).max()
    back = shapely.distance(shapely.points(dense(fitted.paths, 200)), chords).max()
    assert back <= tolerance + step**2


@given(st.integers(0, 3000))
def test_a_bezier_is_fitted_within_its_tolerance(seed):
    control = np.random.default_rng(seed).uniform(0, 100, (4, 2))
    fitted = fit_bezier(control, tolerance_mm=0.01)
    t = np.linspace(0, 1, 3001)[:, None]
    curve = (
        (1 - t) ** 3 * control[0] + 3 * t * (1 - t) ** 2 * control[1]
        + 3 * t**2 * (1 - t) * control[2] + t**3 * control[3]
    )  # fmt: skip
    assert nearest_on_paths(fitted.paths, curve).distance_mm.max() <= 0.01 * (1 + 1e-6)
    assert fitted.hausdorff_mm <= 0.01


@pytest.mark.reference("square to kite, closed form after Bookstein 1989; values from memory")
def test_the_smooth_field_gives_the_square_to_kite_values():
    square = np.array([(0, 1), (-1, 0), (0, -1), (1, 0)], float)
    w = 1.0 / (16.0 * np.log(2.0))
    kite = PlaneMap(
        affine=np.array([[1.0, 0, 0], [0, 1.0, 0]]),
        centres=square,
        weights=np.column_stack((np.zeros(4), np.array((-w, w, -w, w)))),
    )
    out = kite.map_points([(0.3, 0.1), (0.0, 0.0), (0.5, 0.5)])
    assert out == pytest.approx(np.array([(0.3, 0.1278841714), (0, 0), (0.5, 0.5)]), abs=1e-9)
    assert kite.map_points(square)[:, 1] == pytest.approx((0.75, 0.25, -1.25, 0.25))


@given(st.integers(0, 2000))
def test_the_derivative_of_a_map_is_that_of_its_points(seed):
    rng = np.random.default_rng(seed)
    plane_map = PlaneMap(
        affine=np.eye(2, 3) + rng.normal(0, 0.01, (2, 3)),
        bow=rng.normal(0, 1e-6, (2, 3)),
        steps=np.array([[1.0, 40.0, 0.05, 0.1]]),
        blend_mm=20.0,
        centres=rng.uniform(0, 100, (3, 2)),
        weights=rng.normal(0, 1e-5, (3, 2)),
    )
    xy, h = rng.uniform(5, 95, (10, 2)), 1e-4
    slope = plane_map.jacobian(xy)
    for axis in (0, 1):
        step = np.eye(2)[axis] * h
        numeric = (plane_map.map_points(xy + step) - plane_map.map_points(xy - step)) / (2 * h)
        assert slope[:, :, axis] == pytest.approx(numeric, abs=1e-6)


@given(st.floats(-500, 500), st.floats(-500, 500), st.floats(-6, 6))
def test_a_rigid_map_and_its_inverse_cancel(x, y, turn):
    there = rigid_map(x, y, turn)
    points = np.array([(0, 0), (100, 3), (-7, 50)], float)
    assert there.is_similarity
    back = there.inverse_similarity().map_points(there.map_points(points))
    assert back == pytest.approx(points, abs=1e-9)
