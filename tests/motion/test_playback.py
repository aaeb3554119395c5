"""Points to play back, findings, progress, and what else the result says."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import CancelledError
from kerfwright.errors.messages import cure_of, sentence_of
from kerfwright.model.motion import FeedKind, ToolMotion
from kerfwright.motion import Cause, cycle_time, naive_time_s, time_motion
from kerfwright.motion.run import POINTS_PER_BLOCK
from motion.cases import (
    Builder,
    block_length,
    circle,
    make_limits,
    random_limits,
    random_motion,
)

USUAL = make_limits(
    speed=(800.0, 800.0, 150.0, 15.7), acceleration=(2500.0, 3000.0, 1500.0, 157.0),
    jump=(8.0, 8.0, 5.0, 0.35), rapid_mm_s=800.0,
)  # fmt: skip


def played(timed):
    """Time with v^2 linear between the points."""
    v = timed.v[1:] + timed.v[:-1]
    step = np.diff(timed.s)
    moving = step > 0.0
    return float((2.0 * step[moving] / v[moving]).sum())


@given(st.integers(0, 2**32 - 1), st.integers(1, 30))
@settings(max_examples=40)
def test_playing_back_takes_the_time_stated(seed, n):
    rng = np.random.default_rng(seed)
    motion, limits = random_motion(rng, n), random_limits(rng)
    timed = time_motion(motion, limits)
    waits = timed.by_cause["dwell"]
    assert played(timed) + waits == pytest.approx(timed.time_high_s, rel=8e-3)
    assert timed.v[0] == timed.v[-1] == 0.0
    assert (timed.v >= 0.0).all()
    assert (np.diff(timed.s) >= -1e-9).all()
    assert (np.diff(timed.block) >= 0).all()
    assert timed.s[-1] == pytest.approx(block_length(motion).sum(), rel=1e-9)
    assert set(timed.binding) <= {int(cause) for cause in Cause}


def test_a_straight_block_needs_three_points():
    timed = time_motion(Builder().line(1000.0, feed=500.0).motion(), make_limits(acceleration=5e3))
    assert timed.s.tolist() == pytest.approx([0.0, 25.0, 975.0, 1000.0], rel=1e-12)
    assert timed.v.tolist() == pytest.approx([0.0, 500.0, 500.0, 0.0], rel=1e-12)
    assert timed.binding.tolist()[:3] == [Cause.ACCELERATION, Cause.FEED, Cause.ACCELERATION]
    assert timed.block.tolist() == [0, 0, 0, 0]


def test_waits_show_as_points_at_rest():
    timed = time_motion(Builder().line(5.0).dwell(0.3).line(9.0).motion(), make_limits())
    at = np.flatnonzero(timed.binding == Cause.DWELL)
    assert len(at) == 1
    assert timed.v[at[0]] == 0.0
    assert timed.s[at[0]] == 5.0
    assert timed.block[at[0]] == 1


def test_points_of_a_long_spiral_are_bounded():
    timed = time_motion(circle(1.0, 5000 * 2 * np.pi), USUAL)
    assert 1000 < len(timed.s) <= POINTS_PER_BLOCK
    assert (np.diff(timed.s) > 0.0).all()


def test_same_motion_same_digest():
    motion = random_motion(np.random.default_rng(3), 30)
    assert time_motion(motion, USUAL).digest == time_motion(motion, USUAL).digest


def test_progress_is_told_and_may_stop():
    seen = []
    motion = circle(5.0, 3.0)
    time_motion(motion, USUAL, progress=lambda done, of: seen.append((done, of)))
    assert seen[-1][0] == seen[-1][1]
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)

    def stop(done, of):
        msg = f"stopped after {done} of {of}"
        raise CancelledError(msg)

    with pytest.raises(CancelledError, match="stopped after 1 of"):
        time_motion(motion, USUAL, progress=stop)


def test_a_bracket_that_cannot_be_reached_is_said(monkeypatch):
    # A helix on which x, y and C take turns in places that are no steps of the grid.
    motion = circle(30.0, 5.0, start_rad=1.0, dc=5.0)
    limits = make_limits(acceleration=(4000.0, 3000.0, 1e9, 60.0))
    monkeypatch.setattr(cycle_time, "MOST_STEPS", 100)
    timed = time_motion(motion, limits, bracket=1e-9)
    (finding,) = timed.findings
    assert finding.code == "MOT-110"
    assert finding.measured == pytest.approx(
        100.0 * (timed.time_high_s - timed.time_low_s) / timed.time_high_s
    )
    assert finding.limit == pytest.approx(1e-7)
    assert "% apart where 1e-07 % were asked" in sentence_of(finding)
    assert cure_of(finding)
    assert finding.params["steps"] <= 100
    monkeypatch.undo()
    assert time_motion(motion, limits, bracket=1e-7).findings == ()


@pytest.mark.parametrize(
    ("build", "first"),
    [
        (Builder().line(1.0).line(c=1.0, feed=9.0, feed_kind=FeedKind.PATH), 1),
        (Builder().line(1.0, feed=9.0, feed_kind=FeedKind.ROTARY), 0),
        (Builder().line(1.0).line(5.0).line(9.0, feed=0.0, feed_kind=FeedKind.NONE), 2),
    ],
)
def test_feeds_that_say_nothing_are_found(build, first):
    timed = time_motion(build.motion(), USUAL)
    (finding,) = timed.findings
    assert finding.code == "MOT-120"
    assert finding.params == {"count": 1, "first": first}
    assert f"block {first} at" in sentence_of(finding)
    assert timed.by_cause["feed"] == 0.0 or first > 0


def test_a_rotary_feed_counts_where_c_turns():
    motion = Builder().line(1.0, c=1.0, feed=0.5, feed_kind=FeedKind.ROTARY).motion()
    timed = time_motion(motion, make_limits(acceleration=1e7))
    assert timed.findings == ()
    assert timed.time_high_s == pytest.approx(2.0, rel=1e-4)


def test_arcs_that_do_not_end_on_their_circle_are_found():
    good = circle(10.0, 1.0)
    off = ToolMotion(
        start=good.start, kind=good.kind, end=good.end + np.array((0.05, 0.0, 0.0, 0.0)),
        centre=good.centre, sweep_rad=good.sweep_rad, feed=good.feed, feed_kind=good.feed_kind,
        dwell_s=good.dwell_s, role=good.role, cut=good.cut, tool=good.tool,
    )  # fmt: skip
    assert time_motion(good, USUAL).findings == ()
    (finding,) = time_motion(off, USUAL).findings
    assert finding.code == "MOT-130"
    assert 0.02 < finding.measured <= 0.05
    assert "do not end on their own circle" in sentence_of(finding)


def test_naive_time_is_length_over_feed():
    build = Builder().line(100.0, feed=50.0).line(c=3.0, feed=2.0).dwell(0.5)
    build.arc((100.0, 10.0), np.pi, feed=10.0).rapid(0.0, 20.0)
    motion = build.motion()
    expected = 2.0 + 1.5 + 0.5 + np.pi
    assert naive_time_s(motion) == pytest.approx(expected, rel=1e-12)
    assert naive_time_s(motion, rapid_mm_s=200.0) == pytest.approx(expected + 0.5, rel=1e-12)
