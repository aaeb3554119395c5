"""Kill -9 a process that writes to a database store: all it said is there, and nothing is torn.

The writer, the moments and the judgement of jobs and entries are those of `store_kill`. Here every
earlier version must stand too, every blob have its hash, and SQLite find its file whole.
"""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np

from kerfwright.errors import KerfwrightError
from kerfwright.job.sql_base import sqlite_url
from kerfwright.job.sql_store import SqlStore
from studies.store_kill import (
    LONGEST_S,
    blob_of,
    entry_round,
    hash_of,
    job_of,
    job_round,
    kill_a_writer,
    missing_blobs,
    write_round,
    wrong_next,
)

DEFAULT_SIZE = 100
SMALL_SIZE = 5

WRITER = "from studies.sql_store_kill import write_forever; write_forever({folder!r})"


def write_forever(folder: str) -> None:
    """Write round after round and say so on standard output, until killed."""
    store = SqlStore(sqlite_url(Path(folder) / "shop.db"))
    for number in count(1):
        write_round(store, number)


def judge(folder: Path, said: int) -> list[str]:
    """Return what is wrong with a database whose writer said it had done so many rounds."""
    if said < 1:
        return ["the writer did not write at all"]
    wrong = _torn_file(folder / "shop.db")
    try:
        with SqlStore(sqlite_url(folder / "shop.db")) as store:
            rounds = {"job": job_round(store), "entry": entry_round(store)}
            wrong += [
                f"{what} is of round {found}, the writer said {said}"
                for what, found in rounds.items()
                if found not in {said, said + 1}
            ]
            wrong += missing_blobs(store, said) + _wrong_blobs(store, said)
            wrong += _wrong_history(store, rounds["job"]) + wrong_next(store)
    except KerfwrightError as error:
        wrong.append(str(error))
    return wrong


def _torn_file(file: Path) -> list[str]:
    with closing(sqlite3.connect(file)) as raw:
        try:
            found = [row[0] for row in raw.execute("PRAGMA integrity_check")]
        except sqlite3.DatabaseError as error:
            found = [str(error)]
    return [] if found == ["ok"] else [f"the file is torn: {why}" for why in found]


def _wrong_blobs(store: SqlStore, said: int) -> list[str]:
    stored = [n for n in range(1, said + 2) if store.has_blob(hash_of(n))]
    return [f"blob {n} is torn" for n in stored if store.get_blob(hash_of(n)) != blob_of(n)]


def _wrong_history(store: SqlStore, newest: int) -> list[str]:
    versions = [saved.version for saved in store.history("order")]
    if versions != list(range(1, newest + 1)):
        return [f"the history has versions {versions}, the newest is {newest}"]
    return [
        f"version {version} is not what was saved"
        for version in versions
        if store.load_version("order", version).held != job_of(version).held
    ]


def was_in_the_middle(folder: Path) -> bool:
    """Return whether the kill left more in the file of writes ahead than whole commits."""
    file = folder / "shop.db-wal"
    ahead = file.read_bytes() if file.exists() else b""
    page = int.from_bytes(ahead[8:12], "big")
    frames = range(32, len(ahead) - page - 23, page + 24)
    salt = ahead[16:24]
    own = [at for at in frames if ahead[at + 8 : at + 16] == salt]
    return bool(own) and not int.from_bytes(ahead[own[-1] + 4 : own[-1] + 8], "big")


def run(seed: int, size: int, progress: Callable[[int, int], None]) -> dict[str, Any]:
    """Kill so many writers; a failure is a database that is not of one piece."""
    rng = np.random.default_rng(seed)
    failures: list[dict[str, Any]] = []
    in_the_middle = 0
    for case in range(size):
        delay_s = float(rng.uniform(0.0, LONGEST_S))
        with tempfile.TemporaryDirectory(prefix="store-kill-") as name:
            said = kill_a_writer(Path(name), delay_s, writer=WRITER)
            in_the_middle += was_in_the_middle(Path(name))
            wrong = judge(Path(name), said)
        if wrong:
            failures.append({"case": case, "delay_s": delay_s, "wrong": wrong})
        progress(case + 1, size)
    if size >= 50 and not in_the_middle:
        failures.append({"case": -1, "wrong": ["no kill fell into the writing of a commit"]})
    return {"kills": size, "failures": failures}
