"""Arcs stay arcs: centre, radius and ends to 1e-9 of the radius of what ezdxf says of its own.

Reference: the parameters that ezdxf (MIT) gives for the same entity in world coordinates; it
explodes blocks and tilts axes with code of its own.
"""

from __future__ import annotations

from math import cos, pi, radians, sin

import ezdxf
import numpy as np
import pytest
from ezdxf.math import Vec3, bulge_to_arc
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from kerfwright.formats.limits import ReadLimits
from kerfwright.geometry import edges
from kerfwright.geometry.paths import edges_of

COORDINATE = st.floats(-5e3, 5e3, allow_nan=False)
RADIUS = st.floats(1e-2, 1e4)
ANGLE = st.floats(0.0, 359.99)
MIRRORED = (0, 0, -1)
FAR = ReadLimits(coordinate_mm=1e9)
NEW = settings(max_examples=30, phases=set(Phase) - {Phase.explain})


def document():
    return ezdxf.new("R2010", units=4)


def assert_is_arc(paths, *, centre, radius, ends=None, sweep_rad):
    """Every edge lies on the circle, and together they sweep what they should."""
    centre = np.array([centre[0], centre[1]])
    e = edges_of(paths)
    size = 1e-9 * radius + 1e-12 * (abs(centre[0]) + abs(centre[1]) + radius)
    for p in (e.start, e.end):
        assert np.abs(np.hypot(*(p - centre).T) - radius).max() <= size
    # A short arc fixes its centre badly; what counts is how far its own circle leaves the other
    # one along the arc, and that is bounded by the middle of each edge.
    middle = edges.point_at(e.start, e.end, e.bulge, np.full(len(e.bulge), 0.5))
    assert np.abs(np.hypot(*(middle - centre).T) - radius).max() <= size
    assert edges.sweep_rad(e.bulge).sum() == pytest.approx(sweep_rad, abs=1e-9)
    if ends is not None:
        assert np.abs(e.start[0] - np.array([ends[0][0], ends[0][1]])).max() <= size
        assert np.abs(e.end[-1] - np.array([ends[1][0], ends[1][1]])).max() <= size


@NEW
@given(COORDINATE, COORDINATE, RADIUS, ANGLE, ANGLE, st.booleans())
def test_arc(read_here, x, y, radius, start, end, mirrored):
    doc = document()
    extrusion = MIRRORED if mirrored else (0, 0, 1)
    arc = doc.modelspace().add_arc((x, y), radius, start, end, dxfattribs={"extrusion": extrusion})
    drawing = read_here(doc)
    sweep = radians((end - start) % 360.0 or 360.0) * (-1.0 if mirrored else 1.0)
    assume(radius * sweep**2 / 8.0 > 1e-12)  # what rises less is a line
    full = abs(sweep) > 2.0 * pi - 1e-9
    assert drawing.paths.closed.tolist() == [full]
    assert_is_arc(
        drawing.paths,
        centre=arc.ocs().to_wcs(Vec3(x, y)),
        radius=radius,
        ends=None if full else (arc.start_point, arc.end_point),
        sweep_rad=sweep,
    )


@pytest.mark.parametrize("sweep_deg", [1e-308, 1e-12, 1e-6])
def test_an_arc_too_short_to_rise_is_a_line(read_here, sweep_deg):
    doc = document()
    doc.modelspace().add_arc((3, 4), 0.01, 0.0, sweep_deg)
    paths = read_here(doc).paths
    assert paths.bulges.tolist() == [0.0, 0.0]
    np.testing.assert_allclose(paths.points, [(3.01, 4.0)] * 2, atol=1e-9)


def test_arc_as_the_reference_mirrors_it(read_here):
    """Centre (10, 0), radius 5, 0 to 90 degrees, extrusion -z: from (-15, 0) to (-10, 5)."""
    doc = document()
    doc.modelspace().add_arc((10, 0), 5, 0, 90, dxfattribs={"extrusion": MIRRORED})
    paths = read_here(doc).paths
    np.testing.assert_allclose(paths.points, [(-15, 0), (-10, 5)], atol=1e-12)
    assert paths.bulges[0] == pytest.approx(-np.tan(pi / 8), abs=1e-15)


@NEW
@given(COORDINATE, COORDINATE, RADIUS, st.booleans())
def test_circle_is_two_halves(read_here, x, y, radius, mirrored):
    doc = document()
    extrusion = MIRRORED if mirrored else (0, 0, 1)
    circle = doc.modelspace().add_circle((x, y), radius, dxfattribs={"extrusion": extrusion})
    paths = read_here(doc).paths
    assert paths.closed.tolist() == [True]
    assert len(paths.points) == 2
    turn = -1.0 if mirrored else 1.0
    assert_is_arc(
        paths,
        centre=circle.ocs().to_wcs(Vec3(x, y)),
        radius=radius,
        sweep_rad=turn * 2.0 * pi,
    )


BULGE = st.one_of(st.floats(-1.0, 1.0), st.floats(-40.0, 40.0)).filter(lambda b: abs(b) > 1e-6)


@NEW
@given(
    st.tuples(COORDINATE, COORDINATE),
    st.floats(0.1, 1e3),
    st.floats(-pi, pi),
    BULGE,
    st.booleans(),
    st.sampled_from(["LWPOLYLINE", "POLYLINE"]),
)
def test_bulge(read_here, start, length, heading, bulge, mirrored, kind):
    end = (start[0] + length * cos(heading), start[1] + length * sin(heading))
    doc = document()
    rows = [(*start, bulge), (*end, 0.5)]  # the last bulge of an open line means nothing
    attributes = {"extrusion": MIRRORED} if mirrored else {}
    if kind == "LWPOLYLINE":
        doc.modelspace().add_lwpolyline(rows, format="xyb", dxfattribs=attributes)
    else:
        doc.modelspace().add_polyline2d(rows, format="xyb", dxfattribs=attributes)
    drawing = read_here(doc)
    centre, _, _, radius = bulge_to_arc(start, end, bulge)
    turn = -1.0 if mirrored else 1.0
    assert drawing.paths.closed.tolist() == [False]
    assert_is_arc(
        drawing.paths,
        centre=(turn * centre.x, centre.y),
        radius=radius,
        ends=((turn * start[0], start[1]), (turn * end[0], end[1])),
        sweep_rad=turn * 4.0 * np.arctan(bulge),
    )


def test_a_half_circle_bulges_to_the_right(read_here):
    """Bulge 1 from (0, 0) to (10, 0) goes through (5, -5) (DXF reference, LWPOLYLINE)."""
    doc = document()
    doc.modelspace().add_lwpolyline([(0, 0, 1.0), (10, 0, 0.0)], format="xyb")
    box = read_here(doc).paths.box_mm()
    assert box == pytest.approx((0.0, -5.0, 10.0, 0.0), abs=1e-12)


def test_the_last_bulge_of_a_closed_line_closes_it(read_here):
    doc = document()
    doc.modelspace().add_lwpolyline([(0, 0, 1.0), (10, 0, 1.0)], format="xyb", close=True)
    paths = read_here(doc).paths
    assert paths.closed.tolist() == [True]
    assert paths.areas_mm2()[0] == pytest.approx(25.0 * pi, rel=1e-12)


PLACING = {
    "insert": st.tuples(COORDINATE, COORDINATE),
    "turn": st.floats(-360.0, 360.0),
    "scale": st.floats(0.05, 20.0),
    "flip_x": st.booleans(),
    "flip_y": st.booleans(),
    "mirrored": st.booleans(),
}


def place(layout, name, *, insert, turn, scale, flip_x, flip_y, mirrored):
    """Insert a block under a similarity: turned, enlarged, mirrored in up to three ways."""
    return layout.add_blockref(
        name,
        insert,
        dxfattribs={
            "rotation": turn,
            "xscale": -scale if flip_x else scale,
            "yscale": -scale if flip_y else scale,
            "zscale": scale,
            "extrusion": MIRRORED if mirrored else (0, 0, 1),
        },
    )


@NEW
@given(st.fixed_dictionaries(PLACING), st.fixed_dictionaries(PLACING), RADIUS, ANGLE, ANGLE)
def test_arc_in_nested_mirrored_blocks(read_here, outer, inner, radius, start, end):
    """Against ezdxf's own exploding of the same inserts."""
    doc = document()
    hole = doc.blocks.new("HOLE", base_point=(1.0, 2.0))
    hole.add_arc((3.0, -4.0), radius, start, end)
    place(doc.blocks.new("PLATE", base_point=(-7.0, 5.0)), "HOLE", **inner)
    insert = place(doc.modelspace(), "PLATE", **outer)
    (plate,) = insert.virtual_entities()
    (arc,) = plate.virtual_entities()
    drawing = read_here(doc, limits=FAR)
    assert drawing.source[0].endswith(" in PLATE > HOLE")
    sweep = radians((end - start) % 360.0 or 360.0)
    assume(arc.dxf.radius * sweep**2 / 8.0 > 1e-12)  # what rises less is a line
    ends = (arc.start_point, arc.end_point)
    e = edges_of(drawing.paths)
    mine = (e.start[0], e.end[-1])
    if sweep > 2.0 * pi - 1e-6:  # ezdxf takes it for a circle and loses its ends
        ends = None
    elif np.abs(mine[0] - np.array(ends[0].vec2)).max() > 1e-6 * arc.dxf.radius:
        # ezdxf may run the same arc the other way, since its arcs are always counter-clockwise.
        ends = ends[::-1]
    centre = arc.ocs().to_wcs(arc.dxf.center)
    assert_is_arc(
        drawing.paths,
        centre=centre,
        radius=arc.dxf.radius,
        ends=ends,
        sweep_rad=np.sign(edges.sweep_rad(e.bulge).sum()) * sweep,
    )
