"""Rows of the store that is a database, as it asks for them."""

from __future__ import annotations

import json
from typing import Any, NamedTuple

from sqlalchemy import Connection, Select, select

from kerfwright.geometry.record import Record
from kerfwright.job.books import book_of, checked_name
from kerfwright.job.sql_schema import ENTRIES, JOBS


class Stored(NamedTuple):
    """A version of a job or an entry as it stands in the database."""

    version: int
    document: str


def newest_job(connection: Connection, job_id: str) -> Stored | None:
    """Return the newest version of a job; None if there is no such job."""
    return _first(connection, _of_job(job_id).order_by(JOBS.c.version.desc()))


def job_at(connection: Connection, job_id: str, version: int) -> Stored | None:
    """Return a version of a job; None if there is none."""
    return _first(connection, _of_job(job_id).where(JOBS.c.version == version))


def newest_entry(connection: Connection, kind: type[Record], entry_id: str) -> Stored | None:
    """Return the newest version of the shop's own entry; None if it has none."""
    of_entry = (ENTRIES.c.book == book_of(kind)[0], ENTRIES.c.entry_id == checked_name(entry_id))
    ask = select(ENTRIES.c.version, ENTRIES.c.document).where(*of_entry)
    return _first(connection, ask.order_by(ENTRIES.c.version.desc()))


def _of_job(job_id: str) -> Select[Any]:
    return select(JOBS.c.version, JOBS.c.document).where(JOBS.c.job_id == checked_name(job_id))


def _first(connection: Connection, ask: Select[Any]) -> Stored | None:
    row = connection.execute(ask.limit(1)).one_or_none()
    return None if row is None else Stored(row.version, row.document)


def changed_fields(before: str, after: str) -> tuple[str, ...]:
    """Return the fields in which two documents of a job differ, the version apart."""
    new = json.loads(after)
    try:
        old = json.loads(before)
    except (ValueError, RecursionError):
        old = None
    if not isinstance(old, dict):  # damaged; nothing of it stands
        return tuple(sorted(new))
    differing = {name for name in {*old, *new} if old.get(name) != new.get(name)}
    return tuple(sorted(differing - {"version"}))
