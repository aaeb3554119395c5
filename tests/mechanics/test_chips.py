"""Chips, forces and power of cutters against published examples and handbook arithmetic."""

from __future__ import annotations

from math import degrees, pi, sin, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from kerfwright.errors import ModelError
from kerfwright.mechanics import (
    chip_load_mm,
    cutting_power_w,
    deflection_mm,
    edge_force_n,
    engagement_rad,
    feed_mm_s,
    mean_chip_mm,
    mean_tangential_n,
    scallop_mm,
    specific_force_n_mm2,
    thickest_chip_mm,
    thinning_factor,
)

INCH = 25.4


@pytest.mark.reference("radial chip thinning, worked example in a tool maker's technical page")
def test_a_published_example_of_chip_thinning():
    """D .5 in, ae .05 in, rated chip .002 in, 4 flutes, 8000 rpm."""
    width, diameter = 0.05 * INCH, 0.5 * INCH
    factor = thinning_factor(width, diameter)
    assert factor == pytest.approx(0.60)
    assert degrees(engagement_rad(width, diameter)) == pytest.approx(36.9, abs=0.05)
    programmed = 0.002 * INCH / factor
    assert programmed / INCH == pytest.approx(0.00333, abs=5e-6)
    feed = feed_mm_s(programmed, flutes=4, spindle_hz=8000.0 / 60.0)
    assert feed * 60.0 / INCH == pytest.approx(106.7, abs=0.05)
    assert thickest_chip_mm(programmed, width, diameter) == pytest.approx(0.002 * INCH)


def test_chips_of_a_shallow_cut():
    """D 10, ae 1, fz .1: derived by arithmetic, no source."""
    assert mean_chip_mm(0.1, 1.0, 10.0) == pytest.approx(0.031080, abs=5e-7)
    near = 0.1 * sqrt(1.0 / 10.0)
    assert near == pytest.approx(0.031623, abs=5e-7)
    assert near / mean_chip_mm(0.1, 1.0, 10.0) - 1.0 == pytest.approx(0.017, abs=5e-4)
    assert thickest_chip_mm(0.1, 1.0, 10.0) == pytest.approx(0.06)


def test_a_slot_thins_the_mean_chip_to_two_over_pi():
    assert mean_chip_mm(1.0, 6.0, 6.0) == pytest.approx(0.63662, abs=5e-6)
    assert engagement_rad(6.0, 6.0) == pytest.approx(pi)
    assert thickest_chip_mm(1.0, 6.0, 6.0) == 1.0


@pytest.mark.reference("Kienzle's law; kc11 700 N/mm2 and mc .25 for aluminium are from memory")
def test_kienzle_and_the_power_of_a_volume():
    specific = specific_force_n_mm2(700.0, 0.03108, exponent=0.25)
    assert specific == pytest.approx(1667.2, abs=0.05)
    volume_mm3_s = 18_000.0 / 60.0  # 18 cm3/min
    power = cutting_power_w(specific, width_mm=1.0, depth_mm=1.0, feed_mm_s=volume_mm3_s)
    assert power == pytest.approx(500.0, abs=0.5)


@pytest.mark.reference(
    '"Milling force model for aviation aluminum alloy", Chin. J. Mech. Eng. 2021, table 5'
)
@pytest.mark.parametrize(
    ("shear", "edge", "force"),
    [
        (631.0, 13.0, 89.1),  # 6082-T6
        (767.0, 27.7, 132.1),  # 7075-T6, four rows
        (600.5, 17.9, 95.85),
        (951.4, 11.1, 117.34),
        (1319.4, 19.7, 171.34),
        (243.8, 7.5, 39.38),  # 6061-T6
    ],
)
def test_force_of_one_edge_in_aluminium(shear, edge, force):
    """a 2 mm, h .05 mm. Constants are the table's, forces are arithmetic from them."""
    found = edge_force_n(0.05, 2.0, shear_n_mm2=shear, edge_n_mm=edge)
    assert found == pytest.approx(force, abs=0.01)


@pytest.mark.reference("Palubicki, Materials 2021, 14, 2208, abstract: 32.0 to 37.6 N/mm2")
@pytest.mark.parametrize(
    ("specific", "power", "force"), [(32.0, 115.2, 20.4), (37.6, 135.36, 23.9)]
)
def test_a_slot_in_particleboard(specific, power, force):
    """6 x 6 mm at 6 m/min, D 6 at 18 000 rpm: specific forces published, the rest arithmetic."""
    found = cutting_power_w(
        specific_force_n_mm2(specific, 0.2, exponent=0.0),
        width_mm=6.0, depth_mm=6.0, feed_mm_s=100.0,
    )  # fmt: skip
    assert found == pytest.approx(power)
    mean = mean_tangential_n(found, diameter_mm=6.0, spindle_hz=300.0)
    assert mean == pytest.approx(force, abs=0.05)


def test_a_cutter_gives_way_as_a_beam():
    """D 6, L 25, F 100 N, E 600 GPa: derived by arithmetic; the 0.8 rule is from memory."""
    assert deflection_mm(100.0, length_mm=25.0, diameter_mm=6.0) == pytest.approx(0.01364, abs=5e-6)
    core = deflection_mm(100.0, length_mm=25.0, diameter_mm=0.8 * 6.0)
    assert core == pytest.approx(0.03331, abs=5e-6)


def test_scallop_of_a_ball():
    """R 3, s .5: derived by arithmetic."""
    assert scallop_mm(3.0, 0.5) == pytest.approx(0.0104348, abs=5e-8)
    near = 0.5**2 / (8.0 * 3.0)
    assert near == pytest.approx(0.0104167, abs=5e-8)
    assert scallop_mm(3.0, 6.0) == 3.0
    assert scallop_mm(3.0, 0.0) == 0.0
    assert scallop_mm(50.0, 1e-4) == pytest.approx(1e-8 / 400.0, rel=1e-9), "nothing cancels"


@given(st.floats(0.01, 1.0), st.floats(0.001, 0.5))
def test_the_mean_chip_is_the_mean_of_the_chip_over_its_arc(share, chip):
    """A tooth at angle a is fed by fz sin a: an integral as second opinion."""
    width = share * 8.0
    phi = engagement_rad(width, 8.0)
    whole, _ = quad(lambda a: chip * sin(a), 0.0, phi)
    assert mean_chip_mm(chip, width, 8.0) == pytest.approx(whole / phi, rel=1e-6)
    thickest = max(chip * sin(a) for a in np.linspace(0.0, phi, 2001))
    assert thickest_chip_mm(chip, width, 8.0) == pytest.approx(thickest, rel=1e-5)
    assert mean_chip_mm(chip, width, 8.0) <= thickest_chip_mm(chip, width, 8.0)


@given(st.floats(1e-3, 5.0), st.integers(1, 6), st.floats(1.0, 1000.0))
def test_chip_load_and_feed_are_one_another_backwards(chip, flutes, hz):
    feed = feed_mm_s(chip, flutes=flutes, spindle_hz=hz)
    assert chip_load_mm(feed, flutes=flutes, spindle_hz=hz) == pytest.approx(chip)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: chip_load_mm(10.0, flutes=0, spindle_hz=300.0), "0 flutes"),
        (lambda: chip_load_mm(-1.0, flutes=2, spindle_hz=300.0), "feed_mm_s is -1"),
        (lambda: feed_mm_s(0.1, flutes=2, spindle_hz=0.0), "spindle_hz is 0"),
        (lambda: feed_mm_s(-0.1, flutes=2, spindle_hz=1.0), "chip_load_mm is -0.1"),
        (lambda: engagement_rad(0.0, 6.0), "width of engagement 0"),
        (lambda: engagement_rad(6.1, 6.0), "at most the diameter 6.0"),
        (lambda: mean_chip_mm(-1.0, 1.0, 6.0), "chip_load_mm is -1"),
        (lambda: scallop_mm(3.0, 6.1), "a step of 6.1 mm"),
        (lambda: specific_force_n_mm2(700.0, 0.0, exponent=0.25), "chip_mm is 0"),
        (lambda: mean_tangential_n(100.0, diameter_mm=0.0, spindle_hz=300.0), "does not move"),
        (lambda: deflection_mm(1.0, length_mm=1.0, diameter_mm=0.0), "diameter 0.0 mm"),
    ],
)
def test_wrong_arguments_are_refused(call, words):
    with pytest.raises(ModelError, match=words):
        call()
