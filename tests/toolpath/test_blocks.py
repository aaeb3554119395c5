"""What every motion of a knife looks like, block by block."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from math import pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.model.motion import FeedKind, Kind, Role, ToolMotion
from kerfwright.toolpath.blade import full_depth_z_mm
from toolpath.blade_sweep import sweep
from toolpath.shop import (
    BLADE,
    KISS,
    SETUP,
    THROUGH,
    Job,
    blades,
    polygon,
    rectangle,
    rings,
    setups,
    smooth_rings,
)  # fmt: skip

LETTER = {Role.LINK: "k", Role.PLUNGE: "p", Role.CUT: "c", Role.TURN: "t", Role.LIFT: "l"}
CUT = re.compile(r"(kp[ct]*l)+")


@given(
    rings() | rings(arcs=True) | smooth_rings(), blades(), setups(), st.sampled_from((-1, 0, 1)),
    st.floats(-0.3, 0.3) | st.just(0.0), st.floats(0.0, 0.99),
)  # fmt: skip
def test_each_cut_goes_down_follows_and_comes_up(path, blade, setup, side, drift, pick):
    setup = replace(setup, side_offset_mm=drift)
    job = Job(path, side, blade=blade, setup=setup)
    motion = job.cut(int(pick * len(job.choices().contour)))
    assert CUT.fullmatch("".join(LETTER[r] for r in motion.role))
    assert motion.frame == "table"
    assert motion.events == ()
    assert not motion.tool.any()
    assert motion.start.tolist() == motion.end[0].tolist()
    heights_and_feeds(motion, job)
    turns(motion, setup.lift_angle_rad)
    arcs(motion)


def heights_and_feeds(motion: ToolMotion, job: Job) -> None:
    tip, setup = full_depth_z_mm(job.operation, job.setup), job.setup
    lifted = np.isin(motion.role, (Role.LINK, Role.LIFT))
    assert (motion.end[lifted, 2] == setup.lift_z_mm).all()
    assert (motion.end[~lifted, 2] == tip).all()
    assert ((motion.kind == Kind.RAPID) == lifted).all()
    assert (motion.feed[motion.role == Role.PLUNGE] == setup.plunge_mm_s).all()
    along = (motion.role == Role.CUT) & (motion.feed_kind == FeedKind.PATH)
    assert (motion.feed[along] == setup.feed_mm_s).all()
    way = np.diff(np.vstack((motion.start, motion.end)), axis=0)
    straight_down = np.isin(motion.role, (Role.PLUNGE, Role.LIFT))
    assert not way[straight_down][:, [0, 1, 3]].any()


def turns(motion: ToolMotion, lift_angle: float) -> None:
    """C never jumps: shortest turns in the air, small ones in the material, sweeps on arcs."""
    turn = np.diff(np.concatenate((motion.start[3:], motion.end[:, 3])))
    assert np.abs(turn).max() <= pi + 1e-9
    small = motion.role == Role.TURN
    assert (np.abs(turn[small]) <= lift_angle + 1e-3).all()
    assert (motion.feed[small & (motion.kind == Kind.LINE)] == SETUP.turn_rad_s).all()
    line = (motion.role == Role.CUT) & (motion.kind == Kind.LINE)
    assert (np.abs(turn[line & (motion.feed_kind == FeedKind.PATH)]) < 0.02).all()
    arc = motion.kind == Kind.ARC
    assert np.allclose(turn[arc], motion.sweep_rad[arc], rtol=0, atol=1e-12)
    assert (np.abs(motion.sweep_rad) <= pi + 1e-12).all()


def arcs(motion: ToolMotion) -> None:
    arc = motion.kind == Kind.ARC
    a = motion.begins()[arc, :2] - motion.centre[arc]
    b = motion.end[arc, :2] - motion.centre[arc]
    turned = (a[:, 0] + 1j * a[:, 1]) * np.exp(1j * motion.sweep_rad[arc])
    assert np.abs(turned - (b[:, 0] + 1j * b[:, 1])).max(initial=0.0) < 1e-7


def test_a_lifted_corner_is_turned_in_the_air_and_a_blunt_one_in_the_material():
    path = polygon((0, 0), (40, 0), (75, 0.525), (75, 40), (0, 40))  # 0.86 degrees at (40, 0)
    motion = Job(path, 1).cut()
    assert (motion.role == Role.TURN).sum() == 1
    i = int(np.flatnonzero(motion.role == Role.TURN)[0])
    middle = 0.5 + (3.3 / np.tan(BLADE.lead_rad) + 1.0) / 2.0 - 0.5  # of the chord at the top
    before, after = motion.begins()[i], motion.end[i]
    assert before[:2] == pytest.approx([40.0 - middle, 0.0])
    assert motion.centre[i] == pytest.approx([40.0, 0.0], abs=1e-9), "about the tracked point"
    heading = np.arctan2(0.525, 35.0)
    u = np.array((np.cos(heading), np.sin(heading)))
    assert after[:2] == pytest.approx(np.array((40.0, 0.0)) - middle * u)
    assert motion.feed[i] == pytest.approx(middle * SETUP.turn_rad_s), "C turns at its own rate"


def test_a_blade_tracked_at_its_axis_turns_c_alone():
    blade = replace(BLADE, lead_rad=pi / 2.0, reference_mm=0.0)
    motion = Job(polygon((0, 0), (40, 0), (75, 0.525), (75, 40), (0, 40)), 1, blade=blade).cut()
    i = int(np.flatnonzero(motion.role == Role.TURN)[0])
    assert motion.kind[i] == Kind.LINE
    assert motion.feed_kind[i] == FeedKind.ROTARY
    assert motion.end[i, :3].tolist() == motion.begins()[i, :3].tolist()


def test_arcs_stay_arcs_about_the_same_centre():
    """An axis behind the tracked point runs on a wider circle: sqrt(R^2 + s^2)."""
    path = rectangle(0, 0, 40, 30)
    path = replace(path, bulges=np.array([0.0, 0.3, 0.0, 0.0]))
    motion = Job(path, 1).cut()
    (i,) = np.flatnonzero((motion.kind == Kind.ARC) & (motion.role == Role.CUT))
    radius, centre = 30.0 * (1.0 + 0.09) / 1.2, (40.0 - 15.0 * (1.0 - 0.09) / 0.6, 15.0)
    behind = 0.5 + (3.3 / np.tan(BLADE.lead_rad)) / 2.0
    assert motion.centre[i] == pytest.approx(centre, abs=1e-9)
    axis = np.hypot(*(motion.end[i, :2] - motion.centre[i]))
    assert axis == pytest.approx(np.hypot(radius, behind), abs=1e-9)


@given(st.integers(1, 6), blades(), setups(), st.sampled_from(["through", "kiss"]))
@settings(max_examples=30)
def test_passes_go_deeper_by_the_same_share_and_the_last_is_exact(passes, blade, setup, kind):
    operation = replace(THROUGH if kind == "through" else KISS, passes=passes)
    job = Job(rectangle(0.0, 0.0, 40.0, 30.0), 1, blade=blade, setup=setup, operation=operation)
    motion = job.cut()
    z = [motion.end[(motion.cut == n) & (motion.role == Role.PLUNGE), 2] for n in range(passes)]
    tips = [float(v[0]) for v in z]
    assert all((v == v[0]).all() for v in z)
    assert all(a > b for a, b in pairwise(tips))
    assert tips[-1] == full_depth_z_mm(operation, setup)
    share = (setup.top_z_mm - tips[-1]) / passes
    assert -np.diff([setup.top_z_mm, *tips]) == pytest.approx(share)


def test_each_pass_reaches_the_corner_at_the_plane_of_its_tip():
    job = Job(rectangle(0.0, 0.0, 40.0, 30.0), 1, operation=replace(THROUGH, passes=3))
    motion = job.cut()
    for n, z in enumerate((1.9, 0.8, 0.0)):
        own = replace(motion, start=motion.start, cut=motion.cut)
        front = sweep(own, BLADE, z)
        assert front.front[front.cut == n, 0].max() == pytest.approx(40.0, abs=1e-9)
        assert front.back[front.cut == n, 0].min() == pytest.approx(0.0, abs=1e-9)
