"""Length, area, bounds, pieces and directions are exact, and move with the path."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from ezdxf.math import bulge_to_arc
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from kerfwright.errors import GeometryError, ModelError
from kerfwright.geometry import edges
from kerfwright.geometry.along import along, piece
from kerfwright.geometry.flatten import flatten
from kerfwright.geometry.paths import (
    PathSet,
    edges_of,
    empty_paths,
    join_sets,
    make_circle,
    make_path,
)


@st.composite
def contours(draw):
    """Return a closed path of lines and arcs about the origin, star-shaped in its corners."""
    n = draw(st.integers(3, 9))
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    angle = np.sort(rng.uniform(0, 2 * np.pi, n)) + np.arange(n) * 1e-3
    points = rng.uniform(5, 80, n)[:, None] * np.column_stack((np.cos(angle), np.sin(angle)))
    bulges = np.where(rng.random(n) < 0.5, rng.uniform(-0.9, 0.9, n), 0.0)
    return make_path(points, bulges, closed=True)


MOVES = st.tuples(st.floats(-6, 6), st.floats(-900, 900), st.floats(-900, 900), st.booleans())


def similarity(turn, x, y, mirror, scale=1.0):
    flip = -1.0 if mirror else 1.0
    cos, sin = scale * np.cos(turn), scale * np.sin(turn)
    return np.array([[cos, -flip * sin, x], [sin, flip * cos, y]])


@pytest.mark.reference("ezdxf.math.bulge_to_arc on the same points")
@given(st.floats(-1, 1).filter(lambda b: abs(b) > 1e-6), st.floats(-50, 50), st.floats(1, 50))
def test_an_arc_is_the_one_a_dxf_bulge_means(bulge, x, y):
    start, end = np.array([[x, 0.0]]), np.array([[0.0, y]])
    b = np.array([bulge])
    centre, _, _, radius = bulge_to_arc((x, 0.0), (0.0, y), bulge)
    assert edges.radius_mm(start, end, b)[0] == pytest.approx(radius, rel=1e-9)
    assert edges.centre_mm(start, end, b)[0] == pytest.approx(tuple(centre)[:2], rel=1e-6, abs=1e-6)
    middle = edges.point_at(start, end, b, np.array([0.5]))[0]
    assert np.hypot(*(middle - tuple(centre)[:2])) == pytest.approx(radius, rel=1e-9)


def test_a_positive_bulge_runs_counter_clockwise():
    half = edges.point_at(
        np.array([[0.0, 0.0]]), np.array([[10.0, 0.0]]), np.ones(1), np.array([0.5])
    )
    assert half[0] == pytest.approx((5.0, -5.0))


@given(contours())
def test_lengths_agree_with_integration_of_the_points(path):
    whole = along(path)
    e, step = whole.edges, 1e-6
    for i in range(len(e.bulge)):
        row = [v[i : i + 1] for v in (e.start, e.end, e.bulge)]

        def rate(f, row=row):
            a = edges.point_at(*row, np.array([f - step]))
            b = edges.point_at(*row, np.array([f + step]))
            return np.hypot(*(b - a)[0]) / (2 * step)

        length = edges.length_mm(*row)[0]
        assert quad(rate, step, 1 - step, epsabs=1e-7)[0] == pytest.approx(length, rel=1e-4)


@pytest.mark.reference("Shapely on chords 1e-4 mm off the arcs; area agrees to length times that")
@given(contours())
def test_area_and_bounds_agree_with_shapely_on_fine_chords(path):
    flat = flatten(path, tolerance_mm=1e-4)
    ring = shapely.LinearRing(flat.points)
    area = abs(sum(x * y1 - x1 * y for (x, y), (x1, y1) in zip(
        flat.points, np.roll(flat.points, -1, axis=0), strict=True)) / 2.0)  # fmt: skip
    assert abs(path.areas_mm2()[0]) == pytest.approx(area, abs=2e-4 * ring.length)
    assert path.bounds_mm()[0] == pytest.approx(ring.bounds, abs=2e-4)


@given(contours(), MOVES, st.floats(0.1, 10))
def test_measures_move_with_the_path(path, move, scale):
    m = similarity(*move, scale=scale)
    there = path.transformed(m)
    sign = -1.0 if move[3] else 1.0
    assert there.lengths_mm() == pytest.approx(scale * path.lengths_mm(), rel=1e-9)
    assert there.areas_mm2() == pytest.approx(
        sign * scale**2 * path.areas_mm2(), rel=1e-7, abs=1e-5
    )
    s = np.linspace(0, 0.999, 7) * path.lengths_mm()[0]
    mapped = along(path).points(s) @ m[:, :2].T + m[:, 2]
    assert along(there).points(scale * s) == pytest.approx(mapped, abs=1e-6)


@given(contours())
def test_reversing_turns_the_area_and_nothing_else(path):
    back = path.reversed_where()
    assert back.areas_mm2() == pytest.approx(-path.areas_mm2())
    assert back.lengths_mm() == pytest.approx(path.lengths_mm())
    assert back.bounds_mm() == pytest.approx(path.bounds_mm())
    assert back.reversed_where().digest == path.digest


@given(contours(), st.floats(-2, 2), st.floats(0.01, 0.99))
def test_a_piece_is_that_stretch_of_the_path(path, begin, share):
    whole = along(path)
    a, length = begin * whole.length_mm, share * whole.length_mm
    part = piece(whole, a, a + length)
    assert part.lengths_mm()[0] == pytest.approx(length, abs=1e-6)
    places = np.linspace(0.02, 0.98, 9) * length
    assert along(part).points(places) == pytest.approx(whole.points(a + places), abs=1e-6)


@given(contours())
def test_headings_are_those_of_the_points(path):
    whole = along(path)
    s = (np.arange(25) + 0.37) / 25 * whole.length_mm
    s = s[np.abs(s[:, None] - whole.knots_mm).min(axis=1) > 1e-2]
    d = whole.points(s + 1e-5) - whole.points(s - 1e-5)
    turn = np.exp(1j * whole.headings_rad(s)) - (d[:, 0] + 1j * d[:, 1]) / np.hypot(*d.T)
    assert np.abs(turn).max(initial=0.0) < 1e-3


def test_a_full_circle_is_two_halves():
    circle = make_circle((3, 4), 2.0)
    assert len(edges_of(circle).bulge) == 2
    assert circle.lengths_mm()[0] == pytest.approx(4 * np.pi)
    assert circle.areas_mm2()[0] == pytest.approx(4 * np.pi)
    assert circle.bounds_mm()[0] == pytest.approx((1, 2, 5, 6))


def test_steep_arcs_are_split_and_stay_the_same_arc():
    path = make_path([(0, 0), (1, 0)], [3.0, 0.0], closed=False)
    assert (np.abs(path.bulges) <= 1.0).all()
    sweep = 4 * np.arctan(3.0)
    radius = 1.0 * (1 + 9) / 12
    assert path.lengths_mm()[0] == pytest.approx(radius * sweep)


@pytest.mark.parametrize(
    ("points", "bulges", "starts", "closed"),
    [
        ([(0, 0), (np.nan, 1)], [0, 0], [0, 2], [False]),
        ([(0, 0), (1, 1)], [2, 0], [0, 2], [False]),
        ([(0, 0), (1, 1)], [0, 0.5], [0, 2], [False]),
        ([(0, 0)], [0], [0, 1], [True]),
        ([(0, 0), (1, 1)], [0, 0], [0, 1], [False]),
        ([(0, 0), (1, 1)], [0, 0], [0, 0, 2], [False, False]),
    ],
)
def test_what_is_no_path_is_refused(points, bulges, starts, closed):
    with pytest.raises(ModelError):
        PathSet(points=points, bulges=bulges, starts=starts, closed=closed)


def test_arcs_are_not_stretched_unevenly():
    with pytest.raises(GeometryError, match="similarity"):
        make_circle((0, 0), 1.0).transformed([[1, 0, 0], [0, 2, 0]])


def test_joining_and_selecting_gives_every_path_back():
    sets = [make_circle((0, 0), 1.0), make_path([(0, 0), (5, 5)], closed=False), empty_paths()]
    every = join_sets(sets)
    assert len(every) == 2
    assert every.select([1]).digest == sets[1].digest
    assert every.select([True, False]).digest == sets[0].digest
    with pytest.raises(GeometryError):
        empty_paths().box_mm()
