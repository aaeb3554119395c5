"""Paths under maps of the plane: within the tolerance both ways, vertex by vertex, joined."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry.oracles import brute_forest, distance_to_polyline, polyline_of
from kerfwright.errors import GeometryError, OutOfResourcesError
from kerfwright.geometry.containment import containment_forest
from kerfwright.geometry.curves import Curve
from kerfwright.geometry.distance import distances_mm
from kerfwright.geometry.fit import fit_arcs, map_paths
from kerfwright.geometry.paths import join_sets, make_circle, make_path
from kerfwright.geometry.plane_map import PlaneMap, rigid_map
from strategies import contours, nested, numbers, path_sets, similarities

TOLERANCE_MM = 0.002


@st.composite
def printed_maps(draw) -> PlaneMap:
    """What a printer and a throw do: growth, skew, bow, a feed step, a smooth field."""
    x, y = 1.0 + draw(numbers(-0.01, 0.01)), 1.0 + draw(numbers(-0.01, 0.01))
    turn, skew = draw(numbers(-3.0, 3.0)), draw(numbers(-0.01, 0.01))
    c, s = np.cos(turn), np.sin(turn)
    linear = np.array([[c, -s], [s, c]]) @ np.array([[x, skew], [0.0, y]])
    kappa = draw(numbers(-1.0, 1.0)) * 1e-6
    step = draw(numbers(-0.1, 0.1))
    centres = np.array([(0.0, 0.0), (400.0, 0.0), (0.0, 300.0), (420.0, 310.0)])
    weight = draw(numbers(-1.0, 1.0)) * 1e-7 * np.array([1.0, -1.0, -1.0, 1.0])
    return PlaneMap(
        affine=np.column_stack((linear, (draw(numbers(-900.0, 900.0)), 40.0))),
        bow=np.array([[0.0, -kappa, 0.0], [kappa / 2.0, 0.0, 0.0]]),
        steps=np.array([[1.0, draw(numbers(-60.0, 60.0)), 0.0, step]]),
        blend_mm=20.0,
        centres=centres,
        weights=np.column_stack((weight, -weight)),
    )


@given(path_sets(most=3), printed_maps())
@settings(max_examples=25)
def test_images_are_within_the_tolerance_both_ways(paths, plane_map):
    fitted = map_paths(paths, plane_map, tolerance_mm=TOLERANCE_MM)
    assert len(fitted.paths) == len(paths)
    assert (fitted.paths.closed == paths.closed).all()
    assert fitted.hausdorff_mm <= TOLERANCE_MM
    for k in range(len(paths)):
        true = plane_map.map_points(polyline_of(paths, k, 257))
        got = polyline_of(fitted.paths, k, 65)
        # chords of the dense samples stray from their curves by a little of their own
        away = distance_to_polyline(true, got, closed=bool(paths.closed[k])).max()
        back = distance_to_polyline(got, true, closed=bool(paths.closed[k])).max()
        slack = 2e-4 + _sagitta(true) + _sagitta(got)
        assert max(away, back) <= TOLERANCE_MM + slack


def _sagitta(points: np.ndarray) -> float:
    """Return the most that a curve strays from a chord of its samples, by second differences."""
    if len(points) < 3:
        return 0.0
    second = points[2:] - 2.0 * points[1:-1] + points[:-2]
    chord = np.hypot(*(points[2:] - points[:-2]).T)
    bends = np.hypot(*second.T)
    # corners turn a lot between two samples; only smooth stretches have a sagitta
    smooth = bends < 0.1 * chord
    return float(bends[smooth].max(initial=0.0) / 8.0)


@given(contours(), printed_maps())
@settings(max_examples=25)
def test_every_vertex_has_its_exact_image_and_its_source(path, plane_map):
    fitted = map_paths(path, plane_map, tolerance_mm=TOLERANCE_MM)
    first = np.flatnonzero(fitted.parameter == 0.0)
    assert fitted.source[first].tolist() == list(range(len(path.points)))
    image = plane_map.map_points(path.points)
    assert np.abs(fitted.paths.points[first] - image).max() <= 1e-9
    assert (np.diff(fitted.source) >= 0).all()


@given(path_sets(most=4), similarities())
@settings(max_examples=30)
def test_arcs_stay_arcs_under_a_similarity(paths, affine):
    fitted = map_paths(paths, PlaneMap(affine=affine), tolerance_mm=TOLERANCE_MM)
    sign = np.sign(np.linalg.det(affine[:, :2]))
    assert len(fitted.paths.points) == len(paths.points)
    assert np.abs(fitted.paths.bulges - sign * paths.bulges).max() <= 1e-12
    assert fitted.hausdorff_mm == 0.0


@given(contours(), printed_maps(), st.floats(-3, 3), st.floats(-500, 500))
@settings(max_examples=20)
def test_moving_the_table_moves_the_image(path, plane_map, turn, shift):
    """Map then move is the image under the moved map; both within the tolerance of one curve."""
    rigid = rigid_map(shift, -shift, turn).affine
    linear = rigid[:, :2] @ plane_map.affine
    moved = PlaneMap(
        affine=linear + np.column_stack((np.zeros((2, 2)), rigid[:, 2])),
        bow=rigid[:, :2] @ plane_map.bow,
        steps=np.column_stack((plane_map.steps[:, :2], plane_map.steps[:, 2:] @ rigid[:, :2].T)),
        blend_mm=plane_map.blend_mm,
        centres=plane_map.centres,
        weights=plane_map.weights @ rigid[:, :2].T,
    )
    once = map_paths(path, plane_map, tolerance_mm=TOLERANCE_MM).paths.transformed(rigid)
    other = map_paths(path, moved, tolerance_mm=TOLERANCE_MM).paths
    gap = distance_to_polyline(polyline_of(once, 0), polyline_of(other, 0, 129), closed=True)
    assert gap.max() <= 2.0 * TOLERANCE_MM + 1e-3


@pytest.mark.reference("a circle of radius r stretched by s along x is an ellipse of axes s r, r")
def test_a_stretched_circle_is_its_ellipse():
    stretch = PlaneMap(affine=np.array([[1.05, 0.0, 0.0], [0.0, 1.0, 0.0]]))
    fitted = map_paths(make_circle((0.0, 0.0), 100.0), stretch, tolerance_mm=TOLERANCE_MM)
    points = polyline_of(fitted.paths, 0)
    # distance to an ellipse is |F| / |grad F| to first order
    x, y = points.T / [[105.0**2], [100.0**2]] * 2.0
    value = (points.T**2 / [[105.0**2], [100.0**2]]).sum(axis=0) - 1.0
    assert np.abs(value / np.hypot(x, y)).max() <= TOLERANCE_MM * 1.01


@pytest.mark.parametrize("tolerance_mm", [0.0, -1.0, np.nan, 1e-15])
def test_a_tolerance_that_cannot_be_kept_is_refused(tolerance_mm):
    stretch = PlaneMap(affine=np.array([[1.05, 0.0, 0.0], [0.0, 1.0, 0.0]]))
    with pytest.raises(GeometryError, match="tolerance"):
        map_paths(make_circle((0.0, 0.0), 100.0), stretch, tolerance_mm=tolerance_mm)


def test_more_arcs_than_allowed_are_refused():
    stretch = PlaneMap(affine=np.array([[1.5, 0.0, 0.0], [0.0, 1.0, 0.0]]))
    with pytest.raises(OutOfResourcesError, match="allow more error"):
        map_paths(make_circle((0.0, 0.0), 1e4), stretch, tolerance_mm=1e-5, max_arcs=10)


def test_a_curve_that_stands_still_is_refused():
    """A span whose every point is the same has neither length nor direction."""

    def place(t):
        return np.full((len(t), 2), 5.0), np.zeros((len(t), 2))

    curve = Curve(evaluate=place, breaks=np.array([0.0, 1.0]), closed=False)
    with pytest.raises(GeometryError, match=r"length|still"):
        fit_arcs(curve, tolerance_mm=0.01)


@given(nested())
@settings(max_examples=40)
def test_the_forest_is_the_one_it_was_built_as(case):
    paths, parent = case
    assert containment_forest(paths, tolerance_mm=1e-6).tolist() == parent.tolist()


@given(nested(), similarities())
@settings(max_examples=20)
def test_the_forest_stays_when_everything_moves(case, affine):
    paths, parent = case
    moved = paths.transformed(affine)
    assert containment_forest(moved, tolerance_mm=1e-6).tolist() == parent.tolist()
    assert brute_forest(moved).tolist() == parent.tolist()


def test_two_squares_side_by_side_are_a_gap_apart():
    squares = [make_path([(x, 0), (x + 10, 0), (x + 10, 10), (x, 10)], closed=True)
               for x in (0.0, 12.5)]  # fmt: skip
    assert distances_mm(join_sets(squares), [[0, 1]])[0] == pytest.approx(2.5, abs=1e-12)
