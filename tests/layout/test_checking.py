"""The exact check says each fault once, and only faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import Severity
from kerfwright.errors.messages import load_catalogue
from kerfwright.geometry.paths import make_circle
from kerfwright.layout import check_layout, nest
from kerfwright.model.sheet import Layout
from layout.pieces import box, part, placed, polygon, sheet
from strategies import contours, numbers


def at(stock, places, *, unplaced=()):
    maps = [[[1.0, 0.0, x], [0.0, 1.0, y]] for _, x, y in places]
    return Layout(
        sheets=(stock,),
        part=np.array([p for p, _, _ in places], np.int64),
        sheet=np.zeros(len(places), np.int64),
        sheet_from_part=np.array(maps).reshape(-1, 2, 3),
        unplaced=unplaced,
    )


SQUARE = [part("a", box(100.0, 100.0)), part("b", box(20.0, 20.0))]
CASES = {
    "too near": ([(0, 50, 50), (1, 154, 50)], "LAY-120", 4.0, 5.0),
    "crossing": ([(0, 50, 50), (1, 140, 60)], "LAY-120", 0.0, 5.0),
    "inside one another": ([(0, 50, 50), (1, 90, 90)], "LAY-120", 0.0, 5.0),
    "in the margin": ([(0, 7, 50)], "LAY-121", 7.0, 10.0),
    "over the edge": ([(0, -30, 50)], "LAY-121", 0.0, 10.0),
    "off the sheet": ([(1, 900, 50)], "LAY-121", 0.0, 10.0),
    "near the hole": ([(1, 363, 90)], "LAY-121", 7.0, 10.0),
    "around the hole": ([(0, 370, 70)], "LAY-121", 0.0, 10.0),
    "on the keep-out": ([(1, 195, 195)], "LAY-122", 0.0, 0.0),
    "around the keep-out": ([(0, 150, 150)], "LAY-122", 0.0, 0.0),
    "in the keep-out": ([(1, 190, 190)], "LAY-122", 0.0, 0.0),
}
STOCK = sheet(
    600.0,
    400.0,
    margin_mm=10.0,
    holes=box(20.0, 20.0, 390.0, 90.0),
    keep_outs=make_circle((200.0, 200.0), 30.0),
)


@pytest.mark.parametrize("name", CASES)
def test_each_fault_is_named_once_with_its_numbers(name):
    places, code, measured, limit = CASES[name]
    found = check_layout(SQUARE, at(STOCK, places), spacing_mm=5.0)
    assert [f.code for f in found] == [code]
    assert found[0].severity is Severity.BLOCKS
    assert found[0].measured == pytest.approx(measured, abs=1e-9)
    assert found[0].limit == limit


@pytest.mark.parametrize(
    "places",
    [
        [(0, 0, 0), (0, 100, 0), (1, 200, 0), (0, 0, 100)],  # touching everything
        [(0, 500, 300)],
    ],
)
def test_touching_is_right_where_no_distance_is_wanted(places):
    stock = replace(STOCK, margin_mm=0.0)
    assert check_layout(SQUARE, at(stock, places), spacing_mm=0.0) == []


@pytest.mark.parametrize("by_mm", [2e-6, 1e-3, 1.0, 50.0, 100.0])
def test_overlaps_are_found_where_no_distance_is_wanted(by_mm):
    stock = replace(STOCK, margin_mm=0.0)
    across = check_layout(SQUARE, at(stock, [(0, 0, 0), (0, 100 - by_mm, 0)]), spacing_mm=0.0)
    assert "LAY-120" in {f.code for f in across}
    over = check_layout(SQUARE, at(stock, [(0, -by_mm, 0)]), spacing_mm=0.0)
    assert {f.code for f in over} == {"LAY-121"}


@pytest.mark.parametrize("gap_mm", [0.0, 3.0])
def test_a_push_of_two_micrometres_into_the_wanted_gap_is_found(gap_mm):
    exact = at(STOCK, [(0, 50, 250), (1, 150 + gap_mm, 260)])
    assert check_layout(SQUARE, exact, spacing_mm=gap_mm) == []
    pushed = at(STOCK, [(0, 50, 250), (1, 150 + gap_mm - 2e-6, 260)])
    assert [f.code for f in check_layout(SQUARE, pushed, spacing_mm=gap_mm)] == ["LAY-120"]


def test_the_same_place_twice_is_found():
    found = check_layout(SQUARE, at(STOCK, [(0, 50, 250), (0, 50, 250)]), spacing_mm=0.0)
    assert [f.code for f in found] == ["LAY-120"]


@settings(max_examples=40, deadline=None)
@given(one=contours(), two=contours(), x=numbers(-250, 250), y=numbers(-250, 250))
def test_pairs_are_judged_as_by_shapely(one, two, x, y):
    parts = [part("a", one), part("b", two)]
    stock = sheet(1000.0, 1000.0)
    layout = at(stock, [(0, 500, 500), (1, 500 + x, 500 + y)])
    a, b = (polygon(p, chord_mm=0.01) for p in placed(parts, layout))
    gap = a.distance(b)
    if abs(gap - 10.0) < 0.05:
        return
    found = {f.code for f in check_layout(parts, layout, spacing_mm=10.0)}
    assert ("LAY-120" in found) == (gap < 10.0)


def test_copies_without_a_place_are_said_with_their_reason():
    parts = [part("large", box(900.0, 50.0)), part("many", box(290.0, 190.0), quantity=9)]
    layout = nest(parts, [STOCK], spacing_mm=5.0, time_limit_s=60.0, seed=0)
    found = {f.code: f for f in check_layout(parts, layout, spacing_mm=5.0)}
    assert set(found) == {"LAY-110", "LAY-111"}
    assert found["LAY-110"].params == {"part": "large", "count": 1, "wanted": 1}
    assert found["LAY-111"].params["count"] == layout.unplaced.count("many") > 0


def test_sentences_can_be_written():
    book = load_catalogue()
    assert {c for c in book if c.startswith("LAY")} == {
        "LAY-110", "LAY-111", "LAY-120", "LAY-121", "LAY-122", "LAY-130",
    }  # fmt: skip


@given(seed=st.integers(0, 5))
@settings(max_examples=3, deadline=None)
def test_placing_order_does_not_matter_to_the_check(seed):
    rng = np.random.default_rng(seed)
    places = [(1, float(rng.uniform(20, 500)), float(rng.uniform(20, 300))) for _ in range(12)]
    pairs = []
    for every in (places, places[::-1]):
        found = check_layout(SQUARE, at(STOCK, every), spacing_mm=5.0)
        pairs.append(sorted((f.code, round(f.measured, 9)) for f in found))
    assert pairs[0] == pairs[1]
