"""Cells of a catalogue row: each is read by its type, and nothing is left unread."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kerfwright.errors import ModelError
from kerfwright.geometry.record import require

Row = Mapping[str, Any]

_EVERYWHERE = {"source", "date"}
"""Keys any row may have, its own or as a default of its file."""


def only_keys(row: Row, *names: str) -> None:
    """Refuse keys nobody reads: a misspelt one would be left out in silence."""
    require(isinstance(row, Mapping), f"{row!r} stands where a table of keys should")
    unknown = sorted(set(row) - set(names) - _EVERYWHERE)
    require(not unknown, f"the key {unknown[:1]} is not known; known: {', '.join(sorted(names))}")


def number_of(row: Row, key: str) -> float:
    """Return a number as float."""
    return as_number(key, row[key])


def as_number(key: str, value: object) -> float:
    """Return a value as float; texts and truth values are none."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ModelError(f"{key} is {value!r}, must be a number")
    return float(value)


def count_of(row: Row, key: str) -> int:
    """Return a whole number."""
    value = row[key]
    if isinstance(value, bool) or not isinstance(value, int):
        raise ModelError(f"{key} is {value!r}, must be a whole number")
    return value


def truth_of(row: Row, key: str) -> bool:
    """Return true or false."""
    value = row[key]
    if not isinstance(value, bool):
        raise ModelError(f"{key} is {value!r}, must be true or false")
    return value


def text_of(row: Row, key: str, default: str | None = None) -> str:
    """Return a text, the default where the key may be missing."""
    return as_text(key, row[key] if default is None else row.get(key, default))


def as_text(key: str, value: object) -> str:
    """Return a value that must be a text."""
    if not isinstance(value, str):
        raise ModelError(f"{key} is {value!r}, must be a text in quotes")
    return value


def list_of(row: Row, key: str, default: tuple[Any, ...] | None = None) -> list[Any]:
    """Return a list, the default where the key may be missing."""
    value = row[key] if default is None else row.get(key, list(default))
    if not isinstance(value, list):
        raise ModelError(f"{key} is {value!r}, must be a list")
    return value


def numbers_of(row: Row, key: str, count: int) -> list[float]:
    """Return a list of so many numbers."""
    values = list_of(row, key)
    require(len(values) == count, f"{key} has {len(values)} numbers, must have {count}")
    return [as_number(key, value) for value in values]


def table_of(row: Row, key: str) -> Row:
    """Return a table of keys."""
    value = row[key]
    if not isinstance(value, Mapping):
        raise ModelError(f"{key} is {value!r}, must be a table of keys")
    return value
