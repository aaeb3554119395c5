"""What keeps jobs, blobs and the shop's books; and the store that is a folder.

::

    shop/
      jobs/NAME/job.json        the job document, with its version
      blobs/ab/abcdef...        files and results by SHA-256
      books/tools/ID.json       one versioned entry of a book
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol, TypeVar

from kerfwright import catalog
from kerfwright.errors import (
    StaleVersionError,
    UnknownNameError,
    UnreadableError,
    UsageError,
)
from kerfwright.geometry.record import Record
from kerfwright.job.codec import from_document, to_document
from kerfwright.job.files import is_there, locked, read_file, write_file
from kerfwright.model.job import Job
from kerfwright.model.material import Material, SettingCard
from kerfwright.model.rules import RuleTable
from kerfwright.model.table import Table
from kerfwright.model.tooling import Blade

T = TypeVar("T", bound=Record)

BOOKS: Mapping[type[Record], tuple[str, Callable[[], Mapping[str, Any]]]] = {
    Table: ("tables", catalog.load_tables),
    Blade: ("tools", catalog.load_tools),
    Material: ("materials", catalog.load_materials),
    SettingCard: ("cards", catalog.load_cards),
    RuleTable: ("rules", catalog.load_rule_tables),
}
"""Books by the record they hold: folder name, and the catalogue that fills them first."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,79}")
_HASH = re.compile(r"[0-9a-f]{64}")


class Store(Protocol):
    """Keeps jobs, blobs and books."""

    def job_ids(self) -> tuple[str, ...]:
        """Return the names of all jobs, sorted."""

    def load_job(self, job_id: str) -> Job:
        """Return a job."""

    def save_job(self, job: Job) -> Job:
        """Store a job whose version is the stored one; return it with the next version."""

    def put_blob(self, data: bytes) -> str:
        """Store bytes; return their SHA-256."""

    def get_blob(self, sha256: str) -> bytes:
        """Return stored bytes, their hash checked."""

    def has_blob(self, sha256: str) -> bool:
        """Return whether bytes of that hash are stored."""

    def book_ids(self, kind: type[Record]) -> tuple[str, ...]:
        """Return the ids of a book's entries, sorted."""

    def load_entry(self, kind: type[T], entry_id: str) -> T:
        """Return an entry of a book."""

    def save_entry(self, entry_id: str, entry: Record) -> int:
        """Store a new version of an entry; return its number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Versioned:
    """Head of a stored book entry."""

    version: int
    entry: Any


class FolderStore:
    """A store that is a folder of plain files.

    Parameters
    ----------
    root : Path
        The folder; it is made, with the catalogue's books, when something is first written.
    """

    def __init__(self, root: Path) -> None:
        self.root = root

    def job_ids(self) -> tuple[str, ...]:
        """Return the names of all jobs, sorted."""
        return tuple(sorted(p.parent.name for p in self._found("jobs/*/job.json")))

    def load_job(self, job_id: str) -> Job:
        """Return a job.

        Raises
        ------
        UnknownNameError
            If there is none of that name.
        UnreadableError
            If its document is damaged.
        """
        path = self._job_path(job_id)
        if not is_there(path):
            known = ", ".join(self.job_ids()) or "none yet"
            raise UnknownNameError(f"{self.root} holds no job {job_id}; it holds: {known}")
        return from_document(Job, _text(path), origin=str(path))

    def save_job(self, job: Job) -> Job:
        """Store a job whose version is the stored one; return it with the next version.

        Raises
        ------
        StaleVersionError
            If a newer version was stored meanwhile; nothing is written.
        CannotWriteError
            If it cannot be written; the stored version stays.
        """
        path = self._job_path(job.id)
        with locked(path.with_name(".lock")):
            stored = self.load_job(job.id).version if is_there(path) else 0
            if stored != job.version:
                raise StaleVersionError(
                    f"job {job.id} is at version {stored}, this change began at {job.version}; "
                    "load it again and repeat the change"
                )
            kept = replace(job, version=job.version + 1)
            write_file(path, to_document(kept).encode())
        return kept

    def put_blob(self, data: bytes) -> str:
        """Store bytes once, damaged ones anew; return their SHA-256."""
        sha256 = hashlib.sha256(data).hexdigest()
        path = self._blob_path(sha256)
        if not (is_there(path) and hashlib.sha256(read_file(path)).hexdigest() == sha256):
            write_file(path, data)
        return sha256

    def get_blob(self, sha256: str) -> bytes:
        """Return stored bytes, their hash checked.

        Raises
        ------
        UnreadableError
            If they are missing, or changed on disk, or the hash is none.
        """
        path = self._blob_path(sha256)
        data = read_file(path)
        if hashlib.sha256(data).hexdigest() != sha256:
            raise UnreadableError(f"{path} was changed or damaged; remove it and run again")
        return data

    def has_blob(self, sha256: str) -> bool:
        """Return whether bytes of that hash are stored."""
        return is_there(self._blob_path(sha256))

    def book_ids(self, kind: type[Record]) -> tuple[str, ...]:
        """Return the ids of a book's entries, the shop's own and the catalogue's, sorted."""
        name, first_fill = BOOKS[kind]
        own = {p.stem for p in self._found(f"books/{name}/*.json")}
        return tuple(sorted(own | set(first_fill())))

    def load_entry(self, kind: type[T], entry_id: str) -> T:
        """Return an entry of a book: the shop's own version, else the catalogue's.

        Raises
        ------
        UnknownNameError
            If neither has it.
        UnreadableError
            If the stored entry is damaged.
        """
        name, first_fill = BOOKS[kind]
        path = self._entry_path(kind, entry_id)
        if is_there(path):
            return from_document(kind, _entry_text(path), origin=str(path))
        entry = first_fill().get(entry_id)
        if entry is None:
            known = ", ".join(self.book_ids(kind))
            raise UnknownNameError(f"the book of {name} has no {entry_id}; it has: {known}")
        found: T = entry
        return found

    def save_entry(self, entry_id: str, entry: Record) -> int:
        """Store a new version of an entry; return its number.

        Raises
        ------
        CannotWriteError
            If it cannot be written; the stored version stays.
        UnreadableError
            If the stored version is damaged; it stays, for somebody to look at.
        """
        path = self._entry_path(type(entry), entry_id)
        with locked(path.with_name(f".{entry_id}.lock")):
            version = 1 + (_entry_version(path) if is_there(path) else 0)
            write_file(path, to_document(_Versioned(version=version, entry=entry)).encode())
        return version

    def _job_path(self, job_id: str) -> Path:
        return self.root / "jobs" / _checked(job_id) / "job.json"

    def _found(self, pattern: str) -> list[Path]:
        try:
            return list(self.root.glob(pattern))
        except OSError as error:
            why = f"{error.strerror}; check it"
            raise UnreadableError(f"{self.root} cannot be listed: {why}") from error

    def _blob_path(self, sha256: str) -> Path:
        if not _HASH.fullmatch(sha256):
            raise UnreadableError(f"{sha256!r} is no SHA-256, so no blob has that name")
        return self.root / "blobs" / sha256[:2] / sha256

    def _entry_path(self, kind: type[Record], entry_id: str) -> Path:
        return self.root / "books" / BOOKS[kind][0] / f"{_checked(entry_id)}.json"


def _checked(name: str) -> str:
    if not _NAME.fullmatch(name):
        raise UsageError(
            f"{name!r} cannot be a name: 1 to 80 letters, digits, dots, dashes or underscores, "
            "a letter or digit first"
        )
    return name


def _text(path: Path) -> str:
    try:
        return read_file(path).decode()
    except UnicodeDecodeError as error:
        raise UnreadableError(f"{path} is not text; restore it from a copy") from error


def _entry_text(path: Path) -> str:
    return json.dumps(_entry_head(path)["entry"])


def _entry_version(path: Path) -> int:
    version = _entry_head(path)["version"]
    if not isinstance(version, int) or version < 1:
        raise UnreadableError(f"{path} has version {version!r}, least is 1; restore it from a copy")
    return version


def _entry_head(path: Path) -> Mapping[str, Any]:
    try:
        head = json.loads(_text(path))
    except (ValueError, RecursionError) as error:
        raise UnreadableError(f"{path} is not JSON: {error}; restore it from a copy") from error
    if not isinstance(head, dict) or {"version", "entry"} - set(head):
        raise UnreadableError(f"{path} is no book entry; restore it from a copy")
    return head
