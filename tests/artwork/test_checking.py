"""Open, crossing, overlapping and tiny contours are said with place and figure."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.artwork import check
from kerfwright.artwork.crossings import find_meetings
from kerfwright.errors import Severity
from kerfwright.geometry.paths import make_circle, make_path
from tests.artwork.drawings import EVERYTHING, box, drawing_of, line


def codes(drawing):
    return [f.code for f in check(drawing, EVERYTHING)]


def test_a_sound_drawing_has_no_finding():
    assert codes(drawing_of(box(0, 0, 90, 90), make_circle((40, 40), 9.0))) == []


def test_a_nearly_closed_contour_holds_its_part_and_names_the_gap():
    drawing = drawing_of(line((0, 0), (50, 0), (50, 50), (0, 50), (0, 0.3)))
    found = check(drawing, EVERYTHING)
    assert [f.code for f in found] == ["ART-120"]
    assert found[0].severity is Severity.HOLDS_PART
    assert found[0].measured == pytest.approx(0.3)
    assert found[0].where.contour == "c1"


def test_a_slit_is_only_noted():
    found = check(drawing_of(line((0, 0), (50, 0))), EVERYTHING)
    assert [(f.code, f.severity) for f in found] == [("ART-121", Severity.NOTE)]


def test_a_figure_of_eight_holds_its_part():
    found = check(
        drawing_of(make_path([(0, 0), (50, 50), (50, 0), (0, 50)], closed=True)), EVERYTHING
    )
    assert [f.code for f in found] == ["ART-140"]


def test_crossing_outlines_are_said():
    assert codes(drawing_of(box(0, 0, 50, 50), box(30, 30, 90, 90))) == ["ART-141"]


def test_a_shared_edge_is_said_with_its_length():
    found = check(drawing_of(box(0, 0, 50, 50), box(50, 10, 90, 90)), EVERYTHING)
    shared = [f for f in found if f.code == "ART-131"]
    assert shared
    assert shared[0].measured == pytest.approx(40.0)


def test_arcs_on_one_circle_are_said_with_their_length():
    whole = make_circle((0, 0), 20.0)
    quarter = make_path([(20, 0), (0, 20)], [np.tan(np.pi / 8.0), 0.0], closed=False)
    found = [f for f in check(drawing_of(whole, quarter), EVERYTHING) if f.code == "ART-131"]
    assert found[0].measured == pytest.approx(20.0 * np.pi / 2.0)


def test_a_tiny_contour_is_said():
    found = check(drawing_of(box(0, 0, 0.1, 0.1), box(10, 10, 50, 50)), EVERYTHING)
    assert [f.code for f in found] == ["ART-151"]
    assert found[0].measured == pytest.approx(0.4)


@pytest.mark.reference("Shapely's is_simple on the same corners")
@given(seed=st.integers(0, 2000), corners=st.integers(4, 9))
def test_self_crossing_polygons_are_those_shapely_finds(seed, corners):
    points = np.random.default_rng(seed).uniform(0, 100, (corners, 2))
    path = make_path(points, closed=True)
    ring = shapely.LinearRing(points)
    met = find_meetings(path, tolerance_mm=1e-9)
    assert bool(len(met.one)) == (not ring.is_simple)


@given(seed=st.integers(0, 500), turn=st.floats(0, 6.28), x=st.floats(-500, 500))
def test_findings_move_with_the_drawing(seed, turn, x):
    points = np.random.default_rng(seed).uniform(0, 100, (6, 2))
    cos, sin = np.cos(turn), np.sin(turn)
    here = drawing_of(make_path(points, closed=True), box(200, 0, 260, 50), box(240, 20, 300, 90))
    there = drawing_of(
        *(here.paths.select([k]).transformed([[cos, -sin, x], [sin, cos, -x]]) for k in range(3))
    )
    assert sorted(codes(here)) == sorted(codes(there))
