"""Loads of cutters, wheels and pens, against figures worked out beside the check."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest

from holddown.scenes import (
    BLADE,
    PVC,
    SHAKER,
    THICKNESS_MM,
    Scene,
    codes,
    figure,
    material,
    part_of,
    rectangle,
)
from kerfwright.errors import Severity, UnknownNameError
from kerfwright.errors.messages import sentence_of
from kerfwright.holddown.chips import chip_areas_mm2, spindle_hz
from kerfwright.holddown.figures import UPCUT_SHARE
from kerfwright.mechanics import cutting_power_w, mean_tangential_n
from kerfwright.model.hold import HoldMode
from kerfwright.model.motion import Event, EventCode
from kerfwright.model.operation import HeadKind
from kerfwright.model.tooling import Cutter, Pen, Wheel
from virtual.programs import Blocks

ROUTER = 3
TURNS_HZ, FEED_MM_S = 300.0, 100.0
CHIPBOARD = material(specific_cutting_force_n_mm2=figure(32.0, 32.0, "N/mm2"))


def cutter(diameter=6.0, flutes=2):
    return Cutter(id="straight", profile_mm=[(diameter / 2.0, 0.0)], flutes=flutes, plunges=True,
                  length_mm=20.0, free_length_mm=22.0, fits=(HeadKind.ROUTER_SPINDLE,))  # fmt: skip


WHEEL = Wheel(id="w", diameter_mm=30.0, rim_mm=1.5, reference_mm=0.0, free_length_mm=5.0,
              fits=(HeadKind.CREASING_WHEEL,))  # fmt: skip
PEN = Pen(id="p", line_mm=0.5, free_length_mm=2.0, fits=(HeadKind.PEN,))
SHEET_AT = 60.0


def around(blocks, box, z, *, beside=0.0, tab_mm=0.0, raised=1.5):
    """Go round a box counter-clockwise at a depth, from the middle of its lower side."""
    x0, y0, x1, y1 = box[0] - beside, box[1] - beside, box[2] + beside, box[3] + beside
    mid = (x0 + x1) / 2.0
    blocks.put(1, (mid, y0, z, 0.0), 20.0)
    for x, y in ((x1, y0), (x1, y1)):
        blocks.put(1, (x, y, z, 0.0), FEED_MM_S)
    if tab_mm:
        for x, up in ((mid + tab_mm / 2.0, False), (mid - tab_mm / 2.0, True)):
            blocks.put(1, (x, y1, z + raised * up, 0.0), FEED_MM_S)
            blocks.put(1, (x, y1, z + raised * (not up), 0.0), FEED_MM_S)
    for x, y in ((x0, y1), (x0, y0), (mid, y0)):
        blocks.put(1, (x, y, z, 0.0), FEED_MM_S)


def routed(levels, *, size=(200.0, 120.0), tool=None, beside=None, turns=TURNS_HZ, **how):
    """A rectangle on the table, and the motion that routes round it."""
    scene = Scene([part_of(rectangle(*size))], [(0, 100.0, 100.0)])
    x, y = 100.0 + SHEET_AT, 100.0 + SHEET_AT
    tool = tool or cutter()
    blocks = Blocks(tool=ROUTER)
    for z, off in zip(levels, beside or [0.0] * len(levels), strict=True):
        blocks.over(x + size[0] / 2.0, y - tool.radius_mm - off, 0.0)
        around(blocks, (x, y, x + size[0], y + size[1]), z, beside=tool.radius_mm + off, **how)
    blocks.over(*blocks.at[:2], 0.0)
    events = (Event(before_block=0, code=EventCode.SPINDLE, value=turns),) if turns else ()
    return scene, blocks.motion(events=events), {ROUTER: tool}


@pytest.mark.reference("Palubicki, Materials 2021, 14, 2208: 32 N/mm2 in particleboard")
def test_a_slot_in_particleboard_takes_what_its_power_says():
    """6 mm wide and deep at 6 m/min, 18000 a minute: 115.2 W, 20.4 N along the rim in the mean.

    Two flutes: one at a time is in the slot, its chip a half sine, so the peak is pi/2 the mean.
    """
    scene, motion, tools = routed([-3.0])  # 6 mm below the top face of 3 mm stock
    found = scene.check(motion=motion, tools=tools, material=CHIPBOARD)
    power = cutting_power_w(32.0, width_mm=6.0, depth_mm=6.0, feed_mm_s=FEED_MM_S)
    assert power == pytest.approx(115.2)
    mean = mean_tangential_n(power, diameter_mm=6.0, spindle_hz=TURNS_HZ)
    assert mean == pytest.approx(20.37, abs=0.01)
    peak = np.hypot(*found.load_n[0])
    assert peak == pytest.approx(mean * pi / 2.0, rel=1e-9)
    assert found.lift_n[0] == pytest.approx(UPCUT_SHARE[0] * peak)
    assert found.freed_block[0] >= 0
    assert found.uncut_mm[0] == pytest.approx(0.0, abs=0.2)


def chips(tool, levels, beside, *, feed=60.0, turns=300.0):
    """Areas of chip along one straight pass per level."""
    blocks = Blocks(tool=1)
    for z, y in zip(levels, beside, strict=True):
        blocks.over(0.0, y, 0.0)
        blocks.put(1, (0.0, y, z, 0.0), 20.0)
        blocks.put(1, (100.0, y, z, 0.0), feed)
        blocks.over(*blocks.at[:2], 0.0)
    motion = blocks.motion(events=(Event(before_block=0, code=EventCode.SPINDLE, value=turns),))
    begins = motion.begins()
    cut = np.flatnonzero(motion.feed == feed)
    return chip_areas_mm2(
        motion, {1: tool}, block=cut, begin=begins[cut, :2], end=motion.end[cut, :2],
        moves=np.ones(len(cut), bool), depth_mm=10.0 - motion.end[cut, 2],
        radius_mm=np.full(len(cut), tool.radius_mm),
    )  # fmt: skip


@pytest.mark.reference("D = 10, ae = 1, fz = 0.1: greatest chip 0.06 mm, derived from geometry")
def test_a_finishing_pass_takes_the_strip_that_was_left():
    tool = cutter(10.0)
    rough, finish = chips(tool, [4.0, 4.0], [1.0, 0.0])
    assert rough == pytest.approx(0.1 * 6.0)
    assert finish == pytest.approx(0.06 * 6.0)


def test_each_pass_takes_only_its_own_depth_and_teeth_share_a_slot():
    three = chips(cutter(), [8.0, 6.0, 3.0], [0.0] * 3)
    assert three == pytest.approx(0.1 * np.array((2.0, 2.0, 3.0)))
    assert chips(cutter(flutes=1), [8.0], [0.0]) == pytest.approx([0.2 * 2.0])
    assert chips(cutter(flutes=3), [8.0], [0.0]) == pytest.approx([0.2 / 3.0 * 2.0 * 2])
    apart = chips(cutter(), [8.0, 6.0], [0.0, 20.0])
    assert apart == pytest.approx([0.2, 0.4])


def test_the_last_of_two_passes_loads_the_part_by_half():
    scene, motion, tools = routed([-0.0], size=(80.0, 60.0))
    whole = scene.check(motion=motion, tools=tools, material=CHIPBOARD)
    scene, motion, tools = routed([1.5, 0.0], size=(80.0, 60.0))
    halves = scene.check(motion=motion, tools=tools, material=CHIPBOARD)
    ratio = np.hypot(*halves.load_n[0]) / np.hypot(*whole.load_n[0])
    assert ratio == pytest.approx(0.5, rel=1e-6)
    assert halves.margin_low[0] > 1.8 * whole.margin_low[0]


@pytest.mark.parametrize("turn", [0.0, 0.7, pi / 2.0])
def test_a_force_that_turns_with_the_teeth_is_worst_in_any_direction(turn):
    """Turning sheet and motion together changes nothing."""
    scene, motion, tools = routed([0.0], size=(80.0, 60.0))
    plain = scene.check(motion=motion, tools=tools, material=CHIPBOARD, zones_on=(1,),
                        open_share=0.0)  # fmt: skip
    c, s = np.cos(turn), np.sin(turn)
    matrix, middle = np.array(((c, -s), (s, c))), np.array((220.0, 220.0))

    def moved(xy):
        return (xy - middle) @ matrix.T + middle

    end = motion.end.copy()
    end[:, :2] = moved(end[:, :2])
    start = motion.start.copy()
    start[:2] = moved(start[None, :2])[0]
    affine = np.column_stack(
        (matrix @ scene.map.affine[:, :2], moved(scene.map.affine[None, :, 2])[0])
    )
    found = scene.check(motion=replace(motion, end=end, start=start), tools=tools,
                        material=CHIPBOARD, table_from_sheet=affine, zones_on=(1,),
                        open_share=0.0)  # fmt: skip
    assert np.hypot(*found.load_n[0]) == pytest.approx(np.hypot(*plain.load_n[0]))
    assert found.margin_low[0] == pytest.approx(plain.margin_low[0], rel=0.1)


def test_a_part_with_tabs_is_never_freed():
    scene, motion, tools = routed([-0.0], tab_mm=8.0)
    found = scene.check(motion=motion, tools=tools, material=CHIPBOARD)
    assert found.freed_block[0] == -1
    assert found.mode[0] == HoldMode.NOTHING
    assert "HLD-130" in codes(found)
    assert found.uncut_mm[0] == pytest.approx(8.0, abs=1.5)
    scene, motion, tools = routed([0.3])
    skin = scene.check(motion=motion, tools=tools, material=CHIPBOARD)
    assert skin.freed_block[0] == -1


def test_a_wide_kerf_leaks_more_than_a_cut():
    scene, motion, tools = routed([0.0])
    wide = scene.check(motion=motion, tools=tools, material=CHIPBOARD)
    knife = scene.check()
    assert wide.end_kpa[0, 0] < knife.end_kpa[0, 0]
    assert wide.begin_kpa == pytest.approx(knife.begin_kpa)


def test_what_the_book_lacks_for_a_cutter_is_said_and_nothing_for_blades():
    scene, motion, tools = routed([0.0], turns=0.0)
    bare = replace(PVC, ranges={k: PVC.ranges[k] for k in ("friction_on_mat", "density_kg_m3")})
    found = scene.check(motion=motion, tools=tools, material=bare)
    said = [f for f in found.findings if f.code == "HLD-120"]
    assert [f.params["name"] for f in said] == ["specific_cutting_force_n_mm2"]
    assert "150 N/mm2" in sentence_of(said[0])
    assert (spindle_hz(motion) == 0.0).all()
    slow = next(f for f in found.findings if f.code == "HLD-121")
    assert "100 revolutions per second" in sentence_of(slow)
    with pytest.raises(UnknownNameError, match="no tool was given for station 3"):
        scene.check(motion=motion, tools={})


def after_cutting(tool, z):
    """Cut a part free, then run over it with another tool."""
    scene = Scene([part_of(rectangle(120.0, 80.0))], [(0, 100.0, 100.0)])
    blocks = Blocks(tool=ROUTER)
    blocks.over(180.0, 200.0, 0.0)
    blocks.put(1, (180.0, 200.0, z, 0.0), 20.0)
    blocks.put(1, (260.0, 200.0, z, 0.0), 100.0)
    blocks.over(*blocks.at[:2], 0.0)
    more = blocks.motion()
    cut = scene.motion
    names = ("kind", "end", "centre", "sweep_rad", "feed", "feed_kind", "dwell_s", "role", "cut",
             "tool")  # fmt: skip
    joined = replace(cut, **{n: np.concatenate((getattr(cut, n), getattr(more, n)))
                             for n in names})  # fmt: skip
    return scene, joined, {SHAKER: BLADE, ROUTER: tool}, len(cut)


def test_a_wheel_drags_lightly_and_does_not_lift():
    scene, motion, tools, first = after_cutting(WHEEL, THICKNESS_MM - 1.0)
    strong = material(crease_drag_n=figure(40.0, 50.0, "N"))
    found = scene.check(motion=motion, tools=tools, material=strong)
    assert found.load_n[0] == pytest.approx([50.0, 0.0])
    assert found.lift_n[0] == 0.0
    assert found.at_block[0] > first
    said = scene.check(motion=motion, tools=tools).findings
    assert [f.params["name"] for f in said if f.code == "HLD-120"] == ["crease_drag_n"]


def test_a_pen_loads_nothing():
    scene, motion, tools, _ = after_cutting(PEN, THICKNESS_MM - 0.5)
    drawn, plain = scene.check(motion=motion, tools=tools), scene.check()
    assert drawn.margin_low == pytest.approx(plain.margin_low)
    assert drawn.at_block.tolist() == plain.at_block.tolist()
    assert codes(drawn) == codes(plain)


def test_the_sheet_bears_what_parts_with_tabs_do_not():
    """Nothing is said where it holds; with a hundredth of the friction it would be pushed away."""
    scene, motion, tools = routed([-0.0], tab_mm=8.0)
    held = scene.check(motion=motion, tools=tools, material=CHIPBOARD)
    assert not {"HLD-113", "HLD-114"} & set(codes(held))
    hard = replace(CHIPBOARD, ranges=dict(CHIPBOARD.ranges) | {
        "specific_cutting_force_n_mm2": figure(32e3, 32e3, "N/mm2")})  # fmt: skip
    pushed = scene.check(motion=motion, tools=tools, material=hard)
    (said,) = [f for f in pushed.findings if f.code == "HLD-113"]
    assert said.severity is Severity.BLOCKS
    assert "pushed away" in sentence_of(said)
    between = scene.check(motion=motion, tools=tools, material=hard,
                          margin_least=said.measured / 2.0)  # fmt: skip
    assert "HLD-114" in codes(between)
    free, motion, tools = routed([-0.0])
    assert "HLD-113" not in codes(free.check(motion=motion, tools=tools, material=hard))
