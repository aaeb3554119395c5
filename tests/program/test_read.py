"""What good text means."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.model.motion import EventCode, FeedKind, Kind
from kerfwright.program import load_dialect, read_program

DIALECT = load_dialect("offsets-in-control-arcs")
INCH = 25.4

# In the style of the NIST sample "circle diamond square", from memory: a circle of four arcs by
# radius, then a diamond, then a square, in inches. Written for this test.
CIRCLE_DIAMOND_SQUARE = """\
%
(circle, diamond, square)
N0010 G20 G17 G90
n0020 g94 g40 g80
N0030 G0 X0 Y0 Z.5
N0040 X3. Y2.
N0050 G1 Z-.0625 F6
N0060 G3 X2 Y3 R1 F12.
N0070 X1 Y2 R1.0
N0080 X2 Y1 R1
N0090 X2.7071 Y1.2929 R1
N0100 X3 Y2 R1
N0110 G1 X2 Y3 (diamond)
N0120 X1 Y2
N0130 X2 Y1
N0140 X3 Y2
N0150 G0 Z.5
N0160 X1.2929 Y1.2929
N0170 G1 Z-.0625
N0180 Y2.7071 (square)
N0190 X2.7071
N0200 Y1.2929
N0210 X1.2929
N0220 G0 Z.5
N0230 M2
%
"""


def read(text, dialect=DIALECT):
    return read_program(text, dialect)


def body(text):
    """Read lines after a start at the origin in mm."""
    return read(f"G21\nG0 X0 Y0 Z0 C0\n{text}\nM2\n")


def test_circle_diamond_square_in_inches():
    motion = read(CIRCLE_DIAMOND_SQUARE)
    arcs = motion.kind == Kind.ARC
    assert arcs.sum() == 5
    assert motion.sweep_rad.sum() == pytest.approx(2.0 * np.pi, abs=1e-4)
    assert motion.centre[arcs] == pytest.approx(np.full((5, 2), 2.0 * INCH), abs=2e-4 * INCH)
    assert motion.start == pytest.approx([0.0, 0.0, 0.5 * INCH, 0.0])
    assert motion.end[:, :2].min(axis=0) == pytest.approx([INCH, INCH])
    assert motion.end[:, :2].max(axis=0) == pytest.approx([3.0 * INCH, 3.0 * INCH])
    cut = motion.end[:, 2] < 0.0
    ways = np.hypot(*(motion.end - motion.begins())[:, :2].T)
    straight = cut & (motion.kind == Kind.LINE)
    # A diamond on a circle of 1 in has sides of the square root of 2; so has the square.
    assert ways[straight].sum() == pytest.approx(8.0 * np.sqrt(2.0) * INCH, rel=1e-4)
    assert set(motion.feed[motion.feed_kind == FeedKind.PATH].round(9)) == {
        round(6.0 * INCH / 60.0, 9),
        round(12.0 * INCH / 60.0, 9),
    }


def test_inches_are_exact():
    motion = read("G20\nG0 X1 Y-2.5\nG1 X3.937 F10\nM2\n")
    assert motion.end[0].tolist() == [3.937 * INCH, -2.5 * INCH, 0.0, 0.0]
    assert motion.feed[0] == 10 * INCH / 60.0


@pytest.mark.reference("NISTIR 6556: g0x +0. 12 34y 7 is g0 x+0.1234 y7, as quoted there")
def test_blanks_and_case_do_not_matter():
    odd = body("f9 00\ng1x +0. 12 34y 7")
    plain = body("F900\nG1 X0.1234 Y7")
    assert odd.end.tolist() == plain.end.tolist() == [[0.1234, 7.0, 0.0, 0.0]]


@pytest.mark.parametrize("number", ["1", "1.", "+1", "+1.0", "01", "1.000", "1.0000000000"])
def test_forms_of_a_number(number):
    assert body(f"G0 X{number} Y.5 Z-.5").end[0].tolist() == [1.0, 0.5, -0.5, 0.0]


@pytest.mark.parametrize("g", ["G1", "g01", "G001", "G1.0", "G0.99999", "G1.00005"])
def test_g_words_may_be_off_by_a_ten_thousandth(g):
    """NISTIR 6556: a number that must be whole may be off by 0.0001."""
    assert body(f"{g} X1 F60").kind.tolist() == [Kind.LINE]


def test_line_ends_and_line_numbers():
    want = read("G21\nG0 X0 Y0\nG1 X1 F60\nM2\n")
    for end in ("\r\n", "\r"):
        other = read(end.join(["N1 G21", "n00002G0X0Y0", "N99999 G1 X1 F60", "N3 M2"]))
        assert other.end.tolist() == want.end.tolist()


def test_comments_and_blank_lines_say_nothing():
    text = "(a) G1 (b) X1 (msg, stop) F60 (c)\n\n   \n(G0 X9)\n"
    assert body(text).end.tolist() == [[1.0, 0.0, 0.0, 0.0]]


def test_percent_signs_replace_the_end_and_hide_what_follows():
    motion = read("\n % \nG21\nG0 X0\nG0 X1\n%\nG0 X500 nonsense \u20ac\n")
    assert motion.end[:, 0].tolist() == [1.0]


def test_percent_sign_in_a_comment_is_a_comment():
    assert len(body("(100 %)\nG0 X1")) == 1


@pytest.mark.parametrize("end", ["M2", "M30", "G0 X5 M2"])
def test_ends(end):
    assert read(f"G21\nG0 X0\n{end}\n\n(bye)\n").events == ()


def test_modal_motion_and_distance():
    motion = body("G1 X1 F600\nY2\nG91\nX1 Y1\nZ-1\nG90\nG0 X0\nX1")
    assert motion.end[:, :3].tolist() == [
        [1, 0, 0],
        [1, 2, 0],
        [2, 3, 0],
        [2, 3, -1],
        [0, 3, -1],
        [1, 3, -1],
    ]
    assert motion.kind.tolist() == [1, 1, 1, 1, 0, 0]
    assert motion.feed[:4].tolist() == [10.0] * 4


def test_the_start_is_the_first_programmed_value_of_each_axis():
    motion = read("G21\nG0 Z25\nG0 X10 Y20\nG1 X15 F60\nG1 C90 F60\nG1 C180 F60\nM2\n")
    assert motion.start == pytest.approx([10.0, 20.0, 25.0, np.pi / 2])
    assert motion.end[:, 0].tolist() == [15.0, 15.0, 15.0]
    assert motion.end[:, 3] == pytest.approx(np.array([1, 1, 2]) * np.pi / 2)


def test_lines_that_move_nothing_are_no_blocks_but_feeds_stay():
    assert len(body("G0 X0\nG1 X0 F600\nG0 Y0 Z0 C0")) == 0
    assert body("G1 X0 F600\nX1").feed.tolist() == [10.0]


def test_feed_of_turns_alone_is_degrees_per_minute():
    motion = body("G1 C90 F18000\nX1 C180\nZ1")
    assert motion.feed_kind.tolist() == [FeedKind.ROTARY, FeedKind.PATH, FeedKind.PATH]
    assert motion.feed == pytest.approx([np.radians(300.0), 300.0, 300.0])


def test_turns_alone_do_not_change_with_inches():
    motion = body("G20\nG1 C90 F18000\nX1 F60")
    assert motion.feed == pytest.approx([np.radians(300.0), 25.4])


def test_inverse_time_counts_whole_blocks():
    motion = body("G93\nG1 X3 Y4 F60\nG1 C90 F120\nG3 X3 Y4 I1 J0 F30\nG1 Z-2 C0 F60")
    assert motion.feed == pytest.approx([5.0, np.pi, np.pi, 2.0])
    assert motion.feed_kind.tolist() == [1, 2, 1, 1]


@pytest.mark.reference("NISTIR 6556 section 3.5.3: full circle where the end is the start")
@pytest.mark.parametrize(("g", "sign"), [("G2", -1), ("G3", 1)])
def test_full_circles(g, sign):
    motion = body(f"{g} X0 Y0 I3 J4 Z-1 C720 F60")
    assert motion.sweep_rad[0] == pytest.approx(sign * 2.0 * np.pi)
    assert motion.centre[0].tolist() == [3.0, 4.0]
    assert motion.end[0] == pytest.approx([0.0, 0.0, -1.0, 4.0 * np.pi])


@given(
    radius=st.floats(0.5, 500.0),
    angle=st.floats(-3.0, 3.0),
    sweep=st.floats(0.1, 6.18),
    g=st.sampled_from(["G2", "G3"]),
)
def test_arcs_by_radius_are_arcs_by_centre(radius, angle, sweep, g):
    """R below 0 takes the way of more than half a turn (NISTIR 6556 section 3.5.3)."""
    turn = sweep if g == "G3" else -sweep
    i, j = -radius * np.cos(angle), -radius * np.sin(angle)
    x, y = i + radius * np.cos(angle + turn), j + radius * np.sin(angle + turn)
    by_centre = body(f"{g} X{x:.9f} Y{y:.9f} I{i:.9f} J{j:.9f} F60")
    signed = radius if sweep <= np.pi else -radius
    by_radius = body(f"{g} X{x:.9f} Y{y:.9f} R{signed:.9f} F60")
    assert by_centre.sweep_rad[0] == pytest.approx(turn, abs=1e-6)
    # Near half a turn the centre by radius is only good to the square root of rounding.
    near_half = abs(sweep - np.pi) < 0.2
    slack = 1e-3 if near_half else 1e-5
    assert by_radius.sweep_rad[0] == pytest.approx(turn, abs=slack)
    assert by_radius.centre[0] == pytest.approx([i, j], abs=slack * radius)


def test_half_circles_by_radius_whose_radius_is_a_hair_short():
    motion = body("G2 X10 Y0 R4.999 F60")
    assert motion.sweep_rad[0] == pytest.approx(-np.pi)
    assert motion.centre[0] == pytest.approx([5.0, 0.0])


def test_arc_rule_lets_0_002_mm_pass():
    assert len(body("G2 X20.002 Y0 I10 J0 F60")) == 1
    assert len(body("G20\nG2 X2.0002 Y0 I1 J0 F60")) == 1


def test_dwells_and_their_place():
    motion = body("G0 X1\nG4 P1.5\nG4 P0.5 X2")
    assert motion.kind.tolist() == [0, 3, 3, 0]
    assert motion.dwell_s.tolist() == [0.0, 1.5, 0.5, 0.0]
    assert motion.end[:, 0].tolist() == [1.0, 1.0, 1.0, 2.0]


def test_events_tools_and_their_blocks():
    motion = body("T2\nM6\nG0 X1\nM21 P3\nP9000 M11\nG0 X2\nM22P3\nM0\nM12\nM6 T0")
    assert [(e.before_block, e.code, e.value) for e in motion.events] == [
        (0, EventCode.TOOL, 2.0),
        (1, EventCode.VACUUM, 3.0),
        (1, EventCode.OSCILLATION, 150.0),
        (2, EventCode.VACUUM, -3.0),
        (2, EventCode.PAUSE, 0.0),
        (2, EventCode.OSCILLATION, 0.0),
        (2, EventCode.TOOL, 0.0),
    ]
    assert motion.tool.tolist() == [2, 2]


def test_order_inside_a_line_is_that_of_the_standard():
    """Tool and spindle before the move, stop after it (NISTIR 6556 table 8)."""
    motion = body("M0 G0 X1 M3 S600 M6 T7")
    assert [(e.before_block, e.code, e.value) for e in motion.events] == [
        (0, EventCode.TOOL, 7.0),
        (0, EventCode.SPINDLE, 10.0),
        (1, EventCode.PAUSE, 0.0),
    ]
    assert motion.tool.tolist() == [7]


def test_a_speed_given_while_the_spindle_turns_is_a_change():
    motion = body("S600 M3\nG0 X1\nS1200\nM5\nS60")
    assert [e.value for e in motion.events] == [10.0, 20.0, 0.0]


def test_a_rapid_after_a_tool_change_makes_arcs_legal_again():
    assert len(body("T1 M6\nG0 X1 Y1\nG2 X2 Y2 I1 J0 F60")) == 2


def test_c_sense_zero_and_axes_are_undone():
    odd = replace(
        DIALECT, swap_xy=True, sign_x=-1, sign_z=-1, sign_c=-1, c_zero_rad=np.radians(90.0)
    )
    motion = read("G21\nG0 X0 Y0 Z0 C90\nG3 X-10 Y10 I-10 J0 Z-3 C60 F60\nM2\n", odd)
    assert motion.start == pytest.approx([0.0, 0.0, 0.0, 0.0])
    assert motion.end[0] == pytest.approx([10.0, 10.0, 3.0, np.radians(30.0)])
    assert motion.centre[0] == pytest.approx([0.0, 10.0])
    # X = -y and Y = x of the table is a quarter turn: it keeps the sense.
    assert motion.sweep_rad[0] == pytest.approx(np.pi / 2)


def test_lines_may_be_longer_where_the_control_takes_them():
    wide = replace(DIALECT, max_line_chars=1000)
    line = "G0 X1 (" + "a" * 200 + ")"
    assert len(read(f"G21\nG0 X0\n{line}\nM2\n", wide)) == 1
