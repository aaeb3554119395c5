"""The printer's map: what went in is measured back by other means, and nothing folds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.errors import ModelError
from kerfwright.virtual import Blemishes, Curl, Printer, Throw, print_and_throw
from kerfwright.virtual._ground import sheet_from_pixels
from kerfwright.virtual._view import View
from kerfwright.virtual.camera import camera_numbers, printer_numbers
from virtual.scenes import BENT, MARKS, SHEET, THROWN, sheet


def _grid(count=9):
    x, y = np.meshgrid(np.linspace(0, 300, count), np.linspace(0, 200, count))
    return np.column_stack((x.ravel(), y.ravel()))


def test_growths_skew_and_bow_are_measured_back_by_least_squares():
    printer = Printer(growth_x=0.0008, growth_y=0.0003, skew_rad=0.0011, bow_per_mm=1.1e-6)
    truth = sheet(printer=printer)
    xy = _grid()
    x, y = xy.T
    u, v = x - 150.0, y - 100.0
    turn = np.array(((np.cos(0.059), np.sin(0.059)), (-np.sin(0.059), np.cos(0.059))))
    on_stock = (truth.table_from_sheet(xy) - (31.7, -12.3)) @ turn.T
    columns = np.column_stack((np.ones(len(xy)), x, y, u * u, u * v, v * v))
    (a, *_), (b, *_) = (np.linalg.lstsq(columns, t, rcond=None) for t in on_stock.T)
    assert a[1] - 1.0 == pytest.approx(0.0008, abs=1e-12)
    assert b[2] - 1.0 == pytest.approx(0.0003, abs=1e-12)
    assert a[2] == pytest.approx(np.tan(0.0011), abs=1e-12)
    assert b[1] == pytest.approx(0.0, abs=1e-12)
    assert a[3:] == pytest.approx([0.0, -1.1e-6, 0.0], abs=1e-14)
    assert b[3:] == pytest.approx([0.55e-6, 0.0, 0.0], abs=1e-14)


def test_a_bow_over_a_long_sheet_has_the_sagitta_asked_for():
    """Sagitta of a chord L of curvature k is k L^2 / 8: elementary geometry."""
    box = (0.0, 0.0, 2440.0, 1220.0)
    printer = Printer(bow_per_mm=8.0 * 0.8 / 2440.0**2)
    truth = print_and_throw(MARKS, 6.0, sheet_box_mm=box, printer=printer)
    y = truth.table_from_sheet([(0.0, 610.0), (1220.0, 610.0), (2440.0, 610.0)])[:, 1]
    assert (y[0] + y[2]) / 2.0 - y[1] == pytest.approx(0.8, abs=1e-9)


def test_steps_jump_by_what_was_asked_and_everything_between_stays_monotone():
    truth = sheet(printer=Printer(steps=((60.0, 0.05, 0.08), (140.0, 0.0, -0.5))), throw=Throw())
    y = np.linspace(0.0, 200.0, 4001)
    seen = truth.table_from_sheet(np.column_stack((np.full_like(y, 50.0), y)))
    assert (np.diff(seen[:, 1]) > 0.0).all()
    off = seen - np.column_stack((np.full_like(y, 50.0), y))
    assert off[y < 59.4] == pytest.approx(0.0, abs=1e-12)
    middle = (y > 60.6) & (y < 139.4)
    assert off[middle] == pytest.approx(np.tile((0.05, 0.08), (middle.sum(), 1)), abs=1e-12)
    assert off[-1] == pytest.approx([0.05, -0.42], abs=1e-12)


def test_a_wrinkle_is_greatest_at_its_place_and_gone_a_width_away():
    truth = sheet(printer=Printer(wrinkle=(200.0, 90.0, 0.3, 80.0)), throw=Throw())
    at = np.array([(200.0, 90.0), (220.0, 90.0), (280.0, 90.0)])
    off = truth.table_from_sheet(at) - at
    assert off[:, 0] == pytest.approx(0.0, abs=1e-12)
    # one standard deviation is a quarter of the width; two widths of sd four times
    assert off[:, 1] == pytest.approx([0.3, 0.3 * np.exp(-0.5), 0.3 * np.exp(-8.0)], abs=1e-12)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("quarters", [0, 1, 2, 3, -1])
def test_a_page_mirrored_and_turned_stays_on_its_stock(mirrored, quarters):
    truth = sheet(printer=Printer(mirrored=mirrored, turned_quarters=quarters), throw=Throw())
    w, h = truth.stock_size_mm
    assert (w, h) == ((200.0, 300.0) if quarters % 2 else (300.0, 200.0))
    corners = truth.table_from_sheet([(0, 0), (300, 0), (300, 200), (0, 200)])
    assert sorted(map(tuple, np.round(corners, 9) + 0.0)) == sorted(
        [(0, 0), (w, 0), (w, h), (0, h)]
    )
    a, b = corners[1] - corners[0], corners[3] - corners[0]
    assert np.sign(a[0] * b[1] - a[1] * b[0]) == (-1.0 if mirrored else 1.0)
    sign = -1.0 if mirrored else 1.0
    assert np.arctan2(*(sign * a)[::-1]) % (2 * np.pi) == pytest.approx(
        quarters * np.pi / 2.0 % (2 * np.pi), abs=1e-9
    )


def test_fit_to_page_shrinks_about_the_middle():
    truth = sheet(printer=Printer(scale=0.97), throw=Throw())
    at = np.array([(0.0, 0.0), (150.0, 100.0), (300.0, 200.0)])
    assert truth.table_from_sheet(at) == pytest.approx(
        np.array([(4.5, 3.0), (150.0, 100.0), (295.5, 197.0)]), abs=1e-12
    )


numbers = st.floats(-1.0, 1.0, allow_nan=False)


@given(
    growth=st.tuples(numbers, numbers),
    skew=numbers,
    bow=numbers,
    step=numbers,
    wrinkle=numbers,
    quarters=st.integers(0, 3),
    mirrored=st.booleans(),
    lens=numbers,
    curl=st.floats(0.0, 1.0),
    turn=st.floats(-3.0, 3.0),
)
def test_kernels_find_the_way_back_from_pixels_to_the_sheet(
    growth, skew, bow, step, wrinkle, quarters, mirrored, lens, curl, turn
):
    """The forward maps are NumPy, the way back is iterated in kernels by other code."""
    printer = Printer(
        growth_x=0.005 * growth[0],
        growth_y=0.005 * growth[1],
        skew_rad=0.01 * skew,
        bow_per_mm=5e-6 * bow,
        steps=((80.0, 0.2 * step, 0.3 * step), (120.0, 0.0, -0.3 * step)),
        wrinkle=(150.0, 100.0, 4.0 * wrinkle, 80.0),
        mirrored=mirrored,
        turned_quarters=quarters,
        scale=0.98,
    )
    optics = sheet().optics
    optics = type(optics)(size_px=(1600, 1200), lens_k1=0.02 * lens, turn_rad=turn)
    truth = sheet(
        printer=printer,
        throw=Throw(x_mm=10.0, y_mm=20.0, turn_rad=turn),
        curl=Curl(height_mm=5.0 * curl, corner="lower right"),
        optics=optics,
    )
    middle = truth.table_from_sheet([(150.0, 100.0)])[0]
    view = View(truth=truth, axis_mm=middle)
    xy = np.random.default_rng(5).uniform((100.0, 60.0), (200.0, 140.0), size=(200, 2))
    back = sheet_from_pixels(
        view.image_from_sheet(xy), camera_numbers(view), *printer_numbers(truth)
    )
    assert np.abs(back - xy).max() < 1e-5


def test_dots_are_misplaced_as_asked():
    marks = np.random.default_rng(0).uniform(10, 190, size=(4000, 2))
    truth = print_and_throw(
        marks, 6.0, sheet_box_mm=SHEET, printer=Printer(dot_sd_mm=0.03), throw=THROWN, seed=4
    )
    off = truth.marks_table_mm - truth.table_from_sheet(marks)
    # standard error of a standard deviation over 8000 numbers: 0.8 %
    assert off.std() == pytest.approx(0.03, rel=0.03)
    assert np.abs(off.mean(axis=0)).max() < 4.0 * 0.03 / np.sqrt(4000)


def test_the_same_seed_gives_the_same_sheet_and_another_one_differs():
    blemishes = Blemishes(dirt_count=50)
    printer = Printer(dot_sd_mm=0.02)
    first, same, other = (sheet(seed=s, blemishes=blemishes, printer=printer) for s in (7, 7, 8))
    assert first.digest == same.digest
    for name in ("marks_table_mm", "rag_mm", "dirt"):
        assert not np.array_equal(getattr(first, name), getattr(other, name))


def test_ragged_edges_have_the_root_mean_square_asked_for():
    truth = sheet(printer=Printer(edge_rag_mm=0.006))
    angle = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    orders = np.arange(2, 25)[:, None] * angle
    for rag in truth.rag_mm:
        edge = rag[:, 0] @ np.cos(orders) + rag[:, 1] @ np.sin(orders)
        assert np.sqrt((edge**2).mean()) == pytest.approx(0.006, rel=1e-9)


def test_stock_outline_is_rigid_whatever_the_print():
    corners = sheet(printer=BENT).stock_outline_table_mm()
    sides = np.hypot(*np.diff(np.vstack((corners, corners[:1])), axis=0).T)
    assert sides == pytest.approx([300.0, 200.0, 300.0, 200.0], abs=1e-9)
    assert corners[0] == pytest.approx([31.7, -12.3])


@pytest.mark.parametrize(
    ("make", "word"),
    [
        (lambda: Printer(steps=((10.0, 0.0, 0.6),)), "fold"),
        (lambda: Printer(steps=((10.0, 0.0, 0.1), (10.5, 0.0, 0.1))), "apart"),
        (lambda: Printer(wrinkle=(0.0, 0.0, 9.0, 10.0)), "fifth"),
        (lambda: Printer(growth_x=float("nan")), "growth_x"),
        (lambda: Printer(scale=0.0), "scale"),
        (lambda: Curl(height_mm=1.0, corner="middle"), "corner"),
        (lambda: Throw(x_mm=float("inf")), "x_mm"),
        (lambda: Blemishes(covered=((0, 1.0, 0.0),)), "share"),
        (lambda: Blemishes(covered=((0.5, 0.5, 0.0),)), "whole numbers"),
        (lambda: sheet(blemishes=Blemishes(missing=(7,))), "mark 7"),
        (lambda: sheet(seed=-1), "seed"),
        (lambda: print_and_throw(MARKS, 0.0, sheet_box_mm=SHEET), "diameter_mm"),
        (lambda: print_and_throw(MARKS, 6.0, sheet_box_mm=(0, 0, 0, 5)), "empty"),
    ],
)
def test_what_cannot_be_is_refused_with_its_name(make, word):
    with pytest.raises(ModelError, match=word):
        make()
