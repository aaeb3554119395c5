"""A job from one store to another, as one file: export and import.

The file is the job in the form of a store's folder, zipped: unpacked into an empty folder, it is a
shop that holds this job alone. It holds the job as it stands, not its history; what was computed
for it comes along, so that nothing has to be computed again.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from kerfwright.errors import (
    OutOfResourcesError,
    StaleVersionError,
    UnreadableError,
    UsageError,
)
from kerfwright.job.archive import MAX_BYTES, MAX_FILES, Archive, open_archive
from kerfwright.job.belongings import (
    known_entry,
    named_hashes,
    needed_blobs,
    own_entries,
    result_blobs,
)
from kerfwright.job.books import base_of, book_of, checked_name
from kerfwright.job.codec import to_document
from kerfwright.job.files import filled_aside
from kerfwright.job.store import Store
from kerfwright.model.job import Job

_RESULT = b"kerfwright-record-"
_LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the earliest a zip file can say; the same job, the same bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """What an export wrote.

    Parameters
    ----------
    job : Job
        The job.
    path : Path
        The file.
    blobs : int
        Blobs in it: the customer's files, photographs, results.
    entries : tuple of str
        The shop's own book entries in it, as ``book/id``.
    left_out : tuple of str
        Hashes of results that are missing or damaged in the store; they are computed again.
    """

    job: Job
    path: Path
    blobs: int
    entries: tuple[str, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """What an import stored.

    Parameters
    ----------
    job : Job
        The job as it stands in the store now.
    entries : tuple of str
        Book entries the shop did not have and has now, as ``book/id``.
    differing : tuple of str
        Entries the shop has with another content; its own stay, and what was computed with the
        other ones is to be looked at again.
    """

    job: Job
    entries: tuple[str, ...]
    differing: tuple[str, ...]


def export_job(job_id: str, store: Store, path: Path) -> Exported:
    """Write a job with all it needs as one file.

    Parameters
    ----------
    job_id : str
        The job.
    store : Store
        Where it is kept.
    path : Path
        The file to write; one that stands there is replaced.

    Raises
    ------
    UnknownNameError
        If there is no such job.
    UnreadableError
        If a customer's file or a photograph of it is missing or damaged in the store.
    OutOfResourcesError
        If it is more than an import takes.
    CannotWriteError
        If the file cannot be written; one that stood there stays.
    """
    job = store.load_job(job_id)
    content = _Content(job, store, path)
    with filled_aside(path) as file, zipfile.ZipFile(file, "w") as archive:
        for name, data in content:
            info = zipfile.ZipInfo(name, _LONG_AGO)
            info.external_attr = 0o644 << 16
            archive.writestr(info, data, zipfile.ZIP_DEFLATED)
    return Exported(
        job=job,
        path=path,
        blobs=content.blobs,
        entries=tuple(content.entries),
        left_out=tuple(content.left_out),
    )


class _Content:
    """Names and bytes of an export, one after the other; what was met is told afterwards."""

    def __init__(self, job: Job, store: Store, path: Path) -> None:
        self._job, self._store, self._path = job, store, path
        self._files = self._total = self.blobs = 0
        self.entries: list[str] = []
        self.left_out: list[str] = []

    def __iter__(self) -> Iterator[tuple[str, bytes]]:
        document = to_document(self._job).encode()
        yield self._counted(f"jobs/{self._job.id}/job.json", document)
        for sha, data in self._reached(document):
            self.blobs += 1
            yield self._counted(f"blobs/{sha[:2]}/{sha}", data)
        for name, entry in sorted(own_entries(self._job, self._store).items()):
            self.entries.append(name)
            yield self._counted(f"books/{name}.json", to_document(entry).encode())

    def _counted(self, name: str, data: bytes) -> tuple[str, bytes]:
        self._files += 1
        self._total += len(data)
        if self._files > MAX_FILES or self._total > MAX_BYTES:
            raise OutOfResourcesError(
                f"{self._path} would hold more than {MAX_FILES} files or {MAX_BYTES} bytes, which "
                f"no import takes; leave sheets out of job {self._job.id}"
            )
        return name, data

    def _reached(self, document: bytes) -> Iterator[tuple[str, bytes]]:
        """Yield each blob the job names, or a result of it names, and so on."""
        needed, results = needed_blobs(self._job), result_blobs(self._job)
        named = {*needed, *results, *named_hashes(document)}
        todo = sorted(named, reverse=True)
        while todo:
            sha = todo.pop()
            data = self._blob(sha, needed.get(sha), is_result=sha in results)
            if data is None:
                continue
            yield sha, data
            fresh = (named_hashes(data) if data.startswith(_RESULT) else set()) - named
            named |= fresh
            todo += sorted(fresh, reverse=True)

    def _blob(self, sha: str, what: str | None, *, is_result: bool) -> bytes | None:
        if what is None and not self._store.has_blob(sha):  # a hash of something else, or lost
            self.left_out += [sha] if is_result else []
            return None
        try:
            return self._store.get_blob(sha)
        except UnreadableError as error:
            if what is None:
                self.left_out.append(sha)
                return None
            raise UnreadableError(f"job {self._job.id}, {what}: {error}") from error


def import_job(
    path: Path, store: Store, *, name: str = "", limit_bytes: int = MAX_BYTES
) -> Imported:
    """Take a job from a file into a store, at version 1; nothing that stands there is changed.

    Everything in the file is checked first. Then blobs and book entries are stored, and the job
    last, so that an interruption leaves no job that lacks something.

    Parameters
    ----------
    path : Path
        A file `export_job` wrote, or the zipped content of a store's folder with one job.
    store : Store
        Where it goes.
    name : str, optional
        Name of the job there; without it the one it had.
    limit_bytes : int
        Most it may hold, unpacked.

    Raises
    ------
    UnreadableError
        If the file is none, is damaged, lacks a customer's file, or holds a name or content that
        no export has.
    OutOfResourcesError
        If it unpacks to more than the limit.
    UsageError
        If the store has a job of that name already, or the name is none.
    CannotWriteError
        If the store cannot be written; there is no such job then.
    """
    with open_archive(path, limit_bytes=limit_bytes) as archive:
        job_id = checked_name(name or archive.job.id)
        taken = f"there is a job {job_id} already; give the import another name"
        if job_id in store.job_ids():
            raise UsageError(taken)
        _refuse_incomplete(archive, path)
        for data in archive.blobs():
            store.put_blob(data)
        added, differing = _stored_entries(archive, store)
        try:
            job = store.save_job(replace(archive.job, id=job_id, version=0))
        except StaleVersionError as error:
            raise UsageError(taken) from error
    return Imported(job=job, entries=added, differing=differing)


def _refuse_incomplete(archive: Archive, path: Path) -> None:
    for sha, what in needed_blobs(archive.job).items():
        if not archive.has_blob(sha):  # one that the store has may be another customer's
            raise UnreadableError(f"{path} lacks a {what} of its job; export it anew")


def _stored_entries(archive: Archive, store: Store) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Store entries the shop has none of; what an entry of the shop means is never changed."""
    added, differing = [], []
    for entry_id, entry in archive.entries:
        kind = base_of(type(entry))
        name = f"{book_of(kind)[0]}/{entry_id}"
        known = known_entry(kind, entry_id, store)
        if known is None:
            store.save_entry(entry_id, entry, began_at=0)
            added.append(name)
        elif known.entry.digest != entry.digest:
            differing.append(name)
    return tuple(added), tuple(differing)
