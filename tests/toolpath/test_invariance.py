"""The plan moves, turns, mirrors and runs backwards with its contour."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, sin

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.geometry.paths import PathSet
from kerfwright.model.cut import CutOrder
from kerfwright.model.motion import ToolMotion
from toolpath.blade_sweep import sweep
from toolpath.shop import Job, blades, rings, setups, smooth_rings

CONTOURS = rings() | rings(arcs=True) | smooth_rings()
MOVED_MM = 1e-6
OTHER_SIDE = {"left": "right", "right": "left", "both": "both"}


def order(entry: float, *, reverse: bool) -> CutOrder:
    return CutOrder(
        contour=("c0",), operation=("cut",), pass_no=np.zeros(1), entry_s=np.array([entry]),
        reversed=np.array([reverse]), group=np.zeros(1),
    )  # fmt: skip


def same(one: ToolMotion, other: ToolMotion) -> None:
    """Same blocks, within rounding; C as a direction."""
    assert one.kind.tolist() == other.kind.tolist()
    assert one.role.tolist() == other.role.tolist()
    assert np.abs(one.end[:, :3] - other.end[:, :3]).max() < MOVED_MM
    turn = np.abs(np.exp(1j * one.end[:, 3]) - np.exp(1j * other.end[:, 3]))
    assert turn.max() < MOVED_MM
    assert np.abs(one.sweep_rad - other.sweep_rad).max() < MOVED_MM
    arc = one.kind == 2
    assert np.allclose(one.feed, other.feed, rtol=1e-9)
    assert np.abs(one.centre[arc] - other.centre[arc]).max(initial=0.0) < 1e-3, "long arcs: R e"


def moved(motion: ToolMotion, m: np.ndarray) -> ToolMotion:
    """A motion under a similarity of scale 1."""
    sign, turn = np.sign(np.linalg.det(m[:, :2])), np.arctan2(m[1, 0], m[0, 0])

    def place(at: np.ndarray) -> np.ndarray:
        xy = at[..., :2] @ m[:, :2].T + m[:, 2]
        return np.concatenate((xy, at[..., 2:3], sign * at[..., 3:] + turn), axis=-1)

    return replace(
        motion,
        start=place(motion.start),
        end=place(motion.end),
        centre=motion.centre @ m[:, :2].T + m[:, 2],
        sweep_rad=sign * motion.sweep_rad,
    )


def similarity(turn: float, x: float, y: float, *, mirror: bool) -> np.ndarray:
    flip = -1.0 if mirror else 1.0
    return np.array([[cos(turn), -flip * sin(turn), x], [sin(turn), flip * cos(turn), y]])


PLACED = st.builds(
    similarity, st.floats(-pi, pi), st.floats(-900, 900), st.floats(-900, 900), mirror=st.booleans()
)
ALL_BLADES = blades(bevels=("both", "left", "right"))


@given(CONTOURS, ALL_BLADES, setups(), PLACED, st.sampled_from((-1, 0, 1)), st.floats(0.0, 0.99))
@settings(max_examples=80)
def test_it_commutes_with_moving_turning_and_mirroring(path, blade, setup, m, side, pick):
    job = Job(path, side, blade=blade, setup=setup)
    made = job.choices()
    row = int(pick * len(made.contour))
    mirror = np.linalg.det(m[:, :2]) < 0.0
    other = Job(
        path.transformed(m), -side if mirror else side, setup=setup,
        blade=replace(blade, bevel=OTHER_SIDE[blade.bevel]) if mirror else blade,
    )  # fmt: skip
    here, there = job.order([row], made), other.order([row])
    same(moved(job.plan(here), m), other.plan(there))
    assert np.allclose(made.time_s, other.choices().time_s, rtol=1e-9)
    assert [f.code for f in made.findings] == [f.code for f in other.choices().findings]


@given(CONTOURS, ALL_BLADES, setups(), st.sampled_from((-1, 0, 1)), st.floats(0.0, 0.99))
def test_a_reversed_path_run_backwards_is_the_path(path: PathSet, blade, setup, side, pick):
    job = Job(path, side, blade=blade, setup=setup)
    turned = Job(path.reversed_where(), -side, blade=blade, setup=setup)
    made = job.choices()
    row = int(pick * len(made.contour))
    entry, reverse = float(made.entry_s[row]), bool(made.reversed[row])
    one = job.plan(order(entry, reverse=reverse))
    other = turned.plan(order((1.0 - entry) % 1.0, reverse=not reverse))
    same(one, other)
    z = setup.top_z_mm
    assert np.abs(sweep(one, blade, z).front - sweep(other, blade, z).front).max() < MOVED_MM


@given(rings(), blades(), setups(), st.floats(0.0, 0.99))
@settings(max_examples=20)
def test_an_entry_between_corners_is_taken_to_the_nearest_corner(path, blade, setup, entry):
    job = Job(path, 1, blade=blade, setup=setup)
    made = job.choices()
    first = job.plan(order(entry, reverse=False)).end[0]
    length = path.lengths_mm()[0]
    forward = ~made.reversed
    gap = np.abs(made.entry_s[forward] - entry)
    gap = np.minimum(gap, 1.0 - gap) * length
    nearest = np.abs(made.xyc_in[forward] - first[[0, 1, 3]]).max(axis=1) == 0.0
    if gap.size > 1 and np.diff(np.sort(gap))[0] > 1e-6:
        assert nearest[gap.argmin()]
