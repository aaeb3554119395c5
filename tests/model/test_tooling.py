"""The blade's chord: how far its edges reach before and behind the tip at a height."""

from __future__ import annotations

from dataclasses import replace
from math import inf, pi, radians, tan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.records import blades
from model.samples import BLADE

heights = st.floats(0.0, 1e4)


def blade(lead_deg, trail_deg=90.0, *, width_mm=100.0, tip_mm=0.0, reference_mm=0.0):
    return replace(
        BLADE,
        lead_rad=radians(lead_deg),
        trail_rad=radians(trail_deg),
        width_mm=width_mm,
        tip_mm=tip_mm,
        reference_mm=reference_mm,
    )


# Reach of a slanted edge over a thickness t: t / tan(theta), theta from the plane of the sheet.
# [derived] from the right triangle of edge and sheet; no published source.
@pytest.mark.reference("[derived] t / tan(theta), right triangle of edge and sheet")
@pytest.mark.parametrize(
    ("thickness_mm", "edge_deg", "reach_mm"),
    [(5.0, 45.0, 5.000), (5.0, 60.0, 2.88675), (10.0, 60.0, 5.77350), (5.0, 90.0, 0.0)],
)
def test_reach_of_one_edge(thickness_mm, edge_deg, reach_mm):
    back, front = blade(edge_deg).chord_mm(thickness_mm)
    assert front == pytest.approx(reach_mm, abs=5e-6)
    assert back == pytest.approx(0.0, abs=1e-12)
    back, front = blade(90.0, edge_deg).chord_mm(thickness_mm)
    assert back == pytest.approx(-reach_mm, abs=5e-6)
    assert front == pytest.approx(0.0, abs=1e-12)


@settings(max_examples=30)
@given(blades(), heights)
def test_chord_is_that_of_the_blades_outline(tool, height):
    # Brute force: the outline is the strip over the tip that both edges leave, cut at the width.
    rise = min(height, tool.full_width_height_mm)
    slopes = [0.0 if a == pi / 2 else 1.0 / tan(a) for a in (tool.trail_rad, tool.lead_rad)]
    middle, half = tool.reference_mm, tool.tip_mm / 2
    expected = middle - half - rise * slopes[0], middle + half + rise * slopes[1]
    assert tool.chord_mm(height) == pytest.approx(expected, rel=1e-12, abs=1e-9)


@settings(max_examples=30)
@given(blades(), heights, heights)
def test_chord_grows_with_height_up_to_the_full_width(tool, one, other):
    low, high = sorted((one, other))
    back_low, front_low = tool.chord_mm(low)
    back_high, front_high = tool.chord_mm(high)
    assert back_high <= back_low <= front_low <= front_high
    assert front_high - back_high <= tool.width_mm * (1 + 1e-9) + 1e-9


@settings(max_examples=30)
@given(blades(), heights)
def test_turned_round_the_blade_is_its_own_mirror_image(tool, height):
    turned = replace(
        tool, lead_rad=tool.trail_rad, trail_rad=tool.lead_rad, reference_mm=-tool.reference_mm
    )
    back, front = tool.chord_mm(height)
    assert turned.chord_mm(height) == pytest.approx((-front, -back), rel=1e-12, abs=1e-9)


@settings(max_examples=30)
@given(blades(), st.floats(-1e4, 0.0))
def test_below_the_tip_there_is_only_the_tip(tool, height):
    assert tool.chord_mm(height) == tool.chord_mm(0.0)
    back, front = tool.chord_mm(0.0)
    assert front - back == pytest.approx(tool.tip_mm, rel=1e-9, abs=1e-9)


def test_above_the_heel_the_blade_is_upright():
    tool = blade(45.0, 60.0, width_mm=6.0, tip_mm=1.0)
    heel = tool.full_width_height_mm
    assert heel == pytest.approx(5.0 / (1.0 + 1.0 / 3**0.5))
    back, front = tool.chord_mm(heel)
    assert front - back == pytest.approx(6.0)
    assert tool.chord_mm(2 * heel) == (back, front)


def test_an_upright_blade_reaches_its_full_width_nowhere():
    tool = blade(90.0, width_mm=6.0, tip_mm=2.0, reference_mm=1.0)
    assert tool.full_width_height_mm == inf
    assert tool.chord_mm(50.0) == (0.0, 2.0)
