"""Blobs in a database, by their hash."""

from __future__ import annotations

import contextlib
import hashlib

from sqlalchemy import insert, select, update
from sqlalchemy.exc import IntegrityError

from kerfwright.errors import UnreadableError
from kerfwright.job.books import checked_hash
from kerfwright.job.sql_base import SqlBase
from kerfwright.job.sql_schema import BLOBS


class SqlBlobs(SqlBase):
    """The blobs of `SqlStore`."""

    def put_blob(self, data: bytes) -> str:
        """Store bytes once, damaged ones anew; return their SHA-256."""
        sha256 = hashlib.sha256(data).hexdigest()
        if self._blob(sha256) == data:
            return sha256
        there = BLOBS.c.sha256 == sha256
        # Another who stores the same bytes first has done what was asked.
        with contextlib.suppress(IntegrityError), self._writing() as connection:
            if connection.scalar(select(BLOBS.c.sha256).where(there)) is None:
                connection.execute(insert(BLOBS).values(sha256=sha256, data=data))
            else:
                connection.execute(update(BLOBS).where(there).values(data=data))
        return sha256

    def get_blob(self, sha256: str) -> bytes:
        """Return stored bytes, their hash checked.

        Raises
        ------
        UnreadableError
            If they are missing, or changed on disk, or the hash is none.
        """
        data = self._blob(checked_hash(sha256))
        if data is None:
            raise UnreadableError(f"blob {sha256} does not exist in {self.place}; run again")
        if hashlib.sha256(data).hexdigest() != sha256:
            cure = "run again, it is then stored anew"
            raise UnreadableError(f"blob {sha256} in {self.place} was changed or damaged; {cure}")
        return data

    def has_blob(self, sha256: str) -> bool:
        """Return whether bytes of that hash are stored."""
        ask = select(BLOBS.c.sha256).where(BLOBS.c.sha256 == checked_hash(sha256))
        with self._reading() as connection:
            return connection.scalar(ask) is not None

    def _blob(self, sha256: str) -> bytes | None:
        with self._reading() as connection:
            found = connection.scalar(select(BLOBS.c.data).where(BLOBS.c.sha256 == sha256))
        return None if found is None else bytes(found)
