"""The study that kills writers of a database sees a torn or forgetful one when there is one."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from kerfwright.job.sql_base import sqlite_url
from kerfwright.job.sql_store import SqlStore
from studies.sql_store_kill import WRITER, judge
from studies.store_kill import blob_of, entry_of, job_of, kill_a_writer


@pytest.fixture
def folder(tmp_path):
    """A database after two whole rounds."""
    with SqlStore(sqlite_url(tmp_path / "shop.db")) as store:
        for number in (1, 2):
            store.save_job(job_of(number))
            store.put_blob(blob_of(number))
            store.save_entry("board", entry_of(number))
    return tmp_path


def altered(folder, command, *values):
    with closing(sqlite3.connect(folder / "shop.db")) as raw, raw:
        assert raw.execute(command, values).rowcount


@pytest.mark.parametrize("said", [1, 2])
def test_a_whole_database_is_whole(folder, said):
    assert judge(folder, said) == []


def test_a_round_that_was_said_and_is_lost_is_seen(folder):
    wrong = judge(folder, 3)
    assert any("job is of round 2, the writer said 3" in w for w in wrong)
    assert any("entry is of round 2, the writer said 3" in w for w in wrong)
    assert any("blob of round 3 is missing" in w for w in wrong)


@pytest.mark.parametrize(
    ("command", "values", "words"),
    [
        ("DELETE FROM blobs WHERE sha256 > ?", ("",), "is missing"),
        ("UPDATE blobs SET data = ?", (b"torn",), "changed or damaged"),
        ("DELETE FROM job_versions WHERE version = ?", (1,), "the history has versions [2]"),
        ("UPDATE job_versions SET document = substr(document, 1, ?)", (5000,), "not JSON"),
        ("UPDATE book_versions SET document = substr(document, 1, ?)", (5000,), "not JSON"),
    ],
)
def test_what_is_lost_or_torn_is_seen(folder, command, values, words):
    altered(folder, command, *values)
    assert any(words in wrong for wrong in judge(folder, 2))


def test_a_torn_file_is_seen(folder):
    file = folder / "shop.db"
    file.write_bytes(file.read_bytes()[:-5000])
    assert any("torn" in wrong for wrong in judge(folder, 2))


def test_a_killed_writer_has_lost_nothing_it_said(tmp_path):
    said = kill_a_writer(tmp_path, 0.02, writer=WRITER)
    assert said >= 1
    assert judge(tmp_path, said) == []
