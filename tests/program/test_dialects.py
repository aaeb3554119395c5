"""Dialects: the files of the package span all traits, and odd ones are refused."""

from __future__ import annotations

import re

import pytest

from kerfwright.errors import ModelError, UnknownNameError
from kerfwright.program import dialect_ids, load_dialect
from kerfwright.program.dialects import dialect_from

WORDS = {"tool": "T{value} M6", "end": "M2"}


def test_the_dialects_span_every_trait():
    dialects = [load_dialect(i) for i in dialect_ids()]
    traits = {
        "swap_xy": {False, True},
        "sign_x": {-1, 1},
        "sign_y": {-1, 1},
        "sign_z": {-1, 1},
        "sign_c": {-1, 1},
        "offsets_in": {"program", "control"},
        "arcs": {False, True},
        "c_feed": {"degrees_per_minute", "inverse_time"},
        "line_numbers": {False, True},
    }
    for name, values in traits.items():
        assert {getattr(d, name) for d in dialects} == values, name
    assert len({d.c_zero_rad for d in dialects}) > 1
    assert len(dialects) >= 4


@pytest.mark.parametrize("dialect_id", dialect_ids())
def test_words_left_to_the_builder_keep_to_the_free_m_numbers(dialect_id):
    """NISTIR 6556 table 4 leaves M10 to M29, M31 to M47 and M61 on to the builder."""
    free = {*range(10, 30), *range(31, 48), *range(61, 100)}
    words = load_dialect(dialect_id).words
    assert re.fullmatch(r"T\{value\} M6", words["tool"])
    for key in ("oscillation_on", "oscillation_off", "vacuum_on", "vacuum_off"):
        assert int(re.search(r"M(\d+)", words[key])[1]) in free


def test_an_unknown_dialect_names_those_there_are():
    with pytest.raises(UnknownNameError, match="offsets-in-control-arcs"):
        load_dialect("../secret")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"swap": True, "words": WORDS}, "unknown field swap"),
        ({"id": "x", "words": WORDS}, "unknown field id"),
        ({}, "the word for tool is missing"),
        ({"words": {"tool": "T{value} M6"}}, "the word for end is missing"),
        ({"words": WORDS | {"coolant": "M8"}}, "unknown word"),
        ({"words": WORDS | {"vacuum_on": "M8 P{value}"}}, "M8 means something else"),
        ({"words": WORDS | {"vacuum_on": "M30 P{value}"}}, "M30 means something else"),
        ({"words": WORDS | {"vacuum_on": "M21"}}, "holds 0 values"),
        ({"words": WORDS | {"vacuum_on": "M21 X{value}"}}, "names an axis"),
        ({"words": WORDS | {"vacuum_on": "M{value}"}}, "must be given"),
        ({"words": WORDS | {"vacuum_on": "P{value}"}}, "exactly one M word"),
        ({"words": WORDS | {"vacuum_on": "M21  P{value}"}}, "no letter with a number"),
        ({"words": WORDS | {"vacuum_on": "M21 P1 P{value}"}}, "a letter stands twice"),
        ({"words": WORDS | {"pause": "M0 P{value}"}}, "holds 1 values"),
        ({"words": WORDS | {"pause": "hold"}}, "no letter with a number"),
        ({"words": WORDS | {"path_mode": "G62"}}, "path_mode"),
        ({"words": WORDS, "sign_x": 2}, "sign_x is 2"),
    ],
)
def test_an_odd_file_is_refused(row, said):
    with pytest.raises(ModelError, match=re.escape(said)):
        dialect_from(row, name="odd")


def test_degrees_become_radians():
    assert dialect_from(
        {"words": WORDS, "c_zero_deg": 180.0}, name="d"
    ).c_zero_rad == pytest.approx(3.141592653589793)
