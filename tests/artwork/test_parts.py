"""Nesting makes parts: outline, openings, parts inside openings, loose lines."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.artwork import make_parts, sort_lines
from kerfwright.geometry.paths import make_circle
from kerfwright.model.rules import Rule
from tests.artwork.drawings import EVERYTHING, box, drawing_of, line, rules_of


def parts_of(drawing, rules=EVERYTHING):
    return make_parts(drawing, sort_lines(drawing, rules), rules)


def test_a_part_inside_an_opening_is_a_part_of_its_own():
    drawing = drawing_of(
        box(0, 0, 100, 100), box(10, 10, 90, 90), box(20, 20, 80, 80), make_circle((50, 50), 9.0)
    )
    parts = parts_of(drawing)
    assert [p.contour_ids for p in parts] == [("c1", "c2"), ("c3", "c4")]
    assert [p.outline for p in parts] == [0, 0]


def test_scores_belong_to_the_part_they_lie_in():
    rules = rules_of(Rule(layer="cut", operation="through"), Rule(operation="score"))
    drawing = drawing_of(
        line((10, 50), (90, 50)),
        box(0, 0, 100, 100),
        line((200, 0), (250, 0)),
        box(20, 20, 80, 80),
        line((30, 30), (40, 40)),
        layers=("fold", "cut", "fold", "fold", "fold"),
    )
    parts = parts_of(drawing, rules)
    assert [set(p.contour_ids) for p in parts] == [{"c1", "c2", "c4", "c5"}, {"c3"}]
    assert [p.contour_ids[p.outline] if p.outline >= 0 else "" for p in parts] == ["c2", ""]


def test_a_line_in_the_waste_of_an_opening_is_loose():
    drawing = drawing_of(box(0, 0, 100, 100), box(10, 10, 90, 90), line((40, 40), (60, 60)))
    assert [p.contour_ids for p in parts_of(drawing)] == [("c1", "c2"), ("c3",)]


@given(seed=st.integers(0, 3000), count=st.integers(1, 14))
def test_parts_are_those_of_even_odd_nesting_by_shapely(seed, count):
    """Concentric and separate boxes, drawn in any order; depth counted by Shapely."""
    rng = np.random.default_rng(seed)
    places = rng.integers(0, 3, count)
    sizes = rng.permutation(count) * 3.0 + 5.0
    boxes = [(1000.0 * p - s, -s, 1000.0 * p + s, s) for p, s in zip(places, sizes, strict=True)]
    drawing = drawing_of(*(box(*b) for b in boxes))
    shapes = [shapely.box(*b) for b in boxes]
    depth = [sum(other.contains_properly(shape) for other in shapes) for shape in shapes]
    parts = parts_of(drawing)
    outlines = {p.contour_ids[p.outline] for p in parts}
    assert outlines == {f"c{k + 1}" for k in range(count) if depth[k] % 2 == 0}
    for part in parts:
        around = shapes[int(part.contour_ids[part.outline][1:]) - 1]
        for cid in part.contour_ids:
            k = int(cid[1:]) - 1
            assert around.covers(shapes[k])
            assert depth[k] - depth[int(part.contour_ids[part.outline][1:]) - 1] in (0, 1)


def test_every_line_with_an_operation_is_in_one_part():
    rng = np.random.default_rng(1)
    circles = [make_circle(rng.uniform(0, 300, 2), r) for r in rng.uniform(2, 40, 60)]
    drawing = drawing_of(*circles)
    ids = [cid for p in parts_of(drawing) for cid in p.contour_ids]
    assert sorted(ids) == sorted(drawing.ids)
