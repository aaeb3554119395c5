"""Contours that touch, share sides or lie within one another's lines are no cuts made twice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kerfwright.model.motion import Kind
from kerfwright.verify import check_program
from tests.verify.bench import BLADES, KISS, TABLE, TIGHT, design
from tests.verify.planner import cut_contour, finish, plan, plan_program
from tests.verify.shapes import circle, lined, rectangle, rounded

WINDOW = rectangle(10.0, 10.0, 40.0, 30.0)
CASES = {
    "a circle that touches a side from inside": [WINDOW, circle((30.0, 20.0), 10.0)],
    "a circle that touches a side from outside": [WINDOW, circle((30.0, 52.0), 12.0)],
    "two that share a whole side": [WINDOW, rectangle(50.0, 10.0, 40.0, 30.0)],
    "two that share part of a side": [WINDOW, rectangle(50.0, 25.0, 40.0, 30.0)],
    "three along one side": [
        WINDOW, rectangle(10.0, 40.0, 12.0, 9.0), rectangle(30.0, 40.0, 15.0, 9.0),
    ],
    "a short line on a long one": [lined((0.0, 0.0), (80.0, 0.0)), lined((25.0, 0.0), (37.0, 0.0))],
    "panes in a frame": [
        rectangle(0.0, 0.0, 60.0, 40.0), rectangle(0.0, 0.0, 30.0, 40.0),
        rectangle(30.0, 0.0, 30.0, 20.0), rectangle(30.0, 20.0, 30.0, 20.0),
    ],
}  # fmt: skip


def doubles(motion, wanted):
    found = check_program(motion, wanted, TABLE, TIGHT).findings
    return {f.where.contour for f in found if f.code == "VER-112"}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("way", ["forward", "corners"])
def test_contours_that_touch_are_not_cut_twice(name, way):
    paths = CASES[name]
    ways = ["forward" if p.bulges.any() else way for p in paths]
    wanted = design(paths)
    assert doubles(plan(wanted, ways), wanted) == set()


@pytest.mark.parametrize("name", CASES)
def test_a_second_cut_of_one_of_them_is_found(name):
    paths = CASES[name]
    wanted = design(paths)
    for k in range(len(paths)):
        program = plan_program(wanted, ["forward"] * len(paths))
        cut_contour(program, wanted, k, way="forward")
        finish(program)
        assert doubles(program.motion(), wanted), "under the name of a contour that lies there"


@pytest.mark.parametrize("pivot_mm", [0.0, 0.05, 0.3])
def test_a_blade_that_turns_about_a_point_of_its_own_does_not_cut_backwards(pivot_mm):
    """The axis then moves sideways, by more than a right angle from where the blade points."""
    wanted = design([rounded(20.0, 20.0, 60.0, 50.0, 9.0)], [KISS])
    motion = plan(wanted, ["forward"])
    middle = sum(BLADES["film"].chord_mm(0.4)) / 2.0 + pivot_mm
    rows = np.flatnonzero((motion.kind == Kind.ARC) & (motion.end[:, 2] < wanted.top_z_mm))
    i = int(rows[0])
    heading = motion.end[i, 3]
    out = {name: getattr(motion, name) for name in ("kind", "end", "centre", "sweep_rad")}
    for name in ("feed", "feed_kind", "dwell_s", "role", "cut", "tool"):
        out[name] = getattr(motion, name)
    steps = []
    for turn in (0.3, 0.0):  # about the point and back, in the material
        c = heading + turn
        shift = middle * np.array((np.cos(heading) - np.cos(c), np.sin(heading) - np.sin(c)))
        steps.append(np.array((*(motion.end[i, :2] + shift), motion.end[i, 2], c)))
    out = {k: np.insert(v, [i + 1] * 2, np.repeat(v[i : i + 1], 2, axis=0), axis=0)
           for k, v in out.items()}  # fmt: skip
    out["kind"][i + 1 : i + 3] = Kind.LINE
    out["centre"][i + 1 : i + 3] = np.nan
    out["sweep_rad"][i + 1 : i + 3] = 0.0
    out["end"][i + 1 : i + 3] = steps
    events = tuple(
        replace(e, before_block=e.before_block + 2 * (e.before_block > i)) for e in motion.events
    )
    changed = replace(motion, **out, events=events)
    found = check_program(changed, wanted, TABLE, TIGHT).findings
    assert "VER-141" not in {f.code for f in found}
