"""Routed cuts: no gouge, nothing left, depth, tabs, direction, ways down, and what is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from geometry.oracles import polyline_of
from kerfwright import toolpath
from kerfwright.errors import Severity, UnknownNameError, UsageError
from kerfwright.geometry.distance import nearest_on_paths
from kerfwright.geometry.paths import join_sets, make_circle, make_path
from kerfwright.model.cut import CutOrder
from kerfwright.model.motion import Kind, Role
from kerfwright.model.operation import HeadKind
from kerfwright.model.routing import Tabs
from strategies import contours, numbers, similarities
from toolpath.routed import (
    SETUP,
    choose,
    cutter,
    dense,
    names,
    operation,
    order_of,
    route,
    routing,
    with_routing,
)

WITHIN = 2e-6  # mm: of an offset, twice
PLATE = make_path([(0, 0), (200, 0), (200, 100), (0, 100)], closed=True)
TIP = -0.3

ways = st.builds(
    lambda side, sense, entry, allowance, passes, lead: replace(
        operation(side=side, passes=passes),
        routing=routing(sense=sense, entry=entry, allowance_mm=allowance, lead_mm=lead),
    ),
    st.sampled_from(["outside", "inside"]),
    st.sampled_from(["climb", "conventional"]),
    st.sampled_from(["ramp", "helix", "plunge"]),
    st.sampled_from([0.0, 0.4]),
    st.integers(1, 3),
    st.sampled_from([1.0, 5.0]),
)


def codes(findings) -> set[str]:
    return {f.code for f in findings}


@given(contours(), ways, st.sampled_from([1.0, 3.0, 8.0]), st.integers(0, 5))
@settings(max_examples=12, deadline=None)
def test_it_never_gouges_and_leaves_nothing_it_can_reach(paths, op, diameter, pick) -> None:
    tool = cutter(diameter)
    found, motion = route(op, tool, paths, pick)
    if not len(motion):
        assert codes(found.findings) & {"TLP-201", "TLP-202"}
        return
    points, _ = dense(motion)
    low = points[points[:, 2] < SETUP.top_z_mm - 1e-9]
    near = nearest_on_paths(paths, low[:, :2]).distance_mm
    assert near.min() >= tool.radius_mm - WITHIN
    inside = shapely.contains_xy(shapely.Polygon(polyline_of(paths, 0)), *low[:, :2].T)
    assert (inside == (op.side == "inside")).all()
    deep = points[points[:, 2] < TIP + 1e-9]
    contour = polyline_of(paths, 0, 40)
    gap = cKDTree(deep[:, :2]).query(contour)[0]
    # dense points of the path stand 0.2 mm apart: a hair of the disc between them
    slack = tool.radius_mm - math.sqrt(tool.radius_mm**2 - 0.1**2)
    reached = gap <= tool.radius_mm + slack + WITHIN
    corners = nearest_on_paths(paths, contour).distance_mm  # zero: they are on the line
    assert corners.max() < 1e-9
    assert reached.mean() > 0.6
    left = gap[~reached] - tool.radius_mm
    assert not left.size or codes(found.findings) & {"TLP-203"} or left.max() <= 0.2 + slack


@given(contours(), ways)
@settings(max_examples=12, deadline=None)
def test_no_lap_takes_more_than_a_pass_and_the_tip_stays_above_its_depth(paths, op) -> None:
    _, motion = route(op, cutter(2.0), paths)
    if not len(motion):
        return
    points, block = dense(motion)
    assert points[:, 2].min() >= TIP - 1e-9
    assert points[:, 2].max() <= SETUP.lift_z_mm + 1e-9
    step = (SETUP.top_z_mm - TIP) / op.passes
    xy = points[:, :2]
    floor = np.full(len(points), SETUP.top_z_mm)
    tree = cKDTree(xy)
    for i in range(0, len(points), 37):  # what was cut there before this block
        same = np.array(tree.query_ball_point(xy[i], 0.15), int)
        before = same[block[same] < block[i]]
        floor[i] = points[before, 2].min(initial=SETUP.top_z_mm)
        if op.routing.allowance_mm == 0.0:
            assert points[i, 2] >= floor[i] - step - 0.02


@given(contours(), ways, similarities(mirrored=False, scale=False))
@settings(max_examples=12, deadline=None)
def test_it_commutes_with_moving_and_turning(paths, op, map_) -> None:
    here, there = route(op, cutter(), paths), route(op, cutter(), paths.transformed(map_))
    assert len(here[1]) == len(there[1])
    moved = here[1].end[:, :2] @ map_[:, :2].T + map_[:, 2]
    assert np.abs(moved - there[1].end[:, :2]).max(initial=0.0) < 1e-5
    assert here[0].time_s == pytest.approx(there[0].time_s, abs=1e-6)


@given(contours(), ways, st.integers(0, 5))
@settings(max_examples=12, deadline=None)
def test_the_time_of_a_way_is_that_of_its_motion(paths, op, pick) -> None:
    found, motion = route(op, cutter(2.0), paths, pick)
    if not len(motion):
        return
    way = np.linalg.norm(
        np.diff(motion.begins()[:, :3], axis=0, append=motion.end[-1:, :3]), axis=1
    )
    arc = motion.kind == Kind.ARC
    flat = np.abs(motion.sweep_rad) * np.hypot(*(motion.end[:, :2] - motion.centre).T)
    rise = motion.end[:, 2] - motion.begins()[:, 2]
    way = np.where(arc, np.hypot(np.where(arc, flat, 0.0), rise), way)
    fed = motion.kind != Kind.RAPID
    lift = (SETUP.lift_z_mm - motion.begins()[-1, 2]) / SETUP.plunge_mm_s
    total = (way[fed] / motion.feed[fed]).sum() + lift
    row = min(pick, len(found.time_s) - 1)
    assert found.time_s[row] == pytest.approx(total, rel=1e-9)
    assert found.xyc_in[row, :2] == pytest.approx(motion.end[0, :2], abs=1e-9)
    assert found.xyc_out[row, :2] == pytest.approx(motion.end[-1, :2], abs=1e-9)


@pytest.mark.parametrize("drawn", [False, True], ids=["as-drawn", "turned-round"])
@pytest.mark.parametrize(
    ("side", "sense", "part_on_right"),
    [
        ("outside", "climb", True),
        ("outside", "conventional", False),
        ("inside", "climb", True),
        ("inside", "conventional", False),
    ],
)
def test_climb_has_the_part_on_the_right(side, sense, part_on_right, drawn) -> None:
    """A clockwise spindle's teeth then run against the way of travel: common practice."""
    paths = PLATE.reversed_where() if drawn else PLATE
    op = operation(side=side, routing=routing(sense=sense, lead_mm=0.0))
    found, motion = route(op, cutter(), paths)
    lap = [i for i in range(len(motion)) if motion.role[i] == Role.CUT]
    a, b = motion.begins()[lap, :2], motion.end[lap, :2]
    turn = ((a[:, 0] - 100) * (b[:, 1] - 50) - (a[:, 1] - 50) * (b[:, 0] - 100)).sum()
    clockwise = turn < 0.0
    part_is_inside = side == "outside"
    assert clockwise == (part_is_inside == part_on_right)
    drawn_clockwise = paths.areas_mm2()[0] < 0.0
    assert (found.reversed == (clockwise != drawn_clockwise)).all()


@given(numbers(60.0, 400.0), numbers(60.0, 400.0), numbers(2.0, 8.0), st.sampled_from([0.0, 0.3]))
@settings(max_examples=12, deadline=None)
def test_tabs_stand_as_many_as_long_and_as_high_as_asked(w, h, diameter, allowance) -> None:
    tabs = Tabs(length_mm=6.0, height_mm=2.5, spacing_mm=130.0)
    plate = make_path([(0, 0), (w, 0), (w, h), (0, h)], closed=True)
    op = operation(routing=routing(tabs=tabs, allowance_mm=allowance))
    found, motion = route(op, cutter(diameter), plate)
    if not len(motion):
        assert codes(found.findings) == {"TLP-204"}
        return
    points, _ = dense(motion, 0.05)
    deep = cKDTree(points[points[:, 2] < 2.5 - 1e-9][:, :2])
    # along the line of the cutter's centre, what no deep pass of the disc takes away
    ring = shapely.Polygon([(0, 0), (w, 0), (w, h), (0, h)]).buffer(diameter / 2.0).exterior
    place = np.arange(0.0, ring.length, 0.02)
    on_line = shapely.get_coordinates(shapely.line_interpolate_point(ring, place))
    free = deep.query(on_line)[0] > diameter / 2.0
    begins = np.flatnonzero(free & ~np.roll(free, 1))
    assert len(begins) == tabs.count_for(2.0 * (w + h))
    ends = np.flatnonzero(free & ~np.roll(free, -1))
    length = (ends - begins if ends[0] >= begins[0] else np.roll(ends, -1) - begins) * 0.02
    assert (length % ring.length > 6.0 - 0.15).all()
    assert (length % ring.length < 6.0 + 0.15).all()
    over = (points[:, 2] > 2.5 - 1e-9) & (points[:, 2] < 2.5 + 1e-9)
    assert over.any()


def test_tabs_move_to_straight_runs() -> None:
    slot = make_path([(0, 0), (120, 0), (120, 60), (0, 60)], [0, 1, 0, 1], closed=True)
    tabs = Tabs(length_mm=5.0, height_mm=2.0, spacing_mm=140.0)
    _, motion = route(operation(routing=routing(tabs=tabs)), cutter(4.0), slot)
    up = (motion.end[:, 2] == 2.0) & (motion.role == Role.CUT)
    assert up.any()
    assert ((motion.end[up, 0] > -1e-9) & (motion.end[up, 0] < 120.0 + 1e-9)).all()


@pytest.mark.parametrize("entry", ["ramp", "helix"])
def test_ways_down_are_no_steeper_than_asked(entry: str) -> None:
    _, motion = route(operation(routing=routing(entry=entry, entry_rad=0.03)), cutter(), PLATE)
    points, block = dense(motion)
    fed = (motion.kind != Kind.RAPID)[block] & (points[:, 2] < SETUP.top_z_mm - 1e-6)
    same = np.diff(block) == 0
    fall = -np.diff(points[:, 2])[same & fed[1:]]
    way = np.hypot(*np.diff(points[:, :2], axis=0)[same & fed[1:]].T)
    assert (fall <= 1.001 * math.tan(0.03) * way + 1e-9).all()  # chords of arcs are shorter
    assert fall.max() > 0.0


def test_a_skin_is_left_by_a_depth_above_the_bottom() -> None:
    _, motion = route(operation(depth_mm=0.4), cutter(), PLATE)
    assert motion.end[:, 2].min() == pytest.approx(0.4, abs=1e-12)


@pytest.mark.parametrize("entry", ["ramp", "plunge"])
@pytest.mark.parametrize("end", [0, 1])
def test_an_open_line_is_at_full_depth_all_along(entry: str, end: int) -> None:
    line = make_path([(0, 0), (50, 10), (80, 0)], [0.0, 0.3, 0.0], closed=False)
    op = operation(side="on", routing=routing(entry=entry))
    found, motion = route(op, cutter(), line, pick=end)
    assert found.entry_s.tolist() == [0.0, 1.0]
    assert found.reversed.tolist() == [False, True]
    assert motion.end[0, :2] == pytest.approx(line.points[-end], abs=1e-9)
    points, _ = dense(motion)
    deep = points[points[:, 2] < TIP + 1e-9]
    gap = cKDTree(deep[:, :2]).query(polyline_of(line, 0))[0]
    assert gap.max() <= 0.11
    assert nearest_on_paths(line, points[:, :2]).distance_mm.max() <= WITHIN


def test_on_a_closed_line_the_centre_runs_on_it_as_drawn() -> None:
    circle = make_circle((5, 5), 20.0, clockwise=True)
    found, motion = route(operation(side="on", routing=routing(allowance_mm=0.3)), cutter(), circle)
    assert not found.reversed.any()
    assert (motion.sweep_rad[motion.kind == Kind.ARC] < 0.0).all()
    points, _ = dense(motion)
    assert nearest_on_paths(circle, points[:, :2]).distance_mm.max() <= WITHIN


def test_a_ball_nose_keeps_its_greatest_radius_from_the_wall() -> None:
    angle = np.linspace(0.0, np.pi / 2.0, 30)
    profile = 3.0 * np.column_stack((np.sin(angle), 1.0 - np.cos(angle)))
    ball = cutter(profile_mm=np.vstack((profile, [(3.0, 22.0)])))
    _, motion = route(operation(), ball, PLATE)
    points, _ = dense(motion)
    assert nearest_on_paths(PLATE, points[:, :2]).distance_mm.min() == pytest.approx(3.0, abs=1e-6)


BAY = make_path(
    [(0, 0), (60, 0), (60, 40), (32, 40), (32, 10), (28, 10), (28, 40), (0, 40)], closed=True
)
DUMB_BELL = make_path(
    [(0, 0), (20, 0), (20, 8), (30, 8), (30, 0), (50, 0), (50, 20), (30, 20), (30, 12), (20, 12),
     (20, 20), (0, 20)], closed=True,
)  # fmt: skip


@pytest.mark.parametrize(
    ("op", "tool", "paths", "code", "severity"),
    [
        (operation(side="inside"), cutter(), make_circle((0, 0), 2.9), "TLP-201", "holds_part"),
        (operation(side="inside"), cutter(), DUMB_BELL, "TLP-202", "holds_part"),
        (operation(), cutter(), BAY, "TLP-202", "holds_part"),
        (operation(side="inside"), cutter(), PLATE, "TLP-203", "warn"),
        (
            operation(routing=routing(tabs=Tabs(length_mm=9.0, height_mm=2.0, spacing_mm=50.0))),
            cutter(), make_circle((0, 0), 6.0), "TLP-204", "holds_part",
        ),
        (
            operation(side="inside", routing=routing(entry="helix", lead_mm=9.0)),
            cutter(), make_circle((0, 0), 8.0), "TLP-205", "note",
        ),
        (operation(), cutter(), make_path([(0, 0), (9, 0)], closed=False), "TLP-206", "holds_part"),
        (operation(), cutter(length_mm=11.0), PLATE, "TLP-207", "blocks"),
        (
            operation(routing=routing(entry="plunge")), cutter(plunges=False), PLATE,
            "TLP-208", "blocks",
        ),
        (operation(), cutter(fits=(HeadKind.PEN,)), PLATE, "TLP-210", "blocks"),
        (
            operation(side="inside", routing=routing(entry="helix", lead_mm=9.0)),
            cutter(plunges=False), make_circle((0, 0), 3.05), "TLP-212", "holds_part",
        ),
        (operation(), cutter(), make_path([(0, 0)], closed=False), "TLP-101", "holds_part"),
    ],
    ids=[
        "no-room", "neck", "bay", "corner", "tabs", "lead", "open", "long", "plunge", "head",
        "helix", "point",
    ],
)  # fmt: skip
def test_what_cannot_be_routed_is_said(op, tool, paths, code, severity) -> None:
    found, motion = route(op, tool, paths)
    said = [f for f in (*found.findings, *motion.findings) if f.code == code]
    assert said, codes(found.findings)
    assert said[0].severity == Severity(severity)
    cut = severity in {"warn", "note"}
    assert (len(motion) > 0) == cut


def test_a_kept_order_of_a_contour_that_no_longer_fits_says_why() -> None:
    """As when the print shrank: planned in the office, too narrow on the bed."""
    order = order_of(choose(operation(side="inside"), cutter(), make_circle((0, 0), 3.1)))
    motion = toolpath.plan(
        operation(side="inside"), cutter(), make_circle((0, 0), 2.9), order,
        contours=("c0",), part_side=[1], setup=SETUP,
    )  # fmt: skip
    assert len(motion) == 0
    assert codes(motion.findings) == {"TLP-201"}


def test_no_spindle_speed_and_no_depth_block() -> None:
    still = choose(operation(), cutter(), PLATE, replace(SETUP, spindle_hz=0.0))
    assert codes(still.findings) == {"TLP-211"}
    air = choose(operation(depth_mm=12.5), cutter(), PLATE)
    assert codes(air.findings) == {"TLP-105"}


def test_one_bad_contour_leaves_the_others() -> None:
    paths = join_sets([make_circle((0, 0), 2.0), make_circle((50, 0), 20.0)])
    found, motion = route(operation(side="inside"), cutter(), paths)
    assert set(found.contour.tolist()) == {1}
    assert [f.where.contour for f in found.findings] == ["c0"]
    assert (motion.cut == 0).all()


def test_wrong_orders_are_refused() -> None:
    found = choose(operation(), cutter(), PLATE)
    good = order_of(found)
    for bad, kind in (
        (replace(good, contour=("c9",)), UnknownNameError),
        (replace(good, pass_no=np.ones(1, np.int64)), UsageError),
    ):
        assert isinstance(bad, CutOrder)
        with pytest.raises(kind):
            toolpath.plan(
                operation(), cutter(), PLATE, bad, contours=names(PLATE), part_side=[1], setup=SETUP
            )


def test_with_routing_keeps_the_rest() -> None:
    assert with_routing(operation(), sense="climb").depth_mm == operation().depth_mm
