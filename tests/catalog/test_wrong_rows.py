"""A wrong row of a book ends in one clear sentence, whatever is wrong with it."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.catalog import rows
from kerfwright.catalog.load import _build_row, read_book
from kerfwright.errors import ModelError

ROWS = {
    "tables": rows.table,
    "tools": rows.tool,
    "materials": rows.material,
    "cards": rows.card,
    "rules": rows.rule_table,
}
CASES = tomllib.loads(Path(__file__).with_name("wrong_rows.toml").read_text("utf-8"))["case"]


def raw_row(book: str, entry: str) -> dict[str, Any]:
    text = files("kerfwright.catalog").joinpath("data", f"{book}.toml").read_text("utf-8")
    raw = tomllib.loads(text)
    return {k: v for k, v in raw.items() if not isinstance(v, Mapping)} | raw[entry]


def put(row: Any, path: list[Any], value: Any) -> None:
    for step in path[:-1]:
        row = row[step]
    row[path[-1]] = value


def refusal(book: str, entry: str, row: Any) -> str:
    with pytest.raises(ModelError) as caught:
        _build_row(ROWS[book], entry, row, f"{book}.toml")
    return str(caught.value)


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_a_wrong_row_is_refused_in_one_sentence(case):
    row = raw_row(case["book"], case["entry"])
    assert ROWS[case["book"]](case["entry"], row), "the row must be right before it is changed"
    if "drop" in case:
        del row[case["drop"][0]]
    else:
        put(row, *case["set"])
    sentence = refusal(case["book"], case["entry"], row)
    assert "\n" not in sentence
    assert [w for w in case["words"] if w not in sentence] == [], sentence


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=4,
)
RECORDS = ("Table", "Blade", "Cutter", "Wheel", "Pen", "Material", "SettingCard", "RuleTable")
ENTRIES = {
    "tables": ("pier-2616", "quay-3217"),
    "tools": ("point-45", "v-groove-135", "end-mill-6", "crease-wheel-60-1_5", "felt-pen-0_8"),
    "materials": ("pvc-foam-3", "particleboard-16"),
    "cards": ("film-kiss", "plywood-12-route"),
    "rules": ("corrugated-4", "plywood-12"),
}


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    items = value.items() if isinstance(value, dict) else enumerate(value)
    inner = [
        place
        for key, item in items
        if isinstance(item, dict | list)
        for place in places(item, (*path, key))
    ]
    keys = value if isinstance(value, dict) else range(len(value))
    return [(*path, key) for key in keys] + inner


@pytest.mark.parametrize("book", ROWS)
@given(data=st.data())
def test_junk_in_a_row_is_a_record_or_one_sentence(book, data):
    row = copy.deepcopy(raw_row(book, data.draw(st.sampled_from(ENTRIES[book]))))
    path = data.draw(st.sampled_from(sorted(places(row), key=str)))
    put(row, list(path), data.draw(JUNK))
    try:
        said = type(_build_row(ROWS[book], "x", row, "book.toml")).__name__
    except ModelError as error:
        said = str(error)
    assert said in RECORDS or said.startswith("book.toml, entry x: ")
    assert "\n" not in said


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[a]\nb = ?\n", ("mine.toml", "not TOML", "line 2")),
        ("a = 1\na = 2", ("mine.toml", "not TOML")),
        ("x = " + "[" * 5000, ("mine.toml", "not TOML")),
        ("x = " + "9" * 5000, ("mine.toml", "not TOML")),
        ("\0", ("mine.toml", "not TOML")),
        ("[a]\nkind = 'blade'", ("mine.toml", "entry a", "missing")),
    ],
    ids=["unclosed", "twice", "deep", "long number", "null", "bare"],
)
def test_a_text_that_is_no_book_is_refused(text, words):
    with pytest.raises(ModelError) as caught:
        read_book(text, rows.tool, origin="mine.toml")
    assert [w for w in words if w not in str(caught.value)] == [], caught.value


def test_the_shops_own_rows_take_defaults_from_the_top_of_their_file():
    text = """
        source = "measured"
        date = "2026-03-01"
        [a]
        name = "A"
        kind = "pvc_foam"
        thickness_mm = [1, 2, "mm"]
        curl_mm = [1, 2, "mm"]
        [b]
        name = "B"
        kind = "pvc_foam"
        thickness_mm = [1.5, 2.5, "mm"]
        source = "supplier's sheet"
    """
    book = read_book(text, rows.material, origin="mine.toml")
    assert book["a"].thickness_mm.source == "measured"
    assert book["b"].thickness_mm.source == "supplier's sheet"
    assert book["b"].thickness_mm.date == "2026-03-01"
    low = book["a"].thickness_mm.low
    assert isinstance(low, float), "whole numbers of the file are floats inside, or digests differ"
