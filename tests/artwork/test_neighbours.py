"""Edges that share a vertex and meet again, against Shapely on fine chords."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st

from kerfwright.artwork import check
from kerfwright.artwork.neighbours import meet_again
from kerfwright.geometry import edges
from kerfwright.geometry.paths import edges_of, make_path
from tests.artwork.drawings import EVERYTHING, drawing_of

PLACE = st.tuples(st.integers(-9, 9), st.integers(-9, 9)).map(lambda p: (float(p[0]), float(p[1])))
BULGE = st.one_of(st.just(0.0), st.floats(-1.0, 1.0).filter(lambda b: abs(b) > 0.02))
TOLERANCE_MM = 0.02


def chords(e, k, count=1500):
    f = np.linspace(0.0, 1.0, count)
    row = np.full(count, k)
    return edges.point_at(e.start[row], e.end[row], e.bulge[row], f)


@given(st.tuples(PLACE, PLACE, PLACE).filter(lambda p: len(set(p)) == 3), BULGE, BULGE)
def test_against_shapely(points, first, second):
    e = edges_of(make_path(points, [first, second, 0.0], closed=False))
    assume(len(e.bulge) == 2)
    # Shapely sees the shared vertex too: what lies further off is a second meeting.
    away = shapely.Point(points[1]).buffer(0.2)
    one, two = (shapely.LineString(chords(e, k)).difference(away) for k in (0, 1))
    gap = one.distance(two)
    ends = shapely.MultiPoint(points)
    near_end = one.intersection(two).distance(ends) if one.intersects(two) else np.inf
    # Grazing, and meetings at an end, may be judged either way at the accuracy of chords.
    assume(not one.is_empty and not two.is_empty and near_end > 0.1)
    assume(gap == 0.0 or gap > 0.02)
    got = meet_again(e, np.array([0]), np.array([1]), tolerance_mm=TOLERANCE_MM)[0]
    if gap > 0.0:
        assume(not _meets_in(e, away))
    assert got == (gap == 0.0)


def _meets_in(e, area):
    """Whether the second meeting, if any, lies in the area cut away around the shared vertex."""
    inner = [shapely.LineString(chords(e, k)).intersection(area) for k in (0, 1)]
    return inner[0].intersection(inner[1]).geom_type != "Point"


def test_a_keyhole_that_crosses_itself_beside_a_vertex_is_found():
    path = make_path([(0, 0), (20, 0), (12, -3), (0, -20)], [0.0, 1.0, 0.0, 0.0], closed=True)
    found = check(drawing_of(path), EVERYTHING)
    assert "ART-140" in [f.code for f in found]


@pytest.mark.parametrize("bulge", [0.0, 0.3, -0.3, 1.0])
def test_smooth_and_plain_contours_are_left_alone(bulge):
    square = make_path([(0, 0), (20, 0), (20, 20), (0, 20)], [bulge] * 4, closed=True)
    outward = check(drawing_of(square), EVERYTHING)
    assert [f.code for f in outward if f.code == "ART-140"] == []
