"""The reading process: what it gives back, and how each way of failing is told."""

from __future__ import annotations

import subprocess
import time
from pathlib import Path

import numpy as np
import pytest

from kerfwright.errors import OutOfResourcesError, UnreadableError
from kerfwright.formats import child
from kerfwright.formats.limits import ReadLimits

REQUEST = {"text": "plate.dxf", "count": 5}
QUICK = ReadLimits(seconds=20.0, memory_bytes=600_000_000)


@pytest.fixture(autouse=True)
def readers_can_be_imported(monkeypatch):
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parent))


def run(name, *, limits=QUICK, **options):
    return child.run_reader(
        f"readers_that_fail:{name}", REQUEST, file="plate.dxf", limits=limits, **options
    )


@pytest.mark.parametrize("name", ["works", "prints"])
def test_the_answer_comes_back_whole(name):
    header, arrays = run(name)
    assert header == {"got": "plate.dxf"}
    assert arrays["numbers"].tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert not arrays["numbers"].flags.writeable


@pytest.mark.parametrize(
    ("name", "kind", "words"),
    [
        ("refuses", UnreadableError, "plate.dxf: no good"),
        ("runs_out", OutOfResourcesError, "plate.dxf: too much"),
        ("fails", UnreadableError, "plate.dxf: the reader failed on it (KeyError: 'no such key')"),
        ("recurses", UnreadableError, "RecursionError"),
        ("aborts", UnreadableError, "plate.dxf: the reading process ended with signal 6"),
        ("leaves", UnreadableError, "gave no answer"),
    ],
)
def test_each_failure_is_told_in_one_sentence(name, kind, words):
    with pytest.raises(kind) as caught:
        run(name)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("name", ["sleeps", "loops"])
def test_time_is_limited(name):
    began = time.monotonic()
    with pytest.raises(OutOfResourcesError, match=r"plate\.dxf: .*limit of 1\.5 s"):
        run(name, limits=ReadLimits(seconds=1.5))
    assert time.monotonic() - began < 30.0, "stopped, not waited for"


@pytest.mark.parametrize("watch", [False, True])
def test_memory_is_limited(watch):
    with pytest.raises(OutOfResourcesError, match=r"plate\.dxf: .*limit of 572 MiB"):
        run("eats", watch_memory=watch)


def test_an_answer_that_is_too_large_is_no_crash():
    limits = ReadLimits(seconds=20.0, memory_bytes=400_000_000)
    with pytest.raises(OutOfResourcesError):
        child.run_reader(
            "readers_that_fail:works",
            {"text": "", "count": 30_000_000},
            file="plate.dxf",
            limits=limits,
        )


def test_no_process_is_left_when_the_caller_is_interrupted(monkeypatch):
    started = []

    def interrupted(process, *args, **kwargs):
        started.append(process)
        raise KeyboardInterrupt

    monkeypatch.setattr(subprocess.Popen, "communicate", interrupted)
    with pytest.raises(KeyboardInterrupt):
        run("sleeps")
    assert started[0].wait(timeout=20.0) != 0


def test_settings_in_the_current_folder_do_not_reach_the_child(tmp_path, monkeypatch):
    (tmp_path / "numpy.py").write_text("raise SystemExit(3)\n")
    monkeypatch.chdir(tmp_path)
    header, _ = run("works")
    assert header == {"got": "plate.dxf"}
    assert [f.name for f in tmp_path.iterdir()] == ["numpy.py"]


def test_peak_memory_is_counted_in_bytes():
    from kerfwright.formats.child_main import peak_memory_bytes

    kept = np.ones(3_000_000)
    assert kept.nbytes < peak_memory_bytes() < 100e9
