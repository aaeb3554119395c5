"""Layouts by a second oracle, and what must not change them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import GeometryError, UsageError
from kerfwright.geometry.paths import empty_paths, join_sets, make_circle, make_path
from kerfwright.layout import check_layout, nest
from layout.pieces import box, part, placed, polygon, sheet
from strategies import contours, numbers

QUARTERS = (0.0, math.pi / 2.0, math.pi, -math.pi / 2.0)
CHORD = 0.01


def lay(parts, sheets, *, spacing_mm=5.0, time_limit_s=600.0, seed=0):
    return nest(parts, sheets, spacing_mm=spacing_mm, time_limit_s=time_limit_s, seed=seed)


@st.composite
def orders(draw, *, most=4):
    parts = []
    for k in range(draw(st.integers(1, most))):
        turns = draw(st.sampled_from([(0.0,), QUARTERS, (0.3, 2.0)]))
        parts.append(
            part(
                f"p{k}",
                draw(contours()),
                quantity=draw(st.integers(1, 4)),
                priority=draw(st.integers(0, 2)),
                rotations_rad=turns,
                bleed_mm=draw(st.sampled_from([0.0, 3.0])),
            )
        )
    return parts


@st.composite
def stocks(draw):
    keep_outs = [make_circle((draw(numbers(0, 700)), draw(numbers(0, 500))), 20.0)]
    holes = [box(40.0, 30.0, draw(numbers(100, 600)), draw(numbers(100, 400)))]
    one = sheet(
        800.0,
        600.0,
        margin_mm=draw(st.sampled_from([0.0, 8.0])),
        keep_outs=join_sets(keep_outs) if draw(st.booleans()) else empty_paths(),
        holes=join_sets(holes) if draw(st.booleans()) else empty_paths(),
    )
    ell = make_path(
        [(0, 0), (500, 0), (500, 250), (250, 400), (250, 500), (0, 500)],
        [0.0, 0.0, 0.2, 0.0, -0.3, 0.0],
        closed=True,
    )
    return [one, replace(one, id="s2", outline=ell)]


def assert_apart_by_shapely(parts, layout, spacing_mm):
    """Chords rise at most CHORD above an arc, so distances by them are off by twice that."""
    shapes = [polygon(p, chord_mm=CHORD) for p in placed(parts, layout)]
    bleed = [parts[p].bleed_mm for p in layout.part.tolist()]
    slack = 2.0 * CHORD + 1e-6
    for s, stock in enumerate(layout.sheets):
        edge = polygon(stock.outline, chord_mm=CHORD)
        solids = [(h, stock.margin_mm) for h in range(len(stock.holes))]
        rows = np.flatnonzero(layout.sheet == s).tolist()
        for place, i in enumerate(rows):
            out = shapes[i].difference(edge).area
            assert out <= slack * shapes[i].length, "over the edge of the sheet"
            assert shapes[i].exterior.distance(edge.exterior) >= stock.margin_mm - slack
            for h, margin in solids:
                assert shapes[i].distance(polygon(stock.holes.select([h]))) >= margin - slack
            for k in range(len(stock.keep_outs)):
                away = shapes[i].distance(polygon(stock.keep_outs.select([k])))
                assert away >= bleed[i] - slack
            for j in rows[:place]:
                wanted = max(spacing_mm, bleed[i] + bleed[j])
                assert shapes[i].distance(shapes[j]) >= wanted - slack
                assert shapes[i].intersection(shapes[j]).area <= slack * shapes[i].length


@settings(max_examples=25, deadline=None)
@given(parts=orders(), sheets=stocks(), spacing=st.sampled_from([0.0, 1.5, 12.0]))
def test_distances_hold_by_the_exact_check_and_by_shapely(parts, sheets, spacing):
    layout = lay(parts, sheets, spacing_mm=spacing)
    wrong = [f for f in check_layout(parts, layout, spacing_mm=spacing) if f.severity == "blocks"]
    assert wrong == []
    assert_apart_by_shapely(parts, layout, spacing)
    counted = {p.id: layout.unplaced.count(p.id) for p in parts}
    for k, p in enumerate(parts):
        assert np.count_nonzero(layout.part == k) + counted[p.id] == p.quantity


@settings(max_examples=15, deadline=None)
@given(parts=orders(), seed=st.integers(0, 3))
def test_everything_is_placed_on_a_large_empty_sheet(parts, seed):
    layout = lay(parts, [sheet(4000.0, 4000.0, margin_mm=5.0)], seed=seed)
    assert layout.unplaced == ()
    assert len(layout.sheets) == 1


@settings(max_examples=10, deadline=None)
@given(parts=orders(most=3), sheets=stocks(), seed=st.integers(0, 9))
def test_the_same_seed_gives_the_same_layout(parts, sheets, seed):
    assert lay(parts, sheets, seed=seed).digest == lay(parts, sheets, seed=seed).digest


@settings(max_examples=15, deadline=None)
@given(parts=orders(most=3), sheets=stocks(), x=numbers(-900, 900), y=numbers(-900, 900))
def test_moving_the_artwork_moves_nothing_on_the_sheet(parts, sheets, x, y):
    move = np.array([[1.0, 0.0, x], [0.0, 1.0, y]])
    moved = [replace(p, paths=p.paths.transformed(move)) for p in parts]
    one, two = lay(parts, sheets), lay(moved, sheets)
    assert one.part.tolist() == two.part.tolist()
    for a, b in zip(placed(parts, one), placed(moved, two), strict=True):
        np.testing.assert_allclose(a.points, b.points, atol=2e-6)


def test_tilings_without_spacing_fill_the_sheet():
    squares = [part("a", box(100.0, 100.0), quantity=6)]
    layout = lay(squares, [sheet(300.0, 200.0)], spacing_mm=0.0)
    assert layout.unplaced == ()
    assert layout.density == pytest.approx(1.0, abs=1e-12)
    assert check_layout(squares, layout, spacing_mm=0.0) == []


def test_round_parts_fill_a_row_as_tightly_as_their_boxes():
    discs = [part("a", make_circle((7.0, 3.0), 150.0), quantity=8)]
    layout = lay(discs, [sheet(2465.0, 310.0, margin_mm=5.0)], spacing_mm=55.0 / 7.0)
    assert layout.unplaced == ()


def test_parts_lie_into_one_another():
    """Two L shapes make a block of 3 by 4; side by side their boxes would need 6 by 3."""
    ell = make_path([(0, 0), (300, 0), (300, 100), (100, 100), (100, 300), (0, 300)], closed=True)
    layout = lay(
        [part("a", ell, quantity=2, rotations_rad=QUARTERS)],
        [sheet(300.0, 400.0), sheet(300.0, 400.0, name="s2")],
        spacing_mm=0.0,
    )
    assert len(layout.sheets) == 1
    assert layout.unplaced == ()


def test_a_part_that_fits_in_one_turn_only_is_turned():
    layout = lay([part("a", box(300.0, 80.0), rotations_rad=QUARTERS)], [sheet(100.0, 400.0)])
    assert layout.unplaced == ()
    assert placed([part("a", box(300.0, 80.0))], layout)[0].box_mm() == pytest.approx(
        (0.0, 0.0, 80.0, 300.0), abs=1e-6
    )


def test_higher_priority_goes_first_when_sheets_run_out():
    parts = [
        part("large", box(180.0, 180.0), priority=0),
        part("small", box(90.0, 90.0), priority=5, quantity=2),
    ]
    layout = lay(parts, [sheet(200.0, 200.0)])
    assert layout.unplaced == ("large",)


def test_copies_left_over_are_named_once_each():
    layout = lay([part("a", box(90.0, 90.0), quantity=6)], [sheet(200.0, 200.0)])
    assert layout.unplaced == ("a", "a")
    assert len(layout.part) == 4


def test_sheets_are_used_in_order_and_unused_ones_left_out():
    stock = [sheet(200.0, 200.0, name=f"s{k}") for k in range(4)]
    layout = lay([part("a", box(150.0, 150.0), quantity=2)], stock)
    assert [s.id for s in layout.sheets] == ["s0", "s1"]
    assert layout.density == pytest.approx(2 * 150.0**2 / (2 * 200.0**2))


def test_bleeds_do_not_overlap_though_the_spacing_would_allow_it():
    parts = [part("a", box(100.0, 100.0), quantity=2, bleed_mm=4.0)]
    one, two = placed(parts, lay(parts, [sheet(500.0, 150.0)], spacing_mm=2.0))
    gap = max(one.box_mm()[0], two.box_mm()[0]) - min(one.box_mm()[2], two.box_mm()[2])
    assert gap == pytest.approx(8.0, abs=1e-6)


def test_nothing_is_placed_inside_the_window_of_another_part():
    frame = join_sets([box(300.0, 300.0), box(200.0, 200.0, 50.0, 50.0)])
    parts = [part("frame", frame), part("fill", box(100.0, 100.0))]
    layout = lay(parts, [sheet(310.0, 310.0)])
    assert layout.unplaced == ("fill",)


def test_time_that_is_up_gives_whole_placements_only():
    parts = [
        part(f"p{k}", make_circle((0.0, 0.0), 20.0 + k), quantity=8, rotations_rad=(0.0, 0.5))
        for k in range(12)
    ]
    layout = lay(parts, [sheet(2000.0, 1000.0)], time_limit_s=1e-9)
    assert len(layout.part) + len(layout.unplaced) == 96
    assert len(layout.unplaced) > 0
    assert [f for f in check_layout(parts, layout, spacing_mm=5.0) if f.severity == "blocks"] == []


def test_no_parts_and_no_sheets_give_empty_layouts():
    assert len(lay([], [sheet(100.0, 100.0)]).part) == 0
    assert lay([part("a", box(10.0, 10.0))], []).unplaced == ("a",)


@pytest.mark.parametrize(
    "wrong", [{"spacing_mm": -1.0}, {"spacing_mm": math.nan}, {"time_limit_s": 0.0}]
)
def test_wrong_limits_are_refused(wrong):
    with pytest.raises(UsageError, match="must be"):
        lay([part("a", box(10.0, 10.0))], [sheet(100.0, 100.0)], **wrong)


def test_a_part_without_any_turn_is_refused():
    with pytest.raises(UsageError, match="part a allows no turn"):
        lay([part("a", box(10.0, 10.0), rotations_rad=())], [sheet(100.0, 100.0)])


def test_an_open_keep_out_is_refused():
    line = make_path([(0.0, 0.0), (10.0, 0.0)], closed=False)
    with pytest.raises(GeometryError, match="keep-out 0 is an open path"):
        lay([part("a", box(10.0, 10.0))], [sheet(100.0, 100.0, keep_outs=line)])


def test_a_part_without_an_outline_is_kept_by_its_box():
    line = make_path([(0.0, 0.0), (50.0, 50.0)], closed=False)
    parts = [part("a", line, outline=-1, quantity=4)]
    layout = lay(parts, [sheet(110.0, 110.0)], spacing_mm=10.0)
    assert layout.unplaced == ()
    boxes = [shapely.box(*p.box_mm()) for p in placed(parts, layout)]
    gaps = [a.distance(b) for i, a in enumerate(boxes) for b in boxes[:i]]
    assert min(gaps) == pytest.approx(10.0, abs=1e-6)
    assert [f.code for f in check_layout(parts, layout, spacing_mm=10.0)] == ["LAY-130"]
