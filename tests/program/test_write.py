"""The text itself: header, modes, suppression, senses, chords, limits, refusals."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.errors import BlockedError, ModelError, Severity
from kerfwright.errors.messages import load_catalogue
from kerfwright.model.motion import Event, EventCode, FeedKind, Kind
from kerfwright.program import (
    ProgramRefusedError,
    check_writable,
    dialect_ids,
    load_dialect,
    read_program,
    write_program,
)
from program.motions import TABLE, Builder, random_motion, table_for

PLAIN = load_dialect("offsets-in-control-arcs")
MIRRORED = load_dialect("mirrored-x-z-down-c-clockwise")
SWAPPED = load_dialect("swapped-inverse-time")
MOVES = re.compile(r"^(?:N\d+ )?G[0-3] ")


def text_of(build, dialect=PLAIN, **options):
    return write_program(build.motion(), table_for(dialect), dialect, **options)


def body_of(text):
    """Lines after the way to the start."""
    lines = text.splitlines()
    first = next(i for i, line in enumerate(lines) if MOVES.match(line))
    return lines[first + 2 : -1]


def one_line():
    build = Builder()
    build.line(x=1.0)
    return build


@pytest.mark.parametrize("dialect_id", dialect_ids())
def test_header_names_the_dialect_and_sets_every_mode_on_a_line_of_its_own(dialect_id):
    dialect = load_dialect(dialect_id)
    lines = text_of(one_line(), dialect).splitlines()
    comments = [line for line in lines if "(" in line]
    assert any(dialect_id in line for line in comments)
    for word in ("mm", "deg", "plane XY", "absolute"):
        assert any(word in line for line in comments), word
    bare = [re.sub(r"^N\d+ ", "", line) for line in lines]
    start = bare.index("G21")
    modes = ["G21", "G17", "G90", "G94", "G40", "G49", "G80", "G54"]
    assert bare[start : start + 8] == modes
    if "path_mode" in dialect.words:
        assert bare[start + 8] == dialect.words["path_mode"]
    assert bare[-1] == dialect.words["end"]


def test_the_first_moves_lift_before_they_travel():
    lines = text_of(one_line()).splitlines()
    moves = [line for line in lines if MOVES.match(line)]
    assert moves == [
        "G0 Z25.0000",
        "G0 X10.0000 Y20.0000 C0.0000",
        "G1 X11.0000 F6000",
    ]


def test_words_that_do_not_change_are_left_out():
    build = Builder()
    build.line(x=1.0, feed=50.0)
    build.line(y=1.0, feed=50.0)
    build.turn(np.pi / 2, feed=np.pi)
    build.line(z=-5.0, feed=50.0)
    build.dwell(0.25)
    build.rapid(z=5.0)
    assert body_of(text_of(build)) == [
        "G1 X11.0000 F3000",
        "G1 Y21.0000",
        "G1 C90.0000 F10800",
        "G1 Z20.0000 F3000",
        "G4 P0.2500",
        "G0 Z25.0000",
    ]


def test_arcs_name_both_ends_and_their_sense_follows_the_axes():
    build = Builder()
    build.arc(10.0, 0.0, np.pi / 2, feed=10.0)
    assert body_of(text_of(build)) == ["G3 X0.0000 Y30.0000 C90.0000 I-10.0000 J0.0000 F600"]
    # X of this control grows to the left, C clockwise from the table's y: 90 - c.
    head_free = replace(MIRRORED, offsets_in="control")
    assert body_of(text_of(build, head_free)) == ["G2 X0.000 Y30.000 C0.000 I10.000 J0.000 F600"]
    # X of this control runs along the table's y and Y against its x: a turn keeps the sense.
    swapped = replace(SWAPPED, line_numbers=False)
    assert body_of(text_of(build, swapped)) == ["G3 X30.0000 Y0.0000 C0.0000 I0.0000 J10.0000 F600"]


def test_inverse_time_stands_on_each_line_and_ends_with_it():
    build = Builder()
    build.turn(np.pi / 2, feed=np.pi)
    build.turn(-np.pi / 2, feed=np.pi)
    build.line(x=1.0, feed=50.0)
    swapped = replace(SWAPPED, line_numbers=False)
    assert body_of(text_of(build, swapped)) == [
        "G93",
        "G1 C0.0000 F120",
        "G1 C-90.0000 F120",
        "G94",
        "G1 Y-11.0000 F3000",
    ]


@pytest.mark.reference("NISTIR 6556: with X, Y, Z at rest F counts degrees per minute under G94")
def test_ninety_degrees_at_f18000_take_three_tenths_of_a_second():
    build = Builder()
    build.turn(np.pi / 2, feed=(np.pi / 2) / 0.3)
    assert body_of(text_of(build)) == ["G1 C90.0000 F18000"]


def test_events_are_the_words_of_the_dialect():
    build = Builder()
    build.event(EventCode.TOOL, 7)
    build.event(EventCode.VACUUM, 3)
    build.event(EventCode.OSCILLATION, 150.0)
    build.rapid(x=1.0)
    build.event(EventCode.SPINDLE, 300.0)
    build.event(EventCode.PAUSE)
    build.line(x=1.0)
    build.event(EventCode.SPINDLE, 0.0)
    build.event(EventCode.OSCILLATION, 0.0)
    build.event(EventCode.VACUUM, -3)
    build.event(EventCode.TOOL, 0)
    lines = [line for line in text_of(build).splitlines() if re.search(r"M\d", line)]
    assert lines == [
        "T7 M6",
        "M21 P3",
        "M11 P9000",
        "S18000 M3",
        "M0",
        "M5",
        "M12",
        "M22 P3",
        "T0 M6",
        "M2",
    ]


def test_after_a_tool_change_every_axis_is_named():
    build = Builder()
    build.rapid(x=5.0)
    build.event(EventCode.TOOL, 1)
    build.dwell(1.0)
    build.rapid(x=5.0)
    build.rapid(x=5.0)
    assert body_of(text_of(build)) == [
        "G0 X15.0000",
        "T1 M6",
        "G4 P1.0000",
        "G0 X20.0000 Y20.0000 Z25.0000 C0.0000",
        "G0 X25.0000",
    ]


def test_head_offsets_and_c_zeros_stand_in_the_numbers_where_the_dialect_wants_them():
    build = Builder()
    build.event(EventCode.TOOL, 1)
    build.rapid(x=5.0)
    inside = load_dialect("offsets-in-program-arcs")
    head = TABLE.head("straight")
    want = build.place[:2] + head.offset_mm[:2]
    assert f"G0 X{want[0]:.4f}" in body_of(text_of(build, inside))
    start_c = np.degrees(head.c_zero_rad)
    assert f"C{start_c:.4f}" in text_of(build, inside)
    assert "G0 X15.0000" in body_of(text_of(build))


@given(
    radius=st.floats(0.5, 3000.0),
    sweep=st.floats(0.05, 6.28),
    chord=st.floats(0.002, 0.5),
    turn=st.sampled_from([-1.0, 1.0]),
)
def test_chords_stay_within_their_gap_and_are_not_wasted(radius, sweep, chord, turn):
    """Sagitta of a chord over an angle a is r (1 - cos(a / 2))."""
    dialect = replace(load_dialect("offsets-in-control-no-arcs"), arc_chord_mm=chord)
    build = Builder()
    build.arc(radius, 1.0, turn * sweep)
    read = read_program(text_of(build, dialect), dialect)
    assert set(read.kind) == {Kind.LINE}
    centre = build.rows[0][2]
    ways = np.concatenate((read.start[None, :2], read.end[:, :2]))
    middles = (ways[1:] + ways[:-1]) / 2.0
    gap = radius - np.hypot(*(middles - centre).T)
    assert gap.max() <= chord
    assert gap.min() >= -1e-4
    fewest = sweep / (2.0 * np.arccos(1.0 - min(chord / radius, 1.0)))
    assert len(read) <= 1.05 * fewest + 1.0
    share = np.linspace(0.0, 1.0, len(read) + 1)[1:]
    assert read.end[:, 3] == pytest.approx(turn * sweep * share, abs=1e-6)


def test_titles_become_plain_comments():
    title = "Hafenfest (Tafel 3)\nGr\u00f6\u00dfe\u2028 A\u0301 " + "x" * 200
    text = text_of(one_line(), title=title)
    assert text.isascii()
    assert "(job: Hafenfest [Tafel 3] Gro?e?" in text
    assert max(map(len, text.splitlines())) <= 80
    assert len(read_program(text, PLAIN)) == 1


def test_a_feed_without_room_goes_on_the_line_before():
    build = Builder(place=np.array([-12345.6789, -23456.7891, 25.0, -1000.0]))
    build.arc(34567.8912, 0.3, 0.5, z=-1.2345, feed=123.4567)
    dialect = replace(PLAIN, line_numbers=True)
    text = text_of(build, dialect)
    assert max(map(len, text.splitlines())) <= 80
    assert re.search(r"^N\d+ F7407\.402$", text, flags=re.MULTILINE)
    assert read_program(text, dialect).feed == pytest.approx([123.4567], abs=1e-5)


def test_a_line_that_cannot_be_short_enough_is_refused():
    build = Builder()
    build.arc(10.0, 0.0, 1.0)
    with pytest.raises(ProgramRefusedError, match=r"has \d\d char.* takes 44") as caught:
        text_of(build, replace(PLAIN, max_line_chars=44))
    assert caught.value.finding.code == "PRG-212"


def test_the_number_of_lines_is_limited():
    motion = random_motion(np.random.default_rng(1), 200)
    text = write_program(motion, TABLE, PLAIN)
    lines = text.count("\n")
    assert write_program(motion, TABLE, replace(PLAIN, max_lines=lines)) == text
    with pytest.raises(BlockedError, match=f"has {lines} lines; the control takes {lines - 1}"):
        write_program(motion, TABLE, replace(PLAIN, max_lines=lines - 1))


def test_line_numbers_have_five_digits_at_most():
    build = Builder()
    for _ in range(50_000):
        build.line(x=1.0)
        build.line(x=-1.0)
    numbered = replace(PLAIN, line_numbers=True)
    with pytest.raises(ProgramRefusedError, match="the control takes 99999"):
        text_of(build, numbered)


def test_chords_beyond_the_memory_are_refused_before_they_are_made():
    dialect = replace(load_dialect("offsets-in-control-no-arcs"), arc_chord_mm=1e-9)
    build = Builder()
    for _ in range(50):
        build.arc(5000.0, 0.0, 6.0, c=0.0)
    with pytest.raises(ProgramRefusedError) as caught:
        text_of(build, dialect)
    assert caught.value.finding.code == "PRG-211"


def codes(motion, table=TABLE, dialect=PLAIN):
    found = check_writable(motion, table, dialect)
    for finding in found:
        assert finding.severity is Severity.BLOCKS
    if found:
        with pytest.raises(ProgramRefusedError) as caught:
            write_program(motion, table, dialect)
        assert caught.value.finding.code == found[0].code
        assert "{" not in caught.value.message
    return {f.code for f in found}


def test_a_sound_motion_has_no_findings():
    assert codes(random_motion(np.random.default_rng(2), 300)) == set()


def test_frame_dialect_and_offsets_are_checked():
    motion = one_line().motion()
    assert codes(replace(motion, frame="machine")) == {"PRG-201"}
    assert codes(motion, table=replace(TABLE, control="other")) == {"PRG-204"}
    assert codes(replace(motion, offsets_in="program")) == {"PRG-214"}
    assert codes(motion, dialect=replace(PLAIN, decimals_deg=10)) == {"PRG-213"}
    assert write_program(motion, replace(TABLE, control="other"), PLAIN, any_control=True)


@pytest.mark.parametrize("axis", range(4))
def test_huge_places_are_refused(axis):
    build = Builder()
    place = build.place.copy()
    place[axis] = -1e13
    build.add(Kind.RAPID, place)
    assert codes(build.motion()) == {"PRG-202"}
    assert codes(replace(one_line().motion(), start=place)) == {"PRG-202"}


def test_nan_never_gets_this_far():
    with pytest.raises(ModelError, match="only finite numbers"):
        replace(one_line().motion(), end=np.array([[1.0, np.nan, 0.0, 0.0]]))


def test_stations_are_checked_against_table_and_events():
    build = Builder()
    build.event(EventCode.TOOL, 4)
    build.rapid(x=1.0)
    assert codes(build.motion()) == {"PRG-203"}
    motion = random_motion(np.random.default_rng(2), 50)
    assert codes(replace(motion, tool=np.where(np.arange(len(motion)) < 30, 1, 2))) == {"PRG-205"}
    assert codes(replace(motion, events=())) == set(), "the first block's own station is called"


def test_events_need_words_and_sound_values():
    def with_event(code, value):
        event = Event(before_block=0, code=code, value=value)
        return replace(one_line().motion(), events=(event,))

    mute = replace(PLAIN, words={"tool": "T{value} M6", "end": "M2"})
    assert codes(with_event(EventCode.VACUUM, 1.0), dialect=mute) == {"PRG-206"}
    assert codes(with_event(EventCode.PAUSE, 0.0), dialect=mute) == {"PRG-206"}
    endless = replace(PLAIN, words={"tool": "T{value} M6"})
    assert codes(one_line().motion(), dialect=endless) == {"PRG-206"}
    for code, value in [
        (EventCode.VACUUM, 0.0),
        (EventCode.VACUUM, 1.5),
        (EventCode.OSCILLATION, -1.0),
        (EventCode.OSCILLATION, 1e-9),
        (EventCode.SPINDLE, 1e30),
        (EventCode.PAUSE, 3.0),
    ]:
        assert codes(with_event(code, value)) == {"PRG-207"}, (code, value)
    assert "PRG-207" in codes(with_event(EventCode.TOOL, -1.0))
    assert "PRG-207" in codes(with_event(EventCode.TOOL, 1.5))


def test_feeds_must_fit_what_moves():
    def alone(kind, way, feed, feed_kind):
        build = Builder()
        build.add(kind, build.place + way, feed=feed, feed_kind=feed_kind)
        return codes(build.motion())

    turn, move = np.array([0, 0, 0, 1.0]), np.array([1.0, 0, 0, 0])
    assert alone(Kind.LINE, turn, 10.0, FeedKind.PATH) == {"PRG-209"}
    assert alone(Kind.LINE, move, 10.0, FeedKind.ROTARY) == {"PRG-209"}
    assert alone(Kind.LINE, move, 0.0, FeedKind.NONE) == {"PRG-209"}
    assert alone(Kind.RAPID, move, 10.0, FeedKind.PATH) == {"PRG-209"}
    assert alone(Kind.LINE, turn + move, 10.0, FeedKind.ROTARY) == set()
    assert alone(Kind.DWELL, move, 0.0, FeedKind.NONE) == {"PRG-215"}


def test_a_rate_of_turn_on_a_moving_block_keeps_its_time():
    build = Builder()
    end = build.place + np.array([30.0, 40.0, 0.0, 2.0])
    build.add(Kind.LINE, end, feed=4.0, feed_kind=FeedKind.ROTARY)
    assert body_of(text_of(build)) == ["G1 X40.0000 Y60.0000 C114.5916 F6000"]


@pytest.mark.parametrize("feed", [1e-6, 1e9])
def test_feeds_that_cannot_be_written_are_refused(feed):
    build = Builder()
    build.line(x=1.0, feed=feed)
    with pytest.raises(ProgramRefusedError) as caught:
        text_of(build)
    assert caught.value.finding.code == "PRG-208"


def test_arcs_that_do_not_close_on_themselves_are_refused():
    build = Builder()
    build.arc(10.0, 0.0, 1.0)
    motion = build.motion()
    assert codes(replace(motion, end=motion.end + np.array([0.003, 0.0, 0.0, 0.0]))) == {"PRG-210"}
    assert codes(replace(motion, sweep_rad=motion.sweep_rad * 1.01)) == {"PRG-210"}
    assert codes(replace(motion, sweep_rad=motion.sweep_rad + 2.0 * np.pi)) == {"PRG-210"}
    assert codes(replace(motion, centre=motion.centre + 1e300)) == {"PRG-210"}


def test_arcs_of_enormous_radius_are_lines():
    build = Builder()
    build.arc(2e5, 0.3, 1e-4)
    read = read_program(text_of(build), PLAIN)
    assert set(read.kind) == {Kind.LINE}
    assert read.end[-1] == pytest.approx(build.place, abs=1e-4)


def test_every_code_of_the_writer_is_used_here():
    text = Path(__file__).read_text(encoding="utf-8")
    used = set(re.findall(r"PRG-2\d\d", text))
    assert used == {c for c in load_catalogue() if c.startswith("PRG-2")}
