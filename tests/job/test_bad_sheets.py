"""Sheets that were printed or laid wrongly: each is stopped, and the words say what is wrong."""

from __future__ import annotations

from dataclasses import replace

import pytest

from job.test_sheets import SMALL, quiet, small_scenario
from kerfwright import virtual
from kerfwright.errors import BlockedError
from kerfwright.errors.messages import sentence_of
from kerfwright.job.order import make_printed_job
from kerfwright.job.pipeline import run_stages
from kerfwright.job.rehearsed import rehearse_sheet
from kerfwright.job.stages import STAGES
from kerfwright.job.store import FolderStore

GOOD = small_scenario()
BAD = {
    "the printer fitted it to the page": (
        replace(GOOD, printer=replace(GOOD.printer, scale=0.97)), "LOK-121", "printed at 97.0 %",
    ),
    "it was printed mirrored": (
        replace(GOOD, printer=replace(GOOD.printer, mirrored=True)), "LOK-122", "mirrored",
    ),
    "it hangs over the edge of the bed": (
        replace(GOOD, throw=virtual.Throw(x_mm=2100.0, y_mm=52.0, turn_rad=0.02)), "JOB-113",
        "over the right edge of the bed",
    ),
    "too few marks are left": (
        replace(GOOD, blemishes=virtual.Blemishes(missing=(1, 2, 3, 4))), "FIT-101",
        "two marks show shift, turn and scale only",
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    store = FolderStore(tmp_path_factory.mktemp("bad") / "shop")
    job = make_printed_job(SMALL, store)
    return run_stages(STAGES, job, store, last="hold", progress=quiet), store


@pytest.mark.parametrize("name", BAD)
def test_a_bad_sheet_is_stopped_in_words(office, name):
    run, store = office
    scenario, code, words = BAD[name]
    serial = 1 + list(BAD).index(name)
    done = rehearse_sheet(run, scenario, store, None, serial=serial, progress=quiet)
    assert done.run.is_blocked
    assert "program" not in done.run.reached, "no program is written"
    said = [sentence_of(f) for f in done.run.findings if f.code == code]
    assert said, {f.code for f in done.run.findings}
    assert words in said[0]


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"throw": virtual.Throw(x_mm=75.0, y_mm=52.0, turn_rad=0.3)}, "LOK-128"),
        ({"blemishes": virtual.Blemishes(missing=(0, 1, 2, 3, 4))}, "LOK-128"),
    ],
)
def test_a_walk_that_finds_no_second_mark_asks_for_one(office, change, code):
    run, store = office
    with pytest.raises(BlockedError, match=code):
        rehearse_sheet(run, replace(GOOD, **change), store, None, serial=90, progress=quiet)
