"""The predicted deviation of the map against sampling and plain algebra."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kerfwright.errors import GeometryError, UsageError
from kerfwright.geometry.paths import empty_paths, join_sets
from kerfwright.model.prior import PrintPrior
from kerfwright.model.table import LoadPose
from kerfwright.registration import allowed_throw_rad
from kerfwright.registration.placing_reach import falls_into_view, turned_size_mm
from kerfwright.registration.placing_sd import points_of_interest, predicted_sd_mm
from layout.pieces import box

MARKS = np.array([(20, 20), (1900, 40), (1950, 960), (60, 930), (1000, 30), (900, 980)], float)
STIFF = PrintPrior(
    growth_sd=0.0, skew_sd_rad=0.0, bow_sd_per_mm=0.0, field_sd_mm=0.0, mark_sd_mm=0.02
)


def test_a_stiff_sheet_is_known_as_a_rigid_motion_by_least_squares():
    """Shift and turn by least squares: cov = s2 (I / n + r r' turned / sum r2), by hand."""
    middle = MARKS.mean(axis=0)
    at = np.array([(0.0, 0.0), (2000.0, 1000.0), middle])
    spread = ((MARKS - middle) ** 2).sum()
    away = np.hypot(*(at - middle).T)
    expected = 0.02 * np.sqrt(1.0 / len(MARKS) + away**2 / spread)
    np.testing.assert_allclose(predicted_sd_mm(MARKS, at, STIFF), expected, rtol=1e-9)


def matern(gap, prior):
    u = math.sqrt(5.0) * gap / prior.field_length_mm
    return prior.field_sd_mm**2 * (1.0 + u + u * u / 3.0) * np.exp(-u)


def brute_cov(marks, at, prior):
    """Simple kriging with very wide shift and turn, every covariance written out."""
    every = np.concatenate((marks, at))
    middle = marks.mean(axis=0)
    terms = []
    for x, y in every - middle:
        terms.append([
            [1e3, 0.0, -y, x * prior.growth_sd, 0.0, y * prior.skew_sd_rad / 2.0,
             -prior.bow_sd_per_mm * x * y, prior.bow_sd_per_mm * y * y / 2.0],
            [0.0, 1e3, x, 0.0, y * prior.growth_sd, x * prior.skew_sd_rad / 2.0,
             prior.bow_sd_per_mm * x * x / 2.0, -prior.bow_sd_per_mm * x * y],
        ])  # fmt: skip
    terms = np.concatenate(terms)
    gaps = np.hypot(*(every[:, None] - every[None]).transpose(2, 0, 1))
    cov = terms @ terms.T + np.kron(matern(gaps, prior), np.eye(2))
    n = 2 * len(marks)
    data = cov[:n, :n] + prior.mark_sd_mm**2 * np.eye(n)
    rest = cov[n:, n:] - cov[n:, :n] @ np.linalg.solve(data, cov[:n, n:])
    return [rest[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] for k in range(len(at))]


@pytest.mark.parametrize("length", [400.0, 1600.0])
def test_it_equals_simple_kriging_with_a_very_wide_turn(length):
    prior = PrintPrior(field_sd_mm=0.2, field_length_mm=length, bow_sd_per_mm=1e-6)
    at = np.array([(0.0, 0.0), (1000.0, 500.0), (1700.0, 900.0), (20.0, 20.0)])
    expected = [math.sqrt(np.linalg.eigvalsh(c)[-1]) for c in brute_cov(MARKS, at, prior)]
    np.testing.assert_allclose(predicted_sd_mm(MARKS, at, prior), expected, rtol=2e-4)


@pytest.mark.parametrize(
    ("length", "four", "six", "eight"),
    [(400.0, 0.353, 0.279, 0.269), (800.0, 0.257, 0.159, 0.142), (1600.0, 0.132, 0.061, 0.049)],
)
def test_more_marks_help_as_much_as_in_an_earlier_measurement(length, four, six, eight):
    """Greatest deviation per axis, 2000 x 1000 mm, margin 20, wander 0.30 mm, scatter 0.02 mm.

    The figures were measured with a free affine part, own work, no outside source; with a very
    wide growth and skew the model here is the same. The worst direction may exceed an axis a
    little, never fall below it.
    """
    prior = PrintPrior(
        growth_sd=0.1,
        skew_sd_rad=0.1,
        bow_sd_per_mm=0.0,
        field_sd_mm=0.30,
        field_length_mm=length,
        mark_sd_mm=0.02,
    )
    corners = [(20.0, 20.0), (1980.0, 20.0), (1980.0, 980.0), (20.0, 980.0)]
    sides = [*corners, (1000.0, 20.0), (1000.0, 980.0)]
    every = [*sides, (20.0, 500.0), (1980.0, 500.0)]
    at = points_of_interest(empty_paths(), (0.0, 0.0, 2000.0, 1000.0))
    for marks, expected in ((corners, four), (sides, six), (every, eight)):
        assert predicted_sd_mm(np.array(marks), at, prior).max() == pytest.approx(
            expected, rel=0.06
        )


def test_one_more_mark_never_makes_it_worse():
    rng = np.random.default_rng(4)
    at = rng.uniform(0, 2000, (50, 2))
    for n in range(4, 6):
        few = predicted_sd_mm(MARKS[:n], at, PrintPrior())
        more = predicted_sd_mm(MARKS[: n + 1], at, PrintPrior())
        # the bow is counted about the middle of the marks, which moves a little
        assert (more <= few * 1.02 + 1e-6).all()


def test_points_of_interest_hold_the_corners_furthest_out():
    many = [box(5.0, 5.0, x, y) for x in range(0, 2000, 50) for y in range(0, 1000, 50)]
    points = points_of_interest(join_sets(many), (0.0, 0.0, 2000.0, 1000.0))
    assert len(points) <= 400
    for corner in ((0.0, 0.0), (1955.0, 955.0), (0.0, 955.0), (1955.0, 0.0)):
        assert np.hypot(*(points - corner).T).min() == 0.0


@pytest.mark.parametrize("size", [(60.0, 45.0), (200.0, 30.0)])
def test_what_falls_into_view_does_so_at_every_turn(size):
    rng = np.random.default_rng(1)
    away = rng.uniform(-900.0, 900.0, (400, 2))
    for throw in (0.0, 0.05, 0.4, 2.0):
        seen = falls_into_view(
            away, field_of_view_mm=size, throw_rad=throw, prior=STIFF, diameter_mm=6.0
        )
        worst = np.zeros_like(away)
        for turn in np.linspace(-throw, throw, 201):
            c, s = math.cos(turn), math.sin(turn)
            moved = np.column_stack(
                (c * away[:, 0] - s * away[:, 1], s * away[:, 0] + c * away[:, 1])
            )
            worst = np.maximum(worst, np.abs(moved - away))
        spare = np.array(size) / 2.0 - 3.0 - 3.0 * math.sqrt(2.0) * 0.02 - worst
        if throw <= math.pi / 2.0:
            assert (seen == (spare >= 0.0).all(axis=1))[
                np.abs(spare).min(axis=1) > 0.05
            ].mean() > 0.95
        assert (spare[seen] >= -1e-9).all()


def test_the_throw_of_a_full_board():
    """2440 x 1220 mm turned by 3.4 degrees needs 2508 x 1363 mm: w cos a + h sin a and so on."""
    need = turned_size_mm(2440.0, 1220.0, math.radians(3.4))
    assert need == pytest.approx((2508.06, 1362.56), abs=0.01)
    allowed = allowed_throw_rad(2440.0, 1220.0, (0.0, 0.0, *need))
    assert math.degrees(allowed) == pytest.approx(3.4, abs=1e-9)


@pytest.mark.parametrize("seed", range(30))
def test_every_smaller_turn_fits_and_a_larger_one_does_not(seed):
    rng = np.random.default_rng(seed)
    w, h = rng.uniform(100.0, 2000.0, 2)
    pose = None
    bed = (0.0, 0.0, w * rng.uniform(1.0, 1.5), h * rng.uniform(1.0, 1.5))
    begin = 0.0
    room = (bed[2], bed[3])
    if seed % 2:
        begin = float(rng.uniform(-0.05, 0.05)) + (math.pi / 2.0 if seed % 4 == 1 else 0.0)
        need = turned_size_mm(w, h, begin)
        bed = (-need[0], -need[1], need[0], need[1])
        middle = rng.uniform(-0.4, 0.4, 2) * need
        c, s = math.cos(begin), math.sin(begin)
        x, y = middle - 0.5 * np.array((c * w - s * h, s * w + c * h))
        pose = LoadPose(x_mm=x, y_mm=y, turn_rad=begin)
        room = tuple(2.0 * (np.array(bed[2:]) - np.abs(middle)))
    allowed = allowed_throw_rad(w, h, bed, pose)
    for share in np.linspace(-1.0, 1.0, 301):
        need = turned_size_mm(w, h, begin + share * allowed)
        assert need[0] <= room[0] + 1e-6
        assert need[1] <= room[1] + 1e-6
    if allowed < math.pi:
        beyond = [turned_size_mm(w, h, begin + side * (allowed + 1e-5)) for side in (-1, 1)]
        assert any(n[0] > room[0] or n[1] > room[1] for n in beyond)


def test_a_sheet_smaller_than_any_turn_needs_may_lie_as_it_likes():
    assert allowed_throw_rad(300.0, 400.0, (0.0, 0.0, 501.0, 501.0)) == math.pi


def test_a_sheet_larger_than_the_bed_is_refused():
    with pytest.raises(GeometryError, match=r"needs 2440\.0 x 1220\.0 mm, there is room for 2000"):
        allowed_throw_rad(2440.0, 1220.0, (0.0, 0.0, 2000.0, 1500.0))
    with pytest.raises(UsageError, match="must be"):
        allowed_throw_rad(0.0, 1220.0, (0.0, 0.0, 2000.0, 1500.0))
