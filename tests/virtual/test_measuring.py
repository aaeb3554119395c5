"""Measured deviations against faults that were planted, and against brute force."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from kerfwright.errors import ModelError
from kerfwright.geometry.paths import join_sets, make_path
from kerfwright.virtual import Face, Printer, Throw, cut_virtually, measure_cut
from kerfwright.virtual._lines import densified
from virtual.programs import (
    SLANTED,
    THICK,
    UPRIGHT,
    Blocks,
    circle,
    cut_circle,
    cut_corners,
    cut_side,
    square,
)
from virtual.scenes import BENT, THROWN, sheet

SQUARE = square(20.0, 30.0, 40.0)
FLAT = sheet(throw=Throw())
BLADES = {1: UPRIGHT, 2: SLANTED}


def _cut(corners, blade=UPRIGHT, *, errors=None, **how):
    blocks = Blocks()
    cut_corners(blocks, corners, blade, **how)
    return cut_virtually(blocks.motion(), {1: blade}, thickness_mm=THICK, **(errors or {}))


@pytest.mark.parametrize("blade", [UPRIGHT, SLANTED])
def test_a_known_square_is_measured_to_a_micrometre(blade):
    got = measure_cut(_cut(SQUARE.points, blade), FLAT, SQUARE, ["c1"])
    assert got.worst_mm[0] < 1e-6
    assert got.uncut_mm[0] == 0.0
    assert got.stray_mm == 0.0
    assert got.findings == ()


def test_the_top_face_shows_the_overcut_of_a_slanted_blade():
    got = measure_cut(_cut(SQUARE.points, SLANTED), FLAT, SQUARE, ["c1"], faces=(Face.TOP,))
    assert got.worst_mm[0] == pytest.approx(1.5, abs=1e-9)  # 3 mm at 2 in 1


@given(dx=st.floats(-0.5, 0.5), dy=st.floats(-0.5, 0.5))
@settings(max_examples=15)
def test_a_head_error_is_measured_as_it_was_planted(dx, dy):
    """One corner of a square displaced by (dx, dy) leaves it into a free quadrant."""
    errors = {"head_error_mm": {1: (dx, dy)}}
    got = measure_cut(_cut(SQUARE.points, errors=errors), FLAT, SQUARE, ["c1"], step_mm=0.1)
    assert got.worst_mm[0] == pytest.approx(np.hypot(dx, dy), abs=1e-6)
    assert got.uncut_mm[0] == pytest.approx(0.0, abs=1e-9)


def test_shifting_along_a_side_shifts_the_deviation_by_as_much():
    for d in (0.0, 0.1, 0.25, 0.4):
        got = measure_cut(
            _cut(SQUARE.points, errors={"head_error_mm": {1: (d, 0.0)}}), FLAT, SQUARE, ["c1"]
        )
        assert got.worst_mm[0] == pytest.approx(d, abs=1e-6)


def test_an_uncut_bridge_is_measured_in_length_and_not_as_deviation():
    got = measure_cut(_cut(SQUARE.points, stop=0.6), FLAT, SQUARE, ["c1"])
    assert got.uncut_mm[0] == pytest.approx(4 * 0.6, abs=1e-6)
    assert got.worst_mm[0] < 1e-6
    assert got.findings == ()


def test_a_square_cut_too_small_is_off_by_half_and_not_uncut():
    corners = square(20.2, 30.2, 39.6).points
    got = measure_cut(_cut(corners), FLAT, SQUARE, ["c1"])
    assert got.worst_mm[0] == pytest.approx(np.hypot(0.2, 0.2), abs=1e-6)  # at its corners
    assert got.uncut_mm[0] == 0.0
    assert np.abs(np.abs(got.worst_xy_mm[0] - (40.0, 50.0)) - 20.0).max() < 1e-6


def test_a_circle_is_off_by_what_the_chord_of_the_blade_makes():
    """Ends of a blade of width w, middle tangent, on radius R: sqrt(R^2 + (w/2)^2) - R."""
    blocks = Blocks()
    cut_circle(blocks, (60.0, 60.0), 20.0)
    trace = cut_virtually(blocks.motion(), BLADES, thickness_mm=THICK, chord_tolerance_mm=1e-7)
    got = measure_cut(trace, FLAT, circle((60.0, 60.0), 20.0), ["c1"])
    # the dense polyline of the contour bows inside by step^2 / 8 R = 2.5e-6 mm
    assert got.worst_mm[0] == pytest.approx(np.sqrt(401.0) - 20.0, abs=5e-6)
    assert got.uncut_mm[0] == 0.0


def test_a_circle_not_closed_leaves_what_is_missing():
    blocks = Blocks()
    cut_circle(blocks, (60.0, 60.0), 20.0, turn=2 * np.pi - 0.5)
    trace = cut_virtually(blocks.motion(), BLADES, thickness_mm=THICK)
    got = measure_cut(trace, FLAT, circle((60.0, 60.0), 20.0), ["c1"])
    chord = 2.0 * np.arctan(1.0 / 20.0)  # both ends of the blade reach into the gap
    assert got.uncut_mm[0] == pytest.approx((0.5 - chord) * 20.0, abs=1e-3)


def test_a_nominal_program_on_a_bent_print_shows_the_prints_own_deviation():
    truth = sheet(printer=Printer(growth_x=0.002), throw=Throw())
    got = measure_cut(_cut(SQUARE.points), truth, SQUARE, ["c1"])
    assert got.worst_mm[0] == pytest.approx(0.002 * 60.0, abs=1e-6)


def test_a_cut_that_follows_the_true_print_is_right_to_the_bow_of_its_sides():
    truth = sheet(printer=BENT, throw=THROWN)
    corners = truth.table_from_sheet(SQUARE.points)
    got = measure_cut(_cut(corners), truth, SQUARE, ["c1"])
    points = densified(SQUARE, 0.5)[0]
    sides = truth.table_from_sheet(points)
    # brute force: distance of each printed place from the four straight cuts
    a, b = corners, np.roll(corners, -1, axis=0)
    away = sides[:, None] - a[None]
    t = np.clip((away * (b - a)).sum(-1) / ((b - a) ** 2).sum(-1), 0.0, 1.0)
    worst = np.linalg.norm(away - t[..., None] * (b - a), axis=-1).min(axis=1).max()
    assert got.worst_mm[0] == pytest.approx(worst, abs=2e-4)
    assert worst > 0.02


def test_a_contour_that_keeps_its_size_is_wanted_rigidly_and_measured_by_its_fit():
    truth = sheet(printer=Printer(growth_x=0.004, growth_y=0.002), throw=THROWN)
    middle = truth.table_from_sheet([(40.0, 50.0)])[0]
    turn = np.array(
        ((np.cos(0.059), -np.sin(0.059)), (np.sin(0.059), np.cos(0.059)))
    )  # stretching along the axes does not turn a square
    corners = (SQUARE.points - (40.0, 50.0)) @ turn.T + middle
    trace = _cut(corners)
    size = measure_cut(trace, truth, SQUARE, ["c1"], fidelity=["size"])
    assert size.worst_mm[0] < 1e-6
    assert size.size_rows.tolist() == [0]
    assert size.size_mm[0] < 1e-6
    follow = measure_cut(trace, truth, SQUARE, ["c1"])
    assert follow.worst_mm[0] == pytest.approx(np.hypot(0.08, 0.04), abs=1e-4)
    assert len(follow.size_mm) == 0
    # displaced and turned: out of place, still true to size
    errors = {"head_error_mm": {1: (0.3, 0.0)}}
    moved = measure_cut(_cut(corners, errors=errors), truth, SQUARE, ["c1"], fidelity=["size"])
    assert moved.worst_mm[0] == pytest.approx(0.3, abs=1e-3)
    assert moved.size_mm[0] < 1e-3


def test_a_hole_that_keeps_its_size_goes_with_its_part():
    truth = sheet(printer=Printer(growth_x=0.01), throw=Throw())
    both = join_sets([square(20.0, 30.0, 40.0), square(22.0, 32.0, 5.0)])
    outline, hole = both.select([0]), both.select([1])
    part_shift = truth.table_from_sheet([(40.0, 50.0)])[0] - (40.0, 50.0)
    blocks = Blocks()
    cut_corners(blocks, truth.table_from_sheet(outline.points), UPRIGHT)
    cut_corners(blocks, hole.points + part_shift, UPRIGHT)
    trace = cut_virtually(blocks.motion(), BLADES, thickness_mm=THICK)
    got = measure_cut(trace, truth, both, ["o", "h"], fidelity=["print", "size"], part=[0, 0])
    assert got.worst_mm[0] < 1e-6
    # the hole's own growth draws the part's fit a little: minimised here by SciPy
    points, weight, path = densified(both, 0.5)
    printed = truth.table_from_sheet(points)

    def moved(by, xy):
        c, s = np.cos(by[2]), np.sin(by[2])
        return (xy - (40.0, 50.0)) @ np.array(((c, s), (-s, c))) + (40.0, 50.0) + by[:2]

    best = least_squares(
        lambda by: ((moved(by, points) - printed) * np.sqrt(weight)[:, None]).ravel(), np.zeros(3)
    ).x
    off = moved(best, hole.points) - (hole.points + part_shift)
    assert got.worst_mm[1] == pytest.approx(np.hypot(*off.T).max(), abs=1e-3)
    assert 0.01 < got.worst_mm[1] < 0.03
    assert set(path.tolist()) == {0, 1}
    alone = measure_cut(trace, truth, both, ["o", "h"], fidelity=["print", "size"])
    assert alone.worst_mm[1] == pytest.approx(0.01 * 15.5, abs=1e-3)


def test_what_was_never_cut_and_what_nobody_wanted_is_said():
    both = join_sets([SQUARE, square(100.0, 100.0, 10.0)])
    blocks = Blocks()
    cut_corners(blocks, SQUARE.points, UPRIGHT)
    cut_corners(blocks, square(200.0, 20.0, 10.0).points, UPRIGHT)
    trace = cut_virtually(blocks.motion(), BLADES, thickness_mm=THICK)
    got = measure_cut(trace, FLAT, both, ["c1", "c2"])
    assert got.worst_mm[0] < 1e-6
    assert got.worst_mm[1] == np.inf
    assert got.uncut_mm[1] == pytest.approx(40.0, abs=1e-6)
    assert got.stray_mm == pytest.approx(4 * 8.0, abs=1e-6)  # way of the blade's ends: 10 - 2
    assert [f.code for f in got.findings] == ["VIR-110", "VIR-111"]
    assert got.findings[0].where.contour == "c2"
    sized = measure_cut(trace, FLAT, both, ["c1", "c2"], fidelity=["print", "size"])
    assert sized.size_mm[0] == np.inf


def test_an_open_line_misses_its_ends():
    line = make_path([(20.0, 20.0), (60.0, 20.0)], closed=False)
    blocks = Blocks()
    cut_side(blocks, (21.0, 20.0), (58.5, 20.0), UPRIGHT)
    trace = cut_virtually(blocks.motion(), BLADES, thickness_mm=THICK)
    got = measure_cut(trace, FLAT, line, ["l"])
    assert got.uncut_mm[0] == pytest.approx(2.5, abs=1e-6)
    assert got.worst_mm[0] < 1e-6


def test_nothing_cut_and_nothing_wanted():
    blocks = Blocks()
    blocks.over(1.0, 1.0, 0.0)
    trace = cut_virtually(blocks.motion(), BLADES, thickness_mm=THICK)
    got = measure_cut(trace, FLAT, SQUARE, ["c1"])
    assert got.worst_mm[0] == np.inf
    empty = measure_cut(_cut(SQUARE.points), FLAT, SQUARE.select([]), [])
    assert len(empty.worst_mm) == 0
    assert empty.stray_mm == pytest.approx(4 * 38.0)


@pytest.mark.parametrize(
    ("how", "word"),
    [
        ({"ids": ["a", "b"]}, "ids"),
        ({"fidelity": ["both"]}, "both"),
        ({"part": [0, 1]}, "part"),
        ({"reach_mm": 0.0}, "reach_mm"),
        ({"step_mm": -1.0}, "step_mm"),
    ],
)
def test_a_measure_that_cannot_be_is_refused(how, word):
    how = {"ids": ["c1"]} | how
    with pytest.raises(ModelError, match=word):
        measure_cut(_cut(SQUARE.points), FLAT, SQUARE, how.pop("ids"), **how)
