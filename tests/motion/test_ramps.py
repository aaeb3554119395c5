"""Closed forms from rest to rest, against handbook values."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.errors import ModelError
from kerfwright.motion import rest_to_rest_s, time_motion
from motion.cases import Builder, make_limits


@pytest.mark.reference("trapezoid L/v + v/a, any text on machine drives; from memory")
def test_trapezoid():
    assert rest_to_rest_s(1000.0, 500.0, 5000.0) == pytest.approx(2.1, rel=1e-15)
    timed = time_motion(
        Builder().line(1000.0, feed=500.0).motion(), make_limits(acceleration=5000.0)
    )
    assert timed.time_low_s == timed.time_high_s == pytest.approx(2.1, rel=1e-14)
    assert timed.by_cause["acceleration"] == pytest.approx(0.2, rel=1e-13)
    assert timed.by_cause["feed"] == pytest.approx(1.9, rel=1e-13)


@pytest.mark.reference("triangle 2 sqrt(L/a), any text on machine drives; from memory")
def test_triangle():
    assert rest_to_rest_s(-20.0, 500.0, 5000.0) == pytest.approx(0.12649110640673517, rel=1e-15)
    timed = time_motion(Builder().line(20.0, feed=500.0).motion(), make_limits(acceleration=5000.0))
    assert timed.time_high_s == pytest.approx(0.12649110640673517, rel=1e-14)


@pytest.mark.reference("D = 1000, T = 4, a = 1000, d = 500: V 279.24, read in a maths Q&A page")
@pytest.mark.parametrize("corner_at", [100.0, 500.0, 900.0])
def test_unequal_ramps(corner_at):
    # Speeding up on x, slowing down on y; a corner that costs nothing lies between.
    limits = make_limits(acceleration=(1000.0, 500.0, 1.0, 1.0), jump=1e6)
    v = (4.0 - np.sqrt(10.0)) / 0.003
    assert v == pytest.approx(279.24, abs=0.005)
    motion = Builder().line(corner_at, feed=v).line(y=1000.0 - corner_at, feed=v).motion()
    timed = time_motion(motion, limits)
    assert timed.time_high_s == pytest.approx(4.0, rel=1e-13)
    assert timed.by_cause["acceleration"] == pytest.approx(0.27924 + 0.55848, abs=1e-5)
    assert timed.by_cause["feed"] == pytest.approx(3.16228, abs=1e-5)


def test_broadcasts_and_grows_with_distance():
    distance = np.linspace(0.0, 50.0, 2001)
    time = rest_to_rest_s(distance[:, None], np.array((10.0, 1e3)), 200.0)
    assert time.shape == (2001, 2)
    assert (np.diff(time, axis=0) > 0.0).all()
    assert (time[:, 0] >= time[:, 1]).all()
    assert (time[0] == 0.0).all()


@pytest.mark.parametrize(
    ("distance", "speed", "acceleration"),
    [(1.0, 0.0, 1.0), (1.0, 1.0, 0.0), (1.0, np.nan, 1.0), (np.nan, 1.0, 1.0), (1.0, 1.0, -2.0)],
)
def test_refuses_what_is_no_limit(distance, speed, acceleration):
    with pytest.raises(ModelError, match="rest_to_rest_s"):
        rest_to_rest_s(distance, speed, acceleration)
