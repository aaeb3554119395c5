"""What must hold for every motion and every set of limits."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.model.motion import FeedKind, Kind
from kerfwright.motion import Cause, naive_time_s, speed_profile, time_motion
from motion.cases import (
    axis_loads,
    block_length,
    derivatives,
    random_limits,
    random_motion,
    reversed_motion,
    scaled_limits,
    scaled_motion,
)

DRAWN = given(st.integers(0, 2**32 - 1), st.integers(1, 25))


def drawn(seed, n):
    rng = np.random.default_rng(seed)
    return random_motion(rng, n), random_limits(rng)


@DRAWN
def test_no_axis_is_ever_over_its_limits(seed, n):
    motion, limits = drawn(seed, n)
    profile = speed_profile(motion, limits, per_leg=12)
    acceleration, speed = axis_loads(motion, profile, limits)
    assert acceleration.max(initial=0.0) <= 1.0 + 1e-9
    assert speed.max(initial=0.0) <= 1.0 + 1e-9
    fed = motion.feed_kind[profile.block] == FeedKind.PATH
    feed = motion.feed[profile.block]
    assert (profile.v[fed] <= feed[fed] * (1.0 + 1e-9)).all()


@DRAWN
def test_speeds_and_accelerations_belong_together(seed, n):
    # v^2 must be the integral of 2 a, and the blocks' times that of 1 / v.
    motion, limits = drawn(seed, n)
    profile = speed_profile(motion, limits, per_leg=64)
    same = (profile.block[1:] == profile.block[:-1]) & (np.diff(profile.way) > 1e-9)
    step = np.diff(profile.way)[same]
    gain = np.diff(profile.v**2)[same]
    # Legs end between points, so the point after a step may already belong to the next leg.
    low, high = profile.a[:-1][same], profile.a[1:][same]
    bend = 2.0 * np.abs(low) + 2.0 * np.abs(high) + 1e-9 * profile.v[:-1][same] ** 2 / step
    assert (np.abs(gain / step - 2.0 * low) <= 2.0 * bend).all()
    inside = np.abs(high - low) <= 0.05 * np.maximum(np.abs(low), np.abs(high))
    assert inside.mean() > 0.4 or inside.size < 200
    scale = 1e-9 * profile.v[:-1][same] ** 2 / step + 5e-3 * (np.abs(low) + np.abs(high))
    assert (np.abs(gain / step - low - high)[inside] <= scale[inside]).all()


@DRAWN
def test_axes_jump_no_further_than_allowed_at_joints(seed, n):
    motion, limits = drawn(seed, n)
    profile = speed_profile(motion, limits, per_leg=2)
    # The speed at the end of a block is that at the begin of the next one that moves.
    starts = np.flatnonzero(np.diff(profile.block, prepend=-1))
    length = block_length(motion)
    blocks = profile.block[starts]
    v = profile.v[starts]
    ahead, _ = derivatives(motion, blocks, np.zeros(len(blocks)))
    behind, _ = derivatives(motion, blocks[:-1], length[blocks[:-1]])
    jump = np.abs(ahead[1:] - behind) * v[1:, None]
    assert (jump <= limits.jump * (1.0 + 1e-9) + 2e-9 * v[1:, None]).all()
    assert v[0] == 0.0


@DRAWN
def test_sums_by_cause_block_and_cut(seed, n):
    motion, limits = drawn(seed, n)
    timed = time_motion(motion, limits)
    assert abs(sum(timed.by_cause.values()) - timed.time_high_s) <= 1e-9
    assert abs(timed.block_s.sum() - timed.time_high_s) <= 1e-9
    assert set(timed.by_cause) == {cause.name.lower() for cause in Cause}
    assert min(timed.by_cause.values()) >= 0.0
    mine = motion.cut >= 0
    assert abs(timed.by_cut.sum() - timed.block_s[mine].sum()) <= 1e-9
    assert 0.0 <= timed.time_high_s - timed.time_low_s <= 1e-3 * timed.time_high_s


@DRAWN
def test_no_axis_and_no_feed_can_do_it_quicker(seed, n):
    motion, limits = drawn(seed, n)
    timed = time_motion(motion, limits)
    move = np.abs(motion.end - motion.begins())
    move[motion.kind == Kind.DWELL] = 0.0
    alone = (move / limits.speed).max(axis=1)
    assert (timed.block_s >= alone * (1.0 - 1e-9)).all()
    assert timed.time_low_s >= naive_time_s(motion, rapid_mm_s=limits.rapid_mm_s) * (1.0 - 1e-9)
    assert (timed.block_s >= limits.block_time_s * (1.0 - 1e-9)).all()


@DRAWN
@settings(max_examples=40)
def test_backwards_takes_as_long(seed, n):
    motion, limits = drawn(seed, n)
    there = time_motion(motion, limits)
    back = time_motion(reversed_motion(motion), limits)
    assert abs(there.time_high_s - back.time_high_s) <= 1e-9 * there.time_high_s
    assert np.allclose(back.block_s[::-1], there.block_s, rtol=1e-6, atol=1e-9)


@DRAWN
@settings(max_examples=40)
def test_the_unit_of_length_does_not_matter(seed, n):
    motion, limits = drawn(seed, n)
    one = time_motion(motion, limits)
    other = time_motion(scaled_motion(motion, 0.037), scaled_limits(limits, 0.037))
    assert abs(one.time_high_s - other.time_high_s) <= 1e-9 * one.time_high_s
    assert abs(one.time_low_s - other.time_low_s) <= 1e-9 * one.time_high_s


@DRAWN
@settings(max_examples=40)
def test_looser_limits_never_make_it_slower(seed, n):
    motion, limits = drawn(seed, n)
    one = time_motion(motion, limits)
    for axes in ((1, 1, 1, 1), (1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (0, 0, 0, 1)):
        faster = time_motion(motion, scaled_limits(limits, 2.0, axes=axes))
        assert faster.time_high_s <= one.time_high_s * (1.0 + 1e-9)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=30)
def test_a_narrower_bracket_lies_inside_and_closes_upon_the_plan(seed):
    motion, limits = drawn(seed, 8)
    wide = time_motion(motion, limits, bracket=1e-2)
    narrow = time_motion(motion, limits, bracket=1e-6)
    assert wide.time_high_s == narrow.time_high_s
    assert narrow.time_low_s >= wide.time_low_s * (1.0 - 1e-12)
    assert narrow.time_high_s - narrow.time_low_s <= 1e-6 * narrow.time_high_s
