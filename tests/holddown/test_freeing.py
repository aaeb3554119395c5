"""When a part comes free, against points along its outline and the blade over each of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from holddown.scenes import BLADE, ONE_ZONE, Scene, codes, part_of, rectangle, round_part
from kerfwright.geometry.paths import make_path
from kerfwright.model.motion import Kind, Role

STEP_MM = 0.5


def brute(scene, ring, web_mm):
    """Block that leaves at most the web, block that leaves nothing, and uncut length."""
    count = int(np.ceil(shapely.length(ring) / STEP_MM))
    size = shapely.length(ring) / count
    points = shapely.get_coordinates(
        shapely.line_interpolate_point(ring, (np.arange(count) + 0.5) * size)
    )
    first = np.full(count, 10**9)
    motion = scene.motion
    begins = motion.begins()
    for b in range(len(motion)):
        a, e = begins[b], motion.end[b]
        if motion.kind[b] == Kind.DWELL or max(a[2], e[2]) > 0.0:
            continue
        for share in np.linspace(0.0, 1.0, 1 + int(np.ceil(np.hypot(*(e - a)[:2]) / 0.25)) + 60):
            at = a + (e - a) * share
            if motion.kind[b] == Kind.ARC:
                turn = motion.sweep_rad[b] * share
                arm = a[:2] - motion.centre[b]
                c, s = np.cos(turn), np.sin(turn)
                at[:2] = motion.centre[b] + (c * arm[0] - s * arm[1], s * arm[0] + c * arm[1])
            back, front = BLADE.chord_mm(-at[2])
            way = np.array((np.cos(at[3]), np.sin(at[3])))
            along = (points - at[:2]) @ way
            across = np.abs((points - at[:2]) @ (-way[1], way[0]))
            hit = (along >= back - 0.3) & (along <= front + 0.3) & (across <= 0.4)
            first = np.where(hit, np.minimum(first, b), first)
    late = np.sort(first)[::-1]
    skip = int(web_mm / size)
    return late[min(skip, count - 1)], late[0], size * np.count_nonzero(first == 10**9)


@settings(max_examples=8)
@given(st.integers(0, 2**32 - 1))
def test_agrees_with_points_along_the_outline(seed):
    rng = np.random.default_rng(seed)
    corners = int(rng.integers(3, 8))
    turn = (np.arange(corners) + rng.uniform(0.0, 0.6, corners)) * 2.0 * np.pi / corners
    points = rng.uniform(40.0, 90.0, corners)[:, None] * np.column_stack(
        (np.cos(turn), np.sin(turn))
    )
    bulges = np.where(rng.random(corners) < 0.4, rng.uniform(0.05, 0.4, corners), 0.0)
    scene = Scene(
        [part_of(make_path(points, bulges, closed=True))],
        [(0, 300.0, 300.0)],
        pose=(200.0, 100.0, float(rng.uniform(-0.1, 0.1))),
        table=ONE_ZONE,
        sheet_mm=(600.0, 600.0),
    )
    found = scene.check()
    ring = shapely.linearrings(dense(scene.on_table))
    _, freed, uncut = brute(scene, ring, 5.0)
    assert uncut == 0.0
    assert found.uncut_mm[0] <= 0.2
    assert abs(found.freed_block[0] - freed) <= 1


def dense(paths):
    from kerfwright.geometry.flatten import flatten

    return flatten(paths, tolerance_mm=0.005).points


@pytest.mark.parametrize(("gap", "is_free"), [(2.0, True), (4.0, True), (8.0, False)])
def test_a_web_shorter_than_trusted_does_not_hold(gap, is_free):
    scene = Scene([part_of(rectangle(200.0, 120.0))], [(0, 100.0, 100.0)])
    motion = scene.motion
    last = int(np.flatnonzero(motion.role == Role.CUT)[-1])
    end = motion.end.copy()
    begin = motion.begins()[last]
    way = (end[last] - begin)[:2] / np.hypot(*(end[last] - begin)[:2])
    end[last:, :2] -= way * gap
    found = scene.check(motion=replace(motion, end=end))
    assert found.uncut_mm[0] == pytest.approx(gap, abs=0.05)
    assert bool(found.freed_block[0] >= 0) is is_free
    assert ("HLD-130" in codes(found)) is not is_free
    assert scene.check(motion=replace(motion, end=end), web_mm=gap + 0.5).freed_block[0] >= 0


def test_a_sheet_turned_over_its_order_is_freed_in_the_order_of_the_cuts():
    part = round_part(40.0)
    scene = Scene([part], [(0, 600.0, 100.0), (0, 100.0, 100.0), (0, 350.0, 400.0)])
    found = scene.check()
    assert found.freed_cut.tolist() == [0, 1, 2]
    assert (np.diff(found.freed_block) > 0).all()


def test_the_cut_of_a_neighbour_frees_a_part_that_misses_a_side():
    part = part_of(rectangle(100.0, 80.0))
    scene = Scene([part], [(0, 100.0, 100.0), (0, 200.0, 100.0)])
    motion = scene.motion
    # the first part's right side, shared with the second one's left side, is left out
    begins = motion.begins()
    on_side = np.abs(begins[:, 0] - 260.0) + np.abs(motion.end[:, 0] - 260.0) < 2.5
    high = motion.end.copy()
    left_out = (motion.cut == 0) & on_side & (motion.role == Role.CUT)
    assert left_out.sum() == 1
    b = int(np.flatnonzero(left_out)[0])
    high[b - 1 : b + 1, 2] = 10.0
    found = scene.check(motion=replace(motion, end=high))
    assert found.freed_cut.tolist() == [1, 1]
