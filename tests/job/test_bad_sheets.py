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
    "it was thrown beyond what the throw allows": (
        replace(GOOD, throw=virtual.Throw(x_mm=75.0, y_mm=52.0, turn_rad=0.3)), "JOB-113",
        "turned by 17.19 deg",
    ),
    "it was printed turned by a quarter and hangs over the edge": (
        replace(GOOD, printer=replace(GOOD.printer, turned_quarters=1),
                throw=virtual.Throw(x_mm=75.0, y_mm=700.0, turn_rad=0.02)), "JOB-113",
        "over the far edge of the bed",
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


def test_a_walk_that_finds_no_second_mark_asks_for_one(office):
    run, store = office
    alone = replace(GOOD, blemishes=virtual.Blemishes(missing=(0, 1, 2, 3, 4)))
    with pytest.raises(BlockedError, match="LOK-128"):
        rehearse_sheet(run, alone, store, None, serial=90, progress=quiet)


@pytest.mark.parametrize(
    ("quarters", "words"),
    [
        (1, "turned by a quarter turn counter-clockwise"),
        (2, "turned by half a turn"),
        (3, "turned by a quarter turn clockwise"),
    ],
)
def test_a_sheet_printed_turned_is_said_and_lies_where_it_is_found(office, quarters, words):
    """All of it lies within reach whichever way it is printed, so its turn stops nothing."""
    run, store = office
    turned = replace(GOOD, printer=replace(GOOD.printer, turned_quarters=quarters))
    done = rehearse_sheet(run, turned, store, None, serial=50 + quarters, progress=quiet)
    said = [sentence_of(f) for f in done.run.findings if f.code == "LOK-123"]
    assert said
    assert words in said[0]
    marks = run.upstream["layout"].marks.xy
    assert len(done.run.upstream["look"].match.pairs) == len(marks) == SMALL.marks.count
    fitted = done.run.upstream["fit"].fit.map(marks)
    assert abs(fitted - done.truth.table_from_sheet(marks)).max() < 0.1
    assert max(done.truth_mm.values(), default=0.0) <= 0.2, "it is cut where it was printed"
    assert quarters == 1 or done.truth_mm, "nothing holds it back"
