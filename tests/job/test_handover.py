"""What is handed over is whole: written aside first, renamed in order, the summary last."""

from __future__ import annotations

import errno
import hashlib
import json
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from job.orders import stored
from job.results_samples import PLAN, RESULT_SAMPLES
from kerfwright.errors import BlockedError, CannotWriteError, Finding, Place, Severity
from kerfwright.errors.messages import load_catalogue
from kerfwright.job.context import load_context
from kerfwright.job.handover import AIR, CAUTIONS, PROGRAM, SUMMARY, hand_over, summary_of
from kerfwright.job.pipeline import Run, Upstream
from kerfwright.job.results import (
    ArtworkResult,
    CheckResult,
    ProgramResult,
    TimeResult,
)
from kerfwright.job.store import FolderStore
from model.samples import DRAWING, MOTION, SHA, TIMED, VERIFICATION

NAMES = [PROGRAM, AIR, SUMMARY]
REACHED = ("artwork", "plan", "time", "program", "verify")
HELD = Finding(
    code="JOB-140",
    severity=Severity.WARN,
    where=Place(stage="plan", file="a.dxf", xy_mm=(1.0, 2.0)),
    measured=3.5,
    limit=3.2,
    unit="mm",
    params={"low": 2.8, "high": 3.2},
)
BLOCK = replace(HELD, code="JOB-150", severity=Severity.BLOCKS, params={"what": "another way"})


def results(**changes: object) -> dict[str, object]:
    verified = replace(VERIFICATION, passed=True, findings=())
    return {
        "artwork": ArtworkResult(drawings=(DRAWING,), parts=(), findings=()),
        "plan": replace(PLAN, findings=()),
        "time": TimeResult(timed=replace(TIMED, findings=()), naive_s=0.9),
        "program": RESULT_SAMPLES[ProgramResult],
        "verify": CheckResult(verification=verified, air_cuts_nothing=True, findings=()),
    } | changes


@pytest.fixture
def run_with(tmp_path):
    """Make a run whose stages left the given results."""
    store = FolderStore(tmp_path / "shop")
    context = load_context(stored(store), store)

    def make(*, reached=REACHED, findings=(HELD,), **changes) -> Run:
        upstream = Upstream(store)
        for name, value in results(**changes).items():
            upstream.enter(name, type(value), SHA, value)
        return Run(context=context, upstream=upstream, reached=reached, findings=findings)

    return make


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def with_text(text: str, air_text: str) -> ProgramResult:
    return replace(RESULT_SAMPLES[ProgramResult], text=text, air_text=air_text)


def test_three_files_are_written(run_with, tmp_path):
    out = tmp_path / "deep" / "out"
    written = hand_over(run_with(), out)
    assert [path.name for path in written] == NAMES
    found = contents(out)
    program = RESULT_SAMPLES[ProgramResult]
    assert found[PROGRAM] == program.text.encode()
    assert found[AIR] == program.air_text.encode()
    summary = json.loads(found[SUMMARY])
    assert summary["program"]["sha256"] == hashlib.sha256(found[PROGRAM]).hexdigest()
    assert summary["program"]["air_sha256"] == hashlib.sha256(found[AIR]).hexdigest()
    assert summary["cautions"] == list(CAUTIONS)


def test_files_are_renamed_in_order_the_summary_last(run_with, tmp_path, monkeypatch):
    order, real = [], Path.replace

    def noting(self, to):
        state = json.loads((tmp_path / SUMMARY).read_text()) if order else None
        order.append((to.name, state))
        return real(self, to)

    hand_over(run_with(), tmp_path)
    monkeypatch.setattr(Path, "replace", noting)
    hand_over(run_with(program=with_text("new\n", "new air\n")), tmp_path)
    assert [name for name, _ in order] == [SUMMARY, PROGRAM, AIR, SUMMARY]
    # While program and air cut are exchanged, the summary speaks of neither.
    assert [state for _, state in order[1:]] == [{"state": "being replaced"}] * 3


@pytest.mark.parametrize("flushed", range(7))
def test_a_full_disk_keeps_everything_that_was_handed_over(
    run_with, tmp_path, monkeypatch, flushed
):
    out = tmp_path / "out"
    hand_over(run_with(), out)
    before, calls, real = contents(out), [], os.fsync

    def fills_up(handle):
        calls.append(handle)
        if len(calls) > flushed:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return real(handle)

    again = run_with(program=with_text("new\n", "new air\n"))
    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", fills_up)
        with pytest.raises(CannotWriteError, match="the disk is full"):
            hand_over(again, out)
    found = contents(out)
    assert set(found) == set(NAMES)
    if flushed < 4:  # the four files written aside; later the folder is flushed after each rename
        assert found == before
    else:
        assert json.loads(found[SUMMARY]) == {"state": "being replaced"}
    hand_over(again, out)
    assert contents(out)[PROGRAM] == b"new\n"


@pytest.mark.parametrize("step", range(4))
def test_a_failure_between_two_renames_leaves_no_summary_of_a_mixture(
    run_with, tmp_path, monkeypatch, step
):
    out = tmp_path / "out"
    hand_over(run_with(), out)
    before, calls, real = contents(out), [], Path.replace

    def fails(self, to):
        calls.append(to)
        if len(calls) > step:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return real(self, to)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", fails)
        with pytest.raises(CannotWriteError):
            hand_over(run_with(program=with_text("new\n", "new air\n")), out)
    found = contents(out)
    assert set(found) == set(NAMES), "nothing is left aside"
    if step == 0:
        assert found == before
    else:
        assert json.loads(found[SUMMARY]) == {"state": "being replaced"}
        assert found[PROGRAM] in (before[PROGRAM], b"new\n")
        assert found[AIR] in (before[AIR], b"new air\n")


def test_a_first_handover_that_fails_leaves_an_empty_folder(run_with, tmp_path, monkeypatch):
    def full(_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", full)
        with pytest.raises(CannotWriteError):
            hand_over(run_with(), tmp_path / "out")
    assert contents(tmp_path / "out") == {}


@pytest.mark.parametrize("name", NAMES)
def test_a_folder_in_the_place_of_a_file_is_found_first(run_with, tmp_path, name):
    out = tmp_path / "out"
    (out / name).mkdir(parents=True)
    with pytest.raises(CannotWriteError, match="a folder stands where the file should go"):
        hand_over(run_with(), out)
    assert [path.name for path in out.iterdir()] == [name]


BLOCKED = [
    ({"findings": (BLOCK,)}, "while a finding blocks"),
    ({"reached": REACHED[:-1]}, "while a finding blocks"),
    ({"reached": ()}, "while a finding blocks"),
    ({"verify": "failed"}, "did not pass"),
    ({"plan": "nothing"}, "every part is held back"),
]


@pytest.mark.parametrize(("change", "words"), BLOCKED)
def test_nothing_is_handed_over_unless_the_check_was_passed(run_with, tmp_path, change, words):
    out = tmp_path / "out"
    hand_over(run_with(), out)
    before = contents(out)
    made = {
        "failed": CheckResult(
            verification=replace(VERIFICATION, findings=()), air_cuts_nothing=True, findings=()
        ),
        "nothing": replace(PLAN, motion=no_motion(), findings=()),
    }
    given = {key: made.get(value, value) if isinstance(value, str) else value
             for key, value in change.items()}  # fmt: skip
    with pytest.raises(BlockedError, match=words):
        hand_over(run_with(**given), out)
    assert contents(out) == before


def no_motion():
    columns = ("kind", "sweep_rad", "feed", "feed_kind", "dwell_s", "role", "cut", "tool")
    empty = {name: np.zeros(0) for name in columns} | {"end": np.zeros((0, 4))}
    kinds = {"kind", "feed_kind", "role", "cut", "tool"}
    typed = {n: a.astype(np.int64) if n in kinds else a for n, a in empty.items()}
    return replace(MOTION, **typed, centre=np.zeros((0, 2)), events=(), findings=())


@pytest.mark.parametrize("count", range(len(REACHED) + 1))
def test_a_summary_speaks_of_what_was_reached(run_with, count):
    summary = summary_of(run_with(reached=REACHED[:count]))
    assert set(REACHED) & set(summary) == set(REACHED[:count])
    assert summary["written_by"].startswith("kerfwright ")
    assert summary["reached"] == list(REACHED[:count])
    assert json.loads(json.dumps(summary, allow_nan=False)) == summary


def test_a_summary_says_what_was_measured_and_what_was_allowed(run_with):
    summary = summary_of(run_with())
    assert summary["verify"]["worst_mm"] == VERIFICATION.worst_mm.max()
    assert summary["verify"]["worst_contour"] == "c2"
    assert summary["verify"]["limit_mm"] == 0.03
    assert summary["verify"]["uncut_mm"] == 0.5
    assert summary["verify"]["overcut_part_mm"] == 0.1
    assert summary["verify"]["overcut_waste_mm"] == 0.2
    assert summary["plan"]["contours_held"] == ["c9"]
    assert summary["time"]["low_s"] <= summary["time"]["high_s"]
    assert summary["artwork"]["width_mm"] == 100.0
    assert summary["job"]["file"] == "a.dxf"
    row = summary["findings"][0]
    assert row["code"] == "JOB-140"
    assert row["xy_mm"] == [1.0, 2.0]
    assert (row["measured"], row["limit"], row["unit"]) == (3.5, 3.2, "mm")
    assert "3.50 mm" in row["sentence"]
    assert row["cure"] == load_catalogue()["JOB-140"].cure
