"""Time of every stage of the pipeline, from a drawing to a checked program."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.sheets import MARGIN_MM, SHEET_MM, draw_sheet
from kerfwright.job.codec import to_blob
from kerfwright.job.pipeline import run_stages
from kerfwright.job.progress import silent
from kerfwright.job.stages import STAGES
from kerfwright.job.steps import NewJob, make_job
from kerfwright.job.store import FolderStore

SIZES = (100, 1_000, 10_000)


@pytest.fixture(scope="module", params=SIZES)
def finished(request, tmp_path_factory):
    """Return n and a job brought to its end once, so that every stage finds its input."""
    folder = tmp_path_factory.mktemp("shop")
    file = folder / "sheet.dxf"
    draw_sheet(file, n=request.param, seed=0)
    store = FolderStore(folder)
    job = make_job(
        NewJob(job_id="bench", file=file, sheet_mm=SHEET_MM, margin_mm=MARGIN_MM, unit="mm"), store
    )
    run = run_stages(STAGES, job, store, last="verify")
    assert run.reached[-1] == "verify", run.findings
    return request.param, run, store


@pytest.mark.parametrize("name", [stage.name for stage in STAGES])
def test_stage(benchmark, finished, name):
    n, run, store = finished
    stage = next(s for s in STAGES if s.name == name)
    benchmark.extra_info.update(stage=name, n=n)
    for need in stage.needs:
        run.upstream[need]
    result = benchmark.pedantic(
        stage.run, args=(run.context, run.upstream, store, silent), rounds=3, warmup_rounds=1
    )
    assert type(result) is stage.result


def test_store(benchmark, finished):
    n, run, store = finished
    benchmark.extra_info.update(stage="store all results", n=n)
    values = [run.upstream[name] for name in run.reached]

    def put():
        return [store.put_blob(to_blob(value)) for value in values]

    assert len(benchmark.pedantic(put, rounds=3)) == len(values)


def test_kept_order_to_checked_program(benchmark, finished):
    """The way at the table: order kept, motion made, written, read back and checked."""
    n, run, store = finished
    benchmark.extra_info.update(stage="order kept to checked", n=n)
    stages = {s.name: s for s in STAGES}

    def go():
        for name in ("plan", "time", "program", "verify"):
            result = stages[name].run(run.context, run.upstream, store, silent)
        return result

    checked = benchmark.pedantic(go, rounds=2)
    assert np.isfinite(checked.verification.worst_mm).all()
