"""Hourly rates, handling times and material prices: what a quote counts with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from kerfwright.catalog.cells import (
    Row,
    as_number,
    as_text,
    list_of,
    only_keys,
    table_of,
    text_of,
)
from kerfwright.catalog.load import read_book
from kerfwright.errors import ModelError, UnknownNameError
from kerfwright.geometry.record import Record, require
from kerfwright.model.material import Range, Setting

_ITEMS = 4

RATE_UNITS: Mapping[str, str] = {
    "labour_cur_h": "cur/h",
    "table_cur_h": "cur/h",
    "attendance_share": "1",
    "set_up_min": "min",
    "loading_min": "min",
    "unloading_min": "min",
    "look_start_s": "s",
    "look_mark_s": "s",
    "weeding_s": "s",
    "overs_first_sheets": "1",
    "overs_share": "1",
    "remnant_share": "1",
}
"""Every rate a quote needs, and its unit."""
_SHARES = ("attendance_share", "remnant_share")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rates(Record):
    """What work and material cost, each with its range.

    Parameters
    ----------
    id : str
        Name in the book.
    currency : str
        Word printed after amounts; the units below say ``cur`` for it.
    values : mapping of str to Setting
        Rates by the names of `RATE_UNITS`.
    material_cur_m2 : mapping of str to Setting
        Price of a square metre by material id [cur/m2].

    Raises
    ------
    ModelError
        If a rate is missing, has another unit, is below 0, or a share is above 1.
    """

    id: str
    currency: str
    values: Mapping[str, Setting]
    material_cur_m2: Mapping[str, Setting]

    def __post_init__(self) -> None:
        require(self.currency.strip(), f"rates {self.id}: the word for the currency is missing")
        missing = [name for name in RATE_UNITS if name not in self.values]
        require(not missing, f"rates {self.id} lack {', '.join(missing)}; add them")
        for name, setting in self.values.items():
            self._require_right(name, setting, RATE_UNITS.get(name))
        for name, setting in self.material_cur_m2.items():
            self._require_right(f"price of {name}", setting, "cur/m2")

    def _require_right(self, name: str, setting: Setting, unit: str | None) -> None:
        what = f"rates {self.id}: {name}"
        within = setting.range
        require(unit is not None, f"{what} is not known; known: {', '.join(RATE_UNITS)}")
        require(within.unit == unit, f"{what} is in {within.unit!r}, must be in {unit!r}")
        require(within.low >= 0.0, f"{what} goes down to {within.low}, must not be below 0")
        if name in _SHARES:
            require(within.high <= 1.0, f"{what} goes up to {within.high}, must not be above 1")

    def price_of(self, material_id: str) -> Setting:
        """Return the price of a square metre of a material.

        Raises
        ------
        UnknownNameError
            If the book has no price for it.
        """
        try:
            return self.material_cur_m2[material_id]
        except KeyError:
            msg = f"rates {self.id} have no price for material {material_id}; add it to the book"
            raise UnknownNameError(msg) from None


@cache
def load_rates() -> Mapping[str, Rates]:
    """Return the rates by id."""
    text = files(__package__).joinpath("data", "rates.toml").read_text(encoding="utf-8")
    return read_book(text, rates_row, origin="rates.toml")


def rates_row(key: str, row: Row) -> Rates:
    """Return the rates of a row; values are lists of value, low, high, unit.

    Parameters
    ----------
    key : str
        Id of the entry.
    row : mapping
        Keys of the entry.

    Raises
    ------
    ModelError
        If a key is not known or a value is wrong.
    """
    only_keys(row, "currency", "values", "material_cur_m2")
    return Rates(
        id=key,
        currency=text_of(row, "currency"),
        values=_settings(row, "values"),
        material_cur_m2=_settings(row, "material_cur_m2"),
    )


def _settings(row: Row, group: str) -> Mapping[str, Setting]:
    return {name: _setting(name, table_of(row, group), row) for name in table_of(row, group)}


def _setting(name: str, group: Row, row: Row) -> Setting:
    items = list_of(group, name)
    if len(items) != _ITEMS:
        raise ModelError(f"{name}: {items} is not value, low, high, unit")
    value, low, high = (as_number(name, item) for item in items[:3])
    within = Range(
        low=low,
        high=high,
        unit=as_text(name, items[3]),
        source=text_of(row, "source"),
        date=text_of(row, "date"),
    )
    return Setting(value=value, range=within)
