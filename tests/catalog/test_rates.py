"""The book of rates: every figure with range, source and unit; wrong ones refused."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date
from importlib.resources import files

import pytest

from kerfwright import catalog
from kerfwright.catalog.load import read_book
from kerfwright.catalog.rates import RATE_UNITS, rates_row
from kerfwright.errors import ModelError, UnknownNameError
from kerfwright.geometry.record import digest_of

TEXT = files("kerfwright.catalog").joinpath("data", "rates.toml").read_text("utf-8")
RATES = catalog.load_rates()


def test_the_first_fill_loads_and_has_a_digest():
    assert list(RATES) == ["first-fill"]
    assert RATES["first-fill"].currency == "cur", "no country's money stands in the first fill"
    assert len(digest_of(RATES["first-fill"])) == 64


def test_every_figure_has_a_spread_a_source_and_a_date():
    rates = RATES["first-fill"]
    settings = [*rates.values.values(), *rates.material_cur_m2.values()]
    assert len(settings) == len(RATE_UNITS) + len(catalog.load_materials())
    for setting in settings:
        assert setting.range.low < setting.range.high
        assert setting.range.source == "common practice, no source"
        assert date.fromisoformat(setting.range.date).year >= 2020


def test_every_material_of_the_book_has_a_price():
    for name in catalog.load_materials():
        assert RATES["first-fill"].price_of(name).value > 0.0
    with pytest.raises(UnknownNameError, match="no price for material granite"):
        RATES["first-fill"].price_of("granite")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('currency = "cur"', 'currency = " "', "word for the currency"),
        ('currency = "cur"', 'money = "cur"', "'money'"),
        ("weeding_s = [4.0, 2.0, 12.0", "weeding_s = [1.0, 2.0, 12.0", "outside 2.0 to 12.0"),
        ("weeding_s = [4.0, 2.0, 12.0", "weeding_s = [4.0, -2.0, 12.0", "must not be below 0"),
        ('12.0, "s"]', '12.0, "min"]', "must be in 's'"),
        ("weeding_s =", "weeding =", "lack weeding_s"),
        ("remnant_share = [0.0, 0.0, 0.5", "remnant_share = [0.0, 0.0, 1.5", "above 1"),
        ("weeding_s = [4.0, 2.0, 12.0, ", "weeding_s = [4.0, 2.0, ", "not value, low, high, unit"),
        ("weeding_s = [4.0,", 'weeding_s = ["four",', "must be a number"),
        ("[first-fill.material_cur_m2]", "[first-fill.prices]", "'prices'"),
        ('16.0, "cur/m2"]', '16.0, "cur/kg"]', "must be in 'cur/m2'"),
        ("[first-fill.values]", "[first-fill.values]\nspare = [1.0, 1.0, 2.0, '1']", "not known"),
    ],
)
def test_a_wrong_row_is_refused_in_one_sentence(old, new, words):
    assert TEXT.count(old) == 1, "the place to change must be one"
    with pytest.raises(ModelError) as caught:
        read_book(TEXT.replace(old, new), rates_row, origin="rates.toml")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_file_holds_nothing_but_its_entries():
    raw = tomllib.loads(TEXT)
    assert {k for k, v in raw.items() if not isinstance(v, Mapping)} == {"source", "date"}
