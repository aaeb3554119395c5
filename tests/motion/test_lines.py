"""Straight blocks: the exact optimum, and where the tool must slow down or stop."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.model.motion import EventCode
from kerfwright.motion import naive_time_s, speed_profile, time_motion
from motion.cases import LOOSE, Builder, block_length, make_limits, random_limits, random_polyline
from motion.oracles import polyline_squares, straight_time

SEEDS = st.integers(0, 2**32 - 1)


def joint_squares(motion, limits):
    """v^2 at the begin of each block, from the tool's own profile, and 0 at the end."""
    profile = speed_profile(motion, limits, per_leg=1)
    first = np.searchsorted(profile.block, np.arange(len(motion)))
    return np.concatenate((profile.v[first] ** 2, [0.0]))


def by_programme(motion, limits):
    """Time by a linear programme and three phases per block."""
    squares = polyline_squares(motion, limits)
    move = motion.end - motion.begins()
    length = block_length(motion)
    share = np.maximum(np.abs(move / length[:, None]), 1e-200)
    pull = (limits.acceleration / share).min(axis=1)
    top = np.minimum((limits.speed / share).min(axis=1), motion.feed)
    if limits.block_time_s:
        top = np.minimum(top, length / limits.block_time_s)
    rows = zip(length, squares[:-1], squares[1:], pull, top, strict=True)
    return squares, sum(straight_time(*row) for row in rows)


@pytest.mark.reference("HiGHS through scipy.optimize.linprog, greatest sum of v^2")
@given(SEEDS, st.integers(2, 40))
@settings(max_examples=25)
def test_equals_a_linear_programme(seed, n):
    rng = np.random.default_rng(seed)
    motion, limits = random_polyline(rng, n), random_limits(rng)
    squares, time = by_programme(motion, limits)
    # HiGHS is asked to keep its rows to 1e-10.
    scale = max(squares.max(), 1e-9)
    assert np.abs(joint_squares(motion, limits) - squares).max() <= 1e-9 * scale
    timed = time_motion(motion, limits)
    assert timed.time_low_s == timed.time_high_s
    assert timed.time_high_s == pytest.approx(time, rel=1e-7)


@pytest.mark.reference("HiGHS through scipy.optimize.linprog, greatest sum of v^2")
def test_two_thousand_segments_equal_a_linear_programme():
    rng = np.random.default_rng(11)
    motion = random_polyline(rng, 2000)
    limits = make_limits(
        speed=(800.0, 800.0, 200.0, 15.0), acceleration=(3000.0, 2500.0, 1500.0, 160.0),
        jump=(8.0, 8.0, 5.0, 0.4),
    )  # fmt: skip
    squares, time = by_programme(motion, limits)
    scale = squares.max()
    assert np.abs(joint_squares(motion, limits) - squares).max() <= 1e-9 * scale
    timed = time_motion(motion, limits)
    assert timed.time_high_s == pytest.approx(time, rel=1e-9)
    assert naive_time_s(motion) < 0.8 * timed.time_high_s


@pytest.mark.reference("tolerance circle v^2 = a d s / (1 - s): 24.567 mm/s, derived")
def test_corner_by_tolerance_circle():
    motion = Builder().line(100.0).line(y=100.0).motion()
    limits = make_limits(acceleration=5000.0, jump=3.0)
    profile = speed_profile(motion, limits, corner_tolerance_mm=0.05, per_leg=1)
    assert profile.v[profile.block == 1][0] == pytest.approx(24.567, abs=5e-4)
    by_jump = speed_profile(motion, limits, per_leg=1)
    assert by_jump.v[by_jump.block == 1][0] == pytest.approx(3.0, rel=1e-12)


def test_corner_of_c_keeps_its_jump_under_the_tolerance_circle():
    motion = Builder().line(10.0, c=1.0).line(20.0, c=1.0).motion()
    limits = make_limits(jump=(0.0, 0.0, 0.0, 0.5))
    profile = speed_profile(motion, limits, corner_tolerance_mm=0.05, per_leg=1)
    assert profile.v[profile.block == 1][0] == pytest.approx(5.0, rel=1e-12)


def test_without_jump_every_corner_stops_and_a_straight_joint_does_not():
    limits = make_limits()
    corner = time_motion(Builder().line(10.0).line(y=10.0).motion(), limits)
    assert corner.time_high_s == pytest.approx(2 * 2 * np.sqrt(10 / 1000), rel=1e-14)
    straight = time_motion(Builder().line(3.0).line(20.0).motion(), limits)
    assert straight.time_high_s == pytest.approx(2 * np.sqrt(20 / 1000), rel=1e-14)


@pytest.mark.parametrize("code", list(EventCode))
def test_stops_at_every_event(code):
    limits = make_limits()
    timed = time_motion(Builder().line(3.0).event(code).line(20.0).motion(), limits)
    assert timed.time_high_s == pytest.approx(2 * np.sqrt(0.003) + 2 * np.sqrt(0.017), rel=1e-14)


def test_stops_at_dwells_and_counts_them():
    limits = make_limits()
    timed = time_motion(Builder().line(3.0).dwell(0.25).line(20.0).motion(), limits)
    moving = 2 * np.sqrt(0.003) + 2 * np.sqrt(0.017)
    assert timed.time_high_s == pytest.approx(moving + 0.25, rel=1e-14)
    assert timed.by_cause["dwell"] == 0.25
    assert timed.block_s[1] == 0.25
    nothing = time_motion(Builder().line(3.0).dwell(0.0).line(20.0).motion(), limits)
    assert nothing.time_high_s == pytest.approx(moving, rel=1e-14)


def test_stops_where_the_path_doubles_back_however_great_the_jump():
    there = time_motion(Builder().line(10.0).line(0.0).motion(), make_limits(jump=1e9))
    assert there.time_high_s == pytest.approx(4 * np.sqrt(0.01), rel=1e-14)
    turn = time_motion(Builder().line(c=2.0).line(c=0.0).motion(), make_limits(jump=1e9))
    assert turn.time_high_s == pytest.approx(4 * np.sqrt(0.002), rel=1e-14)


def test_stops_between_travel_and_a_turn_of_c_alone():
    timed = time_motion(
        Builder().line(10.0).line(c=1.0).line(c=2.0).line(20.0).motion(), make_limits(jump=1e9)
    )
    assert timed.time_high_s == pytest.approx(4 * np.sqrt(0.01) + 2 * np.sqrt(0.002), rel=1e-14)


@pytest.mark.reference("v = omega R: 4 pi rad/s on R = 10 mm gives 125.66 mm/s, derived")
def test_c_may_be_the_slowest():
    motion = Builder((10.0, 0.0, 0.0, 0.0)).arc((0.0, 0.0), 3.0, dc=3.0).motion()
    limits = make_limits(speed=(LOOSE, LOOSE, LOOSE, 4 * np.pi), acceleration=1e7)
    profile = speed_profile(motion, limits)
    assert profile.v.max() == pytest.approx(125.66, abs=0.005)
    assert time_motion(motion, limits).by_cause["c"] > 0.2


def test_short_blocks_take_the_time_the_control_needs():
    build = Builder()
    for k in range(1, 101):
        build.line(0.1 * k, feed=1000.0)
    limits = make_limits(acceleration=1e5, block_time_s=0.002)
    timed = time_motion(build.motion(), limits)
    assert (timed.block_s >= 0.002 * (1 - 1e-12)).all()
    assert timed.by_cause["block_time"] > 0.9 * timed.time_high_s
    free = time_motion(build.motion(), make_limits(acceleration=1e5))
    assert free.time_high_s < timed.time_high_s
    assert free.by_cause["block_time"] == 0.0


def test_a_block_that_moves_nothing_costs_its_time_and_a_stop():
    motion = Builder().line(10.0).line(10.0).line(20.0).motion()
    free = time_motion(motion, make_limits())
    assert free.time_high_s == pytest.approx(2 * np.sqrt(0.02), rel=1e-14)
    held = time_motion(motion, make_limits(block_time_s=0.001))
    assert held.time_high_s == pytest.approx(4 * np.sqrt(0.01) + 0.001, rel=1e-12)
    assert held.by_cause["block_time"] == 0.001


def test_rapids_ignore_feeds_and_keep_their_own_speed():
    limits = make_limits(speed=(50.0, LOOSE, LOOSE, LOOSE), acceleration=1e6, rapid_mm_s=100.0)
    along_x = time_motion(Builder().rapid(1000.0).motion(), limits)
    assert along_x.by_cause["xy_speed"] == pytest.approx(20.0, rel=1e-4)
    along_y = time_motion(Builder().rapid(y=1000.0).motion(), limits)
    assert along_y.by_cause["rapid"] == pytest.approx(10.0, rel=1e-3)
    assert along_y.by_cause["feed"] == along_x.by_cause["feed"] == 0.0


def test_corners_are_told_from_stops():
    limits = make_limits(jump=5.0)
    motion = Builder().line(50.0).line(y=50.0).motion()
    timed = time_motion(motion, limits)
    # From rest up and down to the corner, from the corner up and down to rest: half and half.
    assert timed.by_cause["corner"] == pytest.approx(timed.by_cause["acceleration"], rel=0.05)
    assert timed.by_cause["corner"] + timed.by_cause["acceleration"] == pytest.approx(
        timed.time_high_s, rel=1e-12
    )


def test_by_cut_counts_blocks_of_each_cut():
    build = Builder().line(10.0).line(y=10.0).line(0.0).line(y=0.0)
    timed = time_motion(build.motion(cut=[2, -1, 0, 2]), make_limits())
    block_s = timed.block_s
    assert timed.by_cut.tolist() == [block_s[2], 0.0, block_s[0] + block_s[3]]
    assert time_motion(build.motion(), make_limits()).by_cut.shape == (0,)
