"""Opens the database of a store and brings it to the form of today.

SQLite is set to write ahead (readers see the last whole state and never wait), to flush at every
commit, and to let a writer wait for another one.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, IntegrityError, NoSuchModuleError

from kerfwright.errors import OutOfResourcesError, UnreadableError, UsageError
from kerfwright.job.files import locked
from kerfwright.job.sql_schema import ENTRIES, JOBS, is_current, upgrade
from kerfwright.job.sql_words import saying

WRITES = "kerfwright_writes"
"""Option of a connection whose transaction takes the right to write at once."""

_WAL_KEPT_BYTES = 1 << 26


def open_engine(url: str, *, wait_s: float) -> tuple[Engine, str]:
    """Return the engine of a database in the form of today, and the name to call it by.

    Parameters
    ----------
    url : str
        Address as SQLAlchemy writes it.
    wait_s : float
        How long a writer waits for another one [s].

    Raises
    ------
    UsageError
        If the address is none, or names a database of another program.
    UnreadableError
        If it is damaged, or written by a newer program.
    CannotWriteError
        If it cannot be opened, made or brought to the form of today.
    OutOfResourcesError
        If another program makes or writes it for longer than that.
    """
    parsed = _parsed(url)
    place = _place(parsed)
    try:
        engine = create_engine(parsed, connect_args=_arguments(parsed, wait_s))
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        raise UsageError(f"{place} needs a driver that is not installed: {error}") from error
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _set_up)
        event.listen(engine, "begin", _begin)
    try:
        with saying(place, wait_s):
            _prepare(engine, place, parsed)
    except IntegrityError as error:
        engine.dispose()
        message = f"{place} is being made by another program; try again"
        raise OutOfResourcesError(message) from error
    except BaseException:
        engine.dispose()
        raise
    return engine, place


def _parsed(url: str) -> URL:
    try:
        parsed = make_url(url)
    except (ArgumentError, ValueError) as error:
        example = "sqlite:///shop.db"
        raise UsageError(f"{url!r} is no address of a database; one is {example}") from error
    if parsed.get_backend_name() == "sqlite" and parsed.database in {None, "", ":memory:"}:
        raise UsageError("a database in memory keeps nothing; name a file")
    return parsed


def _place(url: URL) -> str:
    if url.get_backend_name() == "sqlite":
        return str(_file(url))
    return url.render_as_string(hide_password=True)


def _file(url: URL) -> Path:
    return Path(str(url.database).removeprefix("file:"))


def _arguments(url: URL, wait_s: float) -> dict[str, Any]:
    return {"timeout": wait_s} if url.get_backend_name() == "sqlite" else {}


def _set_up(connection: sqlite3.Connection, _: object) -> None:
    connection.isolation_level = None  # transactions begin where we say so, see _begin
    for pragma in (
        "synchronous = FULL",
        "foreign_keys = ON",
        "trusted_schema = OFF",
        f"journal_size_limit = {_WAL_KEPT_BYTES}",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    # One that reads first and writes then could be refused in the middle; this one waits before.
    writes = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _prepare(engine: Engine, place: str, url: URL) -> None:
    if engine.dialect.name != "sqlite":
        with engine.begin() as connection:
            if not is_current(connection, place):
                upgrade(connection)
        return
    file = _file(url)
    if file.exists() and file.stat().st_size and _is_ready(engine, place):
        return
    with locked(file.with_name(f".{file.name}.lock")):
        _write_ahead(engine)
        with engine.connect().execution_options(**{WRITES: True}) as connection, connection.begin():
            if not is_current(connection, place):
                upgrade(connection)


def _is_ready(engine: Engine, place: str) -> bool:
    with engine.connect() as connection:
        current = is_current(connection, place)
        mode = connection.execute(text("PRAGMA journal_mode")).scalar_one()
        for table in (JOBS, ENTRIES) if current else ():
            found = connection.execute(text(f"PRAGMA quick_check('{table.name}')")).scalar_one()
            if found != "ok":
                why = " ".join(str(found).split())
                cure = "move it away and restore it from a copy"
                raise UnreadableError(f"{place} is damaged, {why}; {cure}")
        return current and mode == "wal"


def _write_ahead(engine: Engine) -> None:
    raw = engine.raw_connection()
    try:
        raw.cursor().execute("PRAGMA journal_mode = WAL")
    finally:
        raw.close()
