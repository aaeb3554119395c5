"""What a database cannot do, in words: one exception of the tree with place and cure."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator

from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

from kerfwright.errors import (
    CannotWriteError,
    KerfwrightError,
    OutOfResourcesError,
    UnreadableError,
)

_BUSY = "is being written by another program for more than {wait:g} s; try again when it is done"
_READ_ONLY = "cannot be written: it is read-only; give this user the right, or choose another place"
_NO_RIGHT = "cannot be written: this user may not; choose another place"
_DAMAGED = "is damaged; move it away and restore it from a copy"
_NO_DATABASE = "is no database, or its begin is damaged; move it away and restore it from a copy"
_READ_FAILED = "cannot be read: the disk failed; check it"
_WRITE_FAILED = (
    "cannot be written: the disk failed or a limit of size was reached; free some space and check "
    "the disk"
)

_WORDS: tuple[tuple[str, type[KerfwrightError], str], ...] = (
    ("FULL", CannotWriteError, "cannot be written: the disk is full; free some space"),
    ("READONLY", CannotWriteError, _READ_ONLY),
    ("PERM", CannotWriteError, _NO_RIGHT),
    ("AUTH", CannotWriteError, _NO_RIGHT),
    ("BUSY", OutOfResourcesError, _BUSY),
    ("LOCKED", OutOfResourcesError, _BUSY),
    ("CORRUPT", UnreadableError, _DAMAGED),
    ("FORMAT", UnreadableError, _DAMAGED),
    ("NOTADB", UnreadableError, _NO_DATABASE),
    ("CANTOPEN", CannotWriteError, "cannot be opened or made; check the folder and the rights"),
    ("TOOBIG", OutOfResourcesError, "takes no piece so large; split it"),
    ("NOMEM", OutOfResourcesError, "needs more memory than there is; close other programs"),
    ("IOERR_READ", UnreadableError, _READ_FAILED),
    ("IOERR_CORRUPTFS", UnreadableError, _READ_FAILED),
    ("IOERR", CannotWriteError, _WRITE_FAILED),
)
"""What SQLite's result codes mean, by how their names begin; the first that fits counts.

Names of the codes: SQLite documentation, "Result and Error Codes" (from memory).
"""


@contextlib.contextmanager
def saying(place: str, wait_s: float) -> Iterator[None]:
    """Turn what a database raises into one exception of the tree; a row that is there passes.

    Raises
    ------
    KerfwrightError
        With place and cure.
    """
    try:
        yield
    except IntegrityError:
        raise  # somebody else added the same row; the caller knows what that means
    except PoolTimeoutError as error:
        message = f"{place} is asked by too many at once; try again"
        raise OutOfResourcesError(message) from error
    except (SQLAlchemyError, sqlite3.Error) as error:
        raise _in_words(error, place, wait_s) from error


def _in_words(error: Exception, place: str, wait_s: float) -> KerfwrightError:
    cause = error.orig if isinstance(error, DBAPIError) else error
    code = str(getattr(cause, "sqlite_errorname", "")).removeprefix("SQLITE_")
    for begin, kind, words in _WORDS:
        if code.startswith(begin):
            return kind(f"{place} {words.format(wait=wait_s)}")
    why = " ".join(str(cause).split()) or type(cause).__name__
    return CannotWriteError(f"{place} does not do it: {why}; check the database")
