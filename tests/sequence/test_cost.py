"""Times of ways: closed forms, their inverse, and what never may be the case."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright import motion
from kerfwright.sequence.cost import (
    RAD_PER_STEP,
    STEPS_PER_TURN,
    jump_to_jump_s,
    least_s,
    link_s,
    links_s,
    over_s,
    reach_within,
    rest_to_rest_s,
    travel_law,
    turn_rad,
)
from studies._sequence_jobs import make_table

distance = st.floats(0.0, 4000.0)
speed = st.floats(1.0, 2000.0)
acceleration = st.floats(1.0, 20000.0)
law = travel_law(make_table().axes, rise_mm=25.0)


def simulated_s(d, v, a, jump, steps=20000):
    """Least time over d, piece by piece: in each the speed that both ramps allow."""
    knots = d / 2.0 * (1.0 - np.cos(np.pi * np.arange(steps + 1) / steps))  # finer at the ends
    s, ends = (knots[1:] + knots[:-1]) / 2.0, min(jump, v)
    allowed = np.sqrt(ends * ends + 2.0 * a * np.minimum(s, d - s))
    return float((np.diff(knots) / np.minimum(allowed, v)).sum())


@pytest.mark.parametrize(
    ("d", "v", "a", "t"),
    [
        # Trapezoid d/v + v/a and triangle 2 sqrt(d/a): kinematics of constant acceleration.
        (1000.0, 500.0, 1000.0, 2.5),
        (100.0, 500.0, 1000.0, 2.0 * np.sqrt(0.1)),
        (250.0, 500.0, 1000.0, 1.0),  # where both meet
        (0.0, 500.0, 1000.0, 0.0),
    ],
)
def test_rest_to_rest_is_the_trapezoid_or_the_triangle(d, v, a, t):
    assert rest_to_rest_s(d, v, a) == pytest.approx(t, rel=1e-12)


@given(d=distance, v=speed, a=acceleration)
def test_the_time_law_says_the_same(d, v, a):
    assert rest_to_rest_s(d, v, a) == pytest.approx(
        float(motion.rest_to_rest_s(d, v, a)), abs=1e-12
    )


@given(d=st.floats(0.1, 3000.0), v=speed, a=acceleration, jump=st.floats(0.5, 50.0))
def test_jump_to_jump_is_what_small_pieces_add_up_to(d, v, a, jump):
    assert jump_to_jump_s(d, v, a, jump) == pytest.approx(simulated_s(d, v, a, jump), rel=2e-3)


@given(d=distance, v=speed, a=acceleration, jump=st.floats(0.0, 50.0))
def test_a_jump_never_costs_time_and_none_changes_nothing(d, v, a, jump):
    whole = rest_to_rest_s(d, v, a)
    assert jump_to_jump_s(d, v, a, jump) <= whole * (1 + 1e-12)
    assert jump_to_jump_s(d, v, a, 0.0) == pytest.approx(whole, rel=1e-12, abs=1e-15)


@given(d=st.floats(1e-3, 4000.0), v=speed, a=acceleration, jump=st.floats(0.0, 50.0))
def test_reach_is_the_inverse_of_time(d, v, a, jump):
    assert reach_within(jump_to_jump_s(d, v, a, jump), v, a, jump) == pytest.approx(d, rel=1e-9)


@given(dx=distance, dy=distance, turn=st.floats(0.0, np.pi))
def test_a_way_takes_at_least_what_each_axis_takes_alone(dx, dy, turn):
    way = link_s(dx, dy, turn, law)
    rounding = 1e-14
    assert way == 0.0 or way - law[3, 1] >= least_s(dx, dy, turn, law) - rounding
    assert way == 0.0 or way - law[3, 1] >= over_s(dx, dy, law) - rounding
    if way > 0.0:
        assert link_s(dx * 1.5, dy, turn, law) >= way * (1 - 1e-12)
        assert link_s(dx, dy * 1.5 + 1.0, turn, law) >= way * (1 - 1e-12)
        assert link_s(dx, dy, min(turn * 1.5, np.pi), law) >= way * (1 - 1e-12)


def test_a_way_along_one_axis_takes_its_trapezoid_and_the_rise():
    axes = make_table().axes
    rise = 2.0 * rest_to_rest_s(25.0, axes.speed[2], axes.acceleration[2])
    assert law[3, 1] == pytest.approx(rise)
    assert link_s(400.0, 0.0, 0.0, law) == pytest.approx(rise + 400.0 / 800.0 + 800.0 / 2500.0)
    assert link_s(0.0, 0.0, 3.0, law) == pytest.approx(rise + 3.0 / 15.0 + 15.0 / 150.0)
    assert link_s(0.0, 0.0, 0.0, law) == 0.0


@given(a=st.floats(-50.0, 50.0), b=st.floats(-50.0, 50.0))
def test_turns_go_the_shorter_way_round(a, b):
    steps = [np.rint(np.mod(c, 2 * np.pi) / RAD_PER_STEP) % STEPS_PER_TURN for c in (a, b)]
    expected = abs(np.angle(np.exp(1j * (b - a))))
    assert turn_rad(*steps) == pytest.approx(expected, abs=1e-8)
    assert turn_rad(*steps) == turn_rad(*steps[::-1])


def test_many_ways_at_once_are_the_single_ones():
    rng = np.random.default_rng(3)
    away, towards = (np.rint(rng.uniform(0, 1e9, (20, 3))) for _ in range(2))
    turns = (np.arange(20) % 2).astype(float)
    for i, time in enumerate(links_s(away, towards, turns, law)):
        dx, dy = np.abs(towards[i] - away[i])[:2] * 1e-6
        turn = turns[i] * turn_rad(away[i, 2], towards[i, 2])
        assert time == pytest.approx(link_s(dx, dy, turn, law))
