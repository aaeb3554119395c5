"""A stroke that ends in a blunt corner leaves its blade past it: that is not a wrong C."""

from __future__ import annotations

from dataclasses import replace
from math import cos, sin

import numpy as np
import pytest

from kerfwright.verify import check_program
from tests.verify.bench import KISS, TABLE, TIGHT, design
from tests.verify.planner import plan
from tests.verify.shapes import lined

TURN = 0.067  # rad: more than is turned in the material, less than would show at once
SHALLOW = replace(KISS, depth_mm=0.14)
CORNER = np.array((40.0, 0.0))


def over_the_corner(past_mm):
    """Return design and motion of two sides; the tip ends the first one a way past the corner."""
    end = CORNER + 40.0 * np.array((cos(TURN), sin(TURN)))
    wanted = design([lined((0.0, 0.0), tuple(CORNER), tuple(end))], [SHALLOW])
    motion = plan(wanted)
    at = motion.end.copy()
    first = (np.abs(at[:, :2] - CORNER).max(axis=1) < 1e-6) & (np.abs(at[:, 3]) < 1e-6)
    assert first.any(), "the first stroke ends with its tip in the corner"
    at[first, 0] += past_mm
    return wanted, replace(motion, end=at)


def aimed_wrong(wanted, motion):
    found = check_program(motion, wanted, TABLE, TIGHT).findings
    return [f for f in found if f.code == "VER-140"]


@pytest.mark.parametrize("past_mm", [-4e-5, 0.0, 4e-5, 2e-3])
def test_a_tip_that_ends_in_the_corner_points_along_the_side_it_ends(past_mm):
    assert aimed_wrong(*over_the_corner(past_mm)) == []


@pytest.mark.parametrize("off_rad", [0.035, -0.035, 0.12])
def test_a_blade_that_points_elsewhere_is_still_found(off_rad):
    wanted, motion = over_the_corner(0.0)
    at = motion.end.copy()
    at[:, 3] += off_rad
    assert aimed_wrong(wanted, replace(motion, end=at))
