"""What a cutter, a wheel and a pen leave, against faults that were planted."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import ModelError
from kerfwright.geometry.paths import join_sets, make_path
from kerfwright.model.operation import HeadKind
from kerfwright.model.tooling import Cutter, Pen, Wheel
from kerfwright.virtual import Face, Printer, Throw, cut_virtually, measure_cut
from virtual.programs import THICK, UPRIGHT, Blocks, circle, cut_corners, square
from virtual.scenes import sheet

FLAT = sheet(throw=Throw())
SQUARE = square(20.0, 30.0, 40.0)
MIDDLE = np.array((40.0, 50.0))
R = 3.0


def cutter(profile=((R, 0.0),), name="straight"):
    return Cutter(id=name, profile_mm=profile, flutes=2, length_mm=20.0, plunges=True,
                  free_length_mm=22.0, fits=(HeadKind.ROUTER_SPINDLE,))  # fmt: skip


STRAIGHT = cutter()
WHEEL = Wheel(id="w", diameter_mm=30.0, rim_mm=1.5, reference_mm=0.4, free_length_mm=5.0,
              fits=(HeadKind.CREASING_WHEEL,))  # fmt: skip
PEN = Pen(id="p", line_mm=0.5, free_length_mm=2.0, fits=(HeadKind.PEN,))


def go_round(blocks, points, z=-0.2):
    """Follow corners with the axis, back to the first, at one depth."""
    blocks.over(*points[0], 0.0)
    blocks.down(z)
    for x, y in [*points[1:], points[0]]:
        blocks.line(x, y)
    blocks.over(*blocks.at[:2], 0.0)
    blocks.cut += 1


def offset_square(by):
    """Corners of the square moved outwards by so much, sharp."""
    return SQUARE.points + by * np.sign(SQUARE.points - MIDDLE)


def routed(by=R, *, tool=STRAIGHT, z=-0.2, errors=None, points=None):
    blocks = Blocks()
    go_round(blocks, offset_square(by) if points is None else points, z)
    return cut_virtually(blocks.motion(), {1: tool}, thickness_mm=THICK, **(errors or {}))


def measured(trace, contours=SQUARE, truth=FLAT, **how):
    return measure_cut(trace, truth, contours, [f"c{k}" for k in range(len(contours))], **how)


def test_a_square_routed_outside_stands_as_wanted():
    got = measured(routed())
    assert got.worst_mm[0] < 1e-9
    assert (got.uncut_mm[0], got.stray_mm, got.findings) == (0.0, 0.0, ())


@given(d=st.floats(-0.8, 0.8))
@settings(max_examples=20, deadline=None)
def test_a_wrong_radius_is_measured_as_it_was_planted(d):
    """Too far out leaves material all round; too far in cuts into the part."""
    got = measured(routed(R + d), step_mm=0.1)
    # pulled outwards the nearest place of the way to a corner of the part is on a side still
    assert got.worst_mm[0] == pytest.approx(abs(d), abs=1e-9)
    assert got.uncut_mm[0] == 0.0


def test_a_forgotten_radius_is_no_perfect_cut():
    got = measured(routed(0.0))
    assert got.worst_mm[0] == pytest.approx(R)
    followed = measured(routed(0.0), on_line=[True])
    assert followed.worst_mm[0] < 1e-9
    assert followed.uncut_mm[0] == 0.0


@pytest.mark.reference("a disc of radius r leaves (sqrt 2 - 1) r in a square corner, geometry")
def test_a_window_keeps_the_roundness_of_the_cutter_in_its_corners():
    got = measured(routed(-R), step_mm=0.05)
    assert got.worst_mm[0] == pytest.approx((np.sqrt(2.0) - 1.0) * R, abs=1e-9)
    x, y = np.abs(got.worst_xy_mm[0] - MIDDLE)
    assert max(x, y) <= 20.0
    assert got.uncut_mm[0] == 0.0


def test_errors_of_the_machine_show_in_the_wall():
    shifted = measured(routed(errors={"head_error_mm": {1: (0.1, 0.0)}}))
    assert shifted.worst_mm[0] == pytest.approx(0.1, abs=1e-9)
    runs_out = measured(routed(errors={"eccentric_mm": {1: (0.03, 0.04)}}))
    assert runs_out.worst_mm[0] == pytest.approx(0.05, abs=1e-9)
    other = measured(routed(tool=cutter(((R - 0.02, 0.0),))))
    assert other.worst_mm[0] == pytest.approx(0.02, abs=1e-9)


def test_the_wall_is_compared_with_what_was_printed_or_with_the_true_shape():
    long = sheet(throw=Throw(), printer=Printer(growth_x=0.002, edge_rag_mm=0.0))
    follows = measured(routed(), truth=long)
    assert follows.worst_mm[0] == pytest.approx(0.002 * 60.0, abs=1e-6)
    keeps = measured(routed(), truth=long, fidelity=["size"])
    # the best rigid place of a print stretched about x = 0 lies 0.002 * 40 mm further right
    assert keeps.worst_mm[0] == pytest.approx(0.002 * 40.0, abs=2e-3)
    assert keeps.size_mm[0] < 1e-6


def test_tabs_are_uncut_and_no_deviation():
    tab, off = 6.0, R
    blocks = Blocks()
    (x0, y0), (x1, _), (_, y1), _ = offset_square(off)
    blocks.over(x0, y0, 0.0)
    blocks.down(-0.2)
    blocks.line(x1, y0)
    blocks.line(x1, y1)
    for x, z in ((40.0 + tab / 2 + R, 2.0), (40.0 - tab / 2 - R, -0.2)):
        blocks.line(x, y1)
        blocks.put(1, (x, y1, z, 0.0), 20.0)
    blocks.line(x0, y1)
    blocks.line(x0, y0)
    blocks.over(*blocks.at[:2], 0.0)
    trace = cut_virtually(blocks.motion(), {1: STRAIGHT}, thickness_mm=THICK)
    got = measured(trace, reach_mm=0.05, step_mm=0.02)
    # at the ends of a tab the disc's rim leaves the wall; within the reach it still counts as cut
    rim = np.sqrt((R + 0.05) ** 2 - R**2)
    assert got.uncut_mm[0] == pytest.approx(tab + 2.0 * R - 2.0 * rim, abs=0.05)
    assert got.worst_mm[0] <= 0.05
    nothing = measured(trace, square(200.0, 100.0, 30.0))
    assert np.isinf(nothing.worst_mm[0])
    assert {f.code for f in nothing.findings} == {"VIR-110", "VIR-111"}


def test_rough_passes_above_do_not_count_where_one_goes_through():
    blocks = Blocks()
    go_round(blocks, offset_square(R + 0.4), z=1.5)
    go_round(blocks, offset_square(R), z=-0.2)
    trace = cut_virtually(blocks.motion(), {1: STRAIGHT}, thickness_mm=THICK)
    assert set(trace.face.tolist()) == {Face.BOTTOM, Face.TOP, Face.TIP}
    assert measured(trace).worst_mm[0] < 1e-9


def test_a_circle_routed_outside_and_one_inside():
    blocks = Blocks()
    for radius in (20.0 + R, 20.0 - R):
        blocks.over(60.0 + radius, 60.0, 0.0)
        blocks.down(-0.2)
        blocks.arc((60.0, 60.0), np.pi)
        blocks.arc((60.0, 60.0), np.pi)
        blocks.over(*blocks.at[:2], 0.0)
        trace = cut_virtually(blocks.motion(), {1: STRAIGHT}, thickness_mm=THICK,
                              chord_tolerance_mm=1e-6)  # fmt: skip
        got = measured(trace, circle((60.0, 60.0), 20.0))
        assert got.worst_mm[0] < 5e-6
        blocks = Blocks()


def test_the_top_of_a_slanted_cutter_is_wider():
    bevel = cutter(((1.0, 0.0), (1.0 + 5.0, 5.0)), "bevel")
    trace = routed(1.0, tool=bevel, z=0.0)
    half = {int(f): trace.half_mm[trace.face == f] for f in np.unique(trace.face)}
    assert half[Face.BOTTOM] == pytest.approx(1.0)
    assert half[Face.TOP] == pytest.approx(1.0 + THICK)
    assert measured(trace, faces=(Face.TOP,)).worst_mm[0] == pytest.approx(THICK)


def test_cuts_far_from_every_contour_are_stray():
    blocks = Blocks()
    go_round(blocks, offset_square(R))
    go_round(blocks, square(150.0, 100.0, 10.0).points)
    trace = cut_virtually(blocks.motion(), {1: STRAIGHT}, thickness_mm=THICK)
    got = measured(trace)
    assert got.stray_mm == pytest.approx(40.0)
    assert [f.code for f in got.findings] == ["VIR-111"]


def test_a_wheel_is_measured_at_its_lowest_point_and_a_pen_at_its_axis():
    line = make_path([(20.0, 30.0), (90.0, 30.0)], closed=False)
    for tool, ahead, z in ((WHEEL, 0.4, 2.0), (PEN, 0.0, THICK - 0.5)):
        blocks = Blocks()
        blocks.over(20.0 - ahead, 30.0, 0.0)
        blocks.down(z)
        blocks.line(90.0 - ahead, 30.0)
        blocks.over(*blocks.at[:2], 0.0)
        trace = cut_virtually(blocks.motion(), {1: tool}, thickness_mm=THICK)
        assert not trace.half_mm.any()
        got = measured(trace, line)
        assert got.worst_mm[0] < 1e-9
        assert got.uncut_mm[0] == pytest.approx(0.0, abs=1e-9)
        off = cut_virtually(blocks.motion(), {1: tool}, thickness_mm=THICK,
                            head_error_mm={1: (0.0, 0.07)})  # fmt: skip
        assert measured(off, line).worst_mm[0] == pytest.approx(0.07, abs=1e-9)


def test_a_knife_and_a_cutter_on_one_sheet_are_told_apart():
    other = square(150.0, 40.0, 30.0)
    blocks = Blocks()
    go_round(blocks, offset_square(R))
    blocks.tool = 2
    cut_corners(blocks, other.points, UPRIGHT)
    trace = cut_virtually(blocks.motion(), {1: STRAIGHT, 2: UPRIGHT}, thickness_mm=THICK)
    got = measured(trace, join_sets([SQUARE, other]))
    assert got.worst_mm.max() < 1e-6
    assert got.stray_mm == 0.0
    with pytest.raises(ModelError, match="on_line has 1 entries for 2 contours"):
        measured(trace, join_sets([SQUARE, other]), on_line=[True])
