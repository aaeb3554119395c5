"""Figures of a catalogue row: ranges and settings with unit, source and date."""

from __future__ import annotations

from collections.abc import Sequence

from kerfwright.catalog.cells import Row, as_number, as_text, list_of, text_of
from kerfwright.geometry.record import require
from kerfwright.model.material import Range, Setting
from kerfwright.units import RAD_PER_DEG

_RANGE_ITEMS = 3
_SETTING_ITEMS = 4


def range_of(name: str, row: Row) -> Range:
    """Return a range: low, high, unit, and a source where it is not the row's."""
    values = list_of(row, name)
    _check_count(name, values, _RANGE_ITEMS, "low, high, unit")
    return _made(name, row, *values)


def setting_of(name: str, row: Row) -> tuple[str, Setting]:
    """Return name and setting: value, low, high, unit, and a source where it is not the row's.

    Degrees become radians, and the name says so.
    """
    values = list_of(row["values"], name)
    _check_count(name, values, _SETTING_ITEMS, "value, low, high, unit")
    value, low, high, unit, *source = values
    if name.endswith("_deg"):
        require(unit == "deg", f"{name}: its unit is {unit!r}, must be 'deg'")
        name, unit = f"{name[:-4]}_rad", "rad"
        value, low, high = (as_number(name, x) * RAD_PER_DEG for x in (value, low, high))
    within = _made(name, row, low, high, unit, *source)
    return name, Setting(value=as_number(name, value), range=within)


def _check_count(name: str, values: Sequence[object], least: int, words: str) -> None:
    right = least <= len(values) <= least + 1
    require(right, f"{name}: {values} is not {words}, and perhaps a source")


def _made(
    name: str, row: Row, low: object, high: object, unit: object, source: object = None
) -> Range:
    return Range(
        low=as_number(name, low),
        high=as_number(name, high),
        unit=as_text(name, unit),
        source=text_of(row, "source") if source is None else as_text(name, source),
        date=text_of(row, "date"),
    )
