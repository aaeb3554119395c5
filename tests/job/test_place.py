"""Parts from the drawing to the sheet to the table, and the side each contour has its part on."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point, Polygon

from job.orders import sheet_of
from kerfwright.geometry.paths import PathSet, join_sets, make_circle, make_path
from kerfwright.job.place import (
    keep_placements,
    lay_as_drawn,
    lies_on,
    part_sides,
    place_contours,
)
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout
from kerfwright.model.table import LoadPose
from model.samples import KISS, TABLE, THROUGH

FLAT = replace(TABLE, load_pose=LoadPose(x_mm=60.0, y_mm=50.0, turn_rad=0.0))


def box(x0, y0, x1, y1, *, clockwise=False) -> PathSet:
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    return make_path(corners[::-1] if clockwise else corners, closed=True)


def part(part_id: str, *paths: PathSet, operation=THROUGH) -> Part:
    joined = join_sets(paths)
    return Part(
        id=part_id,
        paths=joined,
        contour_ids=tuple(f"{part_id}-{i}" for i in range(len(joined))),
        operations=(operation,),
        operation=np.zeros(len(joined), np.int64),
        outline=0,
    )


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    return st.integers(int(low * 100), int(high * 100)).map(lambda k: k / 100)


@given(numbers(-1e4, 1e4), numbers(-1e4, 1e4), numbers(0, 50))
def test_a_drawing_lies_at_the_margin_wherever_it_was_drawn(x, y, margin_mm):
    parts = [part("a", box(x, y, x + 200, y + 100)), part("b", make_circle((x + 300, y + 80), 60))]
    sheet = sheet_of(margin_mm=margin_mm)
    laid = lay_as_drawn(parts, sheet)
    assert laid.findings == ()
    placed = place_contours(parts, laid.layout, FLAT)
    assert placed.on_sheet.box_mm() == pytest.approx(
        (margin_mm, margin_mm, margin_mm + 360, margin_mm + 140), abs=1e-9
    )
    assert placed.on_table.box_mm()[:2] == pytest.approx((margin_mm + 60, margin_mm + 50), abs=1e-9)
    first, second = placed.on_sheet.bounds_mm()[:, :2]
    assert (second - first).tolist() == pytest.approx([240.0, 20.0], abs=1e-9)


@pytest.mark.parametrize(
    ("width_mm", "height_mm", "sides"),
    [
        (980.0, 480.0, []),
        (980.5, 480.0, ["width"]),
        (980.0, 480.5, ["height"]),
        (2000.0, 900.0, ["width", "height"]),
    ],
)
def test_a_drawing_larger_than_the_sheet_is_said_for_each_side(width_mm, height_mm, sides):
    laid = lay_as_drawn([part("a", box(0, 0, width_mm, height_mm))], sheet_of())
    assert [f.params["side"] for f in laid.findings] == sides
    for finding in laid.findings:
        wide = finding.params["side"] == "width"
        assert finding.code == "JOB-110"
        assert finding.measured == pytest.approx(width_mm if wide else height_mm)
        assert finding.limit == pytest.approx(980.0 if wide else 480.0)


def test_without_parts_nothing_is_laid():
    laid = lay_as_drawn([], sheet_of())
    assert len(laid.layout.part) == 0
    assert laid.findings == ()


def test_density_is_part_area_over_sheet_area():
    laid = lay_as_drawn(
        [part("a", box(0, 0, 100, 50)), part("b", box(200, 0, 300, 50))], sheet_of()
    )
    assert laid.layout.density == pytest.approx(2 * 100 * 50 / (1000 * 500))


def test_copies_have_ids_of_their_own_and_single_parts_keep_theirs():
    parts = [part("a", box(0, 0, 50, 50)), part("b", box(0, 0, 20, 20), operation=KISS)]
    shift = np.zeros((3, 2, 3))
    shift[:, 0, 0] = shift[:, 1, 1] = 1.0
    shift[:, 0, 2] = [10.0, 100.0, 200.0]
    layout = Layout(sheets=(sheet_of(),), part=[1, 0, 1], sheet=[0, 0, 0], sheet_from_part=shift)
    placed = place_contours(parts, layout, FLAT)
    assert placed.contours == ("b-0@1", "a-0", "b-0@2")
    assert placed.placement.tolist() == [0, 1, 2]
    assert placed.on_sheet.bounds_mm()[:, 0].tolist() == [10.0, 100.0, 200.0]
    names = [placed.operations[i].id for i in placed.operation]
    assert names == ["kiss", "through", "kiss"]
    kept = keep_placements(placed, np.array([True, False, True]))
    assert kept.contours == ("b-0@1", "b-0@2")
    assert kept.on_table.bounds_mm()[:, 0].tolist() == [70.0, 260.0]
    assert kept.operations == placed.operations


@pytest.mark.parametrize("turn_rad", [0.0, pi / 6, -pi / 2])
def test_the_sheet_lies_where_the_load_pose_says(turn_rad):
    table = replace(TABLE, load_pose=LoadPose(x_mm=60.0, y_mm=50.0, turn_rad=turn_rad))
    parts = [part("a", box(0, 0, 50, 50))]
    sheet = sheet_of()
    placed = place_contours(parts, lay_as_drawn(parts, sheet).layout, table)
    corners = np.array([(0, 0), (1000, 0), (1000, 500), (0, 500)]) @ np.array(
        [[np.cos(turn_rad), np.sin(turn_rad)], [-np.sin(turn_rad), np.cos(turn_rad)]]
    ) + (60.0, 50.0)
    expected = (*corners.min(axis=0), *corners.max(axis=0))
    assert lies_on(placed.table_from_sheet, sheet) == pytest.approx(expected)


# ---------------------------------------------------------------- the part's side


@st.composite
def nests(draw) -> list[PathSet]:
    """Boxes and circles side by side and inside each other, run either way round."""
    found = []
    for column in range(draw(st.integers(1, 3))):
        x = 200.0 * column
        for level in range(draw(st.integers(1, 4))):
            half, clockwise = 80.0 * 0.6**level, draw(st.booleans())
            shape = (
                make_circle((x + 80, 80), half, clockwise=clockwise)
                if draw(st.booleans())
                else box(x + 80 - half, 80 - half, x + 80 + half, 80 + half, clockwise=clockwise)
            )
            found.append(shape)
    return draw(st.permutations(found))


def side_by_sampling(paths: PathSet, index: int) -> int:
    """Whether a point just left of the first edge is inside an odd number of contours."""
    polygons = [Polygon(flattened(paths.select([i]))) for i in range(len(paths))]
    points = flattened(paths.select([index]))
    a, b = points[0], points[1]
    middle, along = (a + b) / 2, b - a
    left = middle + 0.01 * np.array((-along[1], along[0])) / hypot(*along)
    inside = sum(p.contains(Point(left)) for p in polygons)
    return 1 if inside % 2 else -1


def flattened(path: PathSet) -> np.ndarray:
    if not path.bulges.any():
        return path.points
    x0, y0, x1, y1 = path.box_mm()
    turn = np.linspace(0.0, 2.0 * pi, 721)[:-1] * np.sign(path.bulges[0])
    radius = (x1 - x0) / 2
    return np.column_stack(
        ((x0 + x1) / 2 + radius * np.cos(turn), (y0 + y1) / 2 + radius * np.sin(turn))
    )


@given(nests())
def test_the_side_of_the_part_is_found_by_counting_contours_around(shapes):
    paths = join_sets(shapes)
    sides = part_sides(paths, np.ones(len(paths), bool))
    assert sides.tolist() == [side_by_sampling(paths, i) for i in range(len(paths))]


@given(nests(), st.data())
def test_contours_that_are_not_cut_through_have_no_side_and_change_none(shapes, data):
    paths = join_sets(shapes)
    through = np.array([data.draw(st.booleans()) for _ in range(len(paths))])
    sides = part_sides(paths, through)
    alone = paths.select(through)
    assert sides[through].tolist() == part_sides(alone, np.ones(len(alone), bool)).tolist()
    assert not sides[~through].any()


def test_an_open_cut_has_the_part_on_both_sides():
    paths = join_sets([box(0, 0, 100, 100), make_path([(10, 10), (90, 10)], closed=False)])
    assert part_sides(paths, np.ones(2, bool)).tolist() == [1, 0]


@given(nests())
def test_reversing_a_contour_swaps_its_sides(shapes):
    paths = join_sets(shapes)
    through = np.ones(len(paths), bool)
    turned = part_sides(paths.reversed_where(), through)
    assert (turned == -part_sides(paths, through)).all()
