"""Overcut and least radius of a knife: closed forms against a sweep of the blade's outline.

No source is published for them that was seen; they are trigonometry, and the numbers beside the
checks were worked out by hand.
"""

from __future__ import annotations

from dataclasses import replace
from math import hypot, pi, radians, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.geometry.paths import make_circle
from kerfwright.model.motion import Role
from kerfwright.model.tooling import Blade
from kerfwright.toolpath.blade import steps_of
from kerfwright.toolpath.deviation import chord_deviation
from kerfwright.toolpath.limits import OFF
from kerfwright.toolpath.steps import step_deviation, widest_move
from kerfwright.toolpath.work import prepare
from toolpath.blade_sweep import distance_mm, sweep
from toolpath.shop import BLADE, SETUP, THROUGH, Job, rectangle


def outline_at(blade: Blade, height_mm: float) -> tuple[float, float]:
    """Back and front of the blade's outline, cut by a level line: four corners, no formula of the
    model."""
    tall = 40.0
    back, front = blade.reference_mm - blade.tip_mm / 2.0, blade.reference_mm + blade.tip_mm / 2.0
    left = [back - (0.0 if blade.trail_rad == pi / 2 else tall / tan(blade.trail_rad)), back]
    right = [front + (0.0 if blade.lead_rad == pi / 2 else tall / tan(blade.lead_rad)), front]
    heights = [0.0, tall]
    return (
        float(np.interp(height_mm, heights, left[::-1])),
        float(np.interp(height_mm, heights, right[::-1])),
    )


@pytest.mark.parametrize(
    ("thickness_mm", "lead_deg", "overcut_mm"),
    [(5.0, 45.0, 5.000), (5.0, 60.0, 2.88675), (10.0, 60.0, 5.77350), (5.0, 90.0, 0.0)],
)
def test_overcut_is_thickness_over_the_tangent_of_the_edge(thickness_mm, lead_deg, overcut_mm):
    blade = replace(BLADE, lead_rad=radians(lead_deg), tip_mm=0.0, width_mm=30.0)
    setup = replace(SETUP, top_z_mm=thickness_mm, lift_z_mm=20.0)
    job = Job(rectangle(0.0, 0.0, 60.0, 40.0), 1, blade=blade, setup=setup)
    motion = job.cut()
    top, bottom = sweep(motion, blade, thickness_mm), sweep(motion, blade, 0.0)
    assert top.front[:, 0].max() - 60.0 == pytest.approx(overcut_mm, abs=1e-5)
    assert bottom.front[:, 0].max() - 60.0 == pytest.approx(0.0, abs=1e-9)
    assert top.front[:, 0].min() == pytest.approx(-overcut_mm, abs=1e-5), "the way back"


@pytest.mark.parametrize("below_mm", [0.0, 0.2, 0.7])
def test_the_tip_stops_short_by_its_depth_below_the_sheet(below_mm):
    """Tip d below the sheet: it stops d / tan(angle) before the corner the bottom is cut to."""
    blade = replace(BLADE, lead_rad=radians(50.0), tip_mm=0.0, reference_mm=0.0)
    job = Job(
        rectangle(0.0, 0.0, 60.0, 40.0), 1, blade=blade,
        operation=replace(THROUGH, depth_mm=-below_mm),
    )  # fmt: skip
    motion = job.cut()
    tip = motion.end[motion.role == Role.CUT][0, 0]
    assert 60.0 - tip == pytest.approx(below_mm / tan(radians(50.0)), abs=1e-9)


@given(
    st.floats(0.5, 12.0), st.floats(30.0, 90.0), st.floats(30.0, 90.0), st.floats(0.0, 1.0),
    st.floats(0.0, 2.0), st.floats(-3.0, 3.0),
)  # fmt: skip
def test_a_pass_is_the_blades_outline_cut_at_two_heights(top, lead, trail, below, tip, at):
    blade = replace(
        BLADE, lead_rad=radians(lead), trail_rad=radians(trail), tip_mm=tip, reference_mm=at,
        width_mm=80.0,
    )  # fmt: skip
    setup = replace(SETUP, top_z_mm=top, lift_z_mm=20.0)
    (step,) = steps_of(replace(THROUGH, depth_mm=-below), blade, setup)
    back, front = outline_at(blade, top + below)
    assert step.half == pytest.approx((front - back) / 2.0, abs=1e-9)
    assert step.track == pytest.approx((front + back) / 2.0, abs=1e-9)
    back, front = outline_at(blade, below)
    assert step.track - step.back == pytest.approx(back, abs=1e-9)
    assert step.track + step.front == pytest.approx(front, abs=1e-9)


def worst_on_a_circle(radius: float, width: float, tangent_at: float, inset: float = 0.0) -> float:
    """How far a chord strays from a circle, its point at a share of the width being tangent."""
    s = (np.linspace(0.0, 1.0, 10_001) - tangent_at) * width
    return float(np.abs(np.hypot(radius - inset, s) - radius).max())


@pytest.mark.parametrize(
    ("tangent_at", "radius"), [(1.0, 79.95), (0.5, 19.95)], ids=["leading point", "mid-chord"]
)
def test_least_radius_of_a_blade_four_wide_that_may_stray_a_tenth(tangent_at, radius):
    """w = 4, e = 0.1: w^2 / (2 e) - e / 2 = 79.95 and w^2 / (8 e) - e / 2 = 19.95."""
    assert worst_on_a_circle(radius, 4.0, tangent_at) == pytest.approx(0.1, abs=1e-12)
    reach = 4.0 * max(tangent_at, 1.0 - tangent_at)
    assert chord_deviation(radius, reach) == pytest.approx(0.1, abs=1e-12)


def test_least_radius_with_both_ends_on_the_arc():
    """w^2 / (8 e) + e / 2 = 20.05: the middle is a sagitta inside, the ends are on the arc."""
    inset = 20.05 - hypot(19.95, 0.0)
    assert worst_on_a_circle(20.05, 4.0, 0.5, inset) == pytest.approx(0.1, abs=1e-12)


@given(st.floats(1.0, 500.0), st.floats(0.1, 0.9), st.floats(0.0, 3.0))
def test_a_stroke_across_an_arc_is_as_far_inside_as_outside(radius, share, move):
    half = share * radius
    off = step_deviation(radius, half, move)
    if off < radius / 2.0:
        worst = worst_on_a_circle(radius, 2.0 * half + move, 0.5, off)
        assert worst == pytest.approx(off, rel=1e-9, abs=1e-12)


@given(st.floats(1.0, 500.0), st.floats(0.05, 0.5), st.floats(0.0, 1.0))
def test_the_widest_move_stays_between_possible_and_allowed(radius, share, more):
    half = share * radius
    least = step_deviation(radius, half, 0.0)
    tolerance = least * (1.0 + more)
    move = widest_move(radius, half, tolerance)
    assert move >= -1e-9
    assert least * (1 - 1e-9) <= step_deviation(radius, half, move) <= tolerance * (1 + 1e-9)


@pytest.mark.parametrize("radius", [19.94, 19.96])
def test_the_plan_follows_circles_with_the_middle_of_the_chord(radius):
    """The finding comes exactly where the closed form says that a tenth is passed."""
    blade = replace(BLADE, lead_rad=pi / 2.0, tip_mm=4.0, reference_mm=2.0)
    job = Job(make_circle((0.0, 0.0), radius), 1, blade=blade)
    work = prepare(job.operation, blade, job.paths, job.contours, job.side, SETUP)
    off = work.judged(np.ones(1, bool))[0, OFF]
    motion = job.cut()
    swept = distance_mm(job.paths, sweep(motion, blade, 3.0).points()).max()
    if radius > 19.95:
        assert off == pytest.approx(hypot(radius, 2.0) - radius, abs=1e-12)
        assert swept == pytest.approx(off, abs=1e-9)
        assert swept < 0.1
    else:  # strokes across the arc take over
        assert swept < 0.1
        assert (motion.role == Role.PLUNGE).sum() > 1
