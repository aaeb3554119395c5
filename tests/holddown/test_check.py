"""Load, hold and margin of parts against figures worked out beside the check."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from holddown.scenes import (
    BELOW_MM,
    ONE_ZONE,
    PVC,
    SCORE,
    STRAIGHT,
    TABLE,
    THICKNESS_MM,
    Scene,
    codes,
    figure,
    grid,
    material,
    part_of,
    rectangle,
    round_part,
)
from kerfwright import motion as motion_room
from kerfwright.errors import ModelError, Severity, UnknownNameError
from kerfwright.errors.messages import cure_of, full_sentence_of
from kerfwright.geometry.paths import make_circle, make_path
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.mechanics import friction_use
from kerfwright.model.hold import MARGIN_MOST, HoldMode
from kerfwright.model.motion import Role

G_M_S2 = 9.80665
WEIGHT_MPA = PVC.figure("density_kg_m3").low * G_M_S2 * THICKNESS_MM * 1e-9


def use(ring, pressure_mpa, friction, load):
    """Use of a plain outline, from the friction limit directly."""
    edges = np.column_stack((ring, np.roll(ring, -1, axis=0)))
    found = friction_use(
        edges, np.zeros(len(ring), np.int64), np.array([0, len(ring)]),
        body=np.zeros(1, np.int64), pressure_mpa=np.array([[pressure_mpa]]),
        load=np.array([load], float), friction=friction,
    )  # fmt: skip
    return found.high[0]


def test_the_last_side_of_a_rectangle_by_hand():
    scene = Scene([part_of(rectangle(200.0, 120.0))], [(0, 100.0, 100.0)])
    found = scene.check()
    force = PVC.figure("cutting_resistance_n_mm").high * (THICKNESS_MM + BELOW_MM)
    up = force * PVC.figure("lift_share").high
    # the last side runs down the left edge: 100 mm left of the centre, towards -y
    assert found.load_n[0] == pytest.approx([0.0, -force], abs=1e-9)
    assert found.lift_n[0] == pytest.approx(up)
    assert found.moment_nmm[0] == pytest.approx(100.0 * force, rel=1e-6)
    pressure = found.zone_kpa[0, 0] * 1e-3 + WEIGHT_MPA
    assert found.hold_n[0] == pytest.approx(pressure * 200.0 * 120.0)
    ring = np.array([(160.0, 160.0), (360.0, 160.0), (360.0, 280.0), (160.0, 280.0)])
    slide = use(ring, pressure, 0.25, (0.0, -force, -160.0 * force)) + up / found.hold_n[0]
    assert found.margin_low[0] == pytest.approx(1.0 / slide, rel=1e-3)
    assert found.mode[0] == HoldMode.SLIDES
    assert found.margin_typical[0] > 2.0 * found.margin_low[0]
    x, y = found.worst_xy[0]
    assert x == pytest.approx(160.0, abs=0.01)
    assert 160.0 - 3.0 < y <= 165.01
    assert found.uncut_mm[0] == pytest.approx(0.0, abs=1e-6)
    assert found.at_cut[0] == found.freed_cut[0] == 0
    assert scene.motion.role[found.freed_block[0]] == Role.CUT
    assert found.bracket_gap <= 5e-3
    assert 1.0 < found.margin_low[0] < 1.5
    assert codes(found) == ["HLD-111"]


def test_a_round_part_is_weighed_with_its_hole():
    ring = round_part(80.0)
    holed = part_of(make_circle((80.0, 80.0), 80.0), make_circle((80.0, 80.0), 60.0))
    plain, with_hole = (
        Scene([p], [(0, 100.0, 100.0)]).check(open_share=0.0) for p in (ring, holed)
    )
    area = [f.hold_n[0] / (f.zone_kpa[0, 0] * 1e-3 + WEIGHT_MPA) for f in (plain, with_hole)]
    assert area[0] == pytest.approx(np.pi * 80.0**2, rel=2e-3)
    assert area[1] == pytest.approx(np.pi * (80.0**2 - 60.0**2), rel=3e-3)
    assert with_hole.margin_low[0] < 0.7 * plain.margin_low[0]


@pytest.mark.parametrize("turn", [0.0, 0.06, np.pi / 2.0, 2.5])
def test_margin_does_not_depend_on_how_the_sheet_lies_in_one_zone(turn):
    part = part_of(make_path([(0, 0), (150, 0), (150, 90), (60, 60), (0, 110)], closed=True))
    small = {"sheet_mm": (400.0, 300.0), "table": ONE_ZONE}
    straight = Scene([part], [(0, 50.0, 50.0)], **small).check(open_share=0.0)
    turned = Scene([part], [(0, 50.0, 50.0)], pose=(1200.0, 800.0, turn), **small)
    found = turned.check(open_share=0.0)
    assert found.margin_low[0] == pytest.approx(straight.margin_low[0], rel=2e-3)
    assert found.hold_n[0] == pytest.approx(straight.hold_n[0], rel=1e-6)
    assert abs(found.moment_nmm[0]) == pytest.approx(abs(straight.moment_nmm[0]), rel=1e-4)


def test_a_matrix_and_a_map_are_the_same_and_a_bow_moves_the_parts():
    scene = grid(2, 1, round_part(60.0))
    plain = scene.check()
    assert scene.check(table_from_sheet=scene.map.affine).digest == plain.digest
    bow = PlaneMap(affine=scene.map.affine, bow=np.array([[0, 0, 0], [1e-7, 0, 0]]))
    bent = scene.check(table_from_sheet=bow)
    assert bent.margin_low == pytest.approx(plain.margin_low, rel=1e-2)
    assert bent.digest != plain.digest


def test_vacuum_falls_as_kerfs_open_and_with_open_bed():
    scene = grid(5, 3, part_of(rectangle(250.0, 200.0)))
    found = scene.check()
    order = np.argsort(found.freed_block)
    assert order.tolist() == list(range(15))
    assert (np.diff(found.zone_kpa[order], axis=0) <= 1e-9).all()
    assert (found.end_kpa < found.begin_kpa).all()
    assert (found.begin_kpa[0] < found.begin_kpa[1]).all()
    covered = scene.check(open_share=0.0)
    assert (covered.margin_low > found.margin_low).all()
    high = scene.check(altitude_m=2000.0)
    assert (high.begin_kpa < found.begin_kpa).all()


def test_more_friction_and_less_force_hold_better():
    scene = Scene([round_part(50.0)], [(0, 100.0, 100.0)])
    base = scene.check().margin_low[0]
    better = scene.check(material=material(friction_on_mat=figure(0.5, 0.6))).margin_low[0]
    assert base < better <= 2.0 * base * (1.0 + 1e-6)
    half = material(cutting_resistance_n_mm=figure(0.5, 2.0, "N/mm"))
    assert scene.check(material=half).margin_low[0] == pytest.approx(2.0 * base, rel=1e-3)


def test_a_part_over_two_zones_is_held_by_the_zone_that_is_on():
    scene = Scene([part_of(rectangle(300.0, 200.0))], [(0, 1140.0, 100.0)])  # x 1200 to 1500
    both, one, none = (scene.check(zones_on=z, open_share=0.0) for z in ((1, 2), (1,), (3, 4)))
    weight = WEIGHT_MPA * 300.0 * 200.0
    assert one.hold_n[0] - weight == pytest.approx(one.zone_kpa[0, 0] * 1e-3 * 100.0 * 200.0)
    assert one.margin_low[0] < both.margin_low[0]
    assert codes(none) == ["HLD-112"]
    assert none.findings[0].severity is Severity.HOLDS_PART
    assert none.hold_n[0] == pytest.approx(weight)
    assert codes(scene.check(zones_on=())) == ["HLD-112"]


def test_a_dragged_blade_that_is_drawn_up_tips_a_part_that_cannot_slide():
    rough = material(friction_on_mat=figure(20.0, 21.0), lift_share=figure(0.9, 1.0))
    scene = Scene([part_of(rectangle(60.0, 60.0))], [(0, 100.0, 100.0)], station=STRAIGHT)
    found = scene.check(material=rough)
    assert found.mode[0] == HoldMode.TIPS
    assert scene.motion.role[found.at_block[0]] == Role.LIFT
    assert found.load_n[0].tolist() == [0.0, 0.0]
    # drawn up at a corner or a side, it tips about what lies across: half its hold, or less
    assert found.margin_low[0] <= found.hold_n[0] / found.lift_n[0] / 2.0 + 0.1


def test_a_later_cut_along_a_shared_side_counts():
    part = part_of(rectangle(200.0, 150.0))
    alone = Scene([part], [(0, 100.0, 100.0)]).check()
    pair = Scene([part], [(0, 100.0, 100.0), (0, 300.0, 100.0)]).check()
    assert alone.at_cut[0] == 0
    assert pair.freed_cut.tolist() == [0, 1]
    assert pair.at_cut[0] == 1
    apart = Scene([part], [(0, 100.0, 100.0), (0, 310.0, 100.0)]).check()
    assert apart.at_cut.tolist() == [0, 1]


def test_times_are_those_of_the_blocks():
    scene = grid(2, 1, round_part(60.0))
    assert len(scene.check().at_s) == 0
    timed = motion_room.time_motion(scene.motion, TABLE.axes)
    found = scene.check(timed=timed)
    assert found.freed_s == pytest.approx(np.cumsum(timed.block_s)[found.freed_block])
    assert found.at_s == pytest.approx(np.cumsum(timed.block_s)[found.at_block])
    with pytest.raises(ModelError, match="another motion"):
        grid(1, 1, round_part(60.0)).check(timed=timed)


def test_copies_are_named_with_their_number():
    found = grid(2, 1, round_part(60.0)).check()
    assert found.contour == ("p0@1", "p0@2")
    assert Scene([round_part(60.0)], [(0, 50.0, 50.0)]).check().contour == ("p0",)


def test_small_parts_are_held_back_or_warned_of():
    scene = grid(3, 1, part_of(rectangle(60.0, 60.0)))
    found = scene.check()
    assert codes(found) == ["HLD-110"] * 3
    assert {f.where.contour for f in found.findings} == {"p0@1", "p0@2", "p0@3"}
    for f in found.findings:
        assert f.severity is Severity.HOLDS_PART
        assert "slides" in full_sentence_of(f)
        assert "zones" in cure_of(f)
    low = float(found.margin_low.min())
    warned = scene.check(margin_least=0.9 * low, margin_wanted=10.0)
    assert set(codes(warned)) == {"HLD-111"}
    assert all(f.severity is Severity.WARN for f in warned.findings)
    assert codes(scene.check(margin_least=0.5 * low, margin_wanted=0.9 * low)) == []


def test_what_no_book_holds_is_assumed_unfavourably_and_said():
    scene = Scene([round_part(60.0)], [(0, 100.0, 100.0)])
    bare = replace(PVC, ranges={})
    found = scene.check(material=bare, table=replace(TABLE, vacuum={}))
    said = [f for f in found.findings if f.code == "HLD-120"]
    assert len(said) == 8
    friction = next(f for f in said if f.params["name"] == "friction_on_mat")
    assert friction.measured == 0.25
    assert "0.25" in full_sentence_of(friction)
    assert found.friction_low == found.friction_typical == 0.25
    assert found.margin_low[0] < scene.check().margin_low[0]


def test_a_bed_that_leaks_too_much_is_said():
    leaky = replace(TABLE, vacuum=dict(TABLE.vacuum) | {"mat_flow_m3_h_m2": figure(200.0, 400.0)})
    scene = Scene([part_of(rectangle(400.0, 400.0))], [(0, 100.0, 100.0)], table=leaky)
    assert codes(scene.check()).count("HLD-140") == 4
    assert "HLD-140" not in codes(scene.check(open_share=0.0))


def test_a_part_that_is_only_scored_stays_in_the_sheet():
    scene = Scene([part_of(rectangle(200.0, 120.0))], [(0, 100.0, 100.0)], operation=SCORE)
    found = scene.check()
    assert codes(found) == ["HLD-130"]
    assert found.uncut_mm[0] == pytest.approx(640.0)
    assert (found.margin_low[0], found.mode[0]) == (MARGIN_MOST, HoldMode.NOTHING)
    assert (found.at_block[0], found.freed_block[0]) == (-1, -1)
    assert found.hold_n[0] > 0.0


def test_a_part_without_an_outline_is_said():
    slit = part_of(make_path([(0.0, 0.0), (80.0, 30.0)], closed=False), outline=-1)
    found = Scene([slit, round_part(150.0)], [(0, 100.0, 100.0), (1, 300.0, 100.0)]).check()
    assert codes(found) == ["HLD-131"]
    assert found.margin_low[0] == MARGIN_MOST
    assert found.at_block[1] >= 0


def test_a_sheet_without_placements_or_motion_is_answered():
    scene = Scene([round_part(60.0)], [(0, 100.0, 100.0)])
    nothing = replace(
        scene.motion, **{
            n: getattr(scene.motion, n)[:0]
            for n in ("kind", "end", "centre", "sweep_rad", "feed", "feed_kind", "dwell_s", "role",
                      "cut", "tool")
        }, events=(),
    )  # fmt: skip
    assert codes(scene.check(motion=nothing)) == ["HLD-130"]
    empty = replace(
        scene.layout, part=np.zeros(0), sheet=np.zeros(0), sheet_from_part=np.zeros((0, 2, 3))
    )
    scene.layout = empty
    found = scene.check()
    assert found.contour == ()
    assert found.end_kpa.shape == (2, 4)


@pytest.mark.parametrize(
    ("change", "error", "word"),
    [
        ({"zones_on": (1, 9)}, UnknownNameError, "zone 9"),
        ({"zones_on": (1, 1)}, ModelError, "twice"),
        ({"tools": {}}, UnknownNameError, "station 5"),
        ({"thickness_mm": 0.0}, ModelError, "thickness_mm"),
        ({"open_share": 1.5}, ModelError, "open_share"),
        ({"web_mm": float("nan")}, ModelError, "web_mm"),
        ({"margin_least": 2.0}, ModelError, "margin"),
        ({"sheet": 1}, ModelError, "sheet 1"),
        ({"parts": ()}, ModelError, "0 parts"),
        ({"table_from_sheet": np.eye(2)}, ModelError, "affine"),
        ({"altitude_m": 5e4}, ModelError, "height_m"),
    ],
)
def test_wrong_arguments_are_refused(change, error, word):
    scene = Scene([round_part(60.0)], [(0, 100.0, 100.0)])
    with pytest.raises(error, match=word):
        scene.check(**change)


@pytest.mark.parametrize("change", [{"frame": "machine"}, {"offsets_in": "program"}])
def test_a_motion_of_another_frame_is_refused(change):
    scene = Scene([round_part(60.0)], [(0, 100.0, 100.0)])
    with pytest.raises(ModelError, match="table frame"):
        scene.check(motion=replace(scene.motion, **change))
