"""The shop's books in a database: every version of every entry."""

from __future__ import annotations

import contextlib
from typing import TypeVar

from sqlalchemy import insert, select
from sqlalchemy.exc import IntegrityError

from kerfwright.geometry.record import Record
from kerfwright.job.books import (
    Versioned,
    base_of,
    book_of,
    catalogue_entry,
    checked_name,
    stale,
)
from kerfwright.job.codec import from_document, to_document
from kerfwright.job.sql_base import SqlBase, now
from kerfwright.job.sql_rows import Stored, newest_entry
from kerfwright.job.sql_schema import ENTRIES

T = TypeVar("T", bound=Record)


class SqlBooks(SqlBase):
    """The books of `SqlStore`."""

    def book_ids(self, kind: type[Record]) -> tuple[str, ...]:
        """Return the ids of a book's entries, the shop's own and the catalogue's, sorted."""
        name, first_fill = book_of(kind)
        ask = select(ENTRIES.c.entry_id).where(ENTRIES.c.book == name).distinct()
        with self._reading() as connection:
            return tuple(sorted({*connection.scalars(ask), *first_fill()}))

    def load_entry(self, kind: type[T], entry_id: str) -> T:
        """Return an entry of a book: the shop's own version, else the catalogue's.

        Raises
        ------
        UnknownNameError
            If neither has it.
        UnreadableError
            If the stored entry is damaged.
        """
        return self.load_versioned(kind, entry_id).entry

    def load_versioned(self, kind: type[T], entry_id: str) -> Versioned[T]:
        """Return an entry with its version, which is 0 while it is the catalogue's.

        Raises
        ------
        UnknownNameError, UnreadableError
            As `load_entry`.
        """
        with self._reading() as connection:
            row = newest_entry(connection, kind, entry_id)
        if row is None:
            entry = catalogue_entry(kind, entry_id, lambda: self.book_ids(kind))
            return Versioned(version=0, entry=entry)
        return Versioned(version=row.version, entry=self._entry(kind, entry_id, row))

    def save_entry(self, entry_id: str, entry: Record, *, began_at: int | None = None) -> int:
        """Store a new version of an entry; return its number.

        Parameters
        ----------
        entry_id : str
            Its name in the book.
        entry : Record
            The entry.
        began_at : int, optional
            Version the change began at, 0 for the catalogue's; without it, whatever stands is
            followed.

        Raises
        ------
        StaleVersionError
            If another version than `began_at` stands; it carries the stored entry.
        CannotWriteError
            If it cannot be written; the stored version stays.
        """
        kind, document = type(entry), to_document(entry)
        row = {"book": book_of(kind)[0], "entry_id": checked_name(entry_id), "saved_at": now()}
        while True:
            # As for jobs; where the other one was first, what it stored is looked at.
            with contextlib.suppress(IntegrityError), self._writing() as connection:
                newest = newest_entry(connection, kind, entry_id)
                version = newest.version if newest else 0
                if began_at not in {None, version}:
                    break
                words = {"version": version + 1, "document": document}
                connection.execute(insert(ENTRIES).values(**row, **words))
                return version + 1
        stored = self._entry(base_of(kind), entry_id, newest) if newest else None
        raise stale(f"{row['book']}/{entry_id}", version, began_at or 0, stored)

    def _entry(self, kind: type[T], entry_id: str, row: Stored) -> T:
        origin = f"{book_of(kind)[0]}/{entry_id}, version {row.version}, in {self.place}"
        return from_document(kind, row.document, origin=origin)
