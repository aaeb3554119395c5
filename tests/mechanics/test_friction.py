"""The planar friction limit against closed forms, a grid of pads, and what must not change it."""

from __future__ import annotations

from math import asinh, hypot, pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import ModelError
from kerfwright.mechanics import friction_use, tip_use
from mechanics.shapes import box, disc, edges_of, oracle_use, star, use_of

seeds = st.integers(0, 2**32 - 1)


def held_moment(ring):
    """Greatest pure moment with friction times pressure of 1."""
    found = use_of([ring], (0.0, 0.0, 1.0))
    assert found.high[0] <= found.low[0] * (1.0 + 1e-5)
    return 1.0 / found.high[0]


@pytest.mark.reference("closed form of the uniform disc: m = 2/3 mu N R")
def test_disc_turned():
    assert held_moment(disc()) / pi == pytest.approx(2.0 / 3.0, rel=1e-5)


@pytest.mark.reference(
    "closed form: a disc turning about a point of its rim holds 8/(3 pi), 8/(9 pi)"
)
def test_disc_turned_about_its_rim():
    # turning about (0, -1) pushes along -x; friction on the way is the load it just holds
    load = np.array((8.0 / 3.0 / pi, 0.0, -8.0 / 9.0 / pi)) * pi
    found = use_of([disc()], [load, load * (1, 1, -1), load * (-1, 1, 1)])
    assert found.low == pytest.approx(1.0, rel=1e-5)
    assert found.high == pytest.approx(1.0, rel=1e-5)


def test_the_ellipsoid_promises_more_than_a_disc_holds():
    turn = np.linspace(0.05, pi / 2.0 - 0.05, 60)
    on_ellipsoid = np.column_stack((np.cos(turn), 0.0 * turn, np.sin(turn) * 2.0 / 3.0)) * pi
    found = use_of([disc(corners=720)], on_ellipsoid)
    assert 1.0 / found.low.max() == pytest.approx(0.9346, abs=5e-4)


@pytest.mark.reference("closed form of the square: m = 0.382598 mu N s")
def test_square_turned():
    assert held_moment(box(1.0, 1.0)) == pytest.approx(0.382598, abs=1e-6)


@pytest.mark.reference("closed form of the rectangle turned about its middle")
@pytest.mark.parametrize(("a", "b"), [(2.0, 1.0), (1.0, 3.0), (250.0, 4.0), (7.0, 7.5)])
def test_rectangle_turned(a, b):
    d = hypot(a, b)
    formula = (2.0 * d + a * a / b * asinh(b / a) + b * b / a * asinh(a / b)) / 12.0
    assert held_moment(box(a, b)) / (a * b) == pytest.approx(formula, rel=2e-6)
    if (a, b) == (2.0, 1.0):
        assert formula == pytest.approx(0.593233, abs=1e-6)


def test_pure_sliding_holds_friction_times_force():
    found = use_of([box(30.0, 20.0)], [(3.0, 4.0, 15.0 * 4.0 - 10.0 * 3.0)], pressure=0.02)
    assert found.normal_n[0] == pytest.approx(12.0)
    assert found.centre[0] == pytest.approx([15.0, 10.0])
    assert found.moment_nmm[0] == pytest.approx(0.0, abs=1e-9)
    assert found.low[0] == pytest.approx(5.0 / 12.0)
    assert found.high[0] == pytest.approx(5.0 / 12.0)


@settings(max_examples=12)
@given(seeds)
def test_agrees_with_a_grid_of_pads(seed):
    rng = np.random.default_rng(seed)
    ring = star(rng, int(rng.integers(4, 12)))
    load = rng.normal(size=3) * (1.0, 1.0, 30.0)
    load[2] += ring[:, 0].mean() * load[1] - ring[:, 1].mean() * load[0]
    found = use_of([ring], load)
    assert found.low[0] == pytest.approx(oracle_use(ring, load), rel=5e-3)


@settings(max_examples=40)
@given(seeds)
def test_bounds_are_close_and_in_order(seed):
    rng = np.random.default_rng(seed)
    ring = star(rng, int(rng.integers(3, 30)))
    loads = rng.normal(size=(8, 3)) * (1.0, 1.0, 10.0 ** rng.uniform(-3, 5))
    found = use_of([ring], loads)
    assert (found.low <= found.high * (1.0 + 1e-12)).all()
    assert (found.high <= found.low * 1.005).all()


@settings(max_examples=30)
@given(seeds)
def test_commutes_with_moving_turning_mirroring_and_scaling(seed):
    rng = np.random.default_rng(seed)
    ring, load = star(rng, 9), rng.normal(size=3) * (1.0, 1.0, 100.0)
    plain = use_of([ring], load)
    turn, shift, scale = rng.uniform(0.0, 2.0 * pi), rng.uniform(-900.0, 900.0, 2), 3.0
    c, s = np.cos(turn), np.sin(turn)
    matrix = np.array(((c, -s), (s, c)))
    force = matrix @ load[:2]
    moved = (*force, load[2] * scale + shift[0] * force[1] - shift[1] * force[0])
    found = use_of([scale * ring @ matrix.T + shift], moved, pressure=1.0 / scale**2)
    assert found.low[0] == pytest.approx(plain.low[0], rel=1e-5)
    mirrored = use_of([(ring * (1.0, -1.0))[::-1]], load * (1.0, -1.0, -1.0))
    assert mirrored.low[0] == pytest.approx(plain.low[0], rel=1e-5)
    back = use_of([ring], -load)
    assert back.low[0] == pytest.approx(plain.low[0], rel=1e-5)


@settings(max_examples=30)
@given(seeds)
def test_use_grows_with_the_load_and_loads_add_up_to_less(seed):
    rng = np.random.default_rng(seed)
    ring = star(rng, 7)
    one, two = rng.normal(size=(2, 3)) * (1.0, 1.0, 100.0)
    found = use_of([ring], [one, two, one + two, 2.5 * one])
    assert found.low[2] <= (found.high[0] + found.high[1]) * (1.0 + 1e-9)
    assert found.low[3] == pytest.approx(2.5 * found.low[0], rel=1e-5)


def test_a_hole_and_its_plug_add_up():
    hole = np.array([(10.0, 10.0), (10.0, 30.0), (20.0, 30.0), (20.0, 10.0)])  # clockwise
    rings = [box(40.0, 60.0), hole, hole[::-1]]
    load = (3.0, -2.0, 150.0)
    assert use_of(rings, load).low[0] == pytest.approx(use_of(rings[:1], load).low[0], rel=1e-5)
    assert use_of(rings[:2], load).low[0] > use_of(rings[:1], load).low[0]


def test_zones_press_each_on_their_own_piece():
    left, right = box(10.0, 20.0), box(10.0, 20.0) + np.array((10.0, 0.0))
    edges = edges_of(left, right)
    kwargs = {
        "body": np.zeros(3, np.int64), "friction": 0.3,
        "load": np.array([(1.0, 0.0, 0.0), (0.0, 1.0, 5.0), (0.0, 0.0, 9.0)]),
    }  # fmt: skip
    zone, starts = np.repeat((0, 1), 4), np.array([0, 8])
    both = friction_use(edges, zone, starts, pressure_mpa=np.tile((0.02, 0.02), (3, 1)), **kwargs)
    whole = use_of([box(20.0, 20.0)], kwargs["load"], friction=0.3, pressure=0.02)
    assert both.low == pytest.approx(whole.low, rel=1e-5)
    one = friction_use(edges, zone, starts, pressure_mpa=np.tile((0.02, 0.0), (3, 1)), **kwargs)
    alone = use_of([left], kwargs["load"], friction=0.3, pressure=0.02)
    assert one.low == pytest.approx(alone.low, rel=1e-5)
    assert one.centre[0] == pytest.approx([5.0, 10.0])


def test_nothing_that_presses_holds_nothing():
    found = use_of([box(5.0, 5.0)], [(1.0, 0.0, 0.0), (0.0, 0.0, 0.0)], pressure=0.0)
    assert found.low.tolist() == [np.inf, 0.0]
    assert found.normal_n.tolist() == [0.0, 0.0]


def test_wrong_arguments_are_refused():
    with pytest.raises(ModelError, match="friction"):
        use_of([box(1.0, 1.0)], (1.0, 0.0, 0.0), friction=0.0)
    with pytest.raises(ModelError, match="pressure"):
        use_of([box(1.0, 1.0)], (1.0, 0.0, 0.0), pressure=-1.0)


def tip(ring, *, at, up, down):
    return tip_use(
        ring, np.array([0, len(ring)]), body=np.zeros(1, np.int64), normal_n=np.array([down]),
        centre=ring.mean(axis=0)[None], up_n=np.array([up]), up_xy=np.array([at], float),
    )[0]  # fmt: skip


@pytest.mark.reference(
    "statics: a plate pulled at an edge tips about the far edge at half its weight"
)
def test_tipping_about_the_far_edge():
    square = box(10.0, 10.0)
    assert tip(square, at=(10.0, 5.0), up=5.0, down=10.0) == pytest.approx(1.0)
    assert tip(square, at=(5.0, 5.0), up=5.0, down=10.0) == pytest.approx(0.5)
    assert tip(square, at=(7.5, 5.0), up=5.0, down=10.0) == pytest.approx(0.75)
    assert tip(square, at=(10.0, 10.0), up=5.0, down=10.0) == pytest.approx(1.0)
    assert tip(square, at=(10.0, 5.0), up=0.0, down=0.0) == 0.0
    assert tip(square, at=(10.0, 5.0), up=1.0, down=0.0) == np.inf


@settings(max_examples=40)
@given(seeds)
def test_tipping_agrees_with_moments_about_every_side(seed):
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0.0, 2.0 * pi, 7))
    ring = 20.0 * np.column_stack((np.cos(turn), np.sin(turn))) + (100.0, -50.0)
    centre, at, down = ring.mean(axis=0), ring[0] * 0.7 + ring[3] * 0.3, 30.0
    at = at + (centre - at) * rng.uniform(0.0, 0.9)
    side = np.roll(ring, -1, axis=0) - ring
    normal = np.column_stack((side[:, 1], -side[:, 0])) / np.hypot(*side.T)[:, None]
    arm_down = ((ring - centre) * normal).sum(axis=1)
    arm_up = ((ring - at) * normal).sum(axis=1)
    least = min(down * arm_down / np.maximum(arm_up, 1e-12))
    expected = 1.0 / min(least, down)
    assert tip(ring, at=at, up=1.0, down=down) == pytest.approx(expected, rel=1e-9)
