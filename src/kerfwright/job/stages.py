"""The pipeline: every stage in order, what it takes, what it leaves."""

from __future__ import annotations

from typing import Any

from kerfwright import artwork, formats, motion, program
from kerfwright.job.check import check_result
from kerfwright.job.context import JobContext
from kerfwright.job.files import scratch_file
from kerfwright.job.pipeline import Stage, Upstream
from kerfwright.job.place import lay_as_drawn
from kerfwright.job.plan import held_contours, plan_sheet
from kerfwright.job.progress import Progress, for_stage
from kerfwright.job.results import (
    ArtworkResult,
    CheckResult,
    LayoutResult,
    PlanResult,
    ProgramResult,
    TimeResult,
)
from kerfwright.job.store import Store
from kerfwright.model.drawing import Drawing


def _read(context: JobContext, _: Upstream, store: Store, __: Progress) -> Drawing:
    file = context.job.inputs[0]
    with scratch_file(file.name, store.get_blob(file.sha256)) as path:
        return formats.read_artwork(
            path,
            scale=file.scale,
            units=file.unit or None,
            tolerance_mm=context.job.choices.tolerances.read_mm,
        )


def _sort(context: JobContext, upstream: Upstream, _: Store, __: Progress) -> ArtworkResult:
    rules = context.job.rules
    read: Drawing = upstream["drawing"]
    joined, repairs = artwork.join_lines(read, tolerance_mm=rules.join_tolerance_mm)
    sorted_to = artwork.sort_lines(joined, rules)
    parts = artwork.make_parts(joined, sorted_to, rules)
    findings = (*repairs, *artwork.check(joined, rules, sorted_to))
    return ArtworkResult(drawing=joined, parts=parts, findings=findings)


def _lay(context: JobContext, upstream: Upstream, _: Store, __: Progress) -> LayoutResult:
    return lay_as_drawn(upstream["artwork"].parts, context.job.choices.sheet)


def _plan(context: JobContext, upstream: Upstream, _: Store, progress: Progress) -> PlanResult:
    sorted_out, layout = upstream["artwork"], upstream["layout"].layout
    hold = {*context.job.held, *held_contours(sorted_out.findings)}
    return plan_sheet(sorted_out.parts, layout, context, hold=hold, progress=progress)


def _time(context: JobContext, upstream: Upstream, _: Store, progress: Progress) -> TimeResult:
    planned = upstream["plan"].motion
    timed = motion.time_motion(planned, context.table.axes, progress=for_stage(progress, "time"))
    return TimeResult(timed=timed, naive_s=motion.naive_time_s(planned))


def _write(context: JobContext, upstream: Upstream, _: Store, __: Progress) -> ProgramResult:
    plan: PlanResult = upstream["plan"]
    table, job = context.table, context.job
    dialect = program.load_dialect(table.control)
    z_zero_mm = job.choices.sheet.thickness_mm if table.z_reference == "top" else 0.0
    air = program.air_cut(plan.motion, travel_z_mm=plan.travel_z_mm)
    text = program.write_program(plan.motion, table, dialect, title=job.id, z_zero_mm=z_zero_mm)
    air_text = program.write_program(
        air, table, dialect, title=f"{job.id} AIR CUT", z_zero_mm=z_zero_mm
    )
    return ProgramResult(text=text, air_text=air_text, dialect_id=dialect.id, z_zero_mm=z_zero_mm)


def _verify(context: JobContext, upstream: Upstream, _: Store, progress: Progress) -> CheckResult:
    return check_result(upstream["program"], upstream["plan"], context, progress=progress)


def _file_inputs(context: JobContext) -> tuple[Any, ...]:
    return (context.job.inputs, context.job.choices.tolerances.read_mm)


def _plan_inputs(context: JobContext) -> tuple[Any, ...]:
    job = context.job
    books = (context.table, context.material, context.tools, context.cards)
    return (job.rules, job.choices, job.seeds, job.held, *books)


def _program_inputs(context: JobContext) -> tuple[Any, ...]:
    return (context.job.id, context.table, program.load_dialect(context.table.control))


STAGES: tuple[Stage, ...] = (
    Stage(name="drawing", version=1, result=Drawing, needs=(), inputs=_file_inputs, run=_read),
    Stage(
        name="artwork",
        version=1,
        result=ArtworkResult,
        needs=("drawing",),
        inputs=lambda c: (c.job.rules,),
        run=_sort,
    ),
    Stage(
        name="layout",
        version=1,
        result=LayoutResult,
        needs=("artwork",),
        inputs=lambda c: (c.job.choices.sheet,),
        run=_lay,
    ),
    Stage(
        name="plan",
        version=1,
        result=PlanResult,
        needs=("artwork", "layout"),
        inputs=_plan_inputs,
        run=_plan,
    ),
    Stage(
        name="time",
        version=1,
        result=TimeResult,
        needs=("plan",),
        inputs=lambda c: (c.table.axes,),
        run=_time,
    ),
    Stage(
        name="program",
        version=1,
        result=ProgramResult,
        needs=("plan",),
        inputs=_program_inputs,
        run=_write,
    ),
    Stage(
        name="verify",
        version=1,
        result=CheckResult,
        needs=("plan", "program"),
        inputs=lambda c: (c.table, c.tools, c.job.choices, program.load_dialect(c.table.control)),
        run=_verify,
    ),
)
"""Every stage in order."""
