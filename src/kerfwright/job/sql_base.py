"""The open database of a store: its connections for reading and for writing."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import URL, Connection

from kerfwright.job.sql_engine import WRITES, open_engine
from kerfwright.job.sql_words import saying

WAIT_S = 10.0


def sqlite_url(file: Path) -> str:
    """Return the address of a SQLite file, whatever signs its name has."""
    return URL.create("sqlite", database=str(file)).render_as_string()


def now() -> str:
    """Return the time of a saved version, in UTC."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class SqlBase:
    """An open database; `SqlStore` says what the arguments are."""

    def __init__(self, url: str, *, wait_s: float = WAIT_S) -> None:
        self._url, self._wait_s = url, wait_s
        self._engine, self.place = open_engine(url, wait_s=wait_s)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def __reduce__(self) -> tuple[object, ...]:
        """Return what opens the same database in another process."""
        return _opened, (type(self), self._url, self._wait_s)

    def close(self) -> None:
        """Close every connection; a later call opens a new one."""
        self._engine.dispose()

    @contextlib.contextmanager
    def _reading(self) -> Iterator[Connection]:
        with saying(self.place, self._wait_s), self._engine.connect() as connection:
            yield connection

    @contextlib.contextmanager
    def _writing(self) -> Iterator[Connection]:
        with saying(self.place, self._wait_s), self._engine.connect() as connection:
            writer = connection.execution_options(**{WRITES: True})
            with writer.begin():
                yield writer


def _opened(kind: type[SqlBase], url: str, wait_s: float) -> SqlBase:
    return kind(url, wait_s=wait_s)
