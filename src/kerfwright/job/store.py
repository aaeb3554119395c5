"""What keeps jobs, blobs and the shop's books; and the store that is a folder.

The store that is a database stands in a module of its own, for it needs a heavy library.

::

    shop/
      jobs/NAME/job.json        the job document, with its version
      blobs/ab/abcdef...        files and results by SHA-256
      books/tools/ID.json       one versioned entry of a book
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol, TypeVar

from kerfwright.errors import UnknownNameError, UnreadableError
from kerfwright.geometry.record import Record
from kerfwright.job.books import (
    Versioned,
    base_of,
    book_of,
    catalogue_entry,
    checked_hash,
    checked_name,
    stale,
)
from kerfwright.job.codec import from_document, to_document
from kerfwright.job.files import is_there, locked, read_file, write_file
from kerfwright.model.job import Job

T = TypeVar("T", bound=Record)


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

    def load_versioned(self, kind: type[T], entry_id: str) -> Versioned[T]:
        """Return an entry with its version, which is 0 while it is the catalogue's."""

    def save_entry(self, entry_id: str, entry: Record, *, began_at: int | None = None) -> int:
        """Store a new version of an entry, if the one it began at still stands; return its number.

        Without `began_at` it is stored whatever stands.
        """


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
            stored = self.load_job(job.id) if is_there(path) else None
            version = stored.version if stored else 0
            if version != job.version:
                raise stale(f"job {job.id}", version, job.version, stored)
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
        name, first_fill = book_of(kind)
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
        return self.load_versioned(kind, entry_id).entry

    def load_versioned(self, kind: type[T], entry_id: str) -> Versioned[T]:
        """Return an entry with its version, which is 0 while it is the catalogue's.

        Raises
        ------
        UnknownNameError, UnreadableError
            As `load_entry`.
        """
        path = self._entry_path(kind, entry_id)
        if is_there(path):
            return _stored_entry(kind, path)
        entry = catalogue_entry(kind, entry_id, lambda: self.book_ids(kind))
        return Versioned(version=0, entry=entry)

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
            If another version than `began_at` stands; nothing is written.
        CannotWriteError
            If it cannot be written; the stored version stays.
        UnreadableError
            If the stored version is damaged; it stays, for somebody to look at.
        """
        path = self._entry_path(type(entry), entry_id)
        with locked(path.with_name(f".{entry_id}.lock")):
            version = _entry_version(path, _entry_head(path)) if is_there(path) else 0
            if began_at is not None and began_at != version:
                stored = _stored_entry(base_of(type(entry)), path).entry if version else None
                raise stale(f"{book_of(type(entry))[0]}/{entry_id}", version, began_at, stored)
            kept = Versioned(version=version + 1, entry=entry)
            write_file(path, to_document(kept).encode())
        return version + 1

    def _job_path(self, job_id: str) -> Path:
        return self.root / "jobs" / checked_name(job_id) / "job.json"

    def _found(self, pattern: str) -> list[Path]:
        try:
            return list(self.root.glob(pattern))
        except OSError as error:
            why = f"{error.strerror}; check it"
            raise UnreadableError(f"{self.root} cannot be listed: {why}") from error

    def _blob_path(self, sha256: str) -> Path:
        return self.root / "blobs" / checked_hash(sha256)[:2] / sha256

    def _entry_path(self, kind: type[Record], entry_id: str) -> Path:
        return self.root / "books" / book_of(kind)[0] / f"{checked_name(entry_id)}.json"


def _text(path: Path) -> str:
    try:
        return read_file(path).decode()
    except UnicodeDecodeError as error:
        raise UnreadableError(f"{path} is not text; restore it from a copy") from error


def _stored_entry(kind: type[T], path: Path) -> Versioned[T]:
    head = _entry_head(path)
    entry = from_document(kind, json.dumps(head["entry"]), origin=str(path))
    return Versioned(version=_entry_version(path, head), entry=entry)


def _entry_version(path: Path, head: Mapping[str, Any]) -> int:
    version = head["version"]
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
