"""Each fault planted in a router program is found, by its code and contour; without it, it passes.

What a cutter of a radius leaves or takes beside a wall is plain geometry of circles; the figures
expected are worked out here by hand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kerfwright.errors import Severity
from kerfwright.errors.messages import cure_of, entry_of, sentence_of
from kerfwright.geometry.paths import make_path
from kerfwright.geometry.plane_map import PlaneMap, rigid_map
from kerfwright.model.motion import Event, EventCode, Kind
from kerfwright.model.routing import Routing, Tabs
from kerfwright.verify import check_program
from tests.verify.planner import moved, with_offsets
from tests.verify.router_bench import (
    CUTTERS,
    DEEP_HOLE,
    DEPTH,
    HELD,
    HOLE,
    LINE,
    OUT,
    RADIUS,
    ROUTER,
    TABS,
    TIGHT,
    TOP,
    design,
    routed,
)
from tests.verify.router_maker import Router, Spec, cut_spec, plan, route

# Two windows and a groove inside a part, parts held by tabs, a circle, a part of its own.
SPECS = [
    Spec("circle", (60.0, 60.0, 15.0), HOLE),
    Spec("rounded", (100.0, 40.0, 50.0, 40.0, 5.0), DEEP_HOLE),
    Spec("rectangle", (165.0, 50.0, 20.0, 30.0), LINE),
    Spec("rectangle", (20.0, 20.0, 180.0, 90.0), HELD),
    Spec("circle", (280.0, 70.0, 40.0), HELD),
    Spec("rounded", (20.0, 150.0, 60.0, 50.0, 8.0), OUT),
    Spec("circle", (150.0, 180.0, 25.0), OUT),
    Spec("rounded", (220.0, 150.0, 140.0, 70.0, 12.0), HELD),
]
OPERATIONS = [s.operation for s in SPECS]
DESIGN = design([s.path() for s in SPECS], OPERATIONS)
SIDED = [k for k, s in enumerate(SPECS) if s.sign]
HELD_ROWS = [k for k, s in enumerate(SPECS) if s.operation is HELD]
WHOLE = [k for k in SIDED if k not in HELD_ROWS]
ALL = range(len(SPECS))


def codes(result, contour=None):
    return {f.code for f in result.findings if contour in (None, f.where.contour)}


def check(motion, wanted=DESIGN, table=ROUTER, tolerances=TIGHT):
    result = check_program(motion, wanted, table, tolerances)
    for f in result.findings:
        assert f.severity == entry_of(f.code).severity
        assert "{" not in sentence_of(f) + cure_of(f), "every value of the sentence is filled in"
        assert f.where.stage == "verify"
        assert f.where.frame == "table"
    grave = {Severity.BLOCKS, Severity.HOLDS_PART}
    assert result.passed == (not any(f.severity in grave for f in result.findings))
    assert len(result.worst_mm) == len(wanted.contours)
    return result


def one(result, code):
    found = [f for f in result.findings if f.code == code]
    assert len(found) == 1, f"{code} once, not {[f.code for f in result.findings]}"
    return found[0]


def test_the_unplanted_program_passes():
    result = check(plan(SPECS))
    assert result.findings == ()
    assert result.worst_mm.max() < 1e-9
    assert result.uncut_mm.max() == 0.0
    assert result.overcut_part_mm.max() < 1e-9


def test_it_passes_with_offsets_in_the_program():
    assert check(with_offsets(plan(SPECS), ROUTER)).findings == ()


def test_it_passes_with_z_counted_from_the_top():
    motion = moved(plan(SPECS), dz=-TOP)
    assert check(motion, table=replace(ROUTER, z_reference="top")).findings == ()


@pytest.mark.parametrize("turn", [0.0, 1.0, 2.5])
def test_it_passes_wherever_the_sheet_lies(turn):
    where = rigid_map(300.0, 400.0, turn)
    wanted = replace(DESIGN, maps=(where,))
    assert check(turned(plan(SPECS), where), wanted).findings == ()


def turned(motion, where):
    """Return a program moved with the sheet."""
    end = np.column_stack((where.map_points(motion.end[:, :2]), motion.end[:, 2:]))
    start = np.append(where.map_points(motion.start[None, :2])[0], motion.start[2:])
    arc = motion.kind == Kind.ARC
    centre = motion.centre.copy()
    centre[arc] = where.map_points(centre[arc])
    return replace(motion, end=end, start=start, centre=centre)


def test_it_passes_on_a_sheet_laid_face_down():
    """A mirror turns sides and senses round; the part stays where it is."""
    mirror = PlaneMap(affine=np.array([[-1.0, 0.0, 500.0], [0.0, 1.0, 0.0]]))
    motion = turned(plan(SPECS), mirror)
    motion = replace(motion, sweep_rad=-motion.sweep_rad)
    result = check(motion, replace(DESIGN, maps=(mirror,)))
    # The way round is now the other one for everything but the line, which is drawn so.
    assert codes(result) == {"VER-240"}
    assert {f.where.contour for f in result.findings} == {f"c{k}" for k in SIDED}


@pytest.mark.parametrize("k", ALL)
def test_a_contour_left_out(k):
    result = check(plan(SPECS, **{f"c{k}": None}))
    f = one(result, "VER-210")
    assert f.where.contour == f"c{k}"
    assert f.measured == pytest.approx(SPECS[k].path().lengths_mm()[0])
    assert codes(result) == {"VER-210"}


@pytest.mark.parametrize("k", SIDED)
def test_the_wrong_side(k):
    result = check(plan(SPECS, **{f"c{k}": {"offset": -RADIUS, "gaps": []}}))
    found = [f for f in result.findings if f.code == "VER-213"]
    assert [f.where.contour for f in found] == [f"c{k}"]
    # An inside of a rectangle is cut with its axis a radius inside: the far side of the cutter.
    assert found[0].measured == pytest.approx(2.0 * RADIUS, abs=1e-3)
    assert result.overcut_part_mm[k] == found[0].measured


@pytest.mark.parametrize("k", SIDED)
@pytest.mark.parametrize("off", [0.05, -0.05])
def test_an_offset_of_a_twentieth(k, off):
    result = check(plan(SPECS, **{f"c{k}": {"offset": RADIUS + off}}))
    f = one(result, "VER-212" if off > 0.0 else "VER-213")
    assert f.where.contour == f"c{k}"
    assert f.measured == pytest.approx(abs(off), abs=6e-4)
    assert result.worst_mm[k] == pytest.approx(abs(off), abs=6e-4)
    assert np.delete(result.worst_mm, k).max() < 1e-9


@pytest.mark.parametrize("shift", [(0.05, 0.0), (0.0, -0.07), (0.2, 0.2)])
def test_a_shifted_spindle(shift):
    """On every contour that has walls on all sides one is bitten and the other left."""
    result = check(moved(plan(SPECS), *shift))
    size = max(np.abs(shift))
    for k in SIDED:
        assert {"VER-212", "VER-213"} <= codes(result, f"c{k}")
        assert size - 6e-4 <= result.worst_mm[k] <= np.hypot(*shift) + 6e-4
    assert "VER-216" in codes(result, "c2")


@pytest.mark.parametrize("k", ALL)
def test_short_of_depth(k):
    heights = tuple(h + 0.2 for h in SPECS[k].heights())
    result = check(plan(SPECS, **{f"c{k}": {"heights": heights}}))
    f = one(result, "VER-220")
    assert f.where.contour == f"c{k}"
    assert f.measured == pytest.approx(0.2)
    assert codes(result) == {"VER-220"}


@pytest.mark.parametrize("k", [k for k in ALL if SPECS[k].operation.passes > 1])
def test_a_pass_missing_at_the_end(k):
    heights = SPECS[k].heights()
    result = check(plan(SPECS, **{f"c{k}": {"heights": heights[:-1]}}))
    f = one(result, "VER-220")
    assert f.where.contour == f"c{k}"
    assert f.measured == pytest.approx(heights[-2] - heights[-1])


@pytest.mark.parametrize("k", ALL)
def test_into_the_spoilboard(k):
    heights = (*SPECS[k].heights()[:-1], SPECS[k].heights()[-1] - 1.0)
    result = check(plan(SPECS, **{f"c{k}": {"heights": heights}}))
    f = one(result, "VER-221")
    assert f.where.contour == f"c{k}"
    assert f.measured == pytest.approx(1.0)


def test_through_the_spoilboard():
    heights = (6.0, -2.5)
    result = check(plan(SPECS, c5={"heights": heights}))
    assert {"VER-221", "VER-122"} == codes(result)


@pytest.mark.parametrize("k", HELD_ROWS)
def test_a_tab_missing(k):
    gaps = SPECS[k].gaps(RADIUS)
    result = check(plan(SPECS, **{f"c{k}": {"gaps": gaps[1:]}}))
    f = one(result, "VER-230")
    assert (f.where.contour, f.measured, f.limit) == (f"c{k}", len(gaps) - 1, len(gaps))
    result = check(plan(SPECS, **{f"c{k}": {"gaps": []}}))
    assert one(result, "VER-230").measured == 0.0


@pytest.mark.parametrize("k", HELD_ROWS)
def test_a_tab_too_many(k):
    gaps = SPECS[k].gaps(RADIUS)
    gaps.append((gaps[0][0] - 25.0, gaps[0][1] - 25.0))
    result = check(plan(SPECS, **{f"c{k}": {"gaps": gaps}}))
    assert one(result, "VER-230").measured == len(gaps)


@pytest.mark.parametrize("k", HELD_ROWS)
def test_tabs_too_low_and_too_tall(k):
    n = len(SPECS[k].gaps(RADIUS))
    low = check(plan(SPECS, **{f"c{k}": {"tab_z": TABS.height_mm - 0.5}}))
    assert [f.code for f in low.findings] == ["VER-231"] * n
    assert low.findings[0].measured == pytest.approx(TABS.height_mm - 0.5)
    tall = check(plan(SPECS, **{f"c{k}": {"tab_z": TABS.height_mm + 0.5}}))
    assert one(tall, "VER-234").measured == pytest.approx(TABS.height_mm + 0.5)


@pytest.mark.parametrize("k", HELD_ROWS)
def test_tabs_too_short_and_too_long(k):
    n = len(SPECS[k].gaps(RADIUS))
    short = check(plan(SPECS, **{f"c{k}": {"gaps": SPECS[k].gaps(RADIUS, 7.5)}}))
    assert [f.code for f in short.findings] == ["VER-232"] * n
    assert short.findings[0].measured == pytest.approx(7.5, abs=1e-3)
    routing = Routing(tabs=TABS, entry_rad=1.5)
    steep = [replace(s, operation=replace(HELD, routing=routing)) for s in (SPECS[k],)]
    wanted = design([SPECS[k].path()], [steep[0].operation])
    long = check(plan(steep, c0={"gaps": steep[0].gaps(RADIUS, 16.0)}), wanted)
    assert {f.code for f in long.findings} == {"VER-233"}
    assert check(plan(steep, c0={"gaps": steep[0].gaps(RADIUS, 12.0)}), wanted).passed


def test_tabs_where_none_are_asked_for():
    result = check(plan(SPECS, c5={"gaps": [(10.0, 18.0)]}))
    f = one(result, "VER-220")
    assert f.measured == pytest.approx(TABS.height_mm - DEPTH)
    assert result.uncut_mm[5] == pytest.approx(8.0)


@pytest.mark.parametrize("k", SIDED)
def test_a_tool_of_another_diameter(k):
    """A wider one in the station bites in; a thinner one leaves the wall standing."""
    wide = check(plan(SPECS, **{f"c{k}": {"tool": "mill8"}}), with_tools("mill8"))
    assert {"VER-130", "VER-213"} <= codes(wide, f"c{k}")
    assert wide.overcut_part_mm[k] == pytest.approx(1.0)
    thin = check(plan(SPECS, **{f"c{k}": {"tool": "mill3"}}), with_tools("mill3"))
    assert "VER-130" in codes(thin, f"c{k}")
    assert not thin.passed


def with_tools(*names):
    return replace(DESIGN, tools=(*DESIGN.tools, *(CUTTERS[n] for n in names)))


def test_a_tool_the_design_does_not_know():
    result = check(plan(SPECS, c5={"tool": "mill8"}))
    assert codes(result) == {"VER-130"}


def test_a_thicker_cutter_in_the_right_station():
    wide = replace(CUTTERS["mill6"], profile_mm=np.array([(3.2, 0.0)]))
    result = check(plan(SPECS), replace(DESIGN, tools=(wide,)))
    assert {f.where.contour for f in result.findings if f.code == "VER-213"} == {
        f"c{k}" for k in SIDED
    }
    assert result.overcut_part_mm[SIDED] == pytest.approx(0.2)


@pytest.mark.parametrize("k", ALL)
def test_a_rapid_through_the_stock(k):
    motion = plan(SPECS)
    own = block_of(motion, k, lambda m, i: m.kind[i] == Kind.LINE and m.end[i, 2] < TOP - 5.0)
    kind, feed = motion.kind.copy(), motion.feed.copy()
    kind[own], feed[own] = Kind.RAPID, 0.0
    feed_kind = motion.feed_kind.copy()
    feed_kind[own] = 0
    result = check(replace(motion, kind=kind, feed=feed, feed_kind=feed_kind))
    assert codes(result) == {"VER-151"}


def block_of(motion, k, fits):
    """Return the first block of the k-th contour's cut that fits and moves."""
    begins = motion.begins()
    ups = np.flatnonzero((motion.kind == Kind.RAPID) & (motion.end[:, 2] == 15.0))
    blocks = range(int(ups[k]) + 1, len(motion))
    return next(i for i in blocks if fits(motion, i) and (begins[i] != motion.end[i]).any())


@pytest.mark.parametrize("k", [k for k in ALL if k != 2])
def test_an_arc_the_other_way_round(k):
    """The other word for the same ends and centre: the long way, or the wrong half."""
    motion = plan(SPECS)
    deep = SPECS[k].heights()[-1]
    i = block_of(motion, k, lambda m, i: m.kind[i] == Kind.ARC and m.end[i, 2] <= deep + 1e-9)
    sweep = motion.sweep_rad.copy()
    sweep[i] -= np.copysign(2.0 * np.pi, sweep[i])
    result = check(replace(motion, sweep_rad=sweep))
    # The other half of a circle or of a corner leaves this one standing; round an outside corner
    # it goes through the part.
    assert not result.passed
    assert codes(result, f"c{k}") - {"VER-240"}
    if SPECS[k].kind != "circle" and SPECS[k].sign > 0.0:
        assert result.overcut_part_mm[k] > RADIUS


def test_a_finishing_pass_missing():
    result = check(plan(SPECS, c5={"offset": RADIUS + 0.4}))
    assert one(result, "VER-212").measured == pytest.approx(0.4, abs=6e-4)


def test_several_passes_and_a_finishing_pass_are_no_fault():
    changes = {
        f"c{k}": {"rough": RADIUS + 0.4, "heights": (8.0, 4.0, 2.0, SPECS[k].heights()[-1])}
        for k in WHOLE
        if k != 1
    }
    assert check(plan(SPECS, **changes)).findings == ()


def test_ramps_are_no_fault():
    assert check(plan(SPECS, **{f"c{k}": {"ramp": True} for k in WHOLE})).findings == ()


@pytest.mark.parametrize("k", SIDED)
def test_the_other_sense_is_a_warning(k):
    result = check(plan(SPECS, **{f"c{k}": {"backwards": True, "gaps": backward_gaps(k)}}))
    f = one(result, "VER-240")
    assert f.where.contour == f"c{k}"
    assert result.passed


def backward_gaps(k):
    spec = SPECS[k]
    total = sum(g.length for g in spec.legs(RADIUS))
    return [(total - b, total - a) for a, b in spec.gaps(RADIUS)]


def test_a_line_cut_against_its_drawn_direction_is_a_warning():
    result = check(plan(SPECS, c2={"backwards": True}))
    assert one(result, "VER-240").where.contour == "c2"


def test_a_spindle_that_does_not_turn():
    motion = plan(SPECS)
    still = tuple(
        replace(e, value=0.0) if e.code is EventCode.SPINDLE else e for e in motion.events
    )
    result = check(replace(motion, events=still))
    assert codes(result) == {"VER-241"}
    assert {f.where.contour for f in result.findings} == set(DESIGN.contours)


def test_a_spindle_that_stops_in_the_stock():
    motion = plan(SPECS)
    i = block_of(motion, 6, lambda m, i: m.kind[i] == Kind.ARC)
    stop = Event(before_block=i + 1, code=EventCode.SPINDLE, value=0.0)
    events = tuple(sorted((*motion.events, stop), key=lambda e: e.before_block))
    result = check(replace(motion, events=events))
    assert codes(result) == {"VER-241"}
    assert {f.where.contour for f in result.findings} == {"c6", "c7"}


def test_a_plunge_of_a_cutter_without_teeth_at_the_centre():
    spec = Spec("circle", (60.0, 60.0, 25.0), routed("blunt", tool_id="blunt"))
    wanted = design([spec.path()], [spec.operation])
    assert codes(check(plan([spec]), wanted)) == {"VER-242"}
    program = Router()
    program.start("blunt")
    cut_spec(program, spec, ramp=True)
    # The finishing pass goes straight down where the ramp has been before.
    route(program, spec.legs(RADIUS), heights=(DEPTH,))
    assert check(program.finish(), wanted).findings == ()


def test_deeper_than_the_cutter_cuts_and_than_it_is_free():
    spec = Spec("circle", (60.0, 60.0, 25.0), routed("short", tool_id="short"))
    result = check(plan([spec]), design([spec.path()], [spec.operation]))
    assert codes(result) == {"VER-222", "VER-123"}
    assert one(result, "VER-222").measured == pytest.approx(TOP - DEPTH)


def test_a_cut_that_bites_the_neighbour():
    """Two parts 4 mm apart, and a cutter of 6: it takes 2 mm of the neighbour."""
    near = [
        Spec("rectangle", (20.0, 20.0, 60.0, 40.0), OUT),
        Spec("rectangle", (84.0, 20.0, 60.0, 40.0), OUT),
    ]
    result = check(plan(near), design([s.path() for s in near], [OUT, OUT]))
    found = {f.where.contour: f for f in result.findings}
    assert codes(result) == {"VER-214"}
    assert found["c0"].params["by"] == "c1"
    assert [f.measured for f in found.values()] == pytest.approx([2.0, 2.0])
    assert result.overcut_part_mm == pytest.approx([2.0, 2.0])


def test_one_pass_between_two_parts_frees_both():
    near = [
        Spec("rectangle", (20.0, 20.0, 60.0, 40.0), OUT),
        Spec("rectangle", (86.0, 20.0, 60.0, 40.0), OUT),
    ]
    assert check(plan(near), design([s.path() for s in near], [OUT, OUT])).findings == ()


def test_a_lead_through_the_part():
    program = Router()
    program.start("mill6")
    legs = SPECS[5].legs(RADIUS)
    x, y = legs[0].start
    program.rapid(x=x, y=y + 7.0)
    program.rapid(z=15.0)
    program.line(z=DEPTH)
    program.line(x=x, y=y)
    for leg in legs:
        if leg.sweep:
            program.arc(leg.centre, leg.sweep)
        else:
            program.line(x=leg.end[0], y=leg.end[1])
    program.line(z=15.0)
    wanted = design([SPECS[5].path()], [OUT])
    result = check(program.finish(), wanted)
    # The axis starts 4 mm inside the part, and the disc reaches a radius farther.
    f = one(result, "VER-213")
    assert f.measured == pytest.approx(4.0 + RADIUS, abs=1e-3)


def test_a_stray_cut():
    program = Router()
    program.start("mill6")
    for spec in SPECS:
        cut_spec(program, spec)
    program.rapid(z=25.0)
    program.rapid(x=400.0, y=400.0)
    program.rapid(z=15.0)
    program.line(z=2.0)
    program.line(x=450.0)
    program.line(z=15.0)
    result = check(program.finish())
    assert one(result, "VER-250").measured == pytest.approx(50.0)
    assert result.strays == ((400.0, 400.0),)
    assert codes(result) == {"VER-250"}


def test_inside_corners_are_a_note():
    """In a right corner a disc leaves R (sqrt 2 - 1) at the vertex, and misses R of each side."""
    spec = Spec("rectangle", (20.0, 20.0, 60.0, 40.0), HOLE)
    result = check(plan([spec]), design([spec.path()], [HOLE]))
    f = one(result, "VER-215")
    assert result.passed
    assert f.params["most"] == pytest.approx(RADIUS * (np.sqrt(2.0) - 1.0), abs=1e-3)
    # More than 0.03 stands where sqrt(R^2 + s^2) - R exceeds it, s from the last place reached.
    clear = np.sqrt((RADIUS + 0.03) ** 2 - RADIUS**2)
    assert f.measured == pytest.approx(8.0 * (RADIUS - clear), abs=1e-3)
    assert result.worst_mm[0] < 1e-9


def test_a_neck_too_narrow_for_the_cutter_is_a_note():
    """A slot of 5 mm between two windows: nothing of it can be reached by a disc of 6."""
    points = [(0, 0), (40, 0), (40, 17.5), (60, 17.5), (60, 0), (100, 0), (100, 40), (60, 40),
              (60, 22.5), (40, 22.5), (40, 40), (0, 40)]  # fmt: skip
    path = make_path([(20.0 + x, 20.0 + y) for x, y in points], closed=True)
    program = Router()
    program.start("mill6")
    for x in (20.0, 80.0):
        route(program, Spec("rectangle", (x, 20.0, 40.0, 40.0), HOLE).legs(RADIUS))
    result = check(program.finish(), design([path], [HOLE]))
    assert codes(result) == {"VER-215"}
    assert one(result, "VER-215").measured > 2 * 20.0
    assert result.uncut_mm[0] == 0.0


def test_a_rounding_of_just_the_radius_is_reached():
    spec = Spec("rounded", (20.0, 20.0, 60.0, 40.0, RADIUS), HOLE)
    assert check(plan([spec]), design([spec.path()], [HOLE])).findings == ()
    tight = Spec("rounded", (20.0, 20.0, 60.0, 40.0, 2.0), HOLE)
    result = check(plan([tight]), design([tight.path()], [HOLE]))
    assert one(result, "VER-215").params["most"] == pytest.approx(np.sqrt(2.0) - 1.0, abs=1e-3)


def test_ends_that_are_not_flat_count_where_they_are_widest():
    """A ball end is full width 3 mm up; 12.3 mm below the top face it has its full radius."""
    ball = [replace(s, operation=replace(s.operation, tool_id="ball")) for s in SPECS[5:7]]
    wanted = design([s.path() for s in ball], [s.operation for s in ball])
    assert check(plan(ball), wanted).findings == ()
    bitten = check(plan(ball, c0={"offset": RADIUS - 0.05}), wanted)
    assert one(bitten, "VER-213").measured == pytest.approx(0.05)


def test_a_vee_takes_its_depth_from_the_wall():
    """A 90 degree vee 4 mm deep is 4 mm wide at the top face, to either side."""
    vee = routed("vee", tool_id="vee", depth_mm=4.0, depth_from="top", passes=1)
    spec = Spec("circle", (60.0, 60.0, 25.0), vee)
    wanted = design([spec.path()], [vee])
    assert check(plan([spec], c0={"offset": 4.0}), wanted).findings == ()
    deep = check(plan([spec], c0={"offset": 4.0, "heights": (TOP - 4.08,)}), wanted)
    assert one(deep, "VER-213").measured == pytest.approx(0.08)
    groove = replace(vee, id="groove", side="on")
    spec = replace(spec, operation=groove)
    wanted = design([spec.path()], [groove])
    assert check(plan([spec], c0={"ramp": True}), wanted).findings == ()


def test_a_slanting_ramp_of_a_vee_bites_only_where_it_is_deep():
    """Beside a straight wall at 3 mm a vee bites once it is more than 3 mm deep."""
    vee = routed("vee", tool_id="vee", depth_mm=4.0, depth_from="top", passes=1)
    spec = Spec("rectangle", (20.0, 20.0, 100.0, 100.0), vee)
    program = Router()
    program.start("vee")
    program.rapid(x=40.0, y=17.0)
    program.rapid(z=15.0)
    program.line(z=TOP)
    program.line(x=80.0, z=TOP - 3.5)
    program.line(z=15.0)
    result = check(program.finish(), design([spec.path()], [vee]))
    assert one(result, "VER-213").measured == pytest.approx(0.5)


def test_two_cutters_share_a_contour():
    """A thick one first, a thin one for the corners: two rows, each cut by its own."""
    thick = routed("thick", side="inside")
    thin = routed("thin", side="inside", tool_id="mill3")
    spec = Spec("rounded", (20.0, 20.0, 60.0, 40.0, 2.0), thick)
    both = [spec, replace(spec, operation=thin)]
    wanted = design([spec.path()] * 2, [thick, thin], contours=("a", "a"))
    assert codes(check(plan(both), wanted)) == set()
    missing = check(plan(both, c1=None), wanted)
    assert not missing.passed


def test_a_keep_out_feels_the_width_of_the_cutter():
    clear = make_path([(90.0, 150.0), (100.0, 150.0), (100.0, 160.0), (90.0, 160.0)], closed=True)
    wanted = replace(DESIGN, keep_outs=clear)
    assert check(plan(SPECS), wanted).findings == ()
    near = make_path([(84.0, 160.0), (94.0, 160.0), (94.0, 180.0), (84.0, 180.0)], closed=True)
    assert codes(check(plan(SPECS), replace(DESIGN, keep_outs=near))) == {"VER-154"}


def test_inside_corners_are_no_tabs():
    """Each corner leaves a piece no cutter reaches; the tabs are those between them."""
    held = routed("held-hole", side="inside", routing=Routing(tabs=TABS))
    spec = Spec("rectangle", (20.0, 20.0, 180.0, 90.0), held)
    wanted = design([spec.path()], [held])
    assert codes(check(plan([spec]), wanted)) == {"VER-215"}
    missing = check(plan([spec], c0={"gaps": spec.gaps(RADIUS)[1:]}), wanted)
    assert one(missing, "VER-230").measured == 3.0


def test_tabs_spaced_by_length():
    dense = Tabs(length_mm=8.0, height_mm=2.0, spacing_mm=60.0)
    held = replace(HELD, routing=Routing(tabs=dense))
    spec = Spec("circle", (100.0, 100.0, 50.0), held)
    result = check(plan([spec]), design([spec.path()], [held]))
    assert result.findings == ()
    assert len(spec.gaps(RADIUS)) == 6
