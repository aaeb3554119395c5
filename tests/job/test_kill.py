"""The study that kills writers sees a torn store when there is one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kerfwright.job.store import FolderStore
from studies.store_kill import blob_of, entry_of, job_of, judge, kill_a_writer, left_aside


@pytest.fixture
def store(tmp_path):
    """A store after two whole rounds."""
    store = FolderStore(tmp_path)
    for number in (1, 2):
        store.save_job(job_of(number))
        store.put_blob(blob_of(number))
        store.save_entry("board", entry_of(number))
    return store


@pytest.mark.parametrize("said", [1, 2])
def test_a_whole_store_is_whole(store, said):
    assert judge(store.root, said) == []


@pytest.mark.parametrize("pattern", ["jobs/order/job.json", "books/materials/board.json"])
def test_half_a_document_is_seen(store, pattern):
    path = store.root / pattern
    path.write_bytes(path.read_bytes()[:5000])
    assert any("not JSON" in wrong for wrong in judge(store.root, 2))


def test_half_a_blob_is_seen(store):
    path = next(store.root.glob("blobs/*/*"))
    path.write_bytes(path.read_bytes()[:5000])
    assert any("torn" in wrong for wrong in judge(store.root, 2))


def test_a_lost_blob_is_seen(store):
    next(store.root.glob("blobs/*/*")).unlink()
    assert any("missing" in wrong for wrong in judge(store.root, 2))


def test_a_round_that_was_said_and_is_lost_is_seen(store):
    wrong = judge(store.root, 3)
    assert any("job is of round 2, the writer said 3" in w for w in wrong)
    assert any("entry is of round 2, the writer said 3" in w for w in wrong)


def test_a_mixture_of_two_rounds_is_seen(store):
    store.save_job(replace(job_of(2), version=2, held=(*job_of(2).held[:9], *job_of(3).held[9:])))
    assert any("job is of round -1" in wrong for wrong in judge(store.root, 2))


def test_a_killed_writer_has_written_and_left_at_most_one_file_aside(tmp_path):
    said = kill_a_writer(tmp_path, 0.02)
    assert said >= 1
    assert left_aside(tmp_path) <= 1
    assert judge(tmp_path, said) == []
