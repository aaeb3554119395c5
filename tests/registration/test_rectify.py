"""Pictures of the bed at an angle: the map by known points, and rough places of marks."""

from __future__ import annotations

import math
from fractions import Fraction

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright import virtual
from kerfwright.errors import GeometryError, ModelError, Severity, UsageError
from kerfwright.errors.messages import sentence_of
from kerfwright.registration import Homography, fit_homography, marks_on_bed
from kerfwright.registration.on_bed import straightened

SQUARE = np.array(((0, 0), (1, 0), (1, 1), (0, 1)), float)
QUAD = np.array(((1, 2), (7, 3), (6, 9), (2, 5)), float)
EXACT = np.array(((1, 23 / 14, 1), (-8 / 7, 129 / 28, 2), (-5 / 7, 9 / 28, 1)))
BED = (0.0, 0.0, 1200.0, 900.0)


@pytest.mark.reference("The homography of the unit square to a quadrilateral in exact rationals")
def test_four_points_settle_the_map_exactly():
    found = fit_homography(SQUARE, QUAD)
    np.testing.assert_allclose(found.matrix / found.matrix[2, 2], EXACT, atol=1e-12)
    np.testing.assert_allclose(found.map(SQUARE), QUAD, atol=1e-12)
    np.testing.assert_allclose(found.map((0.5, 0.5)), [(26 / 9, 209 / 45)], atol=1e-12)
    np.testing.assert_allclose(found.inverse.map(QUAD), SQUARE, atol=1e-12)
    assert found.redundancy == 0
    assert not found.residual_px.any()


def test_the_rationals_are_right_by_fractions():
    """The matrix itself, checked in whole numbers: every corner, and the middle."""
    rows = [[Fraction(1), Fraction(23, 14), Fraction(1)],
            [Fraction(-8, 7), Fraction(129, 28), Fraction(2)],
            [Fraction(-5, 7), Fraction(9, 28), Fraction(1)]]  # fmt: skip
    for at, to in zip([*SQUARE, (0.5, 0.5)], [*QUAD, None], strict=True):
        u, v, w = (sum(a * b for a, b in zip(row, [*map(Fraction, at), 1], strict=True))
                   for row in rows)  # fmt: skip
        want = (Fraction(26, 9), Fraction(209, 45)) if to is None else tuple(map(Fraction, to))
        assert (u / w, v / w) == want


def camera(tilt=0.6, turn=0.3, height=2600.0, focal=1800.0, middle=(600.0, 450.0)):
    """Return picture_from_table of a pinhole camera that looks at the middle of the bed."""
    ct, st_, cr, sr = math.cos(tilt), math.sin(tilt), math.cos(turn), math.sin(turn)
    about = np.array(((cr, sr, 0.0), (-sr, cr, 0.0), (0.0, 0.0, 1.0)))
    look = np.array(((1.0, 0.0, 0.0), (0.0, -ct, -st_), (0.0, st_, -ct))) @ about
    eye = np.array((*middle, 0.0)) - look[2] * height
    place = np.column_stack((look[:, 0], look[:, 1], -look @ eye))
    lens = np.array(((focal, 0.0, 1500.0), (0.0, focal, 1100.0), (0.0, 0.0, 1.0)))
    return lens @ place


def through(matrix, xy):
    w = np.column_stack((xy, np.ones(len(xy)))) @ matrix.T
    return w[:, :2] / w[:, 2:]


def bed_points(rng, count):
    corners = np.array(((30, 40), (1170, 30), (1180, 870), (25, 860)), float)
    return np.concatenate((corners, rng.uniform((0, 0), (1200, 900), (count - 4, 2))))


@pytest.mark.reference("OpenCV findHomography, least squares over all points")
@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), tilt=st.floats(0.0, 0.8), turn=st.floats(-3.1, 3.1),
       count=st.integers(5, 14))  # fmt: skip
def test_it_agrees_with_an_open_library_on_noisy_points(seed, tilt, turn, count):
    rng = np.random.default_rng(seed)
    table = bed_points(rng, count)
    seen = through(camera(tilt, turn), table) + rng.normal(0.0, 0.5, (count, 2))
    found = fit_homography(seen, table)
    theirs, _ = cv2.findHomography(table, seen, method=0)
    probe = bed_points(rng, 12)
    ours = found.inverse.map(probe)
    np.testing.assert_allclose(ours, through(theirs, probe), atol=0.02)
    square = (found.residual_px**2).sum()
    assert square <= ((through(theirs, table) - seen) ** 2).sum() * (1.0 + 1e-9)
    assert found.redundancy == 2 * count - 8


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), turn=st.floats(-3.1, 3.1), scale=st.floats(0.2, 5.0),
       x=st.floats(-500.0, 500.0), y=st.floats(-500.0, 500.0))  # fmt: skip
def test_it_commutes_with_moving_either_frame(seed, turn, scale, x, y):
    """Distances of the picture all grow alike, so the best map stays the best one."""
    rng = np.random.default_rng(seed)
    table = bed_points(rng, 7)
    seen = through(camera(), table) + rng.normal(0.0, 0.4, (7, 2))
    c, s = scale * math.cos(turn), scale * math.sin(turn)

    def moved(xy):
        return xy @ np.array(((c, s), (-s, c))) + (x, y)

    plain = fit_homography(seen, table)
    probe = rng.uniform((400, 400), (2400, 1700), (6, 2))
    other = fit_homography(moved(seen), table, most_off_px=50.0)
    np.testing.assert_allclose(other.map(moved(probe)), plain.map(probe), atol=1e-5)
    other = fit_homography(seen, moved(table))
    np.testing.assert_allclose(other.map(probe), moved(plain.map(probe)), atol=1e-5)


def test_true_points_come_back_and_noise_shrinks_with_their_number():
    rng = np.random.default_rng(3)
    probe = bed_points(rng, 10)[4:]
    table = bed_points(rng, 40)
    exact = fit_homography(through(camera(), table), table)
    np.testing.assert_allclose(exact.map(through(camera(), probe)), probe, atol=1e-7)
    spread = {}
    for count in (10, 40):
        offs = []
        for _ in range(60):
            seen = through(camera(), table[:count]) + rng.normal(0.0, 0.5, (count, 2))
            found = fit_homography(seen, table[:count])
            offs.append(found.map(through(camera(), probe)) - probe)
        spread[count] = float(np.sqrt(np.mean(np.square(offs))))
    assert spread[40] < 0.75 * spread[10], "it should fall with the root of the number"
    assert spread[10] < 1.5, "half a pixel is some 0.7 mm here"


def test_the_residuals_tell_the_noise():
    rng = np.random.default_rng(4)
    squares = []
    for _ in range(80):
        table = bed_points(rng, 9)
        seen = through(camera(), table) + rng.normal(0.0, 0.5, (9, 2))
        found = fit_homography(seen, table)
        squares.append((found.residual_px**2).sum() / found.redundancy)
    assert np.mean(squares) == pytest.approx(0.25, rel=0.12)


LINE = np.array(((0, 0), (1, 0), (2, 0), (1, 1)), float)


@pytest.mark.parametrize(
    ("picture", "table", "words"),
    [
        (LINE, QUAD, "on a line"),
        (QUAD, LINE, "on a line"),
        (LINE, LINE, "on a line"),
        (np.column_stack((np.arange(6.0), 2 * np.arange(6.0))), bed_points(
            np.random.default_rng(1), 6), "on a line"),
        (np.ones((4, 2)), QUAD, "in one place"),
        (SQUARE[[1, 0, 2, 3]], QUAD, "horizon"),
    ],
    ids=("picture", "table", "both", "all", "one place", "swapped"),
)  # fmt: skip
def test_points_that_settle_nothing_are_refused(picture, table, words):
    with pytest.raises(GeometryError, match=words):
        fit_homography(picture, table)


def test_a_poor_fit_names_the_worst_point_and_wrong_numbers_are_refused():
    rng = np.random.default_rng(5)
    table = bed_points(rng, 8)
    seen = through(camera(), table)
    seen[5] += (40.0, -30.0)
    with pytest.raises(GeometryError, match="point 6 is the worst"):
        fit_homography(seen, table)
    with pytest.raises(UsageError, match="at least 4"):
        fit_homography(seen[:3], table[:3])
    with pytest.raises(UsageError, match="as many of both"):
        fit_homography(seen, table[:5])
    with pytest.raises(UsageError, match="most_off_px"):
        fit_homography(seen, table, most_off_px=0.0)
    with pytest.raises(ModelError, match="singular"):
        Homography(matrix=np.zeros((3, 3)))


def test_the_horizon_is_no_place_of_the_bed():
    low = camera(tilt=1.35, height=900.0)
    table = bed_points(np.random.default_rng(6), 6) * 0.3 + (420.0, 250.0)
    found = fit_homography(through(low, table), table)
    with pytest.raises(GeometryError, match="horizon"):
        found.map((1500.0, -5000.0))
    with pytest.raises(GeometryError, match="through the bed"):
        fit_homography(through(low, table), table, bed_mm=(-9000.0, -9000.0, 9000.0, 9000.0))


def bed_picture(truth, matrix, size=(3000, 2200), px_per_mm=2.0):
    """Photograph the bed from above, then slant the picture by the camera's own map."""
    x0, y0, x1, y1 = BED
    optics = virtual.Optics(px_per_mm=px_per_mm, working_distance_mm=3000.0, blur_px=0.7,
                            size_px=(round((x1 - x0) * px_per_mm), round((y1 - y0) * px_per_mm)),
                            position_sd_mm=0.0, light_fall=0.1)  # fmt: skip
    image, photo = virtual.photograph(virtual.print_and_throw(
        truth.marks_xy_mm, truth.diameter_mm, sheet_box_mm=truth.sheet_box_mm, throw=truth.throw,
        optics=optics, blemishes=truth.blemishes, seed=truth.seed),
        np.array(((x0 + x1) / 2.0, (y0 + y1) / 2.0)), shot=0)  # fmt: skip
    corners = np.array(((x0, y0), (x1, y0), (x1, y1), (x0, y1)))
    above = fit_homography(photo.image_from_table(corners), corners)
    return cv2.warpPerspective(image, matrix @ above.matrix, size, flags=cv2.INTER_LINEAR)


MARKS = np.array(((20, 20), (310, 24), (680, 22), (676, 380), (420, 478), (24, 470)), float)


def thrown_sheet(turn=0.05):
    return virtual.print_and_throw(MARKS, 8.0, sheet_box_mm=(0.0, 0.0, 700.0, 500.0),
                                   throw=virtual.Throw(x_mm=210.0, y_mm=140.0, turn_rad=turn),
                                   blemishes=virtual.Blemishes(dirt_count=20), seed=5)  # fmt: skip


def test_a_picture_of_the_bed_tells_roughly_where_the_marks_lie():
    truth, matrix = thrown_sheet(), camera(tilt=0.5, turn=0.1, height=1700.0, focal=2200.0)
    image = bed_picture(truth, matrix, size=(3600, 2600))
    known = np.array(((10, 10), (1190, 12), (1185, 890), (12, 885), (600, 20)), float)
    seen = through(matrix, known) + np.random.default_rng(2).normal(0.0, 0.5, known.shape)
    found = fit_homography(seen, known, bed_mm=BED)
    places, findings = marks_on_bed(image, found, bed_mm=BED, diameter_mm=8.0)
    away = np.hypot(*(places[:, None] - truth.marks_table_mm[None]).transpose(2, 0, 1))
    assert (away.min(axis=0) < 3.0).all(), away.min(axis=0)
    assert not [f for f in findings if f.severity is Severity.BLOCKS]


def test_a_straightened_picture_has_the_bed_where_it_is():
    matrix = camera(tilt=0.5, turn=0.1, height=1700.0)
    image = np.zeros((2200, 3000), np.uint8)
    spot = np.array(((300.0, 640.0), (900.0, 200.0)))
    for x, y in np.round(through(matrix, spot)).astype(int):
        image[y - 2 : y + 3, x - 2 : x + 3] = 255
    corners = np.array(((0, 0), (1200, 0), (1200, 900), (0, 900)), float)
    found = fit_homography(through(matrix, corners), corners)
    view = straightened(image, found, bed_mm=BED, px_per_mm=1.0)
    assert view.shape == (900, 1200)
    for x, y in spot:
        near = view[int(900 - y) - 6 : int(900 - y) + 6, int(x) - 6 : int(x) + 6]
        assert near.max() > 200


def test_a_picture_too_coarse_for_its_marks_is_said():
    matrix = camera(height=9000.0)
    corners = np.array(((0, 0), (1200, 0), (1200, 900), (0, 900)), float)
    found = fit_homography(through(matrix, corners), corners)
    places, (said,) = marks_on_bed(np.zeros((2200, 3000), np.uint8), found, bed_mm=BED,
                                   diameter_mm=6.0)  # fmt: skip
    assert not len(places)
    assert (said.code, said.severity) == ("LOK-150", Severity.BLOCKS)
    assert "px wide" in sentence_of(said)
    with pytest.raises(UsageError, match="empty"):
        marks_on_bed(np.zeros((20, 30), np.uint8), found, bed_mm=BED, diameter_mm=0.0)
