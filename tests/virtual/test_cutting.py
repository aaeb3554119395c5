"""What a blade cuts along known motions."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.errors import ModelError, UnknownNameError
from kerfwright.virtual import Face, cut_virtually
from virtual.programs import SLANTED, THICK, UPRIGHT, Blocks, cut_circle, cut_side


def _points(trace, face):
    return trace.select(trace.face == face).pieces.points


def _line(blade, **how):
    blocks = Blocks()
    cut_side(blocks, (10.0, 5.0), (110.0, 5.0), blade, **how)
    return blocks.motion()


def test_a_straight_stroke_cuts_exactly_what_its_chord_spans():
    trace = cut_virtually(_line(SLANTED), {1: SLANTED}, thickness_mm=THICK)
    bottom = _points(trace, Face.BOTTOM)
    assert bottom[:, 0].min() == pytest.approx(10.0, abs=1e-12)
    assert bottom[:, 0].max() == pytest.approx(110.0, abs=1e-12)
    assert bottom[:, 1] == pytest.approx(5.0, abs=1e-12)
    # at the top the leading edge (rising 2 in 1) is 3 / 2 mm further, the trailing one is upright
    top = _points(trace, Face.TOP)
    assert top[:, 0].min() == pytest.approx(10.0, abs=1e-12)
    assert top[:, 0].max() == pytest.approx(111.5, abs=1e-12)
    assert len(np.unique(trace.stroke)) == 1
    assert set(trace.face.tolist()) == {Face.BOTTOM, Face.TOP}
    assert trace.depth_mm == pytest.approx(3.2)


def test_a_dwell_in_the_stock_does_not_part_a_stroke_but_a_lift_does():
    blocks = Blocks()
    for x in (0.0, 20.0):
        cut_side(blocks, (x, 0.0), (x + 10.0, 0.0), UPRIGHT)
    trace = cut_virtually(blocks.motion(), {1: UPRIGHT}, thickness_mm=THICK)
    assert np.unique(trace.stroke).tolist() == [0, 1]
    assert trace.pieces.points[:, 0].max() == pytest.approx(30.0)


def test_a_lift_to_the_very_face_parts_strokes():
    blocks = Blocks()
    blocks.over(0.0, 0.0, 0.0)
    for z in (-0.2, THICK, -0.2, THICK):
        blocks.put(1, (*blocks.at[:2], z, 0.0), 20.0)
    trace = cut_virtually(blocks.motion(), {1: UPRIGHT}, thickness_mm=THICK)
    assert np.unique(trace.stroke).tolist() == [0, 1]


def test_a_partial_cut_is_traced_at_its_tip_and_leaves_the_bottom():
    motion = _line(SLANTED, tip=1.2, plane=1.2)
    trace = cut_virtually(motion, {1: SLANTED}, thickness_mm=THICK)
    assert not len(_points(trace, Face.BOTTOM))
    tip = _points(trace, Face.TIP)
    assert (tip[:, 0].min(), tip[:, 0].max()) == pytest.approx((10.0, 110.0), abs=1e-12)
    assert trace.depth_mm == pytest.approx(1.8)


def test_a_ramp_cuts_the_bottom_from_where_the_tip_passes_it():
    blocks = Blocks()
    blocks.over(0.0, 0.0, 0.0)
    blocks.down(1.0)
    blocks.put(1, (20.0, 0.0, -1.0, 0.0), 50.0)  # through the bottom at x = 10
    blocks.over(*blocks.at[:2], 0.0)
    trace = cut_virtually(blocks.motion(), {1: UPRIGHT}, thickness_mm=THICK)
    bottom = _points(trace, Face.BOTTOM)
    assert (bottom[:, 0].min(), bottom[:, 0].max()) == pytest.approx((9.0, 21.0), abs=1e-12)


@pytest.mark.reference("chord ends of a tangent blade on a circle: sqrt(R^2 + (w/2)^2), geometry")
def test_ends_of_the_blade_run_on_a_wider_circle():
    blocks = Blocks()
    cut_circle(blocks, (50.0, 40.0), 20.0)
    trace = cut_virtually(blocks.motion(), {1: UPRIGHT}, thickness_mm=THICK)
    radius = np.hypot(*(_points(trace, Face.BOTTOM) - (50.0, 40.0)).T)
    wide = np.sqrt(20.0**2 + 1.0)
    on_one = np.minimum(np.abs(radius - 20.0), np.abs(radius - wide))
    assert on_one.max() < 1e-9
    # chords of the traces stay within the tolerance asked for
    step = np.hypot(*np.diff(_points(trace, Face.BOTTOM)[:50], axis=0).T).max()
    assert step**2 / (8.0 * wide) < 1e-4


def test_errors_of_the_machine_move_the_cut_as_said():
    motion = _line(UPRIGHT)
    plain = _points(cut_virtually(motion, {1: UPRIGHT}, thickness_mm=THICK), Face.BOTTOM)

    def off(face=Face.BOTTOM, **errors):
        trace = cut_virtually(motion, {1: UPRIGHT}, thickness_mm=THICK, **errors)
        return (_points(trace, face) - plain).reshape(-1, 2)

    assert off(head_error_mm={1: (0.3, -0.1)}) == pytest.approx(
        np.tile((0.3, -0.1), (len(plain), 1))
    )
    assert off(head_error_mm={2: (9.0, 9.0)}) == pytest.approx(0.0)
    bent = off(blade_bend_mm={1: 0.2})
    assert bent == pytest.approx(np.tile((0.0, 0.2), (len(plain), 1)))
    assert off(Face.TOP, blade_bend_mm={1: 0.2}) == pytest.approx(0.0)
    assert off(eccentric_mm={1: (0.1, 0.05)}) == pytest.approx(
        np.tile((0.1, 0.05), (len(plain), 1))
    )
    turned = off(c_error_rad={1: 0.02})
    assert np.abs(turned[:, 1]) == pytest.approx(np.sin(0.02))  # both ends, one mm off the axis
    assert off(slip=(0, 0.4, 0.0))[:, 0] == pytest.approx(-0.4)
    assert off(slip=(1, 0.4, 0.0)) == pytest.approx(0.0)


def test_strokes_scatter_by_the_repeatability_and_by_the_seed():
    blocks = Blocks()
    for k in range(300):
        cut_side(blocks, (0.0, 10.0 * k), (5.0, 10.0 * k), UPRIGHT)
    motion = blocks.motion()

    def places(seed):
        trace = cut_virtually(
            motion, {1: UPRIGHT}, thickness_mm=THICK, repeat_sd_mm=0.03, seed=seed
        )
        rows = np.unique(trace.stroke, return_index=True)[1]
        return trace.pieces.points[trace.pieces.starts[rows], 1] - 10.0 * np.arange(300)

    assert places(1).std() == pytest.approx(0.03, rel=0.15)
    assert np.array_equal(places(1), places(1))
    assert not np.array_equal(places(1), places(2))


def test_nothing_is_cut_above_the_stock():
    blocks = Blocks()
    blocks.over(5.0, 5.0, 1.0)
    blocks.put(1, (50.0, 5.0, THICK, 1.0), 50.0)
    trace = cut_virtually(blocks.motion(), {1: UPRIGHT}, thickness_mm=THICK)
    assert len(trace.pieces) == 0


def test_a_cut_is_refused_with_its_reason():
    motion = _line(UPRIGHT)
    with pytest.raises(UnknownNameError, match="station 1 cuts; tools were given for 7"):
        cut_virtually(motion, {7: UPRIGHT}, thickness_mm=THICK)
    with pytest.raises(ModelError, match="thickness_mm"):
        cut_virtually(motion, {1: UPRIGHT}, thickness_mm=0.0)
    with pytest.raises(ModelError, match="head_error_mm"):
        cut_virtually(motion, {1: UPRIGHT}, thickness_mm=THICK, head_error_mm={1: (np.nan, 0.0)})
    blocks = Blocks()
    cut_side(blocks, (0, 0), (9, 0), UPRIGHT)
    for words in ({"frame": "machine"}, {"offsets_in": "program"}):
        with pytest.raises(ModelError, match="offsets"):
            cut_virtually(blocks.motion(**words), {1: UPRIGHT}, thickness_mm=THICK)
