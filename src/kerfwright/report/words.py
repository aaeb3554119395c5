"""The words of the papers, from ``words/en.toml``: titles, cautions, assumptions."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from kerfwright.errors import UnknownNameError


@cache
def _words() -> Mapping[str, Any]:
    text = files(__package__).joinpath("words", "en.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def say(group: str, key: str, **values: str | float) -> str:
    """Return one text of a group with values put in.

    Raises
    ------
    UnknownNameError
        If there is no such text.
    """
    try:
        return str(_words()[group][key]).format_map(values)
    except KeyError as error:
        msg = f"words/en.toml lacks {error} for {group}.{key}; add it"
        raise UnknownNameError(msg) from None


def said_of(group: str) -> Mapping[str, str]:
    """Return all texts of a group in their order.

    Raises
    ------
    UnknownNameError
        If there is no such group.
    """
    try:
        return dict(_words()[group])
    except KeyError:
        msg = f"words/en.toml has no group {group}; add it"
        raise UnknownNameError(msg) from None
