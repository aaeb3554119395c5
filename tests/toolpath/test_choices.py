"""Choices say what the plan then does, to the last bit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import UnknownNameError, UsageError
from kerfwright.geometry.paths import PathSet, make_circle, make_path
from kerfwright.model.motion import FeedKind, Kind, Role, ToolMotion
from kerfwright.toolpath import choices, plan
from toolpath.shop import (
    BLADE,
    SETUP,
    THROUGH,
    Job,
    blades,
    joined,
    polygon,
    rectangle,
    rings,
    rounded,
    setups,
    smooth_rings,
)  # fmt: skip


def sets_of(contour: st.SearchStrategy[PathSet]) -> st.SearchStrategy[PathSet]:
    def spread(paths: list[PathSet]) -> PathSet:
        return joined(*(p.transformed([[1, 0, 200.0 * i], [0, 1, 0]]) for i, p in enumerate(paths)))

    return st.lists(contour, min_size=1, max_size=4).map(spread)


CONTOURS = sets_of(rings() | rings(arcs=True) | smooth_rings())


@given(CONTOURS, blades(bevels=("both", "left", "right")), setups(), st.integers(1, 3), st.data())
@settings(max_examples=40)
def test_ends_and_times_are_those_of_the_plan(paths, blade, setup, passes, data):
    side = data.draw(
        st.lists(st.sampled_from((-1, 0, 1)), min_size=len(paths), max_size=len(paths))
    )
    job = Job(paths, side, blade=blade, setup=setup, operation=replace(THROUGH, passes=passes))
    made = job.choices()
    cut = made.contour * passes + made.pass_no
    rows = [int(data.draw(st.sampled_from(np.flatnonzero(cut == c)))) for c in np.unique(cut)]
    order = job.order(rows, made)
    motion = job.plan(order)
    assert np.unique(motion.cut).tolist() == list(range(len(rows))), "every cut, once"
    assert (np.diff(motion.cut) >= 0).all()
    for n, row in enumerate(rows):
        own = motion.end[motion.cut == n]
        assert own[0, [0, 1, 3]].tolist() == made.xyc_in[row].tolist()
        assert own[-1, [0, 1, 3]].tolist() == made.xyc_out[row].tolist()
        assert time_s(motion, n, setup.feed_mm_s, setup.plunge_mm_s, setup.turn_rad_s) == (
            pytest.approx(made.time_s[row], rel=1e-9)
        )
    assert motion.findings == made.findings or passes > 1


def time_s(motion: ToolMotion, n: int, feed: float, plunge: float, turn: float) -> float:
    """Seconds at feed, from the blocks alone; lifted moves at feed, C at its own rate."""
    total, begins = 0.0, motion.begins()
    for i in np.flatnonzero(motion.cut == n)[1:]:
        d = motion.end[i] - begins[i]
        way = np.hypot(d[0], d[1])
        if motion.kind[i] == Kind.RAPID:
            total += max(way / feed, abs(d[2]) / plunge, abs(d[3]) / turn)
        elif motion.feed_kind[i] == FeedKind.ROTARY:
            total += abs(d[3]) / motion.feed[i]
        elif motion.kind[i] == Kind.ARC:
            radius = np.hypot(*(motion.end[i, :2] - motion.centre[i]))
            total += radius * abs(motion.sweep_rad[i]) / motion.feed[i]
        else:
            total += np.hypot(way, d[2]) / motion.feed[i]
    return total


def test_corners_are_the_entries_of_a_contour_that_has_any():
    path = rectangle(0.0, 0.0, 40.0, 20.0)
    made = Job(path, 1).choices()
    assert made.entry_s[~made.reversed] * 120.0 == pytest.approx([0.0, 40.0, 60.0, 100.0])
    assert made.entry_s[made.reversed].tolist() == made.entry_s[~made.reversed].tolist()
    assert made.before.shape == (0, 2)


def test_no_contour_has_more_entries_than_the_order_can_use():
    angle = np.linspace(0.0, 2.0 * np.pi, 100, endpoint=False)
    star = np.column_stack((np.cos(angle), np.sin(angle))) * np.where(
        np.arange(100) % 2, 300.0, 200.0
    )[:, None]  # fmt: skip
    made = Job(polygon(*star), 1).choices()
    assert len(made.contour) == 2 * 24
    gaps = np.diff(np.append(made.entry_s[:24], 1.0 + made.entry_s[0]))
    assert gaps.max() < 2.0 / 24.0, "spread over the whole contour"


def test_smooth_contours_are_entered_on_straight_stretches():
    made = Job(rounded(60.0, 40.0, 6.0), 1).choices()
    total = Job(rounded(60.0, 40.0, 6.0), 1).paths.lengths_mm()[0]
    s = made.entry_s[~made.reversed] * total
    assert 2 <= len(s) <= 6
    for place, x in zip(s, made.xyc_in[~made.reversed], strict=True):
        assert abs(np.mod(2.0 * x[2] / np.pi + 0.5, 1.0) - 0.5) < 1e-9, f"no straight at {place}"


def test_circles_are_entered_at_well_spread_places():
    made = Job(make_circle((0, 0), 30.0), 1).choices()
    assert made.entry_s[~made.reversed] == pytest.approx(np.arange(6) / 6.0)


def test_open_paths_are_entered_at_their_ends():
    made = Job(make_path([(0, 0), (50, 0), (50, 30)], closed=False)).choices()
    assert made.entry_s.tolist() == [0.0, 1.0]
    assert made.reversed.tolist() == [False, True]


@pytest.mark.parametrize(
    ("bevel", "side", "allowed"),
    [
        ("both", 1, {False, True}), ("both", -1, {False, True}),
        ("right", 1, {False}), ("right", -1, {True}), ("right", 0, {False, True}),
        ("left", 1, {True}), ("left", -1, {False}), ("left", 0, {False, True}),
    ],
)  # fmt: skip
def test_the_flat_always_faces_the_part(bevel, side, allowed):
    """Part to the left of travel wants the ground side right."""
    job = Job(rectangle(0.0, 0.0, 40.0, 20.0), side, blade=replace(BLADE, bevel=bevel))
    assert set(job.choices().reversed.tolist()) == allowed
    for row in range(len(job.choices().contour)):
        motion = job.cut(row)
        cut = np.flatnonzero(motion.role == Role.CUT)
        u = motion.end[cut, :2] - motion.begins()[cut, :2]
        along = np.cos(motion.end[cut, 3]) * u[:, 0] + np.sin(motion.end[cut, 3]) * u[:, 1]
        assert (along > 0.0).all(), "the edge goes ahead"
        if bevel != "both" and side != 0:
            middle = (motion.end[cut, :2] + motion.begins()[cut, :2]) / 2.0
            to_part = side * (np.array((20.0, 10.0)) - middle)  # the part is outside of a window
            turn = u[:, 0] * to_part[:, 1] - u[:, 1] * to_part[:, 0]
            is_left = turn > 0.0
            assert (is_left == (bevel == "right")).all()


def test_passes_stand_in_order():
    paths = joined(rectangle(0, 0, 40, 20), rectangle(90, 0, 40, 20))
    made = Job(paths, 1, operation=replace(THROUGH, passes=3)).choices()
    assert made.before.tolist() == [[0, 1], [1, 2], [3, 4], [4, 5]]
    key = made.contour * 3 + made.pass_no
    assert list(dict.fromkeys(key.tolist())) == [0, 1, 2, 3, 4, 5]


def test_a_wrong_way_is_held_and_not_cut():
    job = Job(rectangle(0.0, 0.0, 40.0, 20.0), 1, blade=replace(BLADE, bevel="right"))
    order = replace(job.order([0]), reversed=np.array([True]))
    motion = job.plan(order)
    assert len(motion) == 0
    assert [(f.code, f.severity) for f in motion.findings] == [("TLP-130", "holds_part")]


def test_only_cuts_of_the_operation_are_planned():
    job = Job(joined(rectangle(0, 0, 40, 20), rectangle(90, 0, 40, 20)), 1)
    order = replace(job.order([0, 8]), operation=("other", "cut"))
    motion = job.plan(order)
    assert set(motion.cut.tolist()) == {1}
    assert motion.start.tolist() == motion.end[0].tolist()
    assert len(job.plan(replace(order, operation=("other", "third")))) == 0


def test_wrong_use_is_refused_in_a_sentence():
    job = Job(joined(rectangle(0, 0, 40, 20), rectangle(90, 0, 40, 20)), 1)
    order = job.order([0])
    call = {"setup": SETUP, "part_side": [1, 1], "contours": ("a", "b")}
    with pytest.raises(UnknownNameError, match="contour c0"):
        plan(THROUGH, BLADE, job.paths, order, **call)
    with pytest.raises(UsageError, match="pass 3"):
        job.plan(replace(order, pass_no=np.array([3])))
    with pytest.raises(UsageError, match="stands for two"):
        choices(THROUGH, BLADE, job.paths, **call | {"contours": ("a", "a")})
    with pytest.raises(UsageError, match="1 ids"):
        choices(THROUGH, BLADE, job.paths, **call | {"contours": ("a",)})
    with pytest.raises(UsageError, match="part sides"):
        choices(THROUGH, BLADE, job.paths, **call | {"part_side": [1, 2]})
