"""Checks against what lies outside of the project: formulas, and polygons of another library."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from kerfwright.geometry.paths import make_path
from kerfwright.model.motion import EventCode
from kerfwright.verify import check_program
from kerfwright.verify.nesting import nesting_of
from kerfwright.verify.wanted import wanted_of
from tests.verify.bench import BLADE, TABLE, TIGHT, TOP, design
from tests.verify.planner import Piece, Program, chords, finish, plan, plan_program, stroke
from tests.verify.shapes import circle, flattened, rectangle, rounded

REFERENCE = pytest.mark.reference


def upright(width):
    """A blade with the same chord at every height."""
    return replace(
        BLADE,
        width_mm=width,
        tip_mm=width,
        lead_rad=np.pi / 2,
        trail_rad=np.pi / 2,
        reference_mm=0.0,
    )


def on_circle(radius, width, track):
    """Cut a circle with an upright blade whose point `track` ahead of its middle is tangent."""
    wanted = design([circle((100.0, 100.0), radius)])
    blade = upright(width)
    wanted = replace(wanted, tools=(blade,))
    program = Program()
    program.event(EventCode.TOOL, 1)
    chord = replace(chords(blade, -0.3, 0.0, TOP), track=track)
    run = [Piece(100.0 + radius, 100.0, np.pi / 2.0, np.pi * radius, 1.0 / radius),
           Piece(100.0 - radius, 100.0, -np.pi / 2.0, np.pi * radius, 1.0 / radius)]  # fmt: skip
    stroke(program, run, chord, loop=True)
    finish(program)
    return check_program(program.motion(), wanted, TABLE, TIGHT)


@REFERENCE(
    "derived: a chord of length w, tangent in its middle, has its ends hypot(R, w/2) - R outside"
)
@pytest.mark.parametrize("radius", [5.0, 19.95, 80.0, 300.0])
@pytest.mark.parametrize("width", [0.6, 4.0])
def test_deviation_of_a_chord_tangent_in_its_middle(radius, width):
    expected = np.hypot(radius, width / 2.0) - radius
    assert on_circle(radius, width, 0.0).worst_mm[0] == pytest.approx(expected, abs=1e-9)


@REFERENCE("derived: tangent at the leading point, the trailing one is hypot(R, w) - R outside")
def test_deviation_of_a_chord_tangent_at_its_front():
    for radius, width in ((79.95, 4.0), (20.0, 1.0)):
        expected = np.hypot(radius, width) - radius
        result = on_circle(radius, width, width / 2.0)
        assert result.worst_mm[0] == pytest.approx(expected, abs=1e-9)
    # w = 4 and R = 79.95 give 0.1 exactly: the least radius for that deviation.
    assert np.hypot(79.95, 4.0) - 79.95 == pytest.approx(0.1, abs=1e-12)


@REFERENCE(
    "derived: leading edge at angle a, thickness t: the top is cut t / tan(a) past the bottom"
)
@pytest.mark.parametrize(
    ("lead_deg", "thickness", "overcut"), [(45.0, 3.0, 3.0), (60.0, 3.0, 1.7320508)]
)
def test_overcut_of_a_slanted_edge(lead_deg, thickness, overcut):
    blade = replace(BLADE, lead_rad=np.radians(lead_deg), width_mm=20.0)
    wanted = replace(design([rectangle(0.0, 0.0, 60.0, 50.0)]), tools=(blade,))
    result = check_program(plan(wanted), wanted, TABLE, TIGHT)
    assert result.overcut_waste_mm[0] == pytest.approx(overcut, abs=1e-7)
    assert result.passed
    assert thickness == TOP


def nested_squares(n):
    return [rectangle(2.0 * i, 2.0 * i, 100.0 - 4.0 * i, 90.0 - 4.0 * i) for i in range(n)]


def test_nesting_against_polygons():
    """Even-odd by polygons of GEOS, through Shapely; arcs in 32 chords, so only off the edges.

    With 32 chords to an edge a quarter of radius 12 is flattened within 12 (1 - cos(pi / 128)),
    less than 0.004 mm: points nearer than 0.01 mm to an edge are left out.
    """
    paths = [*nested_squares(4), rounded(20.0, 20.0, 40.0, 30.0, 12.0), circle((40.0, 35.0), 6.0),
             make_path([(110.0, 0.0), (150.0, 0.0)], [0.4, -0.8], closed=True)]  # fmt: skip
    wanted = design(paths)
    nesting = nesting_of(wanted, wanted_of(wanted, TIGHT))
    region = None
    for path in paths:
        ring = shapely.Polygon(flattened(path))
        region = ring if region is None else region.symmetric_difference(ring)
    rng = np.random.default_rng(0)
    xy = np.concatenate((rng.uniform((-5.0, -40.0), (160.0, 95.0), (4000, 2)),
                         rng.integers(0, 50, (500, 2)) * 2.0))  # fmt: skip
    far = shapely.distance(shapely.points(xy), region.boundary) > 0.01
    expected = shapely.contains_xy(region, *xy[far].T)
    assert (nesting.is_part(xy[far]) == expected).all()
    assert 0.1 < expected.mean() < 0.9
    # The part is inside of outlines and outside of windows, whichever way they are drawn.
    area = wanted.nominal.areas_mm2()
    assert (nesting.side * np.sign(area)).tolist()[:6] == [1, -1, 1, -1, 1, -1]


def test_swept_area_against_polygons():
    """Where the blade is off the contour, so is the area it sweeps, by Shapely's difference."""
    wanted = design([rectangle(10.0, 10.0, 60.0, 40.0)])
    program = plan_program(wanted)
    result = check_program(program.motion(), wanted, TABLE, TIGHT)
    line = shapely.LinearRing(wanted.nominal.points)
    blade = wanted.tools[0]
    back, front = blade.chord_mm(TOP + 0.3)
    swept = []
    at = program.motion()
    for begin, end in zip(at.begins(), at.end, strict=True):
        if begin[2] < TOP and end[2] < TOP:
            u = np.array((np.cos(end[3]), np.sin(end[3])))
            swept += [shapely.LineString((begin[:2] + back * u, end[:2] + front * u))]
    outside = shapely.line_merge(shapely.union_all(swept).difference(line.buffer(1e-6)))
    longest = max(g.length for g in getattr(outside, "geoms", [outside]))
    assert longest == pytest.approx(result.overcut_waste_mm[0], abs=1e-5)
