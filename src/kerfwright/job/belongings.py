"""What belongs to a job in a store: files, photographs, results, entries of the shop's books."""

from __future__ import annotations

import re
from collections.abc import Mapping

from kerfwright.errors import UnknownNameError
from kerfwright.geometry.record import Record
from kerfwright.job.books import Versioned, book_of
from kerfwright.job.store import Store
from kerfwright.model.job import Job
from kerfwright.model.material import Material, SettingCard
from kerfwright.model.table import Table
from kerfwright.model.tooling import Tool

_HASH = re.compile(rb'"([0-9a-f]{64})"')


def named_hashes(data: bytes) -> set[str]:
    """Return what looks like a hash in a document or in a result."""
    return {found.decode() for found in _HASH.findall(data)}


def needed_blobs(job: Job) -> Mapping[str, str]:
    """Return what cannot be computed again, by hash: in words what it is."""
    photos = {
        photo.image_sha: f"photograph of sheet {run.serial}"
        for run in job.runs
        for photo in (*run.photos, *run.end_photos)
    }
    return photos | {file.sha256: f"file {file.name}" for file in job.inputs}


def result_blobs(job: Job) -> set[str]:
    """Return the blobs of every stage's result."""
    shelves = [job.results, *(run.results for run in job.runs)]
    return {result.blob for shelf in shelves for result in shelf.values()}


def own_entries(job: Job, store: Store) -> Mapping[str, Versioned[Record]]:
    """Return the shop's own versions of the book entries a job uses, by ``book/id``."""
    operations = job.rules.operations
    used: set[tuple[type[Record], str]] = {
        (Table, job.choices.table_id),
        (Material, job.choices.material_id),
        *((Tool, operation.tool_id) for operation in operations),
        *((SettingCard, operation.card_id) for operation in operations),
    }
    table = known_entry(Table, job.choices.table_id, store)
    if table is not None and isinstance(table.entry, Table):
        used |= {(Tool, station.tool_id) for station in table.entry.stations if station.tool_id}
    found = {(kind, key): known_entry(kind, key, store) for kind, key in used}
    return {
        f"{book_of(kind)[0]}/{key}": entry
        for (kind, key), entry in found.items()
        if entry is not None and entry.version
    }


def known_entry(kind: type[Record], entry_id: str, store: Store) -> Versioned[Record] | None:
    """Return a book entry; None if neither shop nor catalogue has it."""
    try:
        return store.load_versioned(kind, entry_id)
    except UnknownNameError:
        return None
