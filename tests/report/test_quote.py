"""Prices: exact sums, falling with quantity, every assumption said, on one page."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.catalog import load_rates
from kerfwright.errors import ModelError, UnknownNameError
from kerfwright.report import Money, QuoteData, QuoteOrder, quote, quote_pdf
from kerfwright.report.spans import rounded_to_sum, shown
from report.reading import pages_of, text_of

RATES = load_rates()["first-fill"]
PARTS = ("set_up", "handling", "cutting", "material")


def order_of(**changes: Any) -> QuoteOrder:
    fields: dict[str, Any] = {
        "parts": 150,
        "parts_per_sheet": 24,
        "material_id": "pvc-foam-3",
        "sheet_area_mm2": 2440.0 * 1220.0,
        "cut_s": 372.4,
        "cut_low_s": 351.2,
        "cut_high_s": 520.0,
        "marks": 7,
        "waste_pieces": 28,
    }
    return QuoteOrder(**(fields | changes))


def page_of(order: QuoteOrder, **changes: Any) -> bytes:
    fields: dict[str, Any] = {
        "job_id": "spring-display-0417",
        "title": "Spring display, shop window 4",
        "material": "PVC foam board 3 mm",
        "sheet": "2440 x 1220 mm",
        "quote": quote(order, rates=RATES),
        "validity": "30 days",
    }
    return quote_pdf(QuoteData(**(fields | changes)))


def amount_of(order: QuoteOrder, key: str) -> Money:
    return next(line.amount for line in quote(order, rates=RATES).lines if line.key == key)


orders = st.builds(
    lambda cut, more, less, **rest: order_of(
        cut_s=cut, cut_low_s=cut * less, cut_high_s=cut * more, **rest
    ),
    cut=st.floats(0.5, 20_000.0),
    more=st.floats(1.0, 3.0),
    less=st.floats(0.3, 1.0),
    parts=st.integers(1, 5000),
    parts_per_sheet=st.integers(1, 400),
    sheet_area_mm2=st.floats(1e4, 5e6),
    sheet_cost=st.sampled_from((0.0, 12.34, 80.0)),
    marks=st.integers(0, 30),
    waste_pieces=st.integers(0, 200),
    breaks=st.sampled_from(((), (1, 5, 10, 50), (1, 2, 3, 4, 20, 21, 50, 51))),
)


@given(orders)
def test_lines_add_up_exactly(order):
    result = quote(order, rates=RATES)
    for name in ("value_cent", "low_cent", "high_cent"):
        assert sum(getattr(line.amount, name) for line in result.lines) == getattr(
            result.total, name
        )
        for item in result.breaks:
            whole = sum(getattr(getattr(item, part), name) for part in PARTS)
            assert whole == getattr(item.total, name)
    for amount in (result.total, *(line.amount for line in result.lines)):
        assert 0 <= amount.low_cent <= amount.value_cent <= amount.high_cent


@given(orders)
def test_a_sheet_costs_less_the_more_there_are(order):
    result = quote(replace(order, breaks=(1, 2, 3, 4, 20, 21, 50, 51)), rates=RATES)
    each = [Decimal(b.total.value_cent) / b.sheets for b in result.breaks]
    assert all(a > b for a, b in pairwise(each))


@given(orders, st.integers(1, 60))
def test_an_order_of_full_sheets_costs_what_its_price_break_says(order, n):
    full = replace(order, parts=n * order.parts_per_sheet, breaks=(n,))
    result = quote(full, rates=RATES)
    assert result.total == result.breaks[0].total
    assert amount_of(full, "last_sheet").value_cent == 0


@given(orders)
def test_more_parts_never_cost_less(order):
    more = replace(order, parts=order.parts + 1)
    low, high = (quote(o, rates=RATES).total.value_cent for o in (order, more))
    assert low <= high


@given(orders)
def test_sheets_hold_the_parts_and_no_sheet_is_empty(order):
    assert (order.sheets - 1) * order.parts_per_sheet < order.parts
    assert order.parts <= order.sheets * order.parts_per_sheet


def test_lines_against_arithmetic_by_hand():
    # 7 sheets; (40 + 35) cur/h; rounding per sheet, then whole multiples
    order = order_of()
    assert amount_of(order, "set_up").value_cent == 2500  # 20 / 60 x 75
    assert amount_of(order, "loading").value_cent == 7 * 313  # 2.5 / 60 x 75 = 3.125
    assert amount_of(order, "looking").value_cent == 7 * 100  # 48 / 3600 x 75 = 1.00
    assert amount_of(order, "unloading").value_cent == 7 * 500  # 4 / 60 x 75
    # 372.4 s at 35 + 0.5 x 40 = 55 cur/h: 5.689 a sheet, 150 of 24 parts
    assert amount_of(order, "cutting").value_cent == 3556  # 5.69 x 6.25 = 35.5625
    # 2.9768 m2 at 9: 26.79 a sheet; used 6.25 sheets, the rest of 7 is paid as well
    assert amount_of(order, "material").value_cent == 16744
    assert amount_of(order, "last_sheet").value_cent == 7 * 2679 - 16744
    # a full sheet spoiled: 3.13 + 1.00 + 5.69 + 5.00 + 26.79 = 41.61; 0.3 once, 0.02 each
    assert amount_of(order, "overs").value_cent == 1248 + 7 * 83


def test_extremes_take_every_rate_at_its_end():
    order = order_of()
    low, high = amount_of(order, "set_up").low_cent, amount_of(order, "set_up").high_cent
    assert low == 667  # 10 / 60 x (25 + 15)
    assert high == 11250  # 45 / 60 x (70 + 80)


def test_a_price_given_beats_the_book():
    assert amount_of(order_of(sheet_cost=10.0), "material").value_cent == 6250
    assert amount_of(order_of(sheet_cost=10.0, material_id="unknown"), "material").low_cent == 6250
    with pytest.raises(UnknownNameError, match="no price for material unknown"):
        quote(order_of(material_id="unknown"), rates=RATES)


def test_the_page_holds_every_number_and_word():
    order = order_of()
    result, pdf = quote(order, rates=RATES), page_of(order, notes="Two lots.", made_on="2026-11-25")
    text = text_of(pdf)
    squeezed = text.replace(" ", "")
    wanted = ["Quote", "spring-display-0417", "150 parts, 24 a sheet: 7 sheets", "Two lots."]
    wanted += ["An estimate, not an offer", "30 days", "2026-11-25", "besides the 7 needed: 1."]
    wanted += ["40 (25 to 70) cur an hour", "35 (15 to 80) cur an hour", result.source]
    for line in result.lines:
        amount = line.amount
        wanted += [line.assumption, shown(amount.value_cent)]
        wanted.append(f"{shown(amount.low_cent)} to {shown(amount.high_cent)}")
    for item in result.breaks:
        wanted += [shown(getattr(item, part).value_cent) for part in (*PARTS, "total")]
        wanted += [str(item.sheets), str(item.parts)]
    wanted += [shown(result.total.value_cent), shown(result.total.low_cent)]
    assert [w for w in wanted if w.replace(" ", "") not in squeezed] == []
    for word in ("Set-up", "Loading", "Looking", "Cutting", "Weeding", "Material", "Overs"):
        assert word in text


def test_amounts_read_back_from_the_page_add_up():
    text = text_of(page_of(order_of()))
    body = text[text.index("What it is made of") : text.index("Price breaks")]
    rows = re.findall(r"(\d+\.\d\d) (\d+\.\d\d) to (\d+\.\d\d)", body)
    assert len(rows) == 10
    for column in zip(*rows, strict=True):
        *lines, total = map(Decimal, column)
        assert sum(lines) == total


@given(orders, st.text(max_size=400), st.text(max_size=400))
@settings(max_examples=8)
def test_any_quote_is_one_page(order, title, notes):
    assert len(pages_of(page_of(order, title=title, notes=notes, validity="1" + title))) == 1


@pytest.mark.parametrize("text", ["<b>&amp;</b>", "\x00\u202e\u05d0", "W" * 9000, "word " * 9000])
def test_hostile_words_stay_on_one_page(text):
    eight = order_of(breaks=(1, 2, 3, 4, 5, 6, 7, 8))
    pdf = page_of(
        eight, title=text, notes=text, validity=text, job_id=text, material=text, sheet=text
    )
    assert len(pages_of(pdf)) == 1


def test_same_data_same_bytes():
    assert page_of(order_of()) == page_of(order_of())
    assert page_of(order_of()) != page_of(order_of(parts=151))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"parts": 0}, "least is 1"),
        ({"sheet_area_mm2": 0.0}, "above 0"),
        ({"cut_low_s": 500.0}, "must be in it"),
        ({"marks": -1}, "below 0"),
        ({"breaks": (5, 5)}, "must grow"),
        ({"breaks": (0, 5)}, "must grow"),
        ({"breaks": tuple(range(1, 10))}, "room for 8"),
        ({"cut_s": float("inf")}, "finite"),
    ],
)
def test_an_order_that_makes_no_sense_is_refused(change, words):
    with pytest.raises(ModelError, match=words):
        order_of(**change)


def test_a_quote_without_validity_is_refused():
    with pytest.raises(ModelError, match="how long the quote holds"):
        page_of(order_of(), validity=" ")


@given(st.lists(st.floats(0.0, 1e5), min_size=1, max_size=30), st.integers(0, 3))
def test_rounded_numbers_add_up_and_none_moves_by_a_whole_unit(values, decimals):
    total = sum(values)
    texts = rounded_to_sum(values, total=total, decimals=decimals)
    unit = Decimal(1).scaleb(-decimals)
    assert abs(sum(map(Decimal, texts)) - Decimal(repr(total))) <= unit * Decimal("0.5001")
    for text, value in zip(texts, values, strict=True):
        assert abs(Decimal(text) - Decimal(repr(value))) <= unit
