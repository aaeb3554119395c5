"""The blade covers each contour exactly at the reference plane and strays no further than said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.geometry.along import along
from kerfwright.geometry.paths import make_circle, make_path
from kerfwright.model.motion import ToolMotion
from kerfwright.toolpath.blade import reference_z_mm
from kerfwright.toolpath.limits import OFF
from kerfwright.toolpath.sections import FIRST, LAST, LOOP, STEPPED
from kerfwright.toolpath.shapes import HEADING, SWEEP, X0, X1, Y0, Y1
from kerfwright.toolpath.work import Work, prepare
from toolpath.blade_sweep import STEP_MM, crosses_normal, distance_mm, sweep, to_line_mm
from toolpath.shop import (
    BLADE,
    KISS,
    SETUP,
    THROUGH,
    Job,
    blades,
    rings,
    rounded,
    setups,
    smooth_rings,
)  # fmt: skip

PLACES = 80
EXACT_MM = 1e-6
NOISE_SHARE = 1e-3  # of the tolerance: shorter lines are left out
OPERATIONS = st.just(THROUGH) | st.builds(
    lambda depth: replace(KISS, depth_mm=depth), st.floats(0.05, 0.4)
)
SIDES = st.sampled_from((-1, 0, 1))
CONTOURS = rings() | rings(arcs=True) | smooth_rings()


def prepared(job: Job) -> Work:
    return prepare(job.operation, job.blade, job.paths, job.contours, job.side, job.setup)


def predicted_mm(job: Job) -> float:
    return float(prepared(job).judged(np.ones(1, bool))[0, OFF])


def any_cut(job: Job, pick: float) -> ToolMotion:
    return job.cut(int(pick * len(job.choices().contour)))


def assert_covered(
    job: Job, motion: ToolMotion, z_mm: float, off_mm: float, noise_mm: float = EXACT_MM
) -> None:
    swept = sweep(motion, job.blade, z_mm, drift_mm=job.setup.side_offset_mm)
    whole = along(job.paths)
    # Just ahead of each place, so that a corner asks for one of its two sides only.
    s = np.linspace(0.0, whole.length_mm, PLACES, endpoint=False) + EXACT_MM
    s = np.concatenate((s, whole.knots_mm[:-1] + EXACT_MM, whole.knots_mm[1:] - EXACT_MM))
    # A step across an arc of the least radius in use rises that much, between two chords.
    slack = noise_mm + (STEP_MM**2 / 8.0 if job.paths.bulges.any() else 0.0)
    for xy, heading in zip(whole.points(s), whole.headings_rad(s), strict=True):
        is_cut, far = crosses_normal(swept, xy, heading)
        assert is_cut, f"uncut at {xy}"
        assert far <= off_mm + slack, f"{far} mm off at {xy}"


@settings(max_examples=40)
@given(CONTOURS, st.booleans(), blades(), setups(), OPERATIONS, SIDES, st.floats(0.0, 0.999))
def test_it_covers_the_contour_and_nothing_else(path, turned, blade, setup, operation, side, pick):
    path = path.reversed_where([turned])
    job = Job(path, side, blade=blade, setup=setup, operation=operation)
    motion, off = any_cut(job, pick), predicted_mm(job)
    z = reference_z_mm(operation, setup)
    assert_covered(job, motion, z, off)
    points = sweep(motion, blade, z).points()
    assert distance_mm(path, points).max() <= off + EXACT_MM, "cut where nothing is drawn"


@given(rings(arcs=True), blades(), setups(), st.floats(-0.5, 0.5), st.floats(0.0, 0.999))
@settings(max_examples=20)
def test_a_measured_drift_is_taken_out(path, blade, setup, drift, pick):
    job = Job(path, 1, blade=blade, setup=replace(setup, side_offset_mm=drift))
    motion, off = any_cut(job, pick), predicted_mm(job)
    assert_covered(job, motion, setup.bottom_z_mm, off)
    swept = sweep(motion, blade, setup.bottom_z_mm, drift_mm=drift)
    assert distance_mm(path, swept.points()).max() <= off + EXACT_MM


def distance_with_overcuts(work: Work, points: np.ndarray, reach_mm: float) -> np.ndarray:
    """Distance to the contour with its sections drawn out straight at both ends."""
    near = distance_mm(work.paths, points)
    for row in work.sections.rows[work.sections.rows[:, LOOP] == 0.0]:
        begin, end = work.shapes.edge[int(row[FIRST])], work.shapes.edge[int(row[LAST])]
        for x, y, heading in (
            (begin[X0], begin[Y0], begin[HEADING] + np.pi),
            (end[X1], end[Y1], end[HEADING] + end[SWEEP]),
        ):
            a, u = np.array((x, y)), np.array((np.cos(heading), np.sin(heading)))
            near = np.minimum(near, to_line_mm(points, a, a + reach_mm * u))
    return near


@given(CONTOURS, blades(), setups(), SIDES, st.floats(0.0, 0.999))
@settings(max_examples=40)
def test_at_the_top_face_it_strays_no_further_than_predicted(path, blade, setup, side, pick):
    job = Job(path, side, blade=blade, setup=setup)
    work = prepared(job)
    if (work.sections.rows[:, STEPPED] > work.sections.rows[:, LOOP]).any():
        return  # overcuts of strokes across an arc point elsewhere; see the test below
    points = sweep(any_cut(job, pick), blade, setup.top_z_mm).points(9)
    off = distance_with_overcuts(work, points, 2.0 * work.chord_mm)
    assert off.max() <= predicted_mm(job) + EXACT_MM


@given(blades(), st.floats(2.0, 60.0), st.floats(0.02, 0.5), st.booleans())
@settings(max_examples=30)
def test_a_circle_is_cut_as_predicted_by_strokes_too(blade, radius, tolerance, clockwise):
    job = Job(make_circle((3.0, -2.0), radius, clockwise=clockwise), -1, blade=blade)
    job = Job(job.paths, -1, blade=blade, setup=replace(job.setup, tolerance_mm=tolerance))
    motion, predicted = job.cut(), predicted_mm(job)
    top = sweep(motion, blade, job.setup.top_z_mm).points(9)
    off = distance_mm(job.paths, top).max()
    assert off <= predicted + EXACT_MM
    if prepared(job).sections.rows[0, STEPPED]:
        assert off <= tolerance + EXACT_MM
        assert not motion.findings
    assert_covered(job, motion, job.setup.bottom_z_mm, predicted)


def test_short_strokes_are_used_where_they_bring_a_circle_inside_the_tolerance():
    radius, half = 8.0, 1.0
    blade = replace(BLADE, lead_rad=np.pi / 2.0, tip_mm=2.0 * half)
    followed = np.hypot(radius, half) - radius
    lifts = {}
    for tolerance in (1.2 * followed, 0.7 * followed, 0.4 * followed):
        setup = replace(SETUP, tolerance_mm=tolerance)
        motion = Job(make_circle((0, 0), radius), -1, blade=blade, setup=setup).cut()
        lifts[tolerance] = int((motion.role == 6).sum()), [f.code for f in motion.findings]
    once, often, never = lifts.values()
    assert once == (1, [])
    assert often[0] > 10
    assert often[1] == []
    assert never == (1, ["TLP-121"]), "even a chord put down across is 0.5 of it off"


@given(rings(arcs=True) | smooth_rings(), blades(), setups())
@settings(max_examples=20)
def test_open_paths_are_covered_from_end_to_end(path, blade, setup):
    opened = make_path(path.points, np.append(path.bulges[:-1], 0.0), closed=False)
    job = Job(opened, blade=blade, setup=setup)
    for row in range(2):
        motion = job.cut(row)
        assert_covered(job, motion, setup.bottom_z_mm, predicted_mm(job))


@pytest.mark.parametrize("scale", [1e-3, 1.0, 1e3])
def test_far_out_on_the_table_the_cover_stays_exact(scale):
    path = make_path([(0, 0), (30, 0), (30, 20), (12, 8)], [0, 0.2, 0, 0], closed=True)
    path = path.transformed([[1.0, 0.0, 3000.0 * scale], [0.0, 1.0, -1500.0 * scale]])
    job = Job(path, 1)
    assert_covered(job, job.cut(), 0.0, predicted_mm(job))


def test_rounded_corners_too_tight_to_follow_are_cut_by_strokes_between_the_sides():
    blade = replace(BLADE, lead_rad=np.pi / 2.0, tip_mm=2.0)
    job = Job(rounded(60.0, 40.0, 8.0), 1, blade=blade, setup=replace(SETUP, tolerance_mm=0.05))
    assert np.hypot(8.0, 1.0) - 8.0 > 0.05
    motion = job.cut()
    stepped = prepared(job).sections.rows[:, STEPPED]
    assert stepped.tolist() == [0.0, 1.0] * 4
    assert motion.findings == ()
    assert distance_mm(job.paths, sweep(motion, blade, 3.0).points(9)).max() <= 0.05 + EXACT_MM
    assert_covered(job, motion, 0.0, predicted_mm(job))
    slanted = Job(job.paths, 1, setup=job.setup)  # its lead would run on straight over the bend
    assert not prepared(slanted).sections.rows[:, STEPPED].any()
    assert [f.code for f in slanted.cut().findings] == ["TLP-120"]
