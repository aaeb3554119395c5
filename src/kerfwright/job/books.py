"""The shop's books, and the rules every store keeps for names, hashes and versions."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from kerfwright import catalog
from kerfwright.errors import StaleVersionError, UnknownNameError, UnreadableError, UsageError
from kerfwright.geometry.record import Record
from kerfwright.model.material import Material, SettingCard
from kerfwright.model.rules import RuleTable
from kerfwright.model.table import Table
from kerfwright.model.tooling import Tool

T = TypeVar("T", bound=Record)
E_co = TypeVar("E_co", bound=Record, covariant=True)

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,79}")
_HASH = re.compile(r"[0-9a-f]{64}")

BOOKS: Mapping[type[Record], tuple[str, Callable[[], Mapping[str, Any]]]] = {
    Table: ("tables", catalog.load_tables),
    Tool: ("tools", catalog.load_tools),
    Material: ("materials", catalog.load_materials),
    SettingCard: ("cards", catalog.load_cards),
    RuleTable: ("rules", catalog.load_rule_tables),
}
"""Books by the record they hold: folder name, and the catalogue that fills them first."""


def base_of(kind: type[Record]) -> type[Record]:
    """Return the record whose book a kind stands in: its own, or that of its family."""
    return next(base for base in kind.__mro__ if base in BOOKS)


def book_of(kind: type[Record]) -> tuple[str, Callable[[], Mapping[str, Any]]]:
    """Return the book a record stands in: its own, or that of the family it belongs to."""
    return BOOKS[base_of(kind)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Versioned(Generic[E_co]):
    """A book entry and the number of its version, from 1; 0 is the catalogue's."""

    version: int
    entry: E_co


def checked_name(name: str) -> str:
    """Return a name of a job or an entry.

    Raises
    ------
    UsageError
        If it could leave a folder or hide in it.
    """
    if not _NAME.fullmatch(name):
        raise UsageError(
            f"{name!r} cannot be a name: 1 to 80 letters, digits, dots, dashes or underscores, "
            "a letter or digit first"
        )
    return name


def checked_hash(sha256: str) -> str:
    """Return a SHA-256 as hex.

    Raises
    ------
    UnreadableError
        If it is none.
    """
    if not _HASH.fullmatch(sha256):
        raise UnreadableError(f"{sha256!r} is no SHA-256, so no blob has that name")
    return sha256


def stale(what: str, version: int, began_at: int, stored: object) -> StaleVersionError:
    """Return the refusal of a change that began at another version than the stored one."""
    return StaleVersionError(
        f"{what} is at version {version}, this change began at {began_at}; "
        "load it again and repeat the change",
        version=version,
        stored=stored,
    )


def catalogue_entry(kind: type[T], entry_id: str, known: Callable[[], Iterable[str]]) -> T:
    """Return an entry the shop has no version of; `known` gives the ids to name if there is none.

    Raises
    ------
    UnknownNameError
        If the catalogue has none either.
    """
    name, first_fill = book_of(kind)
    entry = first_fill().get(entry_id)
    if entry is None:
        raise UnknownNameError(
            f"the book of {name} has no {entry_id}; it has: {', '.join(known())}"
        )
    found: T = entry
    return found
