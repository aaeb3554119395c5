"""The air cut: the same way in x, y and c, never low, nothing running."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import ModelError
from kerfwright.model.motion import EventCode, FeedKind, Kind
from kerfwright.program import air_cut, load_dialect, read_program, write_program
from program.checker import RULE_MM, worst_arc_mm
from program.motions import TABLE, TRAVEL_MM, Builder, motions, random_motion

RUNNING = {EventCode.OSCILLATION, EventCode.SPINDLE}
SAME = ("kind", "sweep_rad", "dwell_s", "role", "cut", "tool", "centre")


def x_y_c(motion):
    return np.concatenate((motion.start[None, :], motion.end))[:, [0, 1, 3]]


@given(motion=motions(spindle=True), travel=st.floats(-50.0, 300.0))
@settings(max_examples=80)
def test_same_way_high_and_off(motion, travel):
    air = air_cut(motion, travel_z_mm=travel)
    assert air.start[2] >= travel
    assert (air.end[:, 2] >= travel).all()
    assert not RUNNING & {e.code for e in air.events}
    begins, ends = motion.begins(), motion.end
    low_z = np.maximum(np.stack((begins[:, 2], ends[:, 2])), travel)
    nothing = (begins[:, [0, 1, 3]] == ends[:, [0, 1, 3]]).all(axis=1) & (low_z[0] == low_z[1])
    left = ~nothing | np.isin(motion.kind, (Kind.ARC, Kind.DWELL))
    assert len(air) == left.sum()
    assert (x_y_c(air)[1:] == x_y_c(motion)[1:][left]).all()
    assert (air.end[:, 2] == np.maximum(motion.end[left, 2], travel)).all()
    for name in SAME:
        assert np.array_equal(getattr(air, name), getattr(motion, name)[left], equal_nan=True)


@given(motion=motions(spindle=True), travel=st.floats(-50.0, 300.0))
@settings(max_examples=40)
def test_other_events_keep_their_order_and_place(motion, travel):
    air = air_cut(motion, travel_z_mm=travel)
    kept = [e for e in motion.events if e.code not in RUNNING]
    assert [(e.code, e.value) for e in air.events] == [(e.code, e.value) for e in kept]
    for was, now in zip(kept, air.events, strict=True):
        before = motion.end[was.before_block - 1] if was.before_block else motion.start
        here = air.end[now.before_block - 1] if now.before_block else air.start
        assert (before[[0, 1, 3]] == here[[0, 1, 3]]).all()


@given(motion=motions(spindle=True), travel=st.floats(-50.0, 300.0))
@settings(max_examples=30)
def test_doing_it_twice_changes_nothing(motion, travel):
    air = air_cut(motion, travel_z_mm=travel)
    assert air_cut(air, travel_z_mm=travel).digest == air.digest


def test_a_block_of_z_and_c_takes_as_long_when_only_c_is_left():
    build = Builder()
    build.line(z=-40.0, feed=80.0)
    build.line(z=-3.0, c=1.0, feed=6.0)
    air = air_cut(build.motion(), travel_z_mm=TRAVEL_MM)
    assert len(air) == 1
    assert air.feed_kind[0] == FeedKind.ROTARY
    assert air.feed[0] == pytest.approx(2.0)


@pytest.mark.parametrize("dialect_id", ["offsets-in-program-arcs", "swapped-inverse-time"])
def test_written_and_read_back_it_still_is_one(dialect_id):
    dialect = load_dialect(dialect_id)
    motion = random_motion(np.random.default_rng(4), 400)
    air = air_cut(motion, travel_z_mm=TRAVEL_MM)
    text = write_program(air, TABLE, dialect, any_control=True)
    read = read_program(text, dialect)
    head = TABLE.head("straight")
    lift = head.offset_mm[2] if dialect.offsets_in == "program" else 0.0
    assert (read.end[:, 2] - lift >= TRAVEL_MM - 6e-5).all()
    assert worst_arc_mm(text) <= RULE_MM
    assert not RUNNING & {e.code for e in read.events}


def test_a_height_that_is_no_number_is_refused():
    with pytest.raises(ModelError, match="finite"):
        air_cut(Builder().motion(), travel_z_mm=float("nan"))
