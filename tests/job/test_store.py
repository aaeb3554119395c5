"""The folder store: versions, hashes, books, and names that stay inside it."""

from __future__ import annotations

import errno
import hashlib
import json
import os
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright import catalog
from kerfwright.errors import (
    CannotWriteError,
    KerfwrightError,
    StaleVersionError,
    UnknownNameError,
    UnreadableError,
    UsageError,
)
from kerfwright.job.store import FolderStore
from kerfwright.model.material import SettingCard
from kerfwright.model.tooling import Tool
from model.samples import BLADE, JOB, RULES, SHA
from model.walk import differences

FRESH = replace(JOB, version=0)


@pytest.fixture
def store(tmp_path):
    return FolderStore(tmp_path / "shop")


def files_under(root: Path) -> dict[str, bytes]:
    """Every file below a folder, locks apart."""
    return {
        str(path.relative_to(root)): path.read_bytes()
        for path in sorted(root.rglob("*"))
        if path.is_file() and not path.name.endswith(".lock")
    }


# ---------------------------------------------------------------- jobs


def test_reading_makes_nothing(store):
    assert store.job_ids() == ()
    assert not store.has_blob(SHA)
    assert store.book_ids(Tool) == tuple(sorted(catalog.load_tools()))
    with pytest.raises(UnknownNameError, match="holds no job order-7; it holds: none yet"):
        store.load_job("order-7")
    with pytest.raises(UnreadableError, match="does not exist"):
        store.get_blob(SHA)
    assert not store.root.exists()


def test_a_stale_write_is_refused_and_nothing_is_lost(store):
    first = store.save_job(FRESH)
    second = store.save_job(replace(first, held=("c1", "c2")))
    before = files_under(store.root)
    for stale in (FRESH, replace(first, held=("c9",)), replace(second, version=7)):
        with pytest.raises(StaleVersionError) as caught:
            store.save_job(stale)
        sentence = str(caught.value)
        for word in ("order-7", "version 2", f"began at {stale.version}", "load it again"):
            assert word in sentence
    assert files_under(store.root) == before
    assert differences(store.load_job("order-7"), second) == []


def test_a_full_disk_leaves_the_stored_version(monkeypatch, store):
    kept = store.save_job(FRESH)
    before = files_under(store.root)

    def full(_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", full)
        with pytest.raises(
            CannotWriteError, match=r"job\.json cannot be written: the disk is full"
        ):
            store.save_job(replace(kept, held=("c9",)))
        with pytest.raises(CannotWriteError, match="the disk is full"):
            store.put_blob(b"data")
        with pytest.raises(CannotWriteError, match="the disk is full"):
            store.save_entry("steep", BLADE)
    assert files_under(store.root) == before
    assert differences(store.load_job("order-7"), kept) == []


@pytest.mark.parametrize(
    "text", ["", "{", "null", "[1]", '{"id": "order-7"}', "\0" * 50, "[" * 50_000]
)
def test_a_damaged_job_is_refused_and_stays_for_somebody_to_look_at(store, text):
    store.save_job(FRESH)
    path = store.root / "jobs" / "order-7" / "job.json"
    path.write_text(text)
    for ask in (lambda: store.load_job("order-7"), lambda: store.save_job(FRESH)):
        with pytest.raises(UnreadableError) as caught:
            ask()
        assert str(path) in str(caught.value)
        assert "\n" not in str(caught.value)
    assert path.read_text() == text


def test_a_job_that_is_not_text_is_refused(store):
    store.save_job(FRESH)
    (store.root / "jobs" / "order-7" / "job.json").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UnreadableError, match="is not text"):
        store.load_job("order-7")


def test_a_number_json_has_no_word_for_is_not_stored(store):
    store.save_job(FRESH)
    before = files_under(store.root)
    odd = replace(FRESH, version=1, rules=RULES, seeds={"a": float("inf")})  # type: ignore[dict-item]
    with pytest.raises(KerfwrightError, match="cannot be stored"):
        store.save_job(odd)
    assert files_under(store.root) == before


# ---------------------------------------------------------------- names


ESCAPES = [
    *("", ".", "..", "../x", "a/b", "/etc/x", "a/../../x", "..\\x", "a\\b", "~", "~root", "-x"),
    *(".hidden", "a b", "a\n", "\n", "a\0b", "$HOME", "a:b", "\u00fc", "\u202e", "n" * 81),
]


@pytest.mark.parametrize("name", ESCAPES)
def test_names_that_leave_the_folder_or_hide_in_it_are_refused(tmp_path, store, name):
    store.save_job(FRESH)
    before = files_under(tmp_path)
    for ask in (
        lambda: store.load_job(name),
        lambda: store.save_job(replace(FRESH, id=name)),
        lambda: store.load_entry(Tool, name),
        lambda: store.save_entry(name, BLADE),
    ):
        with pytest.raises(UsageError) as caught:
            ask()
        assert repr(name) in str(caught.value)
        assert "cannot be a name" in str(caught.value)
        assert "\n" not in str(caught.value)
    assert files_under(tmp_path) == before


@settings(max_examples=30)
@given(st.text(max_size=12))
def test_no_name_at_all_writes_outside_the_store(tmp_path_factory, name):
    outside = tmp_path_factory.mktemp("outside")
    store = FolderStore(outside / "shop")
    said = "stored"
    try:
        store.save_job(replace(FRESH, id=name))
    except UsageError as error:
        said = str(error)
    assert said == "stored" or "cannot be a name" in said
    assert {p.name for p in outside.iterdir()} <= {"shop"}
    assert all(path.startswith("jobs/") for path in files_under(store.root))


# ---------------------------------------------------------------- blobs


@settings(max_examples=20)
@given(st.binary(max_size=300))
def test_bytes_come_back_under_their_sha_256(tmp_path_factory, data):
    store = FolderStore(tmp_path_factory.mktemp("shop"))
    sha = store.put_blob(data)
    assert sha == hashlib.sha256(data).hexdigest()
    assert store.has_blob(sha)
    assert store.get_blob(sha) == data


def test_the_same_bytes_are_written_once(store):
    sha = store.put_blob(b"data")
    path = store.root / "blobs" / sha[:2] / sha
    first = path.stat()
    assert store.put_blob(b"data") == sha
    assert path.stat().st_ino == first.st_ino, "an undamaged blob is not written again"


@pytest.mark.parametrize("damage", [b"", b"dat", b"dava", b"data and more"])
def test_a_damaged_blob_is_refused_and_made_anew(store, damage):
    sha = store.put_blob(b"data")
    path = store.root / "blobs" / sha[:2] / sha
    path.write_bytes(damage)
    with pytest.raises(UnreadableError, match="was changed or damaged; remove it and run again"):
        store.get_blob(sha)
    assert store.put_blob(b"data") == sha
    assert store.get_blob(sha) == b"data"


def test_a_missing_blob_is_said(store):
    sha = store.put_blob(b"data")
    (store.root / "blobs" / sha[:2] / sha).unlink()
    assert not store.has_blob(sha)
    with pytest.raises(UnreadableError, match="does not exist"):
        store.get_blob(sha)


# ---------------------------------------------------------------- books


def test_an_entry_is_a_document_with_its_version(store):
    store.save_entry("own", BLADE)
    text = (store.root / "books" / "tools" / "own.json").read_text()
    plain = json.loads(text)
    assert plain["version"] == 1
    assert plain["entry"]["width_mm"] == BLADE.width_mm


WRONG_ENTRIES = [
    *("", "{", "[]", "7", '{"version": 1}', '{"entry": {}}', "[" * 50_000, "\0"),
    '{"version": 1, "entry": {"id": "own"}}',
    '{"version": 1, "entry": null}',
]


@pytest.mark.parametrize("text", WRONG_ENTRIES, ids=[str(i) for i in range(len(WRONG_ENTRIES))])
def test_a_damaged_entry_is_refused(store, text):
    store.save_entry("own", BLADE)
    path = store.root / "books" / "tools" / "own.json"
    path.write_text(text)
    with pytest.raises(UnreadableError) as caught:
        store.load_entry(Tool, "own")
    assert str(path) in str(caught.value)
    assert path.read_text() == text


@pytest.mark.parametrize(
    "text",
    [
        "{",
        "[]",
        "[" * 50_000,
        *(f'{{"version": {v}, "entry": {{}}}}' for v in ('"x"', "[]", "0", "-1", "1.5", "null")),
    ],
)
def test_a_damaged_entry_is_not_written_over(store, text):
    store.save_entry("own", BLADE)
    path = store.root / "books" / "tools" / "own.json"
    path.write_text(text)
    with pytest.raises(UnreadableError) as caught:
        store.save_entry("own", BLADE)
    assert str(path) in str(caught.value)
    assert path.read_text() == text


def test_an_entry_of_another_book_is_refused(store):
    store.save_entry("own", BLADE)
    tools = store.root / "books" / "tools" / "own.json"
    cards = store.root / "books" / "cards" / "own.json"
    cards.parent.mkdir(parents=True)
    cards.write_text(tools.read_text())
    with pytest.raises(UnreadableError, match="SettingCard"):
        store.load_entry(SettingCard, "own")


# ---------------------------------------------------------------- places


def test_a_store_in_the_place_of_a_file_is_said(tmp_path):
    (tmp_path / "shop").write_text("not a folder")
    store = FolderStore(tmp_path / "shop")
    assert store.job_ids() == ()
    for ask in (lambda: store.save_job(FRESH), lambda: store.put_blob(b"x")):
        with pytest.raises(CannotWriteError, match="a file stands where a folder is needed"):
            ask()
    assert (tmp_path / "shop").read_text() == "not a folder"


def test_a_store_whose_name_is_too_long_is_said(tmp_path):
    store = FolderStore(tmp_path / ("n" * 300))
    for ask in (
        lambda: store.load_job("a"),
        lambda: store.load_entry(Tool, "point-45"),
        lambda: store.has_blob(SHA),
        lambda: store.get_blob(SHA),
    ):
        with pytest.raises(UnreadableError, match="File name too long"):
            ask()
    with pytest.raises(CannotWriteError, match="name is too long"):
        store.save_job(FRESH)


def test_what_does_not_belong_to_it_is_left_alone(store):
    store.save_job(FRESH)
    strange = store.root / "jobs" / "no job at all" / "notes.txt"
    strange.parent.mkdir()
    strange.write_text("buy blades")
    (store.root / "jobs" / "loose file").write_text("x")
    assert store.job_ids() == ("order-7",)
    store.save_job(replace(FRESH, version=1))
    assert strange.read_text() == "buy blades"
