"""Measured cuts against planted errors: squares cut with a known shift, turn and size.

A square cut by an upright blade, displaced, turned and grown by known amounts: the greatest
distance between the two outlines is found by brute force on dense points, and must agree with the
measure to 0.0005 mm; a planted gap must come back in length to 0.001 mm.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from kerfwright.virtual import cut_virtually, measure_cut, print_and_throw
from tests.virtual.programs import THICK, UPRIGHT, Blocks, cut_side, square

DEFAULT_SIZE = 400
SMALL_SIZE = 8
STEP = 0.05
MOST_MM, MOST_GAP_MM = 5e-4, 1e-3


def run(seed, size, progress):
    """Return the greatest differences and what failed."""
    failures, worst, worst_gap = [], 0.0, 0.0
    for case in range(size):
        rng = np.random.default_rng((seed, case))
        off, gap = _one(rng)
        worst, worst_gap = max(worst, abs(off)), max(worst_gap, abs(gap))
        if abs(off) > MOST_MM or abs(gap) > MOST_GAP_MM:
            failures.append({"seed": seed, "case": case, "off_mm": off, "gap_mm": gap})
        progress(case + 1, size)
    return {"worst_mm": worst, "worst_gap_mm": worst_gap, "failures": failures}


def _one(rng):
    """Return by how much deviation and gap are measured wrong [mm]."""
    side = rng.uniform(10.0, 60.0)
    nominal = square(20.0, 20.0, side)
    turn, grow = rng.normal() * 0.003, 1.0 + rng.normal() * 0.003
    c, s = grow * np.cos(turn), grow * np.sin(turn)
    middle = 20.0 + side / 2.0
    corners = (nominal.points - middle) @ np.array(((c, s), (-s, c))) + middle
    corners += rng.normal(size=2) * 0.1
    gap = rng.uniform(0.5, 2.0)
    whole, parted = (_measured(corners, nominal, g) for g in (0.0, gap))
    off = whole.worst_mm[0] - _brute(nominal.points, corners)
    return float(off), float(parted.uncut_mm[0] - whole.uncut_mm[0] - gap)


def _measured(corners, nominal, gap):
    """Cut a square, its second side with a gap in the middle, and measure it."""
    blocks = Blocks()
    for k in range(4):
        a, b = corners[k], corners[(k + 1) % 4]
        if k == 1 and gap > 0.0:
            half = (b - a) / np.hypot(*(b - a)) * gap / 2.0
            cut_side(blocks, a, (a + b) / 2.0 - half, UPRIGHT)
            cut_side(blocks, (a + b) / 2.0 + half, b, UPRIGHT)
        else:
            cut_side(blocks, a, b, UPRIGHT)
    trace = cut_virtually(blocks.motion(), {1: UPRIGHT}, thickness_mm=THICK)
    truth = print_and_throw(np.zeros((0, 2)), 6.0, sheet_box_mm=(0.0, 0.0, 100.0, 100.0))
    return measure_cut(trace, truth, nominal, ["c1"], step_mm=STEP)


def _brute(wanted, cut):
    """Return the greatest distance between two outlines, both ways, by dense points."""
    a, b = _dense(wanted), _dense(cut)
    return max(cKDTree(a).query(b)[0].max(), cKDTree(b).query(a)[0].max())


def _dense(corners):
    after = np.roll(corners, -1, axis=0)
    share = np.linspace(0.0, 1.0, 20001)[:, None]
    return np.concatenate([a + share * (b - a) for a, b in zip(corners, after, strict=True)])
