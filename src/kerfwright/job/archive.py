"""A job as one zip file in the form of a store's folder, read so that nothing in it can do harm.

Nothing is unpacked to disk: names are compared with the few forms a store's folder has, sizes are
known before anything is read, and every blob is hashed.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NoReturn

from kerfwright.errors import KerfwrightError, OutOfResourcesError, UnreadableError
from kerfwright.geometry.record import Record
from kerfwright.job.books import BOOKS
from kerfwright.job.codec import from_document
from kerfwright.model.job import Job

MAX_BYTES = 1 << 31
"""Most that an exchanged job may hold, unpacked."""
MAX_FILES = 20_000
MAX_DOCUMENT_BYTES = 1 << 26

_NAME = r"[A-Za-z0-9][A-Za-z0-9_.-]{0,79}"
_KINDS = {name: kind for kind, (name, _) in BOOKS.items()}
_BOOK = "|".join(_KINDS)
_JOB = re.compile(rf"jobs/(?P<id>{_NAME})/job\.json")
_BLOB = re.compile(r"blobs/(?P<two>[0-9a-f]{2})/(?P<sha>(?P=two)[0-9a-f]{62})")
_ENTRY = re.compile(rf"books/(?P<book>{_BOOK})/(?P<id>{_NAME})\.json")
# Folders, locks and files left aside by a broken writer: they belong to a folder, not to the job.
_PASSED_OVER = re.compile(
    rf"(?:jobs/(?:{_NAME}/)?|blobs/(?:[0-9a-f]{{2}}/)?|books/(?:(?:{_BOOK})/)?)"
    r"(?:\.[A-Za-z0-9_.-]{1,200})?"
)
_SIZE_OF_NAME = 300  # bytes of the list of contents that one file takes, at most
_END, _END_64 = b"PK\5\6", b"PK\6\7"
_ENCRYPTED = 1


class Archive:
    """An exchanged job, checked whole while it is opened.

    Parameters
    ----------
    file : zipfile.ZipFile
        The open file.
    path : Path
        Where it lies.
    limit_bytes : int
        Most it may hold, unpacked.

    Attributes
    ----------
    job : Job
        The job in it.
    entries : tuple of tuple of str and Record
        Book entries that came with it, by id.
    """

    job: Job
    entries: tuple[tuple[str, Record], ...]

    def __init__(self, file: zipfile.ZipFile, path: Path, *, limit_bytes: int) -> None:
        self._file, self._path = file, path
        self._blobs: dict[str, zipfile.ZipInfo] = {}
        self._jobs: dict[str, zipfile.ZipInfo] = {}
        self._entries: dict[tuple[str, str], zipfile.ZipInfo] = {}
        self._check_sizes(limit_bytes)
        self._sort()
        self.job = self._read_job()
        self.entries = tuple(self._read_entry(*key) for key in self._entries)
        for sha, info in self._blobs.items():
            if hashlib.sha256(self._read(info)).hexdigest() != sha:
                self._refuse(f"the content of {info.filename} does not have that hash")

    def has_blob(self, sha256: str) -> bool:
        """Return whether bytes of that hash came with it."""
        return sha256 in self._blobs

    def blobs(self) -> Iterator[bytes]:
        """Yield the bytes of each blob."""
        for info in self._blobs.values():
            yield self._read(info)

    def _check_sizes(self, limit_bytes: int) -> None:
        infos = self._file.infolist()
        total = sum(info.file_size for info in infos)
        if len(infos) > MAX_FILES or total > limit_bytes:
            raise OutOfResourcesError(
                f"{self._path} unpacks to {len(infos)} files of {total} bytes together, the limit "
                f"is {MAX_FILES} files of {limit_bytes} bytes; ask for a smaller export"
            )

    def _sort(self) -> None:
        seen: set[str] = set()
        for info in self._file.infolist():
            name = info.orig_filename  # the other name ends at the first zero byte
            if name in seen:
                self._refuse(f"it holds {name!r} twice")
            seen.add(name)
            if info.flag_bits & _ENCRYPTED:
                self._refuse(f"{name!r} is encrypted")
            if info.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
                self._refuse(f"{name!r} is packed in another way than plain zip files are")
            self._place(name, info)
        if len(self._jobs) != 1:
            named = ", ".join(sorted(self._jobs)[:5]) or "none"
            self._refuse(f"it must hold one job and holds {len(self._jobs)} ({named})")

    def _place(self, name: str, info: zipfile.ZipInfo) -> None:
        if found := _BLOB.fullmatch(name):
            self._blobs[found["sha"]] = info
        elif found := _JOB.fullmatch(name):
            self._jobs[found["id"]] = info
        elif found := _ENTRY.fullmatch(name):
            self._entries[found["book"], found["id"]] = info
        elif not _PASSED_OVER.fullmatch(name):
            self._refuse(f"{name[:200]!r} is no name of a store's folder")

    def _read_job(self) -> Job:
        ((job_id, info),) = self._jobs.items()
        job = from_document(Job, self._document(info), origin=self._origin(info))
        if job.id != job_id:
            self._refuse(f"{info.filename} calls itself {job.id[:80]!r}")
        return job

    def _read_entry(self, book: str, entry_id: str) -> tuple[str, Record]:
        info = self._entries[book, entry_id]
        origin = self._origin(info)
        try:
            head: Any = json.loads(self._document(info))
            text = json.dumps(head["entry"])
        except (ValueError, RecursionError, LookupError, TypeError) as error:
            raise UnreadableError(f"{origin} is no book entry: {error}; export it anew") from error
        return entry_id, from_document(_KINDS[book], text, origin=origin)

    def _document(self, info: zipfile.ZipInfo) -> str:
        if info.file_size > MAX_DOCUMENT_BYTES:
            raise OutOfResourcesError(
                f"{self._origin(info)} has {info.file_size} bytes, limit {MAX_DOCUMENT_BYTES}; "
                "export it anew"
            )
        try:
            return self._read(info).decode()
        except UnicodeDecodeError as error:
            raise UnreadableError(f"{self._origin(info)} is not text; export it anew") from error

    def _read(self, info: zipfile.ZipInfo) -> bytes:
        return self._file.read(info)  # never more than the size that was checked

    def _origin(self, info: zipfile.ZipInfo) -> str:
        return f"{info.filename} in {self._path}"

    def _refuse(self, why: str) -> NoReturn:
        raise UnreadableError(
            f"{self._path} is no exported job: {why}; export it anew, or zip what lies in the "
            "store's folder and not the folder itself"
        )


@contextlib.contextmanager
def open_archive(path: Path, *, limit_bytes: int = MAX_BYTES) -> Iterator[Archive]:
    """Yield an exchanged job after everything in it was checked.

    Raises
    ------
    UnreadableError
        If the file is missing, no zip file, damaged, or holds what no store's folder holds.
    OutOfResourcesError
        If it unpacks to more than the limit.
    """
    try:
        _check_list(path)
        with zipfile.ZipFile(path) as file:
            yield Archive(file, path, limit_bytes=limit_bytes)
    except KerfwrightError:  # some are such errors too, and have their words
        raise
    except FileNotFoundError as error:
        raise UnreadableError(f"{path} does not exist; check name and folder") from error
    except OSError as error:
        raise UnreadableError(f"{path} cannot be read: {error.strerror}; check it") from error
    except _DAMAGED as error:
        why = " ".join(str(error).split()) or type(error).__name__
        message = f"{path} is no whole zip file: {why}; transfer or export it anew"
        raise UnreadableError(message) from error


_DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    NotImplementedError,
    RuntimeError,
    ValueError,
)
"""What the standard library raises on zip files that are damaged or made to hurt."""


def _check_list(path: Path) -> None:
    """Refuse a list of contents that would fill memory before it could be looked at."""
    with path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(0, size - (1 << 16) - 64))
        tail = file.read()
    at = tail.rfind(_END)
    if at < 0 or at + 22 > len(tail):
        raise UnreadableError(f"{path} is no whole zip file; transfer or export it anew")
    (listed,) = struct.unpack_from("<I", tail, at + 12)
    if listed > MAX_FILES * _SIZE_OF_NAME or tail[max(0, at - 20) :].startswith(_END_64):
        raise OutOfResourcesError(
            f"{path} lists more files than {MAX_FILES}, the limit; ask for a smaller export"
        )
