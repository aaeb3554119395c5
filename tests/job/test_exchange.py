"""A job goes from store to store as one file, whole; and no file made to hurt gets in."""

from __future__ import annotations

import hashlib
import os
import struct
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from job.orders import TABLE, job_over
from kerfwright import catalog
from kerfwright.errors import (
    CannotWriteError,
    KerfwrightError,
    OutOfResourcesError,
    UnknownNameError,
    UnreadableError,
    UsageError,
)
from kerfwright.job import archive
from kerfwright.job.codec import to_blob, to_document
from kerfwright.job.exchange import export_job, import_job
from kerfwright.job.sql_base import sqlite_url
from kerfwright.job.sql_store import SqlStore
from kerfwright.job.store import FolderStore
from kerfwright.model.job import JobInput
from kerfwright.model.run import SheetRun, StageResult
from kerfwright.model.table import Table
from kerfwright.model.tooling import Tool
from model.samples import BLADE, PHOTO
from model.walk import differences

KINDS = ("folder", "sql")
DRAWING = b"the customer's drawing"
PICTURE = os.urandom(5000)


def sha_of(data):
    return hashlib.sha256(data).hexdigest()


@pytest.fixture
def opened():
    """Open stores by kind and folder; those that are databases are closed at the end."""
    databases = []

    def store(kind, folder):
        if kind == "folder":
            return FolderStore(folder / "shop")
        databases.append(SqlStore(sqlite_url(folder / "shop.db")))
        return databases[-1]

    yield store
    for database in databases:
        database.close()


def filled(store):
    """Store a job with file, photograph, results that name one another, and own book entries."""
    inner = store.put_blob(b"a picture a result names")
    result = store.put_blob(to_blob(replace(BLADE, source=inner)))
    store.put_blob(b"of another job")
    operation = catalog.load_rule_tables()["pvc-foam-3"].operations[0]
    store.save_entry(TABLE, replace(catalog.load_tables()[TABLE], name="ours"))
    store.save_entry(operation.tool_id, catalog.load_tools()[operation.tool_id])
    store.save_entry("not-used", BLADE)
    photo = replace(PHOTO, image_sha=store.put_blob(PICTURE))
    named = {"drawing": StageResult(key=sha_of(b"key"), blob=result)}
    job = job_over(
        inputs=(JobInput(name="a.dxf", sha256=store.put_blob(DRAWING), size_bytes=len(DRAWING)),),
        results=named,
        runs=(SheetRun(serial=1, sheet_id="s1", photos=(photo,), results=named),),
    )
    job = store.save_job(job)
    return store.save_job(replace(job, held=("c1",)))


@pytest.fixture
def source(opened, tmp_path):
    (tmp_path / "source").mkdir()
    store = opened("folder", tmp_path / "source")
    filled(store)
    return store


@pytest.fixture
def exported(source, tmp_path):
    return export_job("order-7", source, tmp_path / "order-7.zip").path


@pytest.fixture
def target(opened, tmp_path):
    return opened("folder", tmp_path / "target")


# ---------------------------------------------------------------- there and back


@pytest.mark.parametrize("goes_to", KINDS)
@pytest.mark.parametrize("comes_from", KINDS)
def test_a_job_comes_over_whole(opened, tmp_path, comes_from, goes_to):
    source = opened(comes_from, tmp_path)
    job = filled(source)
    told = export_job("order-7", source, tmp_path / "out" / "order-7.zip")
    assert (told.blobs, told.left_out) == (4, ())
    assert "tables/pier-2616" in told.entries
    assert "tools/not-used" not in told.entries
    target = opened(goes_to, tmp_path / "target")
    came = import_job(told.path, target)
    assert differences(replace(came.job, version=2), job) == []
    assert differences(target.load_job("order-7"), came.job) == []
    for data in (DRAWING, PICTURE, b"a picture a result names"):
        assert target.get_blob(sha_of(data)) == data
    assert target.has_blob(job.results["drawing"].blob)
    assert not target.has_blob(sha_of(b"of another job"))


def test_the_same_job_is_the_same_file(source, tmp_path):
    files = [export_job("order-7", source, tmp_path / name).path.read_bytes() for name in "ab"]
    assert files[0] == files[1]


def test_an_unpacked_export_is_a_shop(source, exported, tmp_path):
    with zipfile.ZipFile(exported) as file:
        file.extractall(tmp_path / "unpacked")
    shop = FolderStore(tmp_path / "unpacked")
    assert shop.job_ids() == ("order-7",)
    assert differences(shop.load_job("order-7"), source.load_job("order-7")) == []
    assert shop.get_blob(sha_of(DRAWING)) == DRAWING
    assert shop.load_entry(Table, TABLE).name == "ours"
    assert shop.save_job(shop.load_job("order-7")).version == 3, "it can be gone on with"


def test_the_zipped_content_of_a_folder_is_taken(source, target, tmp_path):
    path = tmp_path / "by-hand.zip"
    (source.root / "jobs" / "order-7" / ".job.json.x2q").write_text("left aside")
    with zipfile.ZipFile(path, "w") as file:
        for item in sorted(source.root.rglob("*")):  # folders and locks as well
            file.write(item, item.relative_to(source.root))
        assert any(name.endswith(".lock") for name in file.namelist())
        assert any(name.endswith("/") for name in file.namelist())
    assert import_job(path, target).job.held == ("c1",)


def test_a_job_that_is_there_is_never_overwritten(exported, target):
    first = import_job(exported, target).job
    with pytest.raises(UsageError, match="there is a job order-7 already; give the import another"):
        import_job(exported, target)
    assert target.load_job("order-7").version == 1
    again = import_job(exported, target, name="order-8").job
    assert (again.id, again.version) == ("order-8", 1)
    assert differences(replace(again, id="order-7"), first) == []
    with pytest.raises(UsageError, match="cannot be a name"):
        import_job(exported, target, name="../x")


def test_an_entry_of_the_shop_keeps_its_meaning(source, tmp_path, target):
    rules = catalog.load_rule_tables()["pvc-foam-3"]
    operations = tuple(replace(o, tool_id="special") for o in rules.operations)
    source.save_entry("special", replace(BLADE, id="special"))
    job = source.load_job("order-7")
    source.save_job(replace(job, rules=replace(rules, operations=operations)))
    path = export_job("order-7", source, tmp_path / "x.zip").path
    came = import_job(path, target)
    assert came.entries == ("tools/special",)
    assert target.load_versioned(Tool, "special").version == 1
    assert "tables/pier-2616" in came.differing
    assert target.load_versioned(Table, TABLE).version == 0, "the table is the shop's own affair"


# ---------------------------------------------------------------- what is missing


def test_a_result_that_is_damaged_or_lost_is_left_out_and_told(source, tmp_path):
    blob = source.load_job("order-7").results["drawing"].blob
    path = source.root / "blobs" / blob[:2] / blob
    path.write_bytes(b"damaged")
    told = export_job("order-7", source, tmp_path / "a.zip")
    assert (told.left_out, told.blobs) == ((blob,), 2)
    path.unlink()
    assert export_job("order-7", source, tmp_path / "b.zip").left_out == (blob,)


@pytest.mark.parametrize(
    ("data", "words"), [(DRAWING, "file a.dxf"), (PICTURE, "photograph of sheet 1")]
)
@pytest.mark.parametrize(
    "damage", [Path.unlink, lambda p: p.write_bytes(b"other")], ids=["lost", "changed"]
)
def test_a_file_that_cannot_be_made_again_is_not_left_out(source, tmp_path, data, words, damage):
    sha = sha_of(data)
    damage(source.root / "blobs" / sha[:2] / sha)
    (tmp_path / "a.zip").write_bytes(b"stood before")
    with pytest.raises(UnreadableError, match=f"job order-7, {words}: "):
        export_job("order-7", source, tmp_path / "a.zip")
    assert (tmp_path / "a.zip").read_bytes() == b"stood before"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.zip", "source"]


def test_what_cannot_be_exported_is_said(source, tmp_path, monkeypatch):
    with pytest.raises(UnknownNameError, match="holds no job x"):
        export_job("x", source, tmp_path / "a.zip")
    with pytest.raises(CannotWriteError, match="a folder stands where the file should go"):
        export_job("order-7", source, tmp_path)
    monkeypatch.setattr("kerfwright.job.exchange.MAX_BYTES", 6000)
    with pytest.raises(OutOfResourcesError, match="which no import takes"):
        export_job("order-7", source, tmp_path / "a.zip")
    assert [p.name for p in tmp_path.iterdir()] == ["source"]


# ---------------------------------------------------------------- made to hurt


def content_of(exported):
    with zipfile.ZipFile(exported) as file:
        return {name: file.read(name) for name in file.namelist()}


def zipped(path, content, **more):
    with zipfile.ZipFile(path, "w", **more) as file:
        for name, data in content.items():
            file.writestr(zipfile.ZipInfo(name) if not more else name, data)
    return path


def refused(path, target, kind=UnreadableError, **more):
    """Return why an import is refused; the store is untouched."""
    with pytest.raises(kind) as caught:
        import_job(path, target, **more)
    assert not target.root.exists()
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)
    return str(caught.value)


HOSTILE = [
    *("../x", "/etc/x", "jobs/../../x", "jobs\\order-7\\job.json", "C:/x", "a/b", "x", "./x"),
    *("jobs/order-7/../x/job.json", "jobs/a b/job.json", "jobs/.x/job.json", "jobs/order-7/x"),
    *("blobs/ab/" + "0" * 64, "blobs/00/" + "0" * 63, "blobs/00/" + "A" * 64, "blobs/00/../x"),
    *("books/none/x.json", "books/tools/../x.json", "books/tools/.x/y.json", "books/tools/x.txt"),
    *("shop/jobs/order-7/job.json", "JOBS/a/job.json", "jobs//job.json", "\u202ex", "x" * 5000),
]


@pytest.mark.parametrize("name", HOSTILE)
def test_a_name_no_store_has_is_refused(exported, target, tmp_path, name):
    path = zipped(tmp_path / "bad.zip", content_of(exported) | {name: b"x"})
    assert "is no name of a store's folder" in refused(path, target)
    assert not (tmp_path / "x").exists()


def test_a_name_that_hides_behind_a_zero_byte_is_refused(exported, target, tmp_path):
    path = zipped(tmp_path / "bad.zip", content_of(exported) | {"books/tools/QQ../x": b"x"})
    path.write_bytes(path.read_bytes().replace(b"books/tools/QQ", b"books/tools/\0Q"))
    assert "is no name of a store's folder" in refused(path, target)


def test_a_content_that_has_another_hash_is_refused(exported, target, tmp_path):
    content = content_of(exported)
    name = next(n for n in content if n.endswith(sha_of(DRAWING)))
    path = zipped(tmp_path / "bad.zip", content | {name: b"another drawing"})
    assert f"the content of {name} does not have that hash" in refused(path, target)


def test_a_file_that_unpacks_to_too_much_is_refused(exported, target, tmp_path):
    zeros = bytes(1 << 22)
    name = f"blobs/{sha_of(zeros)[:2]}/{sha_of(zeros)}"
    content = content_of(exported) | {name: zeros}
    path = zipped(tmp_path / "bomb.zip", content, compression=zipfile.ZIP_DEFLATED)
    assert path.stat().st_size < 1 << 16
    told = refused(path, target, OutOfResourcesError, limit_bytes=1 << 21)
    assert "the limit is 20000 files of 2097152 bytes" in told
    assert import_job(path, target, limit_bytes=1 << 23).job.id == "order-7"


def test_a_size_that_lies_is_refused(exported, target, tmp_path):
    zeros = bytes(1 << 22)
    name = f"blobs/{sha_of(zeros)[:2]}/{sha_of(zeros)}"
    content = {name: zeros} | content_of(exported)
    path = zipped(tmp_path / "bomb.zip", content, compression=zipfile.ZIP_DEFLATED)
    data = path.read_bytes().replace(struct.pack("<I", 1 << 22), struct.pack("<I", 100))
    path.write_bytes(data)
    refused(path, target, limit_bytes=1 << 21)


def test_too_many_files_are_refused(exported, target, tmp_path, monkeypatch):
    content = content_of(exported) | {f"jobs/order-7/.{n}": b"" for n in range(200)}
    path = zipped(tmp_path / "many.zip", content)
    monkeypatch.setattr(archive, "MAX_FILES", 100)
    assert "unpacks to 20" in refused(path, target, OutOfResourcesError)
    monkeypatch.setattr(archive, "MAX_FILES", 10)
    assert "lists more files than 10" in refused(path, target, OutOfResourcesError)


def test_a_document_of_endless_size_or_depth_is_refused(exported, target, tmp_path, monkeypatch):
    content = content_of(exported)
    for text in (b"[" * 100_000, b"{", b"\xff\xfe", b"null", b"{}", b""):
        path = zipped(tmp_path / "bad.zip", content | {"jobs/order-7/job.json": text})
        refused(path, target)
        path = zipped(tmp_path / "bad.zip", content | {"books/tools/x.json": text})
        refused(path, target)
    monkeypatch.setattr(archive, "MAX_DOCUMENT_BYTES", 100)
    refused(exported, target, OutOfResourcesError)


def test_a_file_must_hold_one_job_that_has_its_own_name(exported, target, tmp_path):
    content = content_of(exported)
    job = content.pop("jobs/order-7/job.json")
    assert "must hold one job and holds 0 (none)" in refused(
        zipped(tmp_path / "none.zip", content), target
    )
    two = {"jobs/a/job.json": job, "jobs/order-7/job.json": job}
    assert "holds 2 (a, order-7)" in refused(zipped(tmp_path / "two.zip", content | two), target)
    other = {"jobs/other/job.json": job}
    assert "jobs/other/job.json calls itself 'order-7'" in refused(
        zipped(tmp_path / "other.zip", content | other), target
    )


def test_a_name_that_comes_twice_is_refused(exported, target, tmp_path):
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w") as file:
        for name, data in content_of(exported).items():
            file.writestr(zipfile.ZipInfo(name), data)
        with pytest.warns(UserWarning, match="Duplicate name"):
            file.writestr(zipfile.ZipInfo("jobs/order-7/job.json"), b"{}")
    assert "holds 'jobs/order-7/job.json' twice" in refused(path, target)


def test_a_file_that_lacks_what_the_customer_sent_is_refused(exported, target, tmp_path):
    content = content_of(exported)
    for data, words in ((DRAWING, "file a.dxf"), (PICTURE, "photograph of sheet 1")):
        less = {n: d for n, d in content.items() if not n.endswith(sha_of(data))}
        assert f"lacks a {words} of its job" in refused(zipped(tmp_path / "x.zip", less), target)


def test_other_ways_to_pack_are_refused(exported, target, tmp_path):
    path = zipped(tmp_path / "x.zip", content_of(exported), compression=zipfile.ZIP_BZIP2)
    assert "packed in another way" in refused(path, target)
    data = bytearray(exported.read_bytes())
    listed = data.rfind(b"PK\1\2")
    data[listed + 8] |= 1
    (tmp_path / "secret.zip").write_bytes(data)
    assert "is encrypted" in refused(tmp_path / "secret.zip", target)


def test_what_is_no_zip_file_is_said(target, tmp_path):
    for name, data in (("empty", b""), ("text", b"x" * 999), ("end", b"PK\5\6"), ("z", bytes(99))):
        (tmp_path / name).write_bytes(data)
        assert "is no whole zip file" in refused(tmp_path / name, target)
    assert "does not exist" in refused(tmp_path / "none", target)
    (tmp_path / "folder").mkdir()
    refused(tmp_path / "folder", target)


@settings(max_examples=80)
@given(st.data())
def test_no_spoiled_file_does_harm(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("spoiled")
    job = job_over(inputs=(JobInput(name="a", sha256=sha_of(DRAWING), size_bytes=22),))
    content = {
        "jobs/order-7/job.json": to_document(job).encode(),
        f"blobs/{sha_of(DRAWING)[:2]}/{sha_of(DRAWING)}": DRAWING,
    }
    raw = bytearray(
        zipped(folder / "a.zip", content, compression=zipfile.ZIP_DEFLATED).read_bytes()
    )
    for _ in range(data.draw(st.integers(1, 4))):
        # Most of the file is packed text; the list of contents, at its end, is worth aiming at.
        at = len(raw) - 1 - data.draw(st.integers(0, 300))
        raw[at] = data.draw(st.integers(0, 255))
    (folder / "a.zip").write_bytes(raw[: data.draw(st.sampled_from([len(raw), len(raw) - 9]))])
    target = FolderStore(folder / "shop")
    try:
        came = import_job(folder / "a.zip", target)
    except KerfwrightError:
        assert not target.root.exists()
    else:
        assert came.job.digest == replace(job, version=1).digest
    assert {p.name for p in folder.iterdir()} <= {"a.zip", "shop"}


def test_a_store_that_is_full_gets_no_job_that_lacks_something(exported, target, monkeypatch):
    real, written = os.fsync, []

    def full(descriptor):
        written.append(descriptor)
        if len(written) > 3:
            raise OSError(28, "No space left on device")
        real(descriptor)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotWriteError, match="the disk is full"):
        import_job(exported, target)
    monkeypatch.undo()
    assert target.job_ids() == ()
    assert import_job(exported, target).job.version == 1
