"""Time of every stage of the pipeline, from a drawing to a checked program."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.sheets import MARGIN_MM, SHEET_MM, draw_sheet
from kerfwright.job.codec import to_blob
from kerfwright.job.pipeline import Upstream, run_stages
from kerfwright.job.place import place_contours
from kerfwright.job.plan import plan_real
from kerfwright.job.progress import silent
from kerfwright.job.results import PlanResult
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


def kept_order_to_checked(run, store):
    """Make motion in the order that stands, write it, read it back and check it."""
    stages = {s.name: s for s in STAGES}
    parts, layout = run.upstream["artwork"].parts, run.upstream["layout"].layout
    kept: PlanResult = run.upstream["plan"]
    lying = place_contours(parts, layout, run.context.table)
    plan = plan_real(lying, kept.order, run.context, hold=kept.held, progress=silent)
    upstream = Upstream(store)
    upstream.enter("plan", PlanResult, "", plan)
    for name in ("time", "program", "verify"):
        result = stages[name].run(run.context, upstream, store, silent)
        upstream.enter(name, stages[name].result, "", result)
    return result


def test_kept_order_to_checked_program(benchmark, finished):
    """The way at the table: order kept, motion made, written, read back and checked."""
    n, run, store = finished
    benchmark.extra_info.update(stage="order kept to checked", n=n)
    checked = benchmark.pedantic(
        kept_order_to_checked, args=(run, store), rounds=2, warmup_rounds=1
    )
    assert np.isfinite(checked.verification.worst_mm).all()


@pytest.mark.parametrize("n", [300, 1_000])
def test_kept_order_to_checked_router_program(benchmark, n, tmp_path):
    """The same for outlines and holes routed in plywood, in three passes and a finishing lap."""
    file = tmp_path / "sheet.dxf"
    draw_sheet(file, n=n, seed=0)
    store = FolderStore(tmp_path)
    new = NewJob(
        job_id="bench", file=file, sheet_mm=SHEET_MM, margin_mm=MARGIN_MM, unit="mm",
        table_id="quay-3217", material_id="plywood-12",
    )  # fmt: skip
    run = run_stages(STAGES, make_job(new, store), store, last="verify")
    assert run.reached[-1] == "verify", run.findings
    benchmark.extra_info.update(stage="routed, kept to checked", n=n)
    checked = benchmark.pedantic(
        kept_order_to_checked, args=(run, store), rounds=2, warmup_rounds=1
    )
    assert checked.verification.passed
