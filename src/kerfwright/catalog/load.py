"""Turn the catalogue's TOML files into model records.

The same row functions read a shop's own TOML, so a wrong key or value ends in one sentence.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from functools import cache
from importlib.resources import files
from typing import Any, TypeVar

import numpy as np

from kerfwright.catalog import rows
from kerfwright.errors import ModelError
from kerfwright.model.material import Material, SettingCard
from kerfwright.model.rules import RuleTable
from kerfwright.model.table import Table
from kerfwright.model.tooling import Tool

T = TypeVar("T")


@cache
def load_tools() -> Mapping[str, Tool]:
    """Return the tools by id."""
    return _load("tools", rows.tool)


@cache
def load_materials() -> Mapping[str, Material]:
    """Return the materials by id."""
    return _load("materials", rows.material)


@cache
def load_cards() -> Mapping[str, SettingCard]:
    """Return the setting cards by id."""
    return _load("cards", rows.card)


@cache
def load_tables() -> Mapping[str, Table]:
    """Return the tables by id."""
    return _load("tables", rows.table)


@cache
def load_rule_tables() -> Mapping[str, RuleTable]:
    """Return the house rules by material id."""
    return _load("rules", rows.rule_table)


def _load(name: str, build: Callable[[str, Mapping[str, Any]], T]) -> Mapping[str, T]:
    text = files(__package__).joinpath("data", f"{name}.toml").read_text(encoding="utf-8")
    return read_book(text, build, origin=f"{name}.toml")


def read_book(
    text: str, build: Callable[[str, Mapping[str, Any]], T], *, origin: str
) -> Mapping[str, T]:
    """Return the entries of one book's TOML text.

    Parameters
    ----------
    text : str
        TOML: one table per entry, and top-level strings as defaults for every entry.
    build : callable
        Makes a record from an id and a row.
    origin : str
        What to call the text in messages.

    Raises
    ------
    ModelError
        If the text is not TOML, or a row has a wrong key, type or value.
    """
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        msg = f"{origin} is not TOML: {error}; mend that place"
        raise ModelError(msg) from error
    defaults = {key: value for key, value in raw.items() if not isinstance(value, Mapping)}
    return {
        key: _build_row(build, key, defaults | dict(row), origin)
        for key, row in raw.items()
        if isinstance(row, Mapping)
    }


def _build_row(
    build: Callable[[str, Mapping[str, Any]], T], key: str, row: Mapping[str, Any], origin: str
) -> T:
    try:
        with np.errstate(over="raise", invalid="raise"):  # huge numbers are refused, not warned of
            return build(key, row)
    except ModelError as error:
        msg = f"{origin}, entry {key}: {error}"
        raise ModelError(msg) from error
    except KeyError as error:
        msg = f"{origin}, entry {key}: the key {error} is missing; add it"
        raise ModelError(msg) from error
    except (TypeError, ValueError, ArithmeticError) as error:
        msg = f"{origin}, entry {key}: {error}; compare with the catalogue's own entries"
        raise ModelError(msg) from error
