"""Pictures: where things are seen, how much light, how much noise, and that seeds rule it all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kerfwright.errors import ModelError
from kerfwright.virtual import (
    Blemishes,
    Curl,
    Optics,
    Patch,
    Printer,
    Surface,
    Throw,
    photograph,
    print_and_throw,
)
from kerfwright.virtual._placing import segment_height
from virtual.scenes import (
    BENT,
    EVEN,
    MARKS,
    STILL,
    THROWN,
    TRUE,
    camera,
    centroid_px,
    light_of,
    sheet,
)


@pytest.mark.parametrize("turn", [0.0, 0.4, -2.0])
@pytest.mark.parametrize("printer", [TRUE, BENT, Printer(scale=0.97, mirrored=True)])
def test_a_clean_dot_is_seen_where_the_true_map_puts_it(turn, printer):
    truth = sheet(printer=printer, optics=camera(turn_rad=turn))
    for mark, place in enumerate(truth.table_from_sheet(MARKS)):
        at = place + np.array((0.313 * mark - 1.0, 0.171 * mark))
        image, photo = photograph(truth, at, shot=mark)
        seen, _ = centroid_px(image, truth.optics, EVEN)
        assert np.abs(seen - photo.image_from_table(place[None])[0]).max() < 2e-3


@pytest.mark.parametrize("optics", [camera(blur_px=0.7), camera(defocus_px=2.3), camera(gamma=2.2)])
def test_blur_and_gamma_do_not_move_a_dot(optics):
    printer = Printer(edge_rag_mm=0.006)
    truth = sheet(printer=printer, optics=optics)
    place = truth.marks_table_mm[0]
    image, photo = photograph(truth, place + np.array((0.037, -0.021)), shot=0)
    seen, area = centroid_px(image, optics, EVEN)
    # at 8 bits the codes of a gamma picture are coarse where it is bright: 0.004 of light
    assert np.abs(seen - photo.image_from_table(place[None])[0]).max() < 4e-3
    assert area == pytest.approx(np.pi * 30.0**2, rel=3e-3)


def test_a_misplaced_dot_is_seen_where_it_was_misplaced_to():
    truth = sheet(printer=Printer(dot_sd_mm=0.05, edge_rag_mm=0.0), seed=6)
    for mark, place in enumerate(truth.marks_table_mm):
        image, photo = photograph(truth, truth.table_from_sheet(MARKS)[mark], shot=mark)
        seen, _ = centroid_px(image, STILL, EVEN)
        assert np.abs(seen - photo.image_from_table(place[None])[0]).max() < 2e-3


def test_two_pictures_agree_about_a_dot():
    truth = sheet(printer=BENT, optics=camera(turn_rad=0.3))
    places = []
    for shot, away in enumerate([(0.0, 0.0), (2.71, -1.93)]):
        image, photo = photograph(truth, truth.marks_table_mm[2] + away, shot=shot)
        places.append(photo.table_from_image(centroid_px(image, truth.optics, EVEN)[0][None])[0])
    assert places[0] == pytest.approx(places[1], abs=2e-4)  # 0.002 px


def test_the_gantry_errs_as_asked_and_the_job_is_not_told():
    optics = camera(position_sd_mm=0.02, offset_error_mm=(0.3, -0.2), size_px=(90, 90))
    truth = sheet(optics=optics)
    place = truth.marks_table_mm[0]
    off = []
    for shot in range(60):
        image, photo = photograph(truth, place, shot=shot)
        assert photo.camera_xy_mm == pytest.approx(place, abs=0.0)
        off.append(photo.table_from_image(centroid_px(image, optics, EVEN)[0][None])[0] - place)
    # the camera is further right than told, so things look further left
    assert np.mean(off, axis=0) == pytest.approx([-0.3, 0.2], abs=4 * 0.02 / np.sqrt(60))
    assert np.std(off, axis=0) == pytest.approx([0.02, 0.02], rel=0.3)


@pytest.mark.reference("parallax q dz / Z: elementary optics")
def test_a_curled_corner_is_displaced_outwards_by_parallax():
    """A mark at q from the axis and dz too high is displaced by q dz / (Z - dz)."""
    curl = Curl(height_mm=4.0, corner="lower left", reach_mm=400.0)
    truth = sheet(curl=curl, throw=Throw())
    flat = sheet(throw=Throw())
    at = MARKS[0] + (-3.0, 2.0)
    seen, plain = (centroid_px(photograph(t, at, shot=0)[0], STILL, EVEN)[0] for t in (truth, flat))
    height = 4.0 * (1.0 - np.hypot(20.0, 15.0) / 400.0) ** 2
    q = (MARKS[0] - at) * (1.0, -1.0) * STILL.px_per_mm
    assert seen - plain == pytest.approx(q * height / (200.0 - height), abs=0.01)


def test_the_lens_moves_what_is_off_the_middle_by_the_cube():
    optics = camera(size_px=(600, 400), lens_k1=0.004)
    truth = sheet(optics=optics)
    at = truth.marks_table_mm[0] + (18.0, 9.0)
    image, photo = photograph(truth, at, shot=0)
    plain = photo.image_from_table(truth.marks_table_mm[:1])[0]
    away = plain - (np.array((600.0, 400.0)) - 1.0) / 2.0
    bent = away * 0.004 * (away @ away) / (300.0**2 + 200.0**2)
    seen, _ = centroid_px(image, optics, EVEN)
    assert seen - plain == pytest.approx(bent, abs=0.012)  # the bend within the dot: 0.01 px
    assert np.abs(bent).max() > 0.2


@pytest.mark.parametrize("share", [0.1, 0.35, 0.5, 0.8])
@pytest.mark.parametrize("word", ["covered", "half_cut"])
def test_the_share_covered_is_the_share_asked_for(share, word):
    surface = replace(EVEN, tape=EVEN.white)  # the strip then looks like the sheet, as the bed does
    whole, less = (
        sheet(surface=surface, blemishes=b)
        for b in (Blemishes(), Blemishes(**{word: ((0, share, 0.7),)}))
    )
    at = whole.marks_table_mm[0]
    areas = [centroid_px(photograph(t, at, shot=0)[0], STILL, surface)[1] for t in (whole, less)]
    assert 1.0 - areas[1] / areas[0] == pytest.approx(share, abs=2e-3)
    # it comes from the direction asked for: what is left lies the other way
    image, photo = photograph(less, at, shot=0)
    left = photo.table_from_image(centroid_px(image, STILL, surface)[0][None])[0] - at
    angle = 0.7 + THROWN.turn_rad + np.pi
    assert np.arctan2(left[1], left[0]) % (2 * np.pi) == pytest.approx(angle, abs=0.01)


def test_half_of_a_disc_is_cut_off_through_its_middle():
    assert segment_height(0.5) == pytest.approx(0.0, abs=1e-12)
    h = segment_height(0.2)
    # area of a segment of height 1 - h: acos(h) - h sqrt(1 - h^2), a textbook formula
    assert (np.arccos(h) - h * np.sqrt(1 - h * h)) / np.pi == pytest.approx(0.2, abs=1e-12)


def test_a_missing_mark_leaves_bare_stock():
    truth = sheet(blemishes=Blemishes(missing=(3,)))
    image, _ = photograph(truth, truth.marks_table_mm[3], shot=0)
    assert np.ptp(image) == 0
    assert np.ptp(photograph(truth, truth.marks_table_mm[2], shot=0)[0]) > 100


@pytest.mark.parametrize("white", [0.9, 0.4])
@pytest.mark.parametrize("gamma", [1.0, 2.2])
def test_noise_is_as_asked(white, gamma):
    shot, read = 0.03, 0.01
    surface = Surface(white=white, bed=white, grain=0.0)
    optics = camera(noise=(shot, read), gamma=gamma, size_px=(300, 300))
    truth = sheet(surface=surface, optics=optics)
    image, _ = photograph(truth, (150.0, 80.0), shot=0)
    wanted = np.hypot(shot * np.sqrt(white), read)
    slope = 255.0 / gamma * white ** (1.0 / gamma - 1.0)  # codes per light
    quantised = np.hypot(wanted, 1.0 / slope / np.sqrt(12.0))
    # 90000 pixels: the standard deviation is known to 0.24 %; the gamma curve bends over 3 sd
    assert light_of(image, optics).std() == pytest.approx(quantised, rel=0.03)


@pytest.mark.parametrize("surface", [Surface(grain=0.02), Surface(grain=0.05, stretch=8.0)])
def test_grain_lies_on_the_sheet_and_has_the_contrast_asked_for(surface):
    optics = camera(size_px=(640, 480), blur_px=0.0)
    truth = sheet(surface=surface, optics=optics, throw=Throw())
    at = np.array((100.0, 60.0))
    first, _ = photograph(truth, at, shot=0)
    moved, _ = photograph(truth, at + np.array((5.0, 0.0)), shot=1)
    differ = first[:, 50:].astype(int) - moved[:, :-50]
    assert np.abs(differ).max() <= 1  # rounding
    assert (differ != 0).mean() < 0.01
    light = light_of(first, optics)
    # fine pixels smooth it a little; and it is a few hundred grains
    assert light.std() / light.mean() == pytest.approx(surface.grain, rel=0.2)


def test_light_falls_to_the_corner_and_glare_is_bright():
    optics = camera(size_px=(400, 300), light_fall=0.4)
    truth = sheet(optics=optics, surface=Surface(white=0.5, bed=0.5, grain=0.0))
    bare = light_of(photograph(truth, (100.0, 60.0), shot=0)[0], optics)
    # darkest corner: slope of (0.8, 0.6) ends fully there, and so does the fall of the lens
    assert bare[-1, -1] == pytest.approx(0.5 * 0.6, abs=0.004)
    assert bare[0, 0] == pytest.approx(0.5 * 0.8, abs=0.004)
    shiny = sheet(
        optics=optics,
        surface=Surface(white=0.5, bed=0.5, grain=0.0),
        blemishes=Blemishes(glare=0.8),
    )
    lit = [light_of(photograph(shiny, (100.0, 60.0), shot=s)[0], optics) for s in (0, 1)]
    assert lit[0].max() > 0.95
    assert (lit[0] >= bare).all()
    assert not np.array_equal(*lit)


def test_the_edge_of_the_stock_lies_where_the_throw_puts_it():
    surface = Surface(white=0.8, bed=0.2, grain=0.0)
    truth = sheet(surface=surface, throw=Throw(x_mm=10.0, y_mm=5.0))
    image, photo = photograph(truth, (10.0, 100.0), shot=0)
    share = (light_of(image, STILL).mean() - 0.2) / 0.6
    # the camera's axis is over the edge: half of the picture shows the stock
    assert share == pytest.approx(0.5, abs=2e-3)
    assert image[70, 10] < image[70, -10]
    assert photo.size_px == (160, 140)


@pytest.mark.parametrize("printer", [BENT, Printer(mirrored=True, turned_quarters=1, scale=0.97)])
@pytest.mark.parametrize("px_per_mm", [4.0, 10.0, 33.0])
def test_printed_pictures_lie_where_the_true_map_puts_them(printer, px_per_mm):
    """A dark square with one light quarter: its centre of darkness shows place and side up."""
    n = round(6.0 * px_per_mm)
    grey = np.zeros((n, n), np.uint8)
    grey[: n // 2, : n // 2] = 255
    patch = Patch(xy0_mm=(100.0, 80.0), px_per_mm=px_per_mm, grey=grey)
    truth = sheet(printer=printer, patches=(patch,))
    truth = replace(truth, blemishes=Blemishes(missing=tuple(range(7))))
    # three quarters are left; the upper left one is bare
    size = n / px_per_mm
    middle = np.array((100.0, 80.0)) + size / 2.0 + np.array((size / 12.0, -size / 12.0))
    place = truth.table_from_sheet(middle[None])[0]
    image, photo = photograph(truth, place, shot=0)
    seen, area = centroid_px(image, STILL, EVEN)
    assert seen == pytest.approx(photo.image_from_table(place[None])[0], abs=0.1)
    scale = 10.0 * printer.scale
    assert area == pytest.approx(0.75 * (size * scale) ** 2, rel=0.02)


@pytest.mark.reference("ISO/IEC 18004 symbols read by an independent decoder")
def test_a_printed_qr_symbol_is_read_back():
    zxingcpp = pytest.importorskip("zxingcpp")
    segno = pytest.importorskip("segno")
    symbol = np.array([list(row) for row in segno.make("JOB 7 SHEET 3", micro=False).matrix])
    grey = np.kron(np.pad(1 - symbol, 4, constant_values=1), np.ones((8, 8))) * 255
    patch = Patch(xy0_mm=(100.0, 80.0), px_per_mm=10.0, grey=grey.astype(np.uint8))
    optics = Optics(size_px=(600, 500), light_fall=0.3, turn_rad=0.5)
    truth = sheet(printer=BENT, patches=(patch,), optics=optics, surface=Surface())
    image, _ = photograph(truth, truth.table_from_sheet([(111.0, 91.0)])[0], shot=0)
    found = zxingcpp.read_barcodes(image)
    assert [f.text for f in found] == ["JOB 7 SHEET 3"]


def test_dirt_is_seen_where_it_lies():
    truth = sheet(blemishes=Blemishes(dirt_count=400, missing=tuple(range(7))), throw=Throw())
    dark = truth.dirt[(truth.dirt[:, 3] < 0.3) & (truth.dirt[:, 2] > 0.2)]
    inside = dark[((dark[:, :2] > 8.0) & (dark[:, :2] < (292.0, 192.0))).all(axis=1)]
    assert len(inside) >= 5
    for x, y, *_ in inside[:5]:
        image, _ = photograph(truth, (x, y), shot=0)
        assert image[68:72, 78:82].mean() < 150


def test_half_of_the_dirt_lies_near_marks():
    truth = sheet(blemishes=Blemishes(dirt_count=1000), throw=Throw())
    away = np.linalg.norm(truth.dirt[:, None, :2] - MARKS[None], axis=2).min(axis=1)
    assert 0.5 <= (away < 18.0).mean() < 0.7


@pytest.mark.reference("Cramer-Rao bound of a blurred disc; derived, agrees with a numeric sum")
def test_the_noise_bound_of_a_discs_centre_is_met_by_a_linear_estimator():
    """sd >= (sigma / C) sqrt(2 s / (sqrt(pi) R)) with s^2 = blur^2 + 1/12.

    An estimator linear about the noise-free picture reaches the bound; over 150 pictures its
    standard deviation is known to 4 % (two axes).
    """
    blur, sigma, contrast, radius = 1.5, 0.016, 0.8, 30.0
    optics = camera(blur_px=blur, size_px=(100, 100))
    surface = Surface(white=0.9, ink=0.1, bed=0.9, grain=0.0)
    marks = np.array([[50.0, 50.0]])
    box = (0.0, 0.0, 100.0, 100.0)
    calm, noisy = (
        print_and_throw(
            marks, 6.0, sheet_box_mm=box, printer=TRUE, surface=surface, optics=o, seed=3
        )
        for o in (optics, replace(optics, noise=(0.0, sigma)))
    )
    plain = light_of(photograph(calm, marks[0], shot=0)[0], optics)
    slope = np.stack([np.gradient(plain, axis=1), np.gradient(plain, axis=0)])
    weights = slope / (slope**2).sum(axis=(1, 2), keepdims=True)
    off = [
        -(weights * (light_of(photograph(noisy, marks[0], shot=k)[0], optics) - plain)).sum((1, 2))
        for k in range(150)
    ]
    s = np.sqrt(blur**2 + 1.0 / 12.0)
    bound = sigma / contrast * np.sqrt(2.0 * s / (np.sqrt(np.pi) * radius))
    assert np.std(off) == pytest.approx(bound, rel=0.13)


def test_the_same_seed_gives_the_same_bytes_and_others_do_not():
    def take(seed, shot):
        truth = sheet(
            seed=seed,
            optics=Optics(size_px=(160, 140)),
            surface=Surface(),
            printer=Printer(),
            blemishes=Blemishes(dirt_count=100, glare=0.1),
        )
        return photograph(truth, (60.0, 10.0), shot=shot)[0].tobytes()

    assert take(1, 0) == take(1, 0)
    assert len({take(1, 0), take(1, 1), take(2, 0)}) == 3


def test_the_photo_tells_what_the_job_may_know():
    truth = sheet(optics=camera(turn_rad=0.2))
    image, photo = photograph(truth, (12.0, 34.0), shot=61)
    assert image.shape == (140, 160)
    assert image.dtype == np.uint8
    assert photo.taken_at == "2000-01-01T00:01:01+00:00"
    assert (photo.px_per_mm, photo.turn_rad, photo.image_sha) == (10.0, 0.2, "")


@pytest.mark.parametrize("where", [(np.nan, 0.0), (1.0, 2.0, 3.0)])
def test_a_camera_without_a_place_is_refused(where):
    with pytest.raises(ModelError, match="camera_xy_mm"):
        photograph(sheet(), where, shot=0)


@pytest.mark.parametrize(
    "wrong",
    [
        {"size_px": (4, 100)},
        {"px_per_mm": 0.0},
        {"gamma": float("nan")},
        {"blur_px": -1.0},
        {"noise": (0.1, 0.9)},
        {"size_px": (20000, 20000)},
    ],
)
def test_a_camera_that_cannot_be_is_refused(wrong):
    (name,) = wrong
    with pytest.raises(ModelError, match=name):
        Optics(**wrong)


def test_a_picture_far_off_the_sheet_shows_the_bed():
    truth = sheet(surface=Surface(bed=0.3))
    image, _ = photograph(truth, (-5000.0, 9000.0), shot=0)
    assert light_of(image, STILL) == pytest.approx(np.full((140, 160), 0.3), abs=0.003)


def test_shots_are_counted_from_nought():
    with pytest.raises(ModelError, match="shot"):
        photograph(sheet(), (0.0, 0.0), shot=-1)
