"""Overcut at the top face runs into waste, or the finding says that it does not."""

from __future__ import annotations

from dataclasses import replace
from math import pi, radians, tan

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import Polygon, contains_xy

from kerfwright.geometry.along import along
from kerfwright.geometry.paths import PathSet, make_path
from kerfwright.model.motion import Role, ToolMotion
from kerfwright.toolpath.limits import OFF
from kerfwright.toolpath.work import prepare
from toolpath.blade_sweep import distance_mm, sweep
from toolpath.shop import (
    BLADE,
    KISS,
    SETUP,
    Job,
    blades,
    codes,
    joined,
    polygon,
    rectangle,
    rings,
    setups,
)  # fmt: skip

HOLDS = {"TLP-110", "TLP-111", "TLP-113", "TLP-121"}
FRONT_MM = BLADE.chord_mm(0.3)[1]
LEAD_MM = (SETUP.top_z_mm - SETUP.bottom_z_mm) / tan(BLADE.lead_rad)


@st.composite
def combs(draw) -> PathSet:
    """Fingers with gaps between them, both often narrower than the blade's lead."""
    n = draw(st.integers(2, 4))
    wide, gap, high = draw(st.tuples(*[st.floats(1.0, 8.0)] * 2, st.floats(4.0, 15.0)))
    x, top = 0.0, []
    for _ in range(n):
        top += [(x, high), (x + wide, high), (x + wide, 0.0), (x + wide + gap, 0.0)]
        x += wide + gap
    top = top[:-2]
    return polygon((0.0, -10.0), (top[-1][0], -10.0), *top[::-1])


def nick_mm(job: Job, motion: ToolMotion) -> float:
    """How deep the blade gets into the part at the top face, by brute force."""
    deepest = 0.0
    points = sweep(motion, job.blade, job.setup.top_z_mm).points(9)
    for k in range(len(job.paths)):
        path = job.paths.select([k])
        whole = along(path)
        outline = Polygon(whole.points(np.linspace(0.0, whole.length_mm, 2000)))
        is_left = contains_xy(outline, points[:, 0], points[:, 1]) == (path.areas_mm2()[0] > 0.0)
        in_part = points[is_left == (job.side[k] > 0)]
        deepest = max(deepest, distance_mm(path, in_part).max(initial=0.0))
    return float(deepest)


@settings(max_examples=50)
@given(rings() | rings(arcs=True) | combs(), blades(), setups(), st.sampled_from((-1, 1)))
def test_no_part_is_nicked_beyond_the_tolerance_unless_said(path, blade, setup, side):
    whole = along(path)
    # Needles of arcs may cross themselves, and then no side is the part's.
    assume(Polygon(whole.points(np.linspace(0.0, whole.length_mm, 2000))).is_valid)
    job = Job(path, side, blade=blade, setup=setup)
    motion = job.cut(job.row(reverse=side < 0))
    work = prepare(job.operation, blade, path, job.contours, job.side, setup)
    off = work.judged(np.ones(1, bool))[0, OFF]
    if HOLDS.isdisjoint(codes(motion)):
        assert nick_mm(job, motion) <= max(setup.tolerance_mm, off) + 1e-6


@given(rings(), blades(), setups(), st.sampled_from((-1, 1)))
@settings(max_examples=30)
def test_a_nick_that_is_said_is_there(path, blade, setup, side):
    job = Job(path, side, blade=blade, setup=setup)
    motion = job.cut()
    said = [f.measured for f in motion.findings if f.code == "TLP-111"]
    if said:
        # The nick runs along the drawn-out side; its depth into the part is at most that long.
        deepest = nick_mm(job, motion)
        assert deepest <= max(said) + 1e-6
        assert deepest > 0.0


def strokes(motion: ToolMotion) -> int:
    return int((motion.role == Role.PLUNGE).sum())


def test_a_window_is_cut_from_each_corner_to_the_middle():
    job = Job(rectangle(0.0, 0.0, 40.0, 20.0), -1)
    motion = job.cut()
    assert strokes(motion) == 8
    assert codes(motion) == []
    assert nick_mm(job, motion) <= 1e-9, "the upright back stands in each corner"
    bottom = sweep(motion, BLADE, 0.0)
    along_x = bottom.back[np.abs(bottom.back[:, 1]) < 1e-9]
    assert along_x[:, 0].min() == pytest.approx(0.0, abs=1e-9)
    down = motion.end[motion.role == Role.PLUNGE][:2]
    assert down[0, 0] == pytest.approx(0.0, abs=1e-9)
    assert down[1, 0] == pytest.approx(40.0, abs=1e-9)
    met = motion.end[motion.role == Role.CUT][:2, 0] + FRONT_MM * np.array((1.0, -1.0))
    assert met[0] - met[1] == pytest.approx(SETUP.tolerance_mm), "a slight overlap"


def test_an_outline_is_cut_side_by_side_with_its_overcut_in_the_waste():
    job = Job(rectangle(0.0, 0.0, 40.0, 20.0), 1)
    motion = job.cut()
    assert strokes(motion) == 4
    top = sweep(motion, BLADE, SETUP.top_z_mm)
    assert top.front[:, 0].max() == pytest.approx(40.0 + LEAD_MM)
    assert nick_mm(job, motion) <= 1e-9


def test_at_a_reflex_corner_a_side_is_cut_backwards_without_another_plunge():
    ell = polygon((0, 0), (60, 0), (60, 30), (30, 30), (30, 60), (0, 60))
    job = Job(ell, 1)
    motion = job.cut()
    assert strokes(motion) == 6
    assert nick_mm(job, motion) <= 1e-9
    cut = np.flatnonzero(motion.role == Role.CUT)
    y_at_30 = [motion.end[i, 1] for i in cut if abs(motion.end[i, 0] - 30.0) < 1e-9]
    assert y_at_30 == pytest.approx([60.0 - FRONT_MM]), (
        "the side at x = 30 runs away from the corner"
    )


def test_a_blade_ground_on_one_side_nicks_a_window_and_says_so():
    blade = replace(BLADE, bevel="right")
    job = Job(rectangle(0.0, 0.0, 40.0, 20.0, clockwise=True), 1, blade=blade)
    made = job.choices()
    assert not made.reversed.any(), "the flat must face the part"
    (finding,) = made.findings
    assert finding.code == "TLP-111"
    assert finding.severity == "holds_part"
    assert finding.measured == pytest.approx(LEAD_MM)
    assert finding.limit == SETUP.tolerance_mm
    assert nick_mm(job, job.cut()) == pytest.approx(LEAD_MM)


def test_a_side_shorter_than_the_blade_is_put_down_once_and_held():
    job = Job(joined(rectangle(0.0, 0.0, 40.0, 0.8), rectangle(0.0, 50.0, 40.0, 0.8)), [-1, 1])
    made = job.choices()
    (finding,) = made.findings
    assert (finding.code, finding.where.contour) == ("TLP-110", "c0")
    assert finding.measured == pytest.approx(1.0 + 3.3 / tan(BLADE.lead_rad))
    assert finding.limit == pytest.approx(0.8)
    outline = job.cut(job.row(reverse=False, contour=1))
    assert strokes(outline) == 4
    assert len(outline) == 2 * 4 + 2 * 3, "nothing to follow on the short sides"


@pytest.mark.parametrize("gap_mm", [0.0, 0.5, 1.0, 3.0])
def test_the_next_part_is_not_reached(gap_mm):
    rows = [rectangle(0, 0, 30, 20), rectangle(30 + gap_mm, -10, 30, 40)]
    job = Job(joined(*rows), 1)
    assert strokes(job.cut()) == 8, "the side is cut the other way round"
    assert nick_mm(job, job.cut()) <= SETUP.tolerance_mm + 1e-9
    assert codes(job.cut()) == []


def test_a_cut_along_a_neighbours_edge_is_no_cut_into_it():
    """Parts in rows: each side runs on along the next part's side."""
    job = Job(joined(*(rectangle(x, 0.0, 30.0, 20.0) for x in (0.0, 31.0, 62.0))), 1)
    assert strokes(job.cut()) == 3 * 4
    single = Job(rectangle(0.0, 0.0, 30.0, 20.0), 1)
    assert strokes(single.cut()) == 4


def test_a_line_with_parts_on_both_sides_is_cut_from_its_ends():
    slit = make_path([(0, 0), (30, 0)], closed=False)
    job = Job(slit, 0)
    assert strokes(job.cut()) == 2
    top = sweep(job.cut(), BLADE, SETUP.top_z_mm).points()
    assert top[:, 0].min() >= -1e-9
    assert top[:, 0].max() <= 30.0 + 1e-9
    one_sided = Job(slit, 0, blade=replace(BLADE, bevel="left"))
    assert codes(one_sided.cut()) == ["TLP-112"]
    assert [f.severity for f in one_sided.cut().findings] == ["warn"]


def test_a_kiss_cut_overcuts_too_little_to_matter():
    job = Job(rectangle(0.0, 0.0, 40.0, 20.0), 0, operation=KISS)
    assert strokes(job.cut()) == 4
    assert codes(job.cut()) == []


@given(blades(), st.floats(2.0, 60.0))
@settings(max_examples=25)
def test_both_edges_slanted_nick_by_the_steeper_one(blade, size):
    """A window of any size: what is said is what the brute force finds."""
    job = Job(rectangle(0.0, 0.0, size, size), -1, blade=blade)
    motion = job.cut()
    found = [f for f in motion.findings if f.code in HOLDS]
    deepest = nick_mm(job, motion)
    if not found:
        assert deepest <= SETUP.tolerance_mm + 1e-6
    else:
        said = found[0].params["nick"]
        assert deepest == pytest.approx(said, abs=0.01)


def test_the_more_upright_edge_goes_into_the_corner_whichever_it_is():
    for lead, trail in ((60.0, 90.0), (90.0, 60.0)):
        blade = replace(BLADE, lead_rad=radians(lead), trail_rad=radians(trail))
        job = Job(rectangle(0.0, 0.0, 40.0, 20.0), -1, blade=blade)
        assert codes(job.cut()) == []
        assert strokes(job.cut()) == 8
        assert nick_mm(job, job.cut()) <= 1e-9


def test_upright_edges_need_no_second_stroke_in_a_window():
    job = Job(rectangle(0.0, 0.0, 40.0, 20.0), -1, blade=replace(BLADE, lead_rad=pi / 2.0))
    assert strokes(job.cut()) == 4
    assert codes(job.cut()) == []
