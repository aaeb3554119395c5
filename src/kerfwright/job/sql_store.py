"""The store that is a database: SQLite in one file, or any other that SQLAlchemy speaks to.

Every saved version of a job and of a book entry stays; the newest one counts. Two who save on top
of the same version cannot both succeed: the number of the version is part of the row's key.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime

from sqlalchemy import insert, select
from sqlalchemy.exc import IntegrityError

from kerfwright.errors import StaleVersionError, UnknownNameError, UnreadableError
from kerfwright.job.books import checked_name, stale
from kerfwright.job.codec import from_document, to_document
from kerfwright.job.history import SavedVersion, redo_target, undo_target
from kerfwright.job.sql_base import now
from kerfwright.job.sql_blobs import SqlBlobs
from kerfwright.job.sql_books import SqlBooks
from kerfwright.job.sql_rows import Stored, changed_fields, job_at, newest_job
from kerfwright.job.sql_schema import JOBS
from kerfwright.model.job import Job


class SqlStore(SqlBlobs, SqlBooks):
    """A store that is a database.

    Parameters
    ----------
    url : str
        Address as SQLAlchemy writes it; `sqlite_url` gives that of a file. The database is made,
        or brought to the form of today, when it is opened.
    wait_s : float
        How long a writer waits for another one [s].

    Raises
    ------
    UsageError
        If the address is none, or names a database of another program.
    UnreadableError
        If the database is damaged, or a newer program wrote it.
    CannotWriteError
        If it cannot be opened or made.
    """

    def job_ids(self) -> tuple[str, ...]:
        """Return the names of all jobs, sorted."""
        with self._reading() as connection:
            return tuple(sorted(connection.scalars(select(JOBS.c.job_id).distinct())))

    def load_job(self, job_id: str) -> Job:
        """Return a job as it was last saved.

        Raises
        ------
        UnknownNameError
            If there is none of that name.
        UnreadableError
            If its document is damaged.
        """
        with self._reading() as connection:
            row = newest_job(connection, job_id)
        if row is None:
            raise self._no_job(job_id)
        return self._job(job_id, row)

    def load_version(self, job_id: str, version: int) -> Job:
        """Return a job as it once was.

        Raises
        ------
        UnknownNameError
            If there is no such version.
        UnreadableError
            If its document is damaged.
        """
        with self._reading() as connection:
            row = job_at(connection, job_id, version)
            newest = None if row else newest_job(connection, job_id)
        if row is not None:
            return self._job(job_id, row)
        if newest is None:
            raise self._no_job(job_id)
        raise UnknownNameError(
            f"job {job_id} has no version {version}; it has 1 to {newest.version}"
        )

    def save_job(self, job: Job) -> Job:
        """Store a job whose version is the stored one; return it with the next version.

        Raises
        ------
        StaleVersionError
            If a newer version was stored meanwhile; it carries the stored job.
        CannotWriteError
            If it cannot be written; the stored version stays.
        """
        return self._saved(job, basis=job.version + 1)

    def history(self, job_id: str) -> tuple[SavedVersion, ...]:
        """Return every saved version of a job, in order.

        Raises
        ------
        UnknownNameError
            If there is no job of that name.
        """
        columns = (JOBS.c.version, JOBS.c.saved_at, JOBS.c.basis, JOBS.c.changed)
        ask = select(*columns).where(JOBS.c.job_id == checked_name(job_id))
        with self._reading() as connection:
            rows = connection.execute(ask.order_by(JOBS.c.version)).all()
        if not rows:
            raise self._no_job(job_id)
        return tuple(
            SavedVersion(
                version=row.version,
                saved_at=datetime.fromisoformat(row.saved_at),
                basis=row.basis,
                changed=tuple(row.changed.split()),
            )
            for row in rows
        )

    def restore(self, job_id: str, version: int, *, began_at: int) -> Job:
        """Save the content of an earlier version as a new one; return it.

        Parameters
        ----------
        job_id : str
            The job.
        version : int
            Whose content is wanted.
        began_at : int
            Version that was the newest when this was asked for.

        Raises
        ------
        StaleVersionError
            If a newer version was stored meanwhile.
        UnknownNameError
            If there is no such job or version.
        """
        old = self.load_version(job_id, version)
        return self._saved(replace(old, version=began_at), basis=began_at + 1)

    def undo(self, job_id: str, *, began_at: int) -> Job:
        """Take the last change back: save what stood before it as a new version; return it.

        Asked again, it takes back the change before, and so on.

        Raises
        ------
        UsageError
            If the first version already stands.
        StaleVersionError, UnknownNameError
            As `restore`.
        """
        return self._stepped(job_id, undo_target, began_at)

    def redo(self, job_id: str, *, began_at: int) -> Job:
        """Take the last undo back, as long as nothing else was saved after it.

        Raises
        ------
        UsageError
            If there is nothing to redo.
        StaleVersionError, UnknownNameError
            As `restore`.
        """
        return self._stepped(job_id, redo_target, began_at)

    def _stepped(self, job_id: str, target: Callable[[Sequence[int]], int], began_at: int) -> Job:
        saved = self.history(job_id)
        if saved[-1].version != began_at:
            raise self._stale_job(job_id, began_at)
        basis = target([version.basis for version in saved])
        return self._saved(replace(self.load_version(job_id, basis), version=began_at), basis=basis)

    def _saved(self, job: Job, *, basis: int) -> Job:
        kept = replace(job, version=job.version + 1)
        name, document = checked_name(job.id), to_document(kept)
        row = {"job_id": name, "version": kept.version, "basis": basis, "saved_at": now()}
        # A database that lets two write at once refuses the second row of the same version.
        with contextlib.suppress(IntegrityError), self._writing() as connection:
            newest = newest_job(connection, name)
            if (newest.version if newest else 0) == job.version:
                changed = changed_fields(newest.document, document) if newest else ()
                words = {"changed": " ".join(changed), "document": document}
                connection.execute(insert(JOBS).values(**row, **words))
                return kept
        raise self._stale_job(name, job.version)

    def _stale_job(self, job_id: str, began_at: int) -> StaleVersionError:
        with self._reading() as connection:
            newest = newest_job(connection, job_id)
        stored = self._job(job_id, newest) if newest else None
        return stale(f"job {job_id}", newest.version if newest else 0, began_at, stored)

    def _job(self, job_id: str, row: Stored) -> Job:
        origin = f"job {job_id}, version {row.version}, in {self.place}"
        job = from_document(Job, row.document, origin=origin)
        if (job.id, job.version) != (job_id, row.version):
            other = f"{job.id!r}, version {job.version}"
            raise UnreadableError(f"{origin} is that of {other}; restore it from a copy")
        return job

    def _no_job(self, job_id: str) -> UnknownNameError:
        known = ", ".join(self.job_ids()) or "none yet"
        return UnknownNameError(f"{self.place} holds no job {job_id}; it holds: {known}")
