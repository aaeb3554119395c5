"""Files are the old one or the new one, whatever fails, and the sentence says what to do."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import tempfile
import threading
from itertools import product
from pathlib import Path

import pytest

from kerfwright.errors import CannotWriteError, OutOfResourcesError, UnreadableError
from kerfwright.job.files import (
    is_there,
    locked,
    read_file,
    scratch_file,
    write_file,
    write_together,
)

OLD, NEW = b"old " * 500, b"new " * 700

# Steps of writing, each by the call that does it; `left` is what stands there when it fails.
STEPS = {
    "make the folder": (Path, "mkdir", OLD),
    "make the file": (tempfile, "mkstemp", OLD),
    "flush the file": (os, "fsync", OLD),
    "set its mode": (Path, "chmod", OLD),
    "rename it": (Path, "replace", OLD),
    "open the folder": (os, "open", NEW),
}
REASONS = {
    errno.ENOSPC: "the disk is full; free some space",
    errno.EDQUOT: "quota",
    errno.EROFS: "read-only",
    errno.EACCES: "choose another folder",
    errno.EIO: "choose another folder",
}


def names_in(folder):
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture
def target(tmp_path):
    path = tmp_path / "folder" / "file.json"
    write_file(path, OLD)
    return path


def fail(monkeypatch, owner, name, code, *, after=0):
    """Make a call fail, from its `after`-th use on."""
    calls, real = [], getattr(owner, name)

    def failing(*args, **kwargs):
        calls.append(args)
        if len(calls) > after:
            raise OSError(code, os.strerror(code))
        return real(*args, **kwargs)

    monkeypatch.setattr(owner, name, failing)


@pytest.mark.parametrize(("step", "code"), list(product(STEPS, REASONS)))
def test_a_step_that_fails_leaves_the_old_file_or_the_new_one(monkeypatch, target, step, code):
    owner, name, left = STEPS[step]
    with monkeypatch.context() as patched:
        # mkstemp opens files too, so only the folder's own open fails
        fail(patched, owner, name, code, after=1 if step == "open the folder" else 0)
        with pytest.raises(CannotWriteError) as caught:
            write_file(target, NEW)
    assert target.read_bytes() == left
    assert names_in(target.parent) == [target.name], "nothing is left aside"
    sentence = str(caught.value)
    assert str(target) in sentence
    assert REASONS[code] in sentence
    assert "\n" not in sentence


@pytest.mark.parametrize("call", ["write", "flush"])
def test_a_file_that_fills_up_leaves_the_old_one(monkeypatch, target, call):
    class Full:
        def __init__(self, handle):
            self.handle = handle

        def __enter__(self):
            return self

        def __exit__(self, *_):
            os.close(self.handle)

        def write(self, data):
            os.write(self.handle, data[:100])
            if call == "write":
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        def flush(self):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(os, "fdopen", lambda handle, _: Full(handle))
        with pytest.raises(CannotWriteError, match="the disk is full"):
            write_file(target, NEW)
    assert target.read_bytes() == OLD
    assert names_in(target.parent) == [target.name]


def test_an_interrupt_while_writing_leaves_the_old_file(monkeypatch, target):
    def interrupted(_):
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", interrupted)
        with pytest.raises(KeyboardInterrupt):
            write_file(target, NEW)
    assert target.read_bytes() == OLD
    assert names_in(target.parent) == [target.name]


LIMITED = """
import resource, sys
from pathlib import Path
from kerfwright.errors import CannotWriteError
from kerfwright.job.files import write_file, write_together
resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
folder = Path(sys.argv[1])
small, large = b"n" * 4096, b"n" * 4097
for call in (
    lambda: write_file(folder / "file.json", large),
    lambda: write_together([(folder / "file.json", small), (folder / "more.json", large)]),
):
    try:
        call()
    except CannotWriteError as error:
        print(error)
write_file(folder / "fits.json", small)
"""


def test_a_limit_on_file_size_leaves_the_old_file(target):
    # The nearest thing to a full disk that needs no disk of its own: writing fails half-way.
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(target.parent)],
        capture_output=True,
        text=True,
        check=True,
    )
    first, second = done.stdout.splitlines()
    assert first.startswith(f"{target} cannot be written: the file is larger than the limit")
    assert "more.json cannot be written" in second
    assert target.read_bytes() == OLD
    assert (target.parent / "fits.json").read_bytes() == b"n" * 4096
    assert names_in(target.parent) == ["file.json", "fits.json"]


def test_a_new_file_makes_its_folders(tmp_path):
    path = tmp_path / "a" / "b" / "c.txt"
    write_file(path, b"x")
    assert path.read_bytes() == b"x"
    assert path.stat().st_mode & 0o777 == 0o644


def test_several_files_are_renamed_only_when_all_are_on_disk(monkeypatch, tmp_path):
    files = [(tmp_path / name, NEW) for name in ("a", "b", "c")]
    for path, _ in files:
        write_file(path, OLD)
    with monkeypatch.context() as patched:
        fail(patched, os, "fsync", errno.ENOSPC, after=2)
        with pytest.raises(CannotWriteError) as caught:
            write_together(files)
    assert f"{tmp_path / 'c'} cannot be written: the disk is full" in str(caught.value)
    assert [path.read_bytes() for path, _ in files] == [OLD] * 3
    assert names_in(tmp_path) == ["a", "b", "c"]


def test_several_files_are_renamed_in_their_order(monkeypatch, tmp_path):
    files = [(tmp_path / name, NEW) for name in ("b", "a", "b", "c")]
    order, real = [], Path.replace

    def noting(self, to):
        order.append(to.name)
        return real(self, to)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", noting)
        write_together([(files[0][0], OLD), *files[1:]])
    assert order == ["b", "a", "b", "c"]
    assert [path.read_bytes() for path, _ in files] == [NEW] * 4


def test_a_folder_in_the_way_is_found_before_anything_is_renamed(tmp_path):
    (tmp_path / "b").mkdir()
    write_file(tmp_path / "a", OLD)
    with pytest.raises(CannotWriteError, match="b cannot be written: a folder stands where"):
        write_together([(tmp_path / "a", NEW), (tmp_path / "b", NEW)])
    assert (tmp_path / "a").read_bytes() == OLD
    assert names_in(tmp_path) == ["a", "b"]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("file/inside.json", "a file stands where a folder is needed"),
        ("file/deeper/inside.json", "a file stands where a folder is needed"),
        ("n" * 300, "the name is too long"),
        ("n" * 300 + "/a.json", "the name is too long"),
    ],
)
def test_places_where_no_file_can_be(tmp_path, name, words):
    write_file(tmp_path / "file", OLD)
    with pytest.raises(CannotWriteError) as caught:
        write_file(tmp_path / name, NEW)
    assert words in str(caught.value)
    with pytest.raises(CannotWriteError), locked(tmp_path / name):
        pytest.fail("a lock that cannot be made must not be held")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("nothing", ("nothing", "does not exist", "check name and folder")),
        ("", ("is not a file", "name the file itself")),
        ("file/x", ("cannot be read", "check it")),
        ("n" * 300, ("cannot be read", "check it")),
        ("loop", ("cannot be read", "check it")),
    ],
)
def test_what_cannot_be_read_is_said(tmp_path, name, words):
    write_file(tmp_path / "file", OLD)
    (tmp_path / "loop").symlink_to("loop")
    with pytest.raises(UnreadableError) as caught:
        read_file(tmp_path / name)
    assert [w for w in words if w not in str(caught.value)] == []


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_no_file_and_nobody_waits_for_it(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(UnreadableError, match="is not a file"):
        read_file(tmp_path / "pipe")


def test_a_file_over_the_limit_is_not_taken_in(target):
    with pytest.raises(OutOfResourcesError, match=f"{len(OLD)} bytes, limit {len(OLD) - 1}"):
        read_file(target, limit_bytes=len(OLD) - 1)
    assert read_file(target, limit_bytes=len(OLD)) == OLD


def test_whether_something_is_there(tmp_path):
    write_file(tmp_path / "file", OLD)
    assert is_there(tmp_path / "file")
    assert is_there(tmp_path)
    assert not is_there(tmp_path / "nothing")
    assert not is_there(tmp_path / "file" / "inside")
    with pytest.raises(UnreadableError, match="cannot be reached"):
        is_there(tmp_path / ("n" * 300))


def test_a_scratch_file_is_gone_afterwards(monkeypatch, tmp_path):
    with scratch_file("order 7.dxf", OLD) as path:
        assert path.name == "order 7.dxf"
        assert path.read_bytes() == OLD
    assert not path.parent.exists()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "no such folder"))
    with (
        pytest.raises(CannotWriteError, match="no temporary folder can be made"),
        scratch_file("a", OLD),
    ):
        pytest.fail("there is no such folder")


def test_a_lock_is_held_by_one_at_a_time(tmp_path):
    inside, most = [0], [0]

    def work():
        for _ in range(40):
            with locked(tmp_path / "x" / ".lock"):
                inside[0] += 1
                most[0] = max(most[0], inside[0])
                inside[0] -= 1

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == [1]


def test_a_lock_that_the_disk_refuses_is_an_error_of_the_tree(monkeypatch, tmp_path):
    monkeypatch.setattr(
        "fcntl.flock", lambda *_: (_ for _ in ()).throw(OSError(errno.ENOLCK, "no locks"))
    )
    with pytest.raises(CannotWriteError, match="no locks"), locked(tmp_path / ".lock"):
        pytest.fail("the lock was refused")
