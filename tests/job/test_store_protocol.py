"""What every store does, the folder and the database alike."""

from __future__ import annotations

import hashlib
import pickle  # noqa: TID251  # as multiprocessing does it
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import (
    KerfwrightError,
    StaleVersionError,
    UnknownNameError,
    UnreadableError,
    UsageError,
)
from kerfwright.geometry.record import Record
from kerfwright.job.books import BOOKS
from kerfwright.job.order import DRAWN_ORDERS, make_drawn_job
from kerfwright.job.pipeline import Stage, run_stages, stage_states
from kerfwright.job.sql_base import sqlite_url
from kerfwright.job.sql_store import SqlStore
from kerfwright.job.steps import answer_unit
from kerfwright.job.store import FolderStore
from kerfwright.model.material import Material, SettingCard
from kerfwright.model.rules import RuleTable
from kerfwright.model.run import StageState
from kerfwright.model.table import Table
from kerfwright.model.tooling import Tool
from model.samples import BLADE, CARD, JOB, MATERIAL, RULES, SHA, TABLE
from model.walk import differences

FRESH = replace(JOB, version=0)
ENTRIES = {Table: TABLE, Tool: BLADE, Material: MATERIAL, SettingCard: CARD, RuleTable: RULES}
NAMES = ("a", "b")


def opened(kind, folder):
    return FolderStore(folder / "shop") if kind == "folder" else SqlStore(sqlite_url(folder / "db"))


@pytest.fixture(params=["folder", "sql"])
def store(request, tmp_path):
    made = opened(request.param, tmp_path)
    yield made
    if isinstance(made, SqlStore):
        made.close()


# ---------------------------------------------------------------- jobs


def test_a_job_comes_back_as_it_went_in_one_version_later(store):
    kept = store.save_job(FRESH)
    assert kept.version == 1
    assert differences(replace(kept, version=0), FRESH) == []
    assert differences(store.load_job("order-7"), kept) == []
    assert store.job_ids() == ("order-7",)


def test_versions_count_every_change(store):
    job = FRESH
    for version in range(1, 6):
        job = store.save_job(replace(job, held=(f"c{version}",)))
        assert job.version == version
        assert store.load_job("order-7").held == (f"c{version}",)


def test_of_many_who_write_at_once_each_version_has_one_author(store):
    store.save_job(FRESH)

    def add(author: int) -> bool:
        for _ in range(200):
            job = store.load_job("order-7")
            try:
                store.save_job(replace(job, held=(*job.held, f"author {author}")))
            except StaleVersionError:
                continue
            return True
        return False

    with ThreadPoolExecutor(6) as pool:
        assert all(pool.map(add, range(6)))
    job = store.load_job("order-7")
    assert sorted(job.held[1:]) == [f"author {n}" for n in range(6)]
    assert job.version == 7


def test_a_stale_job_is_refused_and_both_values_are_at_hand(store):
    first = store.save_job(FRESH)
    second = store.save_job(replace(first, held=("c1", "c2")))
    for old in (FRESH, replace(first, held=("c9",)), replace(second, version=7)):
        with pytest.raises(StaleVersionError) as caught:
            store.save_job(old)
        sentence = str(caught.value)
        for word in ("order-7", "version 2", f"began at {old.version}", "load it again"):
            assert word in sentence
        assert caught.value.version == 2
        assert differences(caught.value.stored, second) == []
    assert differences(store.load_job("order-7"), second) == []


def test_a_change_of_a_job_that_is_not_there_is_stale(store):
    with pytest.raises(StaleVersionError) as caught:
        store.save_job(JOB)
    assert (caught.value.version, caught.value.stored) == (0, None)
    assert store.job_ids() == ()


def test_a_stale_error_comes_whole_out_of_another_process(store):
    store.save_job(FRESH)
    with pytest.raises(StaleVersionError) as caught:
        store.save_job(FRESH)
    again = pickle.loads(pickle.dumps(caught.value))  # noqa: S301
    assert (str(again), again.version) == (str(caught.value), 1)
    assert again.stored.digest == caught.value.stored.digest


def test_a_number_json_has_no_word_for_is_not_stored(store):
    kept = store.save_job(FRESH)
    with pytest.raises(KerfwrightError, match="cannot be stored"):
        store.save_job(replace(FRESH, version=1, seeds={"a": float("inf")}))
    assert differences(store.load_job("order-7"), kept) == []


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Count(Record):
    """What the stage below leaves."""

    value: int


def test_a_job_is_made_run_and_resumed_the_same_in_both(tmp_path):
    ran, seen = [], []

    def run(context, *_):
        ran.append(context.job.id)
        return Count(value=len(context.tools))

    stage = Stage(
        name="count", version=1, result=Count, needs=(), inputs=lambda c: (c.tools,), run=run
    )
    for kind in ("folder", "sql"):
        store = opened(kind, tmp_path)
        job = answer_unit(make_drawn_job(DRAWN_ORDERS["plain"], store), store, "in")
        for _ in range(2):
            job = run_stages([stage], job, store, last="count").context.job
            assert stage_states([stage], job, store) == {"count": StageState.DONE}
        seen.append(differences(store.load_job(job.id), job) or job.digest)
    store.close()
    assert len(ran) == 2, "once in each store; what stands is not made again"
    assert seen[0] == seen[1]


# ---------------------------------------------------------------- names


ODD_NAMES = ["", "..", "../x", "a/b", "-x", ".hidden", "a b", "a\0b", "n" * 81]


@pytest.mark.parametrize(
    "name", ["", "..", "../x", "a/b", "-x", ".hidden", "a b", "a\0b", "n" * 81]
)
def test_what_cannot_be_a_name_is_refused(store, name):
    for ask in (
        lambda: store.load_job(name),
        lambda: store.save_job(replace(FRESH, id=name)),
        lambda: store.load_entry(Tool, name),
        lambda: store.load_versioned(Tool, name),
        lambda: store.save_entry(name, BLADE),
    ):
        with pytest.raises(UsageError, match="cannot be a name") as caught:
            ask()
        assert repr(name) in str(caught.value)
    assert store.job_ids() == ()


@pytest.mark.parametrize("name", ["a", "7", "order-7_b.2", "n" * 80, "a..b", "CON", "a."])
def test_plain_names_are_good_names(store, name):
    kept = store.save_job(replace(FRESH, id=name))
    assert differences(store.load_job(name), kept) == []
    assert store.job_ids() == (name,)


@pytest.mark.parametrize(
    "sha", ["", "..", "../../x", "/etc/hostname", SHA.upper(), SHA[:-1], SHA + "0", "g" * 64]
)
def test_a_hash_that_is_none_names_no_file(store, sha):
    for ask in (store.get_blob, store.has_blob):
        with pytest.raises(UnreadableError, match="is no SHA-256"):
            ask(sha)


# ---------------------------------------------------------------- blobs


@settings(max_examples=6)
@given(data=st.binary(max_size=300))
@pytest.mark.parametrize("kind", ["folder", "sql"])
def test_bytes_come_back_under_their_sha_256(tmp_path_factory, kind, data):
    store = opened(kind, tmp_path_factory.mktemp("shop"))
    sha = hashlib.sha256(data).hexdigest()
    assert not store.has_blob(sha)
    assert [store.put_blob(data), store.put_blob(data)] == [sha, sha]
    assert store.has_blob(sha)
    assert store.get_blob(sha) == data
    if isinstance(store, SqlStore):
        store.close()


def test_a_blob_that_is_missing_is_said(store):
    store.put_blob(b"data")
    with pytest.raises(UnreadableError, match="does not exist"):
        store.get_blob(SHA)


# ---------------------------------------------------------------- books


def test_every_kind_of_entry_has_a_book():
    assert set(BOOKS) == set(ENTRIES)
    assert len({name for name, _ in BOOKS.values()}) == len(BOOKS)


@pytest.mark.parametrize("kind", ENTRIES, ids=lambda k: k.__name__)
def test_books_begin_with_the_catalogue(store, kind):
    fill = BOOKS[kind][1]()
    assert store.book_ids(kind) == tuple(sorted(fill))
    for key, entry in fill.items():
        assert store.load_entry(kind, key) is entry


@pytest.mark.parametrize("kind", ENTRIES, ids=lambda k: k.__name__)
def test_the_shops_own_entry_goes_before_the_catalogues(store, kind):
    key = min(BOOKS[kind][1]())
    entry = ENTRIES[kind]
    assert [store.save_entry(key, entry) for _ in range(3)] == [1, 2, 3]
    assert differences(store.load_entry(kind, key), entry) == []
    store.save_entry("brand-new", entry)
    assert store.book_ids(kind) == tuple(sorted({*BOOKS[kind][1](), "brand-new"}))


@pytest.mark.parametrize("kind", ENTRIES, ids=lambda k: k.__name__)
def test_an_unchanged_copy_of_the_catalogue_has_the_same_digest(store, kind):
    # Else a shop that stores its books would see every job ask to be looked at again.
    for key, entry in BOOKS[kind][1]().items():
        store.save_entry(key, entry)
        assert store.load_entry(kind, key).digest == entry.digest


def test_an_unknown_entry_names_what_there_is(store):
    store.save_entry("own", BLADE)
    with pytest.raises(UnknownNameError) as caught:
        store.load_entry(Tool, "blunt")
    for word in ("tools", "blunt", "own", "point-45"):
        assert word in str(caught.value)


def test_an_entry_has_the_version_it_was_saved_at(store):
    key = min(BOOKS[Tool][1]())
    assert store.load_versioned(Tool, key).version == 0
    for version in (1, 2, 3):
        blade = replace(BLADE, width_mm=BLADE.width_mm + version)
        assert store.save_entry(key, blade, began_at=version - 1) == version
        found = store.load_versioned(Tool, key)
        assert found.version == version
        assert differences(found.entry, blade) == []


def test_a_stale_entry_is_refused_and_both_values_are_at_hand(store):
    store.save_entry("own", BLADE, began_at=0)
    for began_at in (0, 2):
        with pytest.raises(StaleVersionError, match="tools/own is at version 1") as caught:
            store.save_entry("own", replace(BLADE, width_mm=9.0), began_at=began_at)
        assert caught.value.version == 1
        assert differences(caught.value.stored, BLADE) == []
    assert differences(store.load_entry(Tool, "own"), BLADE) == []
    assert store.load_versioned(Tool, "own").version == 1


def test_a_change_of_an_entry_that_is_not_there_is_stale(store):
    with pytest.raises(StaleVersionError) as caught:
        store.save_entry("own", BLADE, began_at=3)
    assert (caught.value.version, caught.value.stored) == (0, None)
    with pytest.raises(UnknownNameError):
        store.load_entry(Tool, "own")


# ---------------------------------------------------------------- any order of calls


CALLS = st.one_of(
    st.tuples(
        st.just("job"), st.sampled_from(NAMES), st.integers(-1, 1), st.text("xy", max_size=2)
    ),
    st.tuples(st.just("entry"), st.sampled_from(NAMES), st.integers(-1, 1), st.integers(1, 5)),
    st.tuples(st.just("blob"), st.binary(max_size=2)),
    st.tuples(st.just("reopen")),
)


@settings(max_examples=12)
@given(calls=st.lists(CALLS, max_size=10))
@pytest.mark.parametrize("kind", ["folder", "sql"])
def test_a_store_is_a_dictionary_of_what_was_last_saved(tmp_path_factory, kind, calls):
    folder = tmp_path_factory.mktemp("shop")
    store = opened(kind, folder)
    jobs, entries, blobs = {}, {}, {}
    for call in calls:
        match call:
            case ("job", name, off, held):
                version, _ = jobs.get(name, (0, None))
                job = replace(FRESH, id=name, held=(held,), version=max(version + off, 0))
                if job.version == version:
                    jobs[name] = (store.save_job(job).version, held)
                else:
                    with pytest.raises(StaleVersionError):
                        store.save_job(job)
            case ("entry", name, off, width):
                version, _ = entries.get(name, (0, None))
                began_at = max(version + off, 0)
                blade = replace(BLADE, width_mm=float(width))
                if began_at == version:
                    entries[name] = (store.save_entry(name, blade, began_at=began_at), width)
                else:
                    with pytest.raises(StaleVersionError):
                        store.save_entry(name, blade, began_at=began_at)
            case ("blob", data):
                blobs[store.put_blob(data)] = data
            case _:
                if isinstance(store, SqlStore):
                    store.close()
                store = opened(kind, folder)
        assert store.job_ids() == tuple(sorted(jobs))
        assert set(store.book_ids(Tool)) == {*BOOKS[Tool][1](), *entries}
    for name, (version, held) in jobs.items():
        job = store.load_job(name)
        assert (job.version, job.held) == (version, (held,))
    for name, (version, width) in entries.items():
        found = store.load_versioned(Tool, name)
        assert (found.version, found.entry.width_mm) == (version, float(width))
    assert {sha: store.get_blob(sha) for sha in blobs} == blobs
    if isinstance(store, SqlStore):
        store.close()
