"""Each planted fault is found, by its code and contour; the same program without it passes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kerfwright.errors import Severity
from kerfwright.errors.messages import cure_of, entry_of, sentence_of
from kerfwright.geometry.paths import make_path
from kerfwright.model.motion import Event, EventCode, Kind
from kerfwright.verify import check_program
from tests.verify.bench import (
    BEVEL,
    KISS,
    LIFT,
    MAT,
    SHAKEN,
    TABLE,
    THROUGH,
    TIGHT,
    TOP,
    TRAVEL,
    design,
    operation,
)
from tests.verify.planner import (
    cut_contour,
    finish,
    moved,
    plan,
    plan_program,
    start_tool,
    sunk,
    with_offsets,
)
from tests.verify.shapes import circle, lined, rectangle, rounded

# An outline with two windows, another outline, a kiss cut, a bevelled and a shaken contour, a line.
PATHS = [
    rectangle(20.0, 30.0, 20.0, 10.0),
    circle((80.0, 40.0), 12.0, clockwise=True),
    rectangle(10.0, 10.0, 100.0, 60.0),
    rounded(130.0, 10.0, 50.0, 40.0, 8.0),
    rounded(140.0, 20.0, 20.0, 20.0, 5.0),
    circle((230.0, 40.0), 20.0),
    rounded(270.0, 10.0, 40.0, 40.0, 6.0),
    lined((330.0, 10.0), (330.0, 90.0)),
]
OPERATIONS = [THROUGH, THROUGH, THROUGH, THROUGH, KISS, BEVEL, SHAKEN, THROUGH]
WAYS = ["corners", "forward", "forward", "forward", "forward", "reversed", "forward", "corners"]
WAYS[5] = "forward"  # the part is on the left of a counter-clockwise outline, the ground side right
DESIGN = design(PATHS, OPERATIONS)
COLUMNS = ["kind", "centre", "sweep_rad", "feed", "feed_kind", "dwell_s", "role", "cut", "tool"]


def codes(result, contour=None):
    return {f.code for f in result.findings if contour in (None, f.where.contour)}


def check(motion, wanted=DESIGN, table=TABLE, tolerances=TIGHT):
    result = check_program(motion, wanted, table, tolerances)
    for f in result.findings:
        assert f.severity == entry_of(f.code).severity
        assert "{" not in sentence_of(f) + cure_of(f), "every value of the sentence is filled in"
        assert f.where.stage == "verify"
        assert f.where.frame == "table"
    grave = {Severity.BLOCKS, Severity.HOLDS_PART}
    assert result.passed == (not any(f.severity in grave for f in result.findings))
    return result


def test_the_unplanted_program_passes():
    result = check(plan(DESIGN, WAYS))
    assert result.findings == ()
    assert result.passed
    assert result.worst_mm.max() < 0.03
    assert result.uncut_mm.max() < 1e-9
    assert result.overcut_part_mm.max() < 1e-9


def test_the_unplanted_program_passes_with_offsets_in_the_program():
    assert check(with_offsets(plan(DESIGN, WAYS), TABLE)).findings == ()


def test_the_unplanted_program_passes_with_z_counted_from_the_top():
    motion = moved(plan(DESIGN, WAYS), dz=-TOP)
    assert check(motion, table=replace(TABLE, z_reference="top")).findings == ()


@pytest.mark.parametrize("k", range(len(PATHS)))
def test_missing_cut(k):
    program = plan_program(DESIGN, WAYS)
    program.blocks.clear()
    program.events.clear()
    program.at, program.tool = (0.0, 0.0, TRAVEL, 0.0), 0
    for i in range(len(PATHS)):
        if i != k:
            start_tool(program, DESIGN, i)
            cut_contour(program, DESIGN, i, way=WAYS[i])
    finish(program)
    result = check(program.motion())
    assert [(f.code, f.where.contour) for f in result.findings] == [("VER-110", f"c{k}")]
    assert result.uncut_mm[k] == pytest.approx(PATHS[k].lengths_mm()[0], abs=1e-9)


@pytest.mark.parametrize("shift", [(0.2, 0.0), (0.0, 0.2), (-0.2, 0.0), (0.05, 0.0), (0.0, -0.05)])
def test_shifted_head(shift):
    motion = moved(plan(DESIGN, WAYS), *shift)
    result = check(motion)
    size = float(np.hypot(*shift))
    for k, path in enumerate(PATHS):
        if len(path.points) == 2 and not path.closed[0] and shift[0] == 0.0:
            assert "VER-111" in codes(result, f"c{k}"), "a line moved along itself ends early"
            continue
        assert "VER-113" in codes(result, f"c{k}")
        assert size - 1e-9 <= result.worst_mm[k] < size + 0.03
    assert codes(result) <= {"VER-111", "VER-113", "VER-114"}


def test_offsets_applied_twice_or_never():
    motion = with_offsets(plan(DESIGN, WAYS), TABLE)
    never = check(replace(motion, offsets_in="control"))
    assert {"VER-110", "VER-150"} <= codes(never)


@pytest.mark.parametrize("angle", [2.0, -2.0])
def test_c_off_by_two_degrees(angle):
    result = check(moved(plan(DESIGN, WAYS), dc=np.radians(angle)))
    straight = [0, 2, 3, 6, 7]  # on tight circles such a blade only cuts with another of its points
    for k in straight:
        assert "VER-140" in codes(result, f"c{k}")
    wrong = [f for f in result.findings if f.code == "VER-140"]
    assert max(f.measured for f in wrong) == pytest.approx(np.radians(2.0), abs=1e-9)


def test_c_off_by_two_degrees_on_one_short_chord():
    wanted = design([rounded(130.0, 10.0, 50.0, 40.0, 8.0)], [KISS])
    motion = plan(wanted)
    assert check(motion, wanted).findings == ()
    result = check(moved(motion, dc=np.radians(2.0)), wanted)
    assert codes(result, "c0") == {"VER-140"}


def test_blade_half_a_turn_off():
    result = check(moved(plan(DESIGN, WAYS), dc=np.pi))
    assert {"VER-141"} <= codes(result)


def test_wrong_bevel_side():
    for way in ("forward", "reversed"):
        outline = design([circle((50.0, 50.0), 20.0)], [BEVEL])
        window = design(
            [circle((50.0, 50.0), 20.0), rectangle(0.0, 0.0, 100.0, 100.0)], [BEVEL, THROUGH]
        )
        on_part = codes(check(plan(outline, [way]), outline), "c0")
        in_window = codes(check(plan(window, [way, "forward"]), window), "c0")
        assert on_part == (set() if way == "forward" else {"VER-142"})
        assert in_window == ({"VER-142"} if way == "forward" else set())


def test_bevel_counts_the_way_and_not_the_drawn_direction():
    drawn = design([circle((50.0, 50.0), 20.0, clockwise=True)], [BEVEL])
    assert codes(check(plan(drawn, ["forward"]), drawn)) == {"VER-142"}
    assert codes(check(plan(drawn, ["reversed"]), drawn)) == set()


@pytest.mark.parametrize(("by", "code"), [(0.2, "VER-120"), (-0.2, "VER-121")])
def test_depth_off_by_two_tenths(by, code):
    result = check(sunk(plan(DESIGN, WAYS), -by))
    for k in range(len(PATHS)):
        assert codes(result, f"c{k}") == {code}
    assert all(f.measured == pytest.approx(0.2) for f in result.findings)


def test_depth_off_by_half_the_tolerance_is_fine():
    for by in (0.05, -0.05):
        assert not {"VER-120", "VER-121"} & codes(check(sunk(plan(DESIGN, WAYS), by)))


def test_half_a_contour_too_shallow():
    wanted = design([rectangle(10.0, 10.0, 100.0, 60.0)])
    motion = plan(wanted)
    end = motion.end.copy()
    low = (end[:, 2] < TOP) & (end[:, 1] > 60.0)
    end[low, 2] += 0.2
    result = check(replace(motion, end=end), wanted)
    assert codes(result, "c0") == {"VER-120"}
    assert result.findings[0].where.xy_mm[1] == pytest.approx(70.0, abs=1.0)


def test_through_the_mat():
    result = check(sunk(plan(DESIGN, WAYS), TABLE.bed_surface_mm))
    assert {"VER-121", "VER-122"} <= codes(result)
    assert result.limit_violations


def test_holder_on_the_sheet():
    blade = replace(DESIGN.tools[0], free_length_mm=3.0)
    wanted = replace(DESIGN, tools=(blade, *DESIGN.tools[1:]))
    assert codes(check(plan(DESIGN, WAYS), wanted)) == {"VER-123"}


@pytest.mark.parametrize("k", range(len(PATHS)))
@pytest.mark.parametrize("again", ["same", "other way"])
def test_double_cut(k, again):
    program = plan_program(DESIGN, WAYS)
    way = WAYS[k]
    if again == "other way" and way != "corners" and OPERATIONS[k] is not BEVEL:
        way = "reversed"
    start_tool(program, DESIGN, k)
    cut_contour(program, DESIGN, k, way=way)
    finish(program)
    result = check(program.motion())
    assert [(f.code, f.where.contour) for f in result.findings] == [("VER-112", f"c{k}")]


def test_one_stroke_round_twice():
    wanted = design([circle((50.0, 50.0), 20.0)])
    program = plan_program(wanted)
    del program.blocks[4:]  # over, down, two half circles
    program.at = program.blocks[-1][1]
    program.arc((50.0, 50.0), np.pi)
    program.arc((50.0, 50.0), np.pi)
    finish(program)
    assert codes(check(program.motion(), wanted), "c0") == {"VER-112"}


def test_one_side_twice():
    wanted = design([rectangle(10.0, 10.0, 100.0, 60.0)])
    program = plan_program(wanted)
    program.blocks[10:10] = program.blocks[5:10]  # the second stroke: over, down, on, on, up
    result = check(program.motion(), wanted)
    assert codes(result, "c0") == {"VER-112"}
    assert result.findings[0].measured == pytest.approx(60.0)


def test_passes_as_planned_are_no_double_cut():
    deep = operation("through", passes=3)
    wanted = design([rectangle(10.0, 10.0, 100.0, 60.0), circle((200.0, 40.0), 20.0)], [deep] * 2)
    assert check(plan(wanted), wanted).findings == ()
    fine = operation("kiss", **_kiss(passes=2))
    wanted = design([rounded(10.0, 10.0, 50.0, 40.0, 8.0)], [fine])
    assert check(plan(wanted), wanted).findings == ()


def _kiss(**changes):
    return {
        "process": KISS.process, "tool_id": "film", "depth_mm": 0.15, "depth_from": "top"
    } | changes  # fmt: skip


def test_last_pass_missing():
    deep = operation("through", passes=2)
    wanted = design([rounded(10.0, 10.0, 50.0, 40.0, 8.0)], [deep])
    motion = plan(wanted)
    lowest = motion.end[:, 2].min()
    first = int(np.argmin(motion.end[:, 2]))
    keep = slice(0, first - 1)
    cut = {name: getattr(motion, name)[keep] for name in (*COLUMNS, "end")}
    assert lowest == pytest.approx(MAT)
    assert codes(check(replace(motion, **cut), wanted), "c0") == {"VER-120"}


def test_stray():
    program = plan_program(DESIGN, WAYS)
    program.rapid(x=120.0, y=90.0, c=0.0)
    program.line(z=MAT)
    program.line(x=150.0)
    program.line(z=TRAVEL)
    finish(program)
    result = check(program.motion())
    assert codes(result) == {"VER-150"}
    assert result.strays == ((120.2, 90.0),)


def test_everything_is_stray_without_contours():
    motion = plan(design([rectangle(10.0, 10.0, 100.0, 60.0)]))
    empty = design([])
    result = check(motion, empty)
    assert codes(result) == {"VER-150", "VER-153"}, "low ways between strays are between cuts"
    assert len(result.strays) == 4


def test_a_stray_across_a_contour_does_not_belong_to_it():
    program = plan_program(DESIGN, WAYS)
    program.rapid(x=60.0, y=55.0, c=np.pi / 2.0)
    program.line(z=MAT)
    program.line(y=85.0)
    program.line(z=TRAVEL)
    finish(program)
    result = check(program.motion())
    assert codes(result) == {"VER-150"}


def test_lead_in_that_comes_from_aside():
    wanted = design([rectangle(10.0, 10.0, 100.0, 60.0)])
    program = plan_program(wanted)
    plunge = next(i for i, b in enumerate(program.blocks) if b[0] is Kind.LINE)
    x, y, z, c = program.blocks[plunge][1]
    program.blocks[plunge - 1] = (*program.blocks[plunge - 1][:1], (x, y + 1.0, TRAVEL, c),
                                  *program.blocks[plunge - 1][2:])  # fmt: skip
    program.blocks.insert(plunge, (Kind.LINE, (x, y + 1.0, z, c), *program.blocks[plunge][2:]))
    result = check(program.motion(), wanted)
    assert "VER-113" in codes(result, "c0")
    assert result.worst_mm[0] == pytest.approx(1.0, abs=0.01)


def test_uncut_end():
    wanted = design([lined((10.0, 10.0), (110.0, 10.0))])
    motion = plan(wanted, ["corners"])
    end = motion.end.copy()
    end[end[:, 0] > 100.0, 0] -= 0.5
    result = check(replace(motion, end=end), wanted)
    assert codes(result, "c0") == {"VER-111"}
    assert result.uncut_mm[0] == pytest.approx(0.5, abs=1e-9)
    assert result.findings[0].where.xy_mm == pytest.approx((109.75, 10.0))


def test_nick_in_a_window_and_in_the_part_next_door():
    window = design([rectangle(20.0, 20.0, 30.0, 30.0), rectangle(0.0, 0.0, 80.0, 80.0)])
    assert codes(check(plan(window, ["corners", "forward"]), window)) == set()
    nicked = check(plan(window, ["forward", "forward"]), window)
    assert codes(nicked) == {"VER-114"}
    assert codes(nicked, "c0") == {"VER-114"}
    slack = 3.0 / np.tan(np.radians(80.0))  # leading edge: thickness over the tangent of its angle
    assert nicked.overcut_part_mm[0] == pytest.approx(slack, abs=1e-9)
    for gap, depth in ((0.2, slack - 0.2), (0.6, 0.0)):
        near = design([rectangle(0.0, 0.0, 30.0, 30.0), rectangle(30.0 + gap, -5.0, 30.0, 40.0)])
        result = check(plan(near), near)
        assert result.overcut_part_mm[0] == pytest.approx(depth, abs=6e-4)
        assert codes(result, "c0") == ({"VER-114"} if depth > 0.03 else set())


def test_overcut_of_open_lines():
    """Where nothing is freed the sheet is the part, so that an end cut over is a nick."""
    line = design([lined((10.0, 10.0), (110.0, 10.0))])
    assert codes(check(plan(line, ["corners"]), line)) == set()
    result = check(plan(line, ["forward"]), line)
    assert codes(result) == {"VER-114"}
    beside = design([lined((10.0, 10.0), (110.0, 10.0)), rectangle(0.0, 20.0, 30.0, 30.0)])
    result = check(plan(beside, ["forward", "forward"]), beside)
    assert codes(result) == set(), "beside parts it runs into waste"
    assert result.overcut_waste_mm[0] > 0.4


def test_rapid_through_stock():
    wanted = design([rectangle(10.0, 10.0, 100.0, 60.0)])
    motion = plan(wanted)
    kind, feed, feed_kind = motion.kind.copy(), motion.feed.copy(), motion.feed_kind.copy()
    low = np.flatnonzero((motion.end[:, 2] < TOP) & (motion.begins()[:, 2] < TOP))
    kind[low[0]], feed[low[0]], feed_kind[low[0]] = Kind.RAPID, 0.0, 0
    result = check(replace(motion, kind=kind, feed=feed, feed_kind=feed_kind), wanted)
    assert codes(result) == {"VER-151"}
    assert result.collisions


def test_rapid_plunge_and_rapid_below_clearance():
    wanted = design([rectangle(10.0, 10.0, 100.0, 60.0)])
    motion = plan(wanted)
    kind, feed, feed_kind = motion.kind.copy(), motion.feed.copy(), motion.feed_kind.copy()
    first = int(np.argmax(motion.end[:, 2] < TOP))
    kind[first], feed[first], feed_kind[first] = Kind.RAPID, 0.0, 0
    assert codes(check(replace(motion, kind=kind, feed=feed, feed_kind=feed_kind), wanted)) == {
        "VER-151"
    }
    end = np.insert(motion.end, first, motion.end[first - 1], axis=0)
    end[first, 2] = TOP + 1.0
    columns = {
        name: np.insert(getattr(motion, name), first, getattr(motion, name)[first - 1], axis=0)
        for name in COLUMNS
    }
    result = check(replace(motion, end=end, **columns), wanted)
    assert codes(result) == {"VER-152"}
    assert result.findings[0].measured == TOP + 1.0


@pytest.mark.parametrize("height", [TOP + 0.5, TOP + 3.0])
def test_travel_too_low_between_cuts(height):
    wanted = design([rectangle(10.0, 10.0, 20.0, 20.0), rectangle(60.0, 10.0, 20.0, 20.0)])
    motion = plan(wanted)
    end = motion.end.copy()
    over = np.flatnonzero(end[:, 2] == TRAVEL)
    middle = over[(over > 5) & (over < len(end) - 5)]
    end[middle, 2] = height
    found = codes(check(replace(motion, end=end), wanted))
    assert found == ({"VER-152"} if height < TOP + TABLE.clearance_mm else {"VER-153"})


def test_low_lifts_inside_a_cut_are_fine_as_long_as_they_clear_the_stock():
    wanted = design([rectangle(10.0, 10.0, 20.0, 20.0)])
    motion = plan(wanted)
    end = motion.end.copy()
    end[end[:, 2] == LIFT, 2] = TOP + 0.01
    assert check(replace(motion, end=end), wanted).passed
    end[np.isclose(end[:, 2], TOP + 0.01), 2] = TOP - 0.5
    assert not check(replace(motion, end=end), wanted).passed


def test_wrong_tool_and_wrong_head():
    motion = plan(DESIGN, WAYS)
    tool = motion.tool.copy()
    tool[tool == 3] = 1
    result = check(replace(motion, tool=tool))
    assert [(f.code, f.where.contour) for f in result.findings] == [("VER-130", "c5")]
    tool = np.where(motion.tool == 1, 7, motion.tool)
    result = check(replace(motion, tool=tool))
    assert codes(result, "c0") == {"VER-130", "VER-143"}


def test_tool_the_design_does_not_know():
    wanted = design([rectangle(10.0, 10.0, 20.0, 20.0)])
    motion = replace(plan(wanted), tool=np.where(plan(wanted).tool == 1, 2, plan(wanted).tool))
    assert codes(check(motion, wanted)) == {"VER-130"}


def test_station_not_on_the_table_and_no_tool_at_all():
    wanted = design([rectangle(10.0, 10.0, 20.0, 20.0)])
    motion = plan(wanted)
    strange = replace(motion, tool=np.where(motion.tool == 1, 9, 0))
    assert codes(check(strange, wanted)) == {"VER-110", "VER-131", "VER-132"}
    bare = replace(motion, tool=np.zeros(len(motion), np.int64), events=())
    assert codes(check(bare, wanted)) == {"VER-110", "VER-131"}


def test_tool_called_in_the_stock():
    wanted = design([rectangle(10.0, 10.0, 20.0, 20.0)])
    motion = plan(wanted)
    low = int(np.argmax(motion.end[:, 2] < TOP)) + 1
    call = Event(before_block=low, code=EventCode.TOOL, value=1.0)
    result = check(replace(motion, events=(*motion.events, call)), wanted)
    assert codes(result) == {"VER-133"}


def test_c_limit_reach_bed_and_z():
    wanted = design([rectangle(10.0, 10.0, 20.0, 20.0)])
    motion = plan(wanted)
    head = TABLE.heads[0]

    def with_head(**changes):
        return replace(TABLE, heads=(replace(head, **changes), *TABLE.heads[1:]))

    assert codes(check(moved(motion, dc=8 * np.pi), wanted)) == {"VER-160"}
    assert codes(check(motion, wanted, with_head(c_limits_rad=None))) == set()
    assert codes(check(motion, wanted, with_head(reach=(-5.0, -5.0, 25.0, 50.0)))) == {"VER-161"}
    assert codes(check(motion, wanted, replace(TABLE, bed=(0.0, 0.0, 25.0, 50.0)))) == {"VER-162"}
    assert codes(check(motion, wanted, with_head(z_travel_mm=(-3.0, 11.0)))) == {"VER-163"}
    assert codes(check(motion, wanted, with_head(z_travel_mm=(-0.1, 60.0)))) == {"VER-163"}


def test_reach_counts_how_far_arcs_bow_out():
    wanted = design([circle((50.0, 50.0), 20.0)])
    motion = plan(wanted)
    tight = replace(TABLE.heads[0], reach=(-400.0, -400.0, 400.0, 69.9))
    result = check(motion, wanted, replace(TABLE, heads=(tight, *TABLE.heads[1:])))
    assert codes(result) == {"VER-161"}
    assert result.findings[0].measured == pytest.approx(50.0 + np.hypot(20.0, 0.49094), abs=1e-4)


def test_oscillation_off_and_waits():
    wanted = design([rectangle(10.0, 10.0, 20.0, 20.0)], [SHAKEN])
    motion = plan(wanted)
    assert check(motion, wanted).findings == ()
    off = tuple(e for e in motion.events if e.code is not EventCode.OSCILLATION)
    assert codes(check(replace(motion, events=off), wanted), "c0") == {"VER-143"}
    low = int(np.argmax(motion.end[:, 2] < TOP)) + 1
    wait = Event(before_block=low, code=EventCode.PAUSE, value=0.0)
    result = check(replace(motion, events=(*motion.events, wait)), wanted)
    assert codes(result, "c0") == {"VER-144"}
    assert result.passed


def test_keep_outs():
    motion = plan(DESIGN, WAYS)
    clamp = rectangle(100.0, 40.0, 20.0, 10.0)
    result = check(motion, replace(DESIGN, keep_outs=clamp))
    assert codes(result) == {"VER-154"}
    round_clamp = circle((110.0 + 5.02, 40.0), 5.0)
    assert codes(check(motion, replace(DESIGN, keep_outs=round_clamp))) == set()


def test_point_in_the_design():
    wanted = design([make_path([(5.0, 5.0)], closed=False)])
    result = check(plan(design([])), wanted)
    assert codes(result, "c0") == {"VER-115"}
