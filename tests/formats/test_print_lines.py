"""Arcs as cubics: within half a micrometre, 30 degrees at most, numbers of 6 decimals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.errors import UsageError
from kerfwright.formats.print.letters import text_strokes, text_width_mm
from kerfwright.formats.print.lines import path_operators
from kerfwright.formats.print.numbers import number
from kerfwright.geometry.paths import edges_of, join_sets, make_circle, make_path

T = np.linspace(0.0, 1.0, 41)[:, None]


def cubics(rows):
    """Return start, handles and end of each cubic, from the text alone."""
    found, here = [], None
    for row in rows:
        *values, word = row.split()
        if word == "h":
            continue
        p = np.array([float(v) for v in values]).reshape(-1, 2)
        if word == "c":
            found.append(np.vstack((here, p)))
        here = p[-1]
    return found


def on_cubic(c):
    u = 1.0 - T
    return u**3 * c[0] + 3 * u * u * T * c[1] + 3 * u * T * T * c[2] + T**3 * c[3]


@pytest.mark.parametrize("radius", [0.5, 6.0, 300.0, 1300.0, 5e3, 5e4])
@pytest.mark.parametrize("clockwise", [False, True])
def test_a_circle_stays_within_half_a_micrometre(radius, clockwise):
    centre = np.array((310.2, -77.7))
    pieces = cubics(path_operators(make_circle(centre, radius, clockwise=clockwise)))
    assert len(pieces) >= 12
    for c in pieces:
        off = np.hypot(*(on_cubic(c) - centre).T) - radius
        assert np.abs(off).max() <= 5e-4
        a, b = c[0] - centre, c[3] - centre
        sweep = math.atan2(a[0] * b[1] - a[1] * b[0], a @ b)
        assert abs(sweep) <= math.radians(30.0) + 1e-5
        assert (sweep < 0.0) == clockwise


@pytest.mark.parametrize("radius", [1.0, 40.0, 900.0])
def test_control_points_equal_the_textbook_arc_at_6_decimals(radius):
    # Handle length 4/3 tan(a/4) r: common knowledge of computer graphics, from memory; the
    # previous test proves it by distance.
    (x, y), k = (12.5, 40.0), 4.0 / 3.0 * math.tan(math.radians(30.0) / 4.0)
    pieces = cubics(path_operators(make_circle((x, y), radius)))
    for i, c in enumerate(pieces):
        a, b = math.radians(30.0 * i), math.radians(30.0 * (i + 1))
        wanted = [
            (math.cos(a), math.sin(a)),
            (math.cos(a) - k * math.sin(a), math.sin(a) + k * math.cos(a)),
            (math.cos(b) + k * math.sin(b), math.sin(b) - k * math.cos(b)),
            (math.cos(b), math.sin(b)),
        ]
        assert c == pytest.approx(np.array(wanted) * radius + (x, y), abs=1e-6)


@given(
    st.lists(
        st.tuples(st.floats(-900, 900), st.floats(-900, 900), st.floats(-1, 1)),
        min_size=3,
        max_size=6,
        unique_by=lambda v: (round(v[0]), round(v[1])),
    ),
    st.booleans(),
)
def test_every_arc_is_followed_from_end_to_end(rows, closed):
    points = np.array([r[:2] for r in rows])
    bulges = np.array([r[2] if abs(r[2]) > 1e-3 else 0.0 for r in rows])
    bulges[-1] = bulges[-1] if closed else 0.0
    paths = make_path(points, bulges, closed=closed)
    pieces = cubics(path_operators(paths))
    e = edges_of(paths)
    arcs = np.flatnonzero(e.bulge != 0.0)
    for i in arcs:
        chord = e.end[i] - e.start[i]
        lift = (1.0 - e.bulge[i] ** 2) / (4.0 * e.bulge[i])
        centre = (e.start[i] + e.end[i]) / 2.0 + lift * np.array((-chord[1], chord[0]))
        radius = np.hypot(*(e.start[i] - centre))
        own = []
        while True:
            own.append(pieces.pop(0))
            off = np.abs(np.hypot(*(on_cubic(own[-1]) - centre).T) - radius)
            assert off.max() <= 5e-4 + 1e-12 * radius
            if np.abs(own[-1][3] - e.end[i]).max() <= 1e-6:
                break
        assert own[0][0] == pytest.approx(e.start[i], abs=1e-6)
    assert not pieces


def test_a_single_point_is_refused_by_its_place():
    drill = make_path([(3.0, 4.0)], closed=False)
    with pytest.raises(UsageError, match=r"path 1 at 3\.000, 4\.000 .* circle"):
        path_operators(join_sets([make_circle((0, 0), 1.0), drill]))


def test_lines_and_ends_are_written_as_they_are():
    rows = path_operators(make_path([(0, 0), (10.1234567, 0), (0, -5)], closed=True))
    assert rows == ["0 0 m", "10.123457 0 l", "0 -5 l", "h"]
    assert path_operators(make_path([(1, 2), (3, 4)], closed=False)) == ["1 2 m", "3 4 l"]


@given(st.floats(-1e5, 1e5))
def test_numbers_have_no_exponent_and_keep_6_decimals(value):
    text = number(value)
    assert "e" not in text
    assert text not in {"-0", ""}
    assert abs(float(text) - value) <= 5.1e-7


def test_letters_stay_in_their_box_and_unknown_ones_are_seen():
    text = "Operator side 0123456789 jkqvwxyz-_.,:/"
    x0, y0, x1, y1 = text_strokes(text, at_mm=(5.0, 7.0), height_mm=3.0).box_mm()
    assert (y0, y1) == pytest.approx((7.0, 10.0))
    assert 5.0 <= x0 < x1 <= 5.0 + text_width_mm(text, height_mm=3.0)
    assert len(text_strokes("Ω", at_mm=(0, 0), height_mm=1.0)) == 2
