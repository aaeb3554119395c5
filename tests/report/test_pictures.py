"""What the pictures show: states told apart without colour, places right, no letters lost."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.errors import ModelError
from kerfwright.geometry.paths import join_sets, make_circle
from kerfwright.report import ErrorMap, PartLine, SheetPicture, ticket_pdf
from kerfwright.report.frame import nice_step, window_at
from kerfwright.report.heat import classes_of, worst_sentence
from kerfwright.report.labels import is_inside, roomiest_place
from kerfwright.report.look import LEFT_MM, MAP_RAMP, STATES
from kerfwright.report.pen import Pen, hatch, text_width_mm
from kerfwright.report.picture import draw_part
from report.reading import picture_of
from report.samples import SHEET, error_map, laid, rectangle, ticket

GREY = np.array((0.299, 0.587, 0.114))
"""Luma of red, green, blue: ITU-R BT.601, from memory."""


def grey_of(colours: np.ndarray) -> np.ndarray:
    return colours @ GREY


def drawn_part(state: str) -> np.ndarray:
    """A part of 60 by 60 mm alone on a page, as grey values without its edge."""
    pen = Pen(title="t", subject="s")
    corners = np.array(((50.0, 50.0), (110.0, 50.0), (110.0, 110.0), (50.0, 110.0)))
    draw_part(pen, [(corners, True)], state)
    pen.end_page()
    page = grey_of(picture_of(pen.to_bytes(), px_per_mm=8.0).astype(float))
    height = len(page)
    return page[height - 105 * 8 : height - 55 * 8, 55 * 8 : 105 * 8]


def test_states_differ_without_colour_by_how_much_is_hatched():
    dark = {state: float((drawn_part(state) < 200.0).mean()) for state in STATES}
    assert dark["will_cut"] == 0.0
    assert min(dark[s] for s in STATES if s != "will_cut") > 0.02
    assert dark["will_not_cut"] > 1.5 * dark["check"]


def test_hatches_run_in_different_directions():
    level, slanted = drawn_part("needs_you"), drawn_part("check")
    assert np.ptp(level, axis=1).max() < 1.0, "level lines are the same along a row"
    assert np.ptp(slanted, axis=1).min() > 50.0


def test_letters_and_shapes_of_states_are_all_different():
    assert len({look.letter for look in STATES.values()}) == len(STATES)
    assert len({look.shape for look in STATES.values()}) == len(STATES)


def test_the_ramp_falls_in_grey_by_visible_steps():
    greys = [float(grey_of(255.0 * np.array(c))) for c in MAP_RAMP]
    assert all(a - b > 20.0 for a, b in pairwise(greys))


def test_holes_of_a_part_stay_paper():
    pen = Pen(title="t", subject="s")
    outer = np.array(((50.0, 50.0), (110.0, 50.0), (110.0, 110.0), (50.0, 110.0)))
    inner = outer * 0.5 + 40.0
    draw_part(pen, [(outer, True), (inner, True)], "will_not_cut")
    pen.end_page()
    page = picture_of(pen.to_bytes(), px_per_mm=4.0)
    hole = page[len(page) - 92 * 4 : len(page) - 68 * 4, 68 * 4 : 92 * 4]
    assert (hole == 255).all()


def test_hatch_of_a_figure_far_larger_than_the_page_stays_small():
    pen = Pen(title="t", subject="s")
    corners = np.array(((-1e7, -1e7), (1e7, -1e7), (1e7, 1e7), (-1e7, 1e7)))
    hatch(pen, [(corners, True)], step_mm=2.0, turn_deg=45.0, colour=(0.0, 0.0, 0.0))
    pen.end_page()
    pdf = pen.to_bytes()
    assert len(pdf) < 50_000
    assert (picture_of(pdf, px_per_mm=3.0) < 128).mean() > 0.01


def one_part(x0: float, y0: float, x1: float, y1: float) -> SheetPicture:
    return SheetPicture(
        view_mm=(0.0, 0.0, 2600.0, 1500.0),
        sheet=laid(rectangle(0.0, 0.0, *SHEET)),
        outlines=rectangle(x0, y0, x1, y1),
        part=np.array([0]),
    )


def test_a_part_is_drawn_where_it_lies():
    line = PartLine(
        part="p", state="will_not_cut", deviation_mm=1.0, low_mm=1.0, high_mm=1.0, limit_mm=0.5
    )
    scale = 8.0
    pages = [
        picture_of(ticket_pdf(ticket(parts=(line,), picture=p, holds=())), px_per_mm=scale)
        for p in (one_part(500.0, 500.0, 800.0, 900.0), one_part(1500.0, 500.0, 1800.0, 900.0))
    ]
    rows, columns = np.nonzero((pages[0] != pages[1]).any(axis=2))
    # the view is 2600 mm wide between left edge and ruler of 7 mm, and the page's right edge
    per_mm = (194.0 - LEFT_MM - 7.0) / 2600.0
    left = (LEFT_MM + 7.0 + 500.0 * per_mm) * scale
    right = (LEFT_MM + 7.0 + 1800.0 * per_mm) * scale
    assert columns.min() == pytest.approx(left, abs=3.0)
    assert columns.max() == pytest.approx(right, abs=3.0)
    assert np.ptp(rows) == pytest.approx(400.0 * per_mm * scale, abs=5.0)


def test_window_keeps_shapes_and_scale():
    window = window_at((-100.0, 50.0, 900.0, 550.0), left_mm=16.0, top_mm=200.0, scale=0.1)
    corners = window.to_page(np.array(((-100.0, 50.0), (900.0, 550.0))))
    assert corners == pytest.approx(np.array(((23.0, 150.0), (123.0, 200.0))))
    rings = window.rings(make_circle((400.0, 300.0), 100.0))
    radius = np.hypot(*(rings[0][0] - window.to_page(np.array((400.0, 300.0)))).T)
    assert radius == pytest.approx(np.full(len(radius), 10.0))


@given(st.floats(1e-6, 1e6))
def test_nice_steps_are_one_two_five(least):
    step = nice_step(least)
    assert least * (1.0 - 1e-6) <= step <= 2.5 * least * (1.0 + 1e-6)
    mantissa = float(f"{step:.6e}".partition("e")[0])
    assert mantissa in {1.0, 2.0, 5.0}


@given(
    x=st.floats(-50.0, 50.0),
    y=st.floats(-50.0, 50.0),
    inner=st.floats(2.0, 18.0),
    outer=st.floats(20.0, 30.0),
)
def test_a_label_lies_inside_its_part_and_not_in_its_hole(x, y, inner, outer):
    paths = join_sets((make_circle((x, y), outer), make_circle((x, y), inner)))
    window = window_at((-100.0, -100.0, 100.0, 100.0), left_mm=16.0, top_mm=250.0, scale=0.5)
    rings = window.rings(paths)
    (px, py), width, height = roomiest_place(rings)
    figure = shapely.Polygon(rings[0][0], [rings[1][0]])
    assert figure.contains(shapely.Point(px, py))
    assert is_inside(rings, (px, py))
    piece = shapely.LineString(((px - 0.49 * width, py), (px + 0.49 * width, py)))
    upright = shapely.LineString(((px, py - 0.49 * height), (px, py + 0.49 * height)))
    assert figure.buffer(1e-6).contains(piece)
    assert figure.buffer(1e-6).contains(upright)


def test_classes_of_the_map_hold_every_value():
    sample = error_map()
    steps = classes_of(sample)
    assert len(steps) == len(MAP_RAMP) + 1
    assert steps[0] == 0.0
    assert np.nanmax(sample.deviation_mm) <= steps[-1]


def test_the_worst_place_of_the_map_is_said():
    values = np.full((3, 4), 0.1)
    values[2, 1] = 0.345
    values[0, 0] = np.nan
    sample = ErrorMap(
        x_mm=np.arange(5) * 100.0, y_mm=np.arange(4) * 50.0, deviation_mm=values, limit_mm=0.5
    )
    assert "0.345 mm near (150, 125)" in worst_sentence(sample)
    assert "No place is above" in worst_sentence(sample)
    assert "No place is above" not in worst_sentence(replace(sample, limit_mm=0.3))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"x_mm": [0.0, 0.0]}, "growing"),
        ({"deviation_mm": [[np.nan]]}, "no cell"),
        ({"deviation_mm": [[-1.0]]}, "0 or more"),
        ({"deviation_mm": [[np.inf]]}, "0 or more"),
        ({"limit_mm": 0.0}, "above 0"),
        ({"level": 1.0}, "in 0 to 1"),
    ],
)
def test_a_map_that_makes_no_sense_is_refused(change, words):
    fields = {"x_mm": [0.0, 1.0], "y_mm": [0.0, 1.0], "deviation_mm": [[0.1]], "limit_mm": 0.5}
    assert ErrorMap(**fields)
    with pytest.raises(ModelError, match=words):
        ErrorMap(**(fields | change))


def test_a_picture_of_nothing_is_refused():
    with pytest.raises(ModelError, match="is empty"):
        replace(one_part(0.0, 0.0, 1.0, 1.0), view_mm=(0.0, 0.0, 0.0, 1.0))
    with pytest.raises(ModelError, match="must be one of table, sheet"):
        replace(one_part(0.0, 0.0, 1.0, 1.0), frame="image")


@pytest.mark.reference("Helvetica Bold: digits 556, W 944 thousandths; Adobe core 14 AFM, memory")
def test_widths_are_those_of_the_standard_font():
    wide = text_width_mm("0123456789", size_pt=10.0, bold=True)
    assert wide == pytest.approx(10 * 0.556 * 10.0 * 25.4 / 72.0)
    assert text_width_mm("W", size_pt=10.0) == pytest.approx(0.944 * 10.0 * 25.4 / 72.0)
