"""Arcs: closed-form anchors, a linear programme, another library."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.motion import speed_profile, time_motion
from motion.cases import (
    LOOSE,
    Builder,
    axis_loads,
    block_length,
    circle,
    derivatives,
    make_limits,
    reversed_motion,
)
from motion.oracles import curve_time

TURN = 2.0 * np.pi


@pytest.mark.reference(
    "4 sin(pi/8) sqrt(R/A) a quarter turn, peak v^2 = A R / cos^2(pi/8), derived"
)
@pytest.mark.parametrize(("radius", "pull"), [(0.1, 1.0), (100.0, 1000.0), (3e-4, 2e4)])
@pytest.mark.parametrize("sense", [-1.0, 1.0])
def test_flying_circle(radius, pull, sense):
    limits = make_limits(acceleration=(pull, pull, LOOSE, LOOSE))
    one, two = (time_motion(circle(radius, sense * n * TURN), limits, bracket=1e-9) for n in (3, 4))
    anchor = 4.0 * np.sin(np.pi / 8.0) * np.sqrt(radius / pull)
    assert (two.time_high_s - one.time_high_s) / 4.0 == pytest.approx(anchor, rel=1e-12)
    assert (two.time_low_s - one.time_low_s) / 4.0 == pytest.approx(anchor, rel=1e-9)
    profile = speed_profile(circle(radius, 4 * TURN), limits, per_leg=4)
    peak = pull * radius / np.cos(np.pi / 8.0) ** 2
    assert profile.v.max() ** 2 == pytest.approx(peak, rel=1e-12)
    assert peak == pytest.approx(1.171573 * pull * radius, rel=1e-6)


@pytest.mark.reference(
    "0.80615568 s at R = 0.1 m, A = 1 m/s2, of a grid of 10 001 points, measured"
)
def test_quarter_circle_from_rest_to_rest():
    limits = make_limits(acceleration=(1.0, 1.0, LOOSE, LOOSE))
    timed = time_motion(circle(0.1, np.pi / 2.0), limits, bracket=1e-9)
    assert timed.time_high_s == pytest.approx(0.80615568, abs=1e-8)
    assert timed.time_high_s - timed.time_low_s <= 1e-9 * timed.time_high_s


@pytest.mark.reference("(pi/2) sqrt(R/A) a quarter turn at constant speed sqrt(A R), derived")
def test_circle_at_constant_speed():
    limits = make_limits(acceleration=(1000.0, 1000.0, LOOSE, LOOSE))
    feed = np.sqrt(1000.0 * 50.0) * (1 - 1e-12)
    one, two = (time_motion(circle(50.0, n * TURN, feed=feed), limits) for n in (2, 3))
    quarter = np.pi / 2.0 * np.sqrt(50.0 / 1000.0)
    assert (two.time_high_s - one.time_high_s) / 4.0 == pytest.approx(quarter, rel=1e-9)
    flying = 4.0 * np.sin(np.pi / 8.0) * np.sqrt(50.0 / 1000.0)
    assert quarter / flying == pytest.approx(1.026, abs=5e-4)


@pytest.mark.parametrize("start_rad", [0.0, 0.3, np.pi / 2.0, 3.0, -2.0])
def test_a_circle_is_as_long_from_anywhere_when_the_feed_rules(start_rad):
    limits = make_limits(acceleration=(1e5, 1e5, LOOSE, LOOSE))
    timed = time_motion(circle(50.0, TURN, start_rad=start_rad, feed=20.0), limits)
    assert timed.by_cause["feed"] == pytest.approx(TURN * 50.0 / 20.0, rel=1e-3)
    assert timed.block_s.sum() == timed.time_high_s


CURVES = {
    "quarter": (circle(80.0, np.pi / 2.0, start_rad=0.4), {}),
    "helix": (circle(30.0, 5.0, start_rad=1.0, dz=40.0, dc=5.0), {}),
    "slow C": (circle(60.0, -4.0, dc=-4.0), {"acceleration": (4000.0, 3000.0, 1e9, 9.0)}),
    "slow x": (circle(90.0, 4.0), {"speed": (120.0, 500.0, 1e9, 1e9)}),
    "slow both": (circle(90.0, -6.0, start_rad=2.0), {"speed": (150.0, 90.0, 1e9, 1e9)}),
    "slow feed": (circle(20.0, 3.0, feed=120.0), {}),
    "unlike axes": (circle(50.0, 7.0, start_rad=-1.0), {"acceleration": (5000.0, 300.0, 1e9, 1e9)}),
    "slow z": (circle(10.0, 9.0, dz=30.0), {"acceleration": (4000.0, 4000.0, 150.0, 1e9)}),
}


@pytest.mark.reference("collocation solved by HiGHS through scipy.optimize.linprog")
@pytest.mark.parametrize("name", CURVES)
def test_equals_a_linear_programme_on_a_fine_grid(name):
    motion, given = CURVES[name]
    limits = make_limits(**({"acceleration": (4000.0, 3000.0, 1500.0, 150.0)} | given))
    timed = time_motion(motion, limits, bracket=1e-6)
    n = 1500
    step = block_length(motion)[0] / n
    middles = (np.arange(n) + 0.5) * step
    first, second = derivatives(motion, np.zeros(n, int), middles)
    time = curve_time(first, second, step, limits, motion.feed[0])
    # The programme holds its limits at the middles only and rounds off both ends.
    assert timed.time_high_s == pytest.approx(time, rel=2e-3)
    assert timed.time_low_s <= time * 1.002


@pytest.mark.reference("toppra 0.6, seidel, limits kept between points too, in metres")
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("name", ["helix", "slow C", "unlike axes", "slow z"])
def test_agrees_with_toppra(name):
    import toppra
    from toppra import algorithm, constraint
    from toppra.interpolator import AbstractGeometricPath

    motion, given = CURVES[name]
    limits = make_limits(**({"acceleration": (4000.0, 3000.0, 1500.0, 150.0)} | given))
    timed = time_motion(motion, limits, bracket=1e-6)
    length = block_length(motion)[0]
    unit = np.array((1e-3, 1e-3, 1e-3, 1.0))  # metres: in millimetres toppra finds no plan

    class Curve(AbstractGeometricPath):
        dof = 4
        path_interval = np.array((0.0, 1.0))

        def __call__(self, path_positions, order=0):
            t = np.atleast_1d(path_positions)
            first, second = derivatives(motion, np.zeros(len(t), int), t * length)
            value = (t[:, None] * 0.0 + 0.0 * unit, first * length, second * length**2)[order]
            value = value * unit
            return value if np.ndim(path_positions) else value[0]

    toppra.setup_logging("WARNING")
    box = np.column_stack((-limits.acceleration, limits.acceleration)) * unit[:, None]
    fast = np.minimum(limits.speed, 1e6) * unit
    plan = algorithm.TOPPRA(
        [
            constraint.JointVelocityConstraint(np.column_stack((-fast, fast))),
            constraint.JointAccelerationConstraint(
                box, discretization_scheme=constraint.DiscretizationType.Interpolation
            ),
        ],
        Curve(), gridpoints=np.linspace(0.0, 1.0, 4001), solver_wrapper="seidel",
    )  # fmt: skip
    _, speed, _ = plan.compute_parameterization(0.0, 0.0)
    assert speed is not None
    assert np.isfinite(speed).all()
    time = float((2.0 / 4000.0 / (speed[1:] + speed[:-1])).sum())
    assert timed.time_high_s == pytest.approx(time, rel=1e-3)
    # It keeps the limits everywhere as well, so no plan of its can be faster than the bound.
    assert timed.time_low_s <= time


def test_a_smooth_chain_is_not_slowed_at_its_joints():
    # A rounded square whose lines run into its arcs: nothing but curvature and feed rule.
    build = Builder((10.0, 0.0, 0.0, 0.0))
    build.line(90.0, feed=200.0).arc((90.0, 10.0), np.pi / 2, feed=200.0)
    build.line(y=90.0, feed=200.0).arc((90.0, 90.0), np.pi / 2, feed=200.0)
    limits = make_limits(acceleration=(5000.0, 5000.0, LOOSE, LOOSE), jump=0.0)
    timed = time_motion(build.motion(), limits)
    assert timed.by_cause["corner"] == 0.0
    assert timed.v.min() == 0.0
    assert (timed.v[1:-1] >= 0.99 * min(200.0, np.sqrt(5000.0 * 10.0))).sum() >= 5


@pytest.mark.parametrize("sweep", [1e-7, 1e-4, 0.1, 1.0, 6.0])
def test_a_flat_arc_is_a_line(sweep):
    length = 50.0
    radius = length / sweep
    limits = make_limits(acceleration=(1000.0, 1000.0, LOOSE, LOOSE))
    at = (0.0, -radius, 0.0, 0.0)
    arc = time_motion(Builder(at).arc((0.0, 0.0), sweep, feed=100.0).motion(), limits)
    line = time_motion(Builder().line(length, feed=100.0).motion(), limits)
    if sweep < 1e-3:
        assert arc.time_high_s == pytest.approx(line.time_high_s, rel=1e-6)
    # Round the bend two axes share the work: speeding up is quicker, by sqrt(2) at the very most.
    assert arc.time_high_s > line.time_high_s - 0.1 * (1.0 - 1.0 / np.sqrt(2.0))


@pytest.mark.parametrize("backwards", [False, True])
def test_a_feed_that_an_axis_cannot_hold_at_once_is_left_and_met_again(backwards):
    # From a tangent line at full feed into an arc on which x would have to give more than it can:
    # the tool slows down a little and is back at the feed within the same quarter turn.
    tau, radius = 0.3, 50.0
    feed = np.sqrt(1.1 * 1000.0 * radius)
    at = radius * np.array((np.cos(tau), np.sin(tau)))
    start = at + 200.0 * np.array((np.sin(tau), -np.cos(tau)))
    build = Builder((*start, 0.0, 0.0)).line(*at, feed=feed).arc((0.0, 0.0), 1.2, feed=feed)
    motion = reversed_motion(build.motion()) if backwards else build.motion()
    limits = make_limits(acceleration=(1000.0, 1000.0, LOOSE, LOOSE))
    profile = speed_profile(motion, limits, per_leg=50)
    arc = profile.block == (0 if backwards else 1)
    from_line = profile.way[arc]
    from_line = 1.2 * radius - from_line if backwards else from_line
    v = profile.v[arc]
    assert v[np.argmin(from_line)] == pytest.approx(feed, rel=1e-3)
    dip = (from_line > 2.0) & (from_line < 9.0)
    assert v[dip].max() < 0.997 * feed
    assert v[dip].min() > 0.990 * feed
    again = (from_line > 12.0) & (from_line < 22.0)
    assert v[again] == pytest.approx(feed, rel=1e-12)
    assert again.any()
    acceleration, _ = axis_loads(motion, profile, limits)
    assert acceleration.max() <= 1.0 + 1e-9
    timed = time_motion(motion, limits, bracket=1e-6)
    assert timed.findings == ()
