"""Named nasty motions, each under several sets of limits: a time, never a surprise."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from kerfwright.errors import ModelError, OutOfResourcesError, UsageError
from kerfwright.model.motion import ToolMotion
from kerfwright.motion import speed_profile, time_motion
from motion.cases import Builder, axis_loads, make_limits, reversed_motion

CASES = tomllib.loads((Path(__file__).parent / "nasty.toml").read_text(encoding="utf-8"))
LIMITS = {
    "usual": make_limits(
        speed=(800.0, 800.0, 150.0, 15.7), acceleration=(2500.0, 3000.0, 1500.0, 157.0),
        jump=(8.0, 8.0, 5.0, 0.35), rapid_mm_s=800.0, block_time_s=0.001,
    ),
    "no jump": make_limits(
        speed=(800.0, 600.0, 150.0, 15.7), acceleration=(2500.0, 300.0, 1500.0, 157.0)
    ),
    "slow axes": make_limits(
        speed=(30.0, 50.0, 4.0, 2.0), acceleration=(1e4, 2e4, 1e3, 5.0), jump=1.0, rapid_mm_s=40.0
    ),
    "wild": make_limits(speed=1e7, acceleration=(1e8, 1e2, 1e8, 1e-2), jump=1e4),
}  # fmt: skip


def build(case):
    builder = Builder()
    at = np.zeros(2)
    for _ in range(case.get("times", 1)):
        for row in case["blocks"]:
            feed = row.get("feed", 100.0)
            if row["kind"] == "dwell":
                builder.dwell(row["s"])
            elif row["kind"] == "arc":
                centre = at + row["centre"]
                builder.arc(
                    centre, row["sweep"], dz=row.get("dz", 0.0), dc=row.get("dc", 0.0), feed=feed
                )
            elif row["kind"] == "line":
                builder.line(*(row["to"] + np.array((*at, 0.0, 0.0))), feed=feed)
            else:
                builder.rapid(*(row["to"] + np.array((*at, 0.0, 0.0))))
        at = at + case.get("by", (0.0, 0.0))
    return builder.motion()


@pytest.mark.parametrize("limits", LIMITS.values(), ids=LIMITS)
@pytest.mark.parametrize("name", CASES)
def test_nasty_motion(name, limits):
    motion = build(CASES[name])
    timed = time_motion(motion, limits)
    assert np.isfinite(timed.time_high_s)
    assert timed.time_high_s - timed.time_low_s <= 1e-3 * timed.time_high_s
    assert sum(timed.by_cause.values()) == pytest.approx(timed.time_high_s, abs=1e-9)
    assert np.isfinite(timed.v).all()
    assert (timed.block_s >= 0.0).all()
    back = time_motion(reversed_motion(motion), limits)
    assert back.time_high_s == pytest.approx(timed.time_high_s, rel=1e-6)
    profile = speed_profile(motion, limits)
    if len(profile.v):
        acceleration, speed = axis_loads(motion, profile, limits)
        assert speed.max() <= 1.0 + 1e-9
        assert acceleration.max() <= 1.0 + 1e-9


def test_no_blocks_take_no_time():
    none = np.zeros(0)
    motion = ToolMotion(
        start=np.zeros(4), kind=none, end=np.zeros((0, 4)), centre=np.zeros((0, 2)),
        sweep_rad=none, feed=none, feed_kind=none, dwell_s=none, role=none, cut=none, tool=none,
    )  # fmt: skip
    timed = time_motion(motion, LIMITS["usual"])
    assert timed.time_high_s == timed.time_low_s == 0.0
    assert len(timed.s) == 0
    assert timed.findings == ()


def test_absurd_sweeps_are_refused_and_the_block_named():
    motion = Builder().line(1.0).arc((1.0, 1.0), 1e12).motion()
    with pytest.raises(ModelError, match=r"block 1 turns 1\.59155e\+11 times.*at most 10000"):
        time_motion(motion, LIMITS["usual"])
    with pytest.raises(ModelError, match="block 1 turns"):
        speed_profile(motion, LIMITS["usual"])


def test_too_many_turns_in_all_are_refused():
    build = Builder((1.0, 0.0, 0.0, 0.0))
    for _ in range(101):
        build.arc((0.0, 0.0), 9999 * 2 * np.pi)
    with pytest.raises(OutOfResourcesError, match="all arcs together turn"):
        time_motion(build.motion(), LIMITS["usual"])


@pytest.mark.parametrize("bracket", [0.0, 1.0, -1.0, np.nan])
def test_wrong_bracket(bracket):
    with pytest.raises(UsageError, match="bracket"):
        time_motion(Builder().line(1.0).motion(), LIMITS["usual"], bracket=bracket)


@pytest.mark.parametrize("tolerance", [0.0, -1.0, np.nan])
def test_wrong_corner_tolerance(tolerance):
    with pytest.raises(UsageError, match="corner_tolerance_mm"):
        time_motion(Builder().line(1.0).motion(), LIMITS["usual"], corner_tolerance_mm=tolerance)
