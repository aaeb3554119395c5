"""Kill -9 a process that writes to a store, at a random moment: all is old or new, never half.

A writer stores version after version of a job, a blob and a book entry, each so large that it
takes a while, and says after every round that it is done. Somewhere it is killed. What then lies
in the folder must be what it said it had done, or one round more; and the next writer goes on.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np

from kerfwright import catalog
from kerfwright.errors import KerfwrightError
from kerfwright.geometry.paths import make_path
from kerfwright.job.store import FolderStore, Store
from kerfwright.model.job import Job, JobChoices, JobInput
from kerfwright.model.material import Material
from kerfwright.model.sheet import Sheet

DEFAULT_SIZE = 100
SMALL_SIZE = 5

LINES = 4000
BLOB_BYTES = 400_000
LONGEST_S = 0.12
WRITER = "from studies.store_kill import write_forever; write_forever({folder!r})"


def job_of(number: int) -> Job:
    """A job whose every line says which round wrote it."""
    corners = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0)]
    sheet = Sheet(
        id="s", outline=make_path(corners, closed=True), thickness_mm=3.0, material_id="pvc-foam-3"
    )
    return Job(
        id="order",
        version=number - 1,
        inputs=(JobInput(name="a.dxf", sha256=sha256(b"").hexdigest(), size_bytes=0),),
        rules=catalog.load_rule_tables()["pvc-foam-3"],
        choices=JobChoices(table_id="pier-2616", material_id="pvc-foam-3", sheet=sheet),
        held=tuple(f"{number}-{line}" for line in range(LINES)),
    )


def blob_of(number: int) -> bytes:
    """Bytes that say nothing but are the same every time."""
    return np.random.default_rng(number).bytes(BLOB_BYTES)


def entry_of(number: int) -> Material:
    """A book entry whose name says which round wrote it."""
    return replace(catalog.load_materials()["pvc-foam-3"], name=f"{number} " * LINES)


def write_forever(folder: str) -> None:
    """Write round after round and say so on standard output, until killed."""
    store = FolderStore(Path(folder))
    for number in count(1):
        write_round(store, number)


def write_round(store: Store, number: int) -> None:
    """Write a job, a blob and an entry, then say that it is done."""
    store.save_job(job_of(number))
    store.put_blob(blob_of(number))
    store.save_entry("board", entry_of(number))
    os.write(1, f"{number}\n".encode())


def kill_a_writer(folder: Path, delay_s: float, *, writer: str = WRITER) -> int:
    """Start a writer, kill it so long after its first round; return the last round it said."""
    process = subprocess.Popen(
        [sys.executable, "-c", writer.format(folder=str(folder))],
        cwd=Path(__file__).parents[1],
        stdout=subprocess.PIPE,
    )
    with process:
        first = process.stdout.readline()
        time.sleep(delay_s)
        process.kill()
        rest = process.stdout.read()
    said = (first + rest).decode().splitlines()
    return int(said[-1]) if said else 0


def judge(folder: Path, said: int) -> list[str]:
    """Return what is wrong with a store whose writer said it had done so many rounds."""
    if said < 1:
        return ["the writer did not write at all"]
    store, wrong = FolderStore(folder), []
    for what, load in (("job", job_round), ("entry", entry_round)):
        try:
            found = load(store)
        except KerfwrightError as error:
            wrong.append(f"{what}: {error}")
            continue
        if found not in {said, said + 1}:
            wrong.append(f"{what} is of round {found}, the writer said {said}")
    return wrong + _wrong_blobs(store, said) + wrong_next(store)


def job_round(store: Store) -> int:
    """Return the round that wrote the job; -1 if it is a mixture."""
    job = store.load_job("order")
    return job.version if job.held == job_of(job.version).held else -1


def entry_round(store: Store) -> int:
    """Return the round that wrote the entry; -1 if it is a mixture."""
    entry = store.load_entry(Material, "board")
    number = int(entry.name.split()[0])
    return number if entry.digest == entry_of(number).digest else -1


def _wrong_blobs(store: FolderStore, said: int) -> list[str]:
    shown = [p for p in store.root.glob("blobs/*/*") if not p.name.startswith(".")]
    torn = [p.name[:8] for p in shown if sha256(p.read_bytes()).hexdigest() != p.name]
    return missing_blobs(store, said) + [f"blob {t} is torn" for t in torn]


def missing_blobs(store: Store, said: int) -> list[str]:
    """Return which blobs the writer said it had stored and are not there."""
    missing = [n for n in range(1, said + 1) if not store.has_blob(hash_of(n))]
    return [f"blob of round {n} is missing" for n in missing]


def hash_of(number: int) -> str:
    """Return the name of a round's blob."""
    return sha256(blob_of(number)).hexdigest()


def wrong_next(store: Store) -> list[str]:
    """Return why nobody could go on writing; a lock must not outlive its holder."""
    try:
        job = store.load_job("order")
        store.save_job(replace(job, held=()))
        store.save_entry("board", entry_of(1))
    except KerfwrightError as error:
        return [f"the next writer: {error}"]
    return []


def left_aside(folder: Path) -> int:
    """Return how many files the kill left half-written beside the others."""
    return sum(p.is_file() and p.name[0] == "." and "lock" not in p.name for p in folder.rglob("*"))


def run(seed: int, size: int, progress: Callable[[int, int], None]) -> dict[str, Any]:
    """Kill so many writers; a failure is a store that is not of one piece."""
    rng = np.random.default_rng(seed)
    failures: list[dict[str, Any]] = []
    in_the_middle = 0
    for case in range(size):
        delay_s = float(rng.uniform(0.0, LONGEST_S))
        with tempfile.TemporaryDirectory(prefix="store-kill-") as name:
            said = kill_a_writer(Path(name), delay_s)
            in_the_middle += left_aside(Path(name))
            wrong = judge(Path(name), said)
        if wrong:
            failures.append({"case": case, "delay_s": delay_s, "wrong": wrong})
        progress(case + 1, size)
    if size >= 50 and not in_the_middle:
        failures.append({"case": -1, "wrong": ["no kill fell into the writing of a file"]})
    return {"kills": size, "failures": failures}
