"""Parts moved as one piece, and contours mapped with the print."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from kerfwright.errors import GeometryError
from kerfwright.geometry.along import along
from kerfwright.geometry.paths import join_sets, make_circle, make_path
from kerfwright.registration import fit_sheet, map_paths, rigid_maps
from kerfwright.registration.rigid import rigid_fits
from registration.prints import DOMAIN, MARKS, fitted, printed
from strategies import rounded_polygons

SQUARE = make_path([(300, 200), (700, 200), (700, 500), (300, 500)], [0, 0.3, 0, -0.1], closed=True)


@pytest.mark.reference("Umeyama 1991, IEEE PAMI 13(4):376-380, the paper's own example")
def test_umeyamas_example_without_scale():
    x = np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 2.0)])
    y = np.array([(0.0, 0.0), (-1.0, 0.0), (0.0, 2.0)])
    (found,) = rigid_fits(x, y, np.ones(3), np.zeros(3, int), 1)
    turn = np.array([(3, 2), (-2, 3)]) / np.sqrt(13.0)
    np.testing.assert_allclose(found[:, :2], turn, atol=1e-14)
    np.testing.assert_allclose(found[:, 2], y.mean(axis=0) - turn @ x.mean(axis=0), atol=1e-14)


def moved(xy, rigid):
    return xy @ rigid[:, :2].T + rigid[:, 2]


def test_motion_is_the_least_squares_one_by_search():
    fit = fitted()
    (rigid,) = rigid_maps(fit, SQUARE)
    way = along(SQUARE)
    dense = way.points((np.arange(20_000) + 0.5) / 20_000 * way.length_mm)
    right = fit.map(dense)

    def left(p):
        c, s = np.cos(p[2]), np.sin(p[2])
        return (moved(dense, np.array([(c, -s, p[0]), (s, c, p[1])])) - right).ravel()

    start = (*rigid[:, 2], np.arctan2(rigid[1, 0], rigid[0, 0]) + 1e-3)
    p = optimize.least_squares(left, start, x_scale=(1.0, 1.0, 1e-3), xtol=1e-15, ftol=1e-15).x
    c, s = np.cos(p[2]), np.sin(p[2])
    np.testing.assert_allclose(
        moved(dense, rigid), dense @ np.array([(c, s), (-s, c)]) + p[:2], atol=1e-5
    )


@settings(max_examples=15, deadline=None)
@given(rounded_polygons(), st.floats(200.0, 2200.0), st.floats(200.0, 1000.0))
def test_motion_is_rigid_and_keeps_lengths(path, x, y):
    here = path.transformed([(1, 0, x), (0, 1, y)])
    (rigid,) = rigid_maps(fitted(), here)
    np.testing.assert_allclose(rigid[:, :2] @ rigid[:, :2].T, np.eye(2), atol=1e-12)
    assert np.linalg.det(rigid[:, :2]) == pytest.approx(1.0)
    np.testing.assert_allclose(here.transformed(rigid).lengths_mm(), here.lengths_mm(), rtol=1e-9)


@settings(max_examples=15, deadline=None)
@given(rounded_polygons())
def test_direction_of_travel_does_not_matter(path):
    here = path.transformed([(1, 0, 900), (0, 1, 600)])
    fit = fitted()
    both = rigid_maps(fit, here), rigid_maps(fit, here.reversed_where())
    np.testing.assert_allclose(*both, atol=1e-9)


def test_many_parts_are_moved_as_each_alone():
    parts = join_sets([SQUARE, make_circle((1500, 800), 100.0), make_circle((200, 1000), 15.0)])
    fit = fitted()
    alone = [rigid_maps(fit, parts.select([k]))[0] for k in range(3)]
    np.testing.assert_allclose(rigid_maps(fit, parts), alone, atol=1e-12)


def test_a_sheet_that_was_only_thrown_moves_its_parts_exactly():
    turn = np.array([(np.cos(2.0), -np.sin(2.0)), (np.sin(2.0), np.cos(2.0))])
    fit = fit_sheet(MARKS, MARKS @ turn.T + (900, 80), domain=DOMAIN)
    (rigid,) = rigid_maps(fit, SQUARE)
    np.testing.assert_allclose(rigid, np.column_stack((turn, (900, 80))), atol=1e-6)


def test_face_down_parts_are_turned_over():
    fit = fit_sheet(MARKS, printed(MARKS) * (-1.0, 1.0), domain=DOMAIN)
    (rigid,) = rigid_maps(fit, SQUARE)
    assert np.linalg.det(rigid[:, :2]) == pytest.approx(-1.0)
    np.testing.assert_allclose(moved(SQUARE.points, rigid), fit.map(SQUARE.points), atol=0.4)


def test_an_outline_of_no_length_is_refused():
    with pytest.raises(GeometryError, match="outline 0"):
        rigid_maps(fitted(), make_path([(1.0, 2.0)], closed=False))


def test_mapped_contours_follow_the_mean_map():
    fit = fitted()
    image = map_paths(fit, SQUARE, 0.002)
    right = fit.map(along(SQUARE).points(np.linspace(0.0, 1400.0, 3000)))
    line = along(image).points(np.linspace(0.0, along(image).length_mm, 200_000))
    gap = [np.hypot(*(line - p).T).min() for p in right[::30]]
    assert max(gap) < 0.002 + 0.005  # the tolerance and half a step of the dense line
    np.testing.assert_allclose(image.points[0], fit.map(SQUARE.points[:1])[0], atol=1e-9)


def test_arcs_stay_arcs_under_a_similarity():
    fit = fitted(MARKS[[0, 5]])
    image = map_paths(fit, SQUARE, 0.002)
    assert len(image.points) == len(SQUARE.points)
    np.testing.assert_allclose(image.bulges, SQUARE.bulges)
