"""The first rule that matches decides; what none covers is said; copies are cut once."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.artwork import COPY, LEFT_OUT, NO_RULE, NOTHING_TO_CUT, check, sort_lines
from kerfwright.geometry.paths import make_circle, make_path
from kerfwright.model.rules import Rule
from tests.artwork.drawings import EVERYTHING, box, drawing_of, line, rules_of


def test_rules_match_by_layer_colour_and_block_name_in_order():
    rules = rules_of(
        Rule(layer="notes", operation=""),
        Rule(colour="#0000ff", operation="score"),
        Rule(name="HOLE", operation="through"),
        Rule(layer="cut", operation="through"),
    )
    drawing = drawing_of(
        *(box(20 * k, 0, 20 * k + 9, 9) for k in range(5)),
        layers=("notes", "cut", "deep", "cut", "deep"),
        colours=("#0000ff", "#0000ff", "#00ff00", "#00ff00", "#00ff00"),
        sources=("LINE 1", "LINE 2", "LINE 3 in PLATE > HOLE", "LINE 4", "LINE 5 in PLATE"),
    )
    assert sort_lines(drawing, rules).tolist() == [LEFT_OUT, 1, 0, 0, NO_RULE]


def test_lines_without_a_rule_block_once_per_kind():
    rules = rules_of(Rule(layer="cut", operation="through"))
    drawing = drawing_of(
        *(box(20 * k, 0, 20 * k + 9, 9) for k in range(4)), layers=("cut", "a", "a", "b")
    )
    found = [f for f in check(drawing, rules) if f.code == "ART-110"]
    assert [(f.params["layer"], f.params["count"]) for f in found] == [("a", 2), ("b", 1)]


def test_nothing_to_cut_is_said():
    found = check(drawing_of(box(0, 0, 9, 9)), rules_of(Rule(operation="")))
    assert [f.code for f in found] == ["ART-111"]
    assert "ART-111" in [f.code for f in check(drawing_of(), EVERYTHING)]


def test_points_and_lines_of_no_length_are_left_out():
    drawing = drawing_of(make_path([(3, 4)], closed=False), line((1, 1), (1, 1)), box(0, 0, 9, 9))
    assert sort_lines(drawing, EVERYTHING).tolist() == [NOTHING_TO_CUT, NOTHING_TO_CUT, 0]
    assert [f.code for f in check(drawing, EVERYTHING)].count("ART-150") == 2


@given(
    turn=st.integers(0, 5),
    is_reversed=st.booleans(),
    shift=st.floats(-0.012, 0.012),
)
def test_a_copy_is_found_from_any_vertex_and_in_either_direction(turn, is_reversed, shift):
    points = np.array([(0, 0), (60, 0), (70, 10), (70, 50), (35, 80), (0, 50)], float)
    bulges = np.array([0.0, 0.41, 0.0, 0.3, -0.4, 0.0])
    first = make_path(points, bulges, closed=True)
    second = make_path(np.roll(points, turn, axis=0) + shift, np.roll(bulges, turn), closed=True)
    if is_reversed:
        second = second.reversed_where()
    assert sort_lines(drawing_of(first, second), EVERYTHING).tolist() == [0, COPY]


def test_what_differs_by_more_than_the_tolerance_is_no_copy():
    drawing = drawing_of(make_circle((0, 0), 10.0), make_circle((0, 0), 10.03))
    assert sort_lines(drawing, EVERYTHING).tolist() == [0, 0]


def test_same_box_but_another_shape_is_no_copy():
    drawing = drawing_of(box(-10, -10, 10, 10), make_circle((0, 0), 10.0))
    assert sort_lines(drawing, EVERYTHING).tolist() == [0, 0]


def test_the_same_line_for_another_operation_is_no_copy():
    rules = rules_of(Rule(layer="a", operation="through"), Rule(layer="b", operation="score"))
    drawing = drawing_of(box(0, 0, 9, 9), box(0, 0, 9, 9), layers=("a", "b"))
    assert sort_lines(drawing, rules).tolist() == [0, 1]


@pytest.mark.parametrize("count", [40, 100])
def test_a_heap_of_copies_leaves_one(count):
    drawing = drawing_of(*(box(0, 0, 9, 9) for _ in range(count)))
    assert sort_lines(drawing, EVERYTHING).tolist() == [0] + [COPY] * (count - 1)
