"""Reading what was written gives back what was planned, for every kind of block and dialect."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.model.motion import EventCode, FeedKind, Kind, Role
from kerfwright.program import dialect_ids, load_dialect, read_program, write_program
from program.checker import RULE_MM, worst_arc_mm
from program.follow import Follower
from program.motions import TABLE, TRAVEL_MM, Builder, motions, random_motion, table_for

IDS = dialect_ids()


def dialect_of(dialect_id):
    """The dialect, with chords wide enough to keep the tests short."""
    dialect = load_dialect(dialect_id)
    return dialect if dialect.arcs else replace(dialect, arc_chord_mm=0.05)


def round_trip(motion, dialect, **options):
    text = write_program(motion, table_for(dialect), dialect, **options)
    read = read_program(text, dialect, z_zero_mm=options.get("z_zero_mm", 0.0))
    return text, read


@pytest.mark.parametrize("dialect_id", IDS)
@given(data=st.data(), z_zero_mm=st.sampled_from([0.0, 3.0, 12.345]))
@settings(max_examples=25)
def test_read_of_write_is_the_plan(dialect_id, data, z_zero_mm):
    dialect = dialect_of(dialect_id)
    motion = data.draw(motions(spindle="spindle_on" in dialect.words))
    text, read = round_trip(motion, dialect, z_zero_mm=z_zero_mm)
    Follower(planned=motion, read=read, table=TABLE, dialect=dialect).check()
    assert worst_arc_mm(text) <= RULE_MM
    assert max(map(len, text.splitlines())) <= dialect.max_line_chars
    assert read.offsets_in == dialect.offsets_in
    assert read.text_sha == hashlib.sha256(text.encode()).hexdigest()
    assert (read.role == Role.UNKNOWN).all()
    assert (read.cut == -1).all()


@given(motion=motions(spindle=True), decimals=st.integers(2, 6))
@settings(max_examples=40)
def test_any_number_of_decimals_obeys_the_arc_rule(motion, decimals):
    dialect = replace(load_dialect("offsets-in-program-arcs"), decimals_mm=decimals)
    text, read = round_trip(motion, dialect)
    assert worst_arc_mm(text) <= RULE_MM
    Follower(planned=motion, read=read, table=TABLE, dialect=dialect).check()


@pytest.mark.parametrize("dialect_id", IDS)
def test_a_program_written_from_what_was_read_is_the_same(dialect_id):
    """Rounded once, numbers stay; offsets in them are not added again."""
    dialect = dialect_of(dialect_id)
    motion = random_motion(np.random.default_rng(3), 300)
    text, read = round_trip(motion, dialect)
    again = write_program(read, table_for(dialect), dialect)
    assert again == text


@pytest.mark.parametrize("dialect_id", IDS)
def test_long_programs(dialect_id):
    dialect = dialect_of(dialect_id)
    motion = random_motion(np.random.default_rng(11), 500)
    text, read = round_trip(motion, dialect)
    Follower(planned=motion, read=read, table=TABLE, dialect=dialect).check()
    assert worst_arc_mm(text) <= RULE_MM


def test_feeds_come_back_in_both_ways_of_turning_alone():
    build = Builder()
    build.turn(np.pi / 2, feed=np.radians(720.0))
    build.line(x=10.0, feed=50.0)
    build.turn(-np.pi / 2, feed=1.5)
    for dialect_id in IDS:
        _, read = round_trip(build.motion(), load_dialect(dialect_id))
        assert read.feed_kind.tolist() == [FeedKind.ROTARY, FeedKind.PATH, FeedKind.ROTARY]
        # At three decimals of a degree and six of inverse time a rate is good to 2e-5.
        assert read.feed == pytest.approx([np.radians(720.0), 50.0, 1.5], rel=2e-5)


def test_a_first_block_without_a_tool_call_gets_one():
    build = Builder(tool=7)
    build.line(x=5.0)
    text, read = round_trip(build.motion(), load_dialect(IDS[0]))
    assert "T7 M6" in text
    assert read.tool.tolist() == [7]
    assert [(e.before_block, e.code, e.value) for e in read.events] == [(0, EventCode.TOOL, 7.0)]


@pytest.mark.parametrize("dialect_id", IDS)
def test_a_cut_straight_after_a_tool_change_begins_with_rapids_to_its_begin(dialect_id):
    dialect = load_dialect(dialect_id)
    build = Builder()
    build.event(EventCode.TOOL, 1)
    build.line(x=30.0)
    build.event(EventCode.TOOL, 7)
    build.arc(20.0, 0.0, 1.0)
    _, read = round_trip(build.motion(), dialect)
    arcs = np.flatnonzero((read.tool == 7) & (read.kind != Kind.RAPID))
    head = TABLE.head("shaker")
    offset = np.append(head.offset_mm, head.c_zero_rad) * (dialect.offsets_in == "program")
    begin = read.begins()[arcs[0]]
    assert begin == pytest.approx(build.motion().begins()[1] + offset, abs=6e-4)
    assert read.end[arcs[-1]] == pytest.approx(build.motion().end[1] + offset, abs=6e-4)


def test_blocks_that_round_to_nothing_vanish_and_their_events_stay():
    build = Builder()
    build.event(EventCode.VACUUM, 1.0)
    build.line(x=1e-6)
    build.event(EventCode.VACUUM, 2.0)
    build.line(x=1e-6)
    build.dwell(1e-6)
    build.turn(1e-8)
    build.event(EventCode.VACUUM, 3.0)
    build.line(x=7.0)
    build.event(EventCode.VACUUM, -3.0)
    for dialect_id in IDS:
        _, read = round_trip(build.motion(), load_dialect(dialect_id))
        assert len(read) == 1
        places = [(e.before_block, e.value) for e in read.events]
        assert places == [(0, 1.0), (0, 2.0), (0, 3.0), (1, -3.0)]


def test_many_moves_that_each_round_to_nothing_add_up():
    build = Builder()
    for _ in range(1000):
        build.line(x=1.3e-5, y=0.7e-5)
    _, read = round_trip(build.motion(), load_dialect("offsets-in-control-arcs"))
    assert read.end[-1] == pytest.approx(build.place, abs=5.1e-5)
    assert np.hypot(*np.diff(read.end[:, :2], axis=0).T).max() < 1.5e-4


def test_arcs_smaller_than_the_last_decimal_become_what_is_left_of_them():
    dialect = load_dialect("offsets-in-control-arcs")
    build = Builder()
    build.arc(2e-5, 0.3, 2.0 * np.pi - 1e-3, c=0.0)
    build.arc(1e-5, 0.3, 2.0, c=0.0)
    build.arc(300.0, 0.3, 1e-8, c=0.0)
    build.arc(2e-4, 0.3, 2.0 * np.pi, c=0.0)
    text, read = round_trip(build.motion(), dialect)
    assert worst_arc_mm(text) <= RULE_MM
    assert read.end[-1] == pytest.approx(build.place, abs=6e-5)
    assert (np.abs(read.sweep_rad) <= 2.0 * np.pi).all()
    assert np.hypot(*(read.end[:, :2] - build.start[:2]).T).max() < 1e-3


@pytest.mark.parametrize("short", [0.0, 1e-9, 1e-6, 3e-6, 1e-5, 1e-4])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_nearly_full_circles_stay_nearly_full(short, sign):
    """The end may round past the start; read as it stands the arc would shrink to nothing."""
    dialect = load_dialect("offsets-in-control-arcs")
    for angle in np.linspace(0.0, 6.0, 25):
        build = Builder()
        build.arc(15.0, angle, sign * (2.0 * np.pi - short), c=0.0)
        text, read = round_trip(build.motion(), dialect)
        assert abs(read.sweep_rad.sum()) == pytest.approx(2.0 * np.pi, abs=2e-4)
        assert worst_arc_mm(text) <= RULE_MM


def test_z_is_counted_from_the_zero_of_the_control():
    build = Builder()
    build.line(z=-20.0)
    dialect = load_dialect("offsets-in-control-arcs")
    text, read = round_trip(build.motion(), dialect, z_zero_mm=3.0)
    assert "Z2.0000" in text
    assert read.end[0, 2] == pytest.approx(TRAVEL_MM - 20.0)
    assert read_program(text, dialect).end[0, 2] == pytest.approx(TRAVEL_MM - 23.0)


FAULTS = {
    "swap": {"swap_xy": True},
    "x": {"sign_x": -1},
    "y": {"sign_y": -1},
    "z": {"sign_z": -1},
    "c": {"sign_c": -1},
    "zero": {"c_zero_rad": 0.001},
    "mirror": {"sign_x": -1, "sign_y": -1},
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_reader_of_another_dialect_sees_another_motion(fault):
    """The comparison of these tests can fail."""
    dialect = load_dialect("offsets-in-control-arcs")
    motion = random_motion(np.random.default_rng(5), 40)
    text = write_program(motion, TABLE, dialect)
    read = read_program(text, replace(dialect, **FAULTS[fault]))
    with pytest.raises(AssertionError):
        Follower(planned=motion, read=read, table=TABLE, dialect=dialect).check()
