"""The pipeline: every stage in order, what it takes, what it leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from kerfwright import artwork, formats, holddown, motion, program
from kerfwright.errors import Severity
from kerfwright.job.check import check_result
from kerfwright.job.context import JobContext, tools_of
from kerfwright.job.files import scratch_file
from kerfwright.job.lay import lay_out
from kerfwright.job.pipeline import Stage, Upstream
from kerfwright.job.place import place_contours
from kerfwright.job.plan import held_contours, plan_sheet, zones_of
from kerfwright.job.printing import bleed_of, print_sheet
from kerfwright.job.progress import Progress, for_stage
from kerfwright.job.results import (
    ArtworkResult,
    CheckResult,
    DrawingsResult,
    HoldResult,
    LayoutResult,
    PlanResult,
    PrintResult,
    ProgramResult,
    TimeResult,
)
from kerfwright.job.store import Store
from kerfwright.model.drawing import Drawing
from kerfwright.model.job import JobInput
from kerfwright.model.motion import TimedMotion
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout

_MOST_BLEED_MM = 5.0
"""Art farther out than this belongs to neighbours, not to the part (common practice, no source)."""


def _read(context: JobContext, _: Upstream, store: Store, progress: Progress) -> DrawingsResult:
    job = context.job
    drawings: list[Drawing | None] = [None] * len(job.inputs)
    for alike in _read_together(job.inputs):
        progress("drawing", len(drawings) - drawings.count(None), len(drawings))
        first = job.inputs[alike[0]]
        with scratch_file(first.name, store.get_blob(first.sha256)) as path:
            pages = formats.read_artwork_pages(
                path,
                [job.inputs[n].page for n in alike],
                scale=first.scale,
                units=first.unit or None,
                tolerance_mm=job.choices.tolerances.read_mm,
            )
        for n, read in zip(alike, pages, strict=True):
            # Contour ids begin anew on every page; the number of the input sets them apart.
            several = len(job.inputs) > 1
            ids = tuple(f"{n + 1}.{i}" for i in read.ids) if several else read.ids
            drawings[n] = replace(read, ids=ids)
    return DrawingsResult(drawings=tuple(d for d in drawings if d is not None))


def _read_together(inputs: Sequence[JobInput]) -> list[list[int]]:
    """Return the inputs that are pages of one file, read alike, by their numbers."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for n, file in enumerate(inputs):
        groups.setdefault((file.sha256, file.name, file.scale, file.unit), []).append(n)
    return list(groups.values())


def _sort(context: JobContext, upstream: Upstream, _: Store, __: Progress) -> ArtworkResult:
    rules, inputs = context.job.rules, context.job.inputs
    read: DrawingsResult = upstream["drawing"]
    drawings, parts, findings = [], [], []
    for n, (drawing, file) in enumerate(zip(read.drawings, inputs, strict=True)):
        lines, art = artwork.drop_printed_art(drawing, rules)
        joined, repairs = artwork.join_lines(lines, tolerance_mm=rules.join_tolerance_mm)
        sorted_to = artwork.sort_lines(joined, rules)
        prefix = f"{n + 1}." if len(inputs) > 1 else ""
        parts += [
            _wanted(part, prefix, file, joined)
            for part in artwork.make_parts(joined, sorted_to, rules)
        ]
        findings += [*art, *repairs, *artwork.check(joined, rules, sorted_to)]
        drawings.append(joined)
    return ArtworkResult(drawings=tuple(drawings), parts=tuple(parts), findings=tuple(findings))


def _wanted(part: Part, prefix: str, file: JobInput, drawing: Drawing) -> Part:
    """Return a part with its quantity, its art and the bleed the art gives it."""
    art = drawing.art
    line = part.paths if part.outline < 0 else part.paths.select(np.array([part.outline]))
    bleed = 0.0 if art is None else min(bleed_of(line.box_mm(), art.box_mm), _MOST_BLEED_MM)
    return replace(part, id=prefix + part.id, quantity=file.quantity, art=art, bleed_mm=bleed)


def _lay(context: JobContext, upstream: Upstream, _: Store, progress: Progress) -> LayoutResult:
    return lay_out(upstream["artwork"].parts, context, progress=progress)


def _plan(context: JobContext, upstream: Upstream, _: Store, progress: Progress) -> PlanResult:
    sorted_out, layout = upstream["artwork"], upstream["layout"].layout
    hold = {*context.job.held, *held_contours(sorted_out.findings)}
    return plan_sheet(sorted_out.parts, layout, context, hold=hold, progress=progress)


def time_plan(context: JobContext, upstream: Upstream, _: Store, progress: Progress) -> TimeResult:
    """Time the motion of a plan."""
    planned = upstream["plan"].motion
    timed = motion.time_motion(planned, context.table.axes, progress=for_stage(progress, "time"))
    return TimeResult(timed=timed, naive_s=motion.naive_time_s(planned))


def write_plan(context: JobContext, upstream: Upstream, _: Store, __: Progress) -> ProgramResult:
    """Write the program of a plan and its air cut."""
    plan: PlanResult = upstream["plan"]
    table, job = context.table, context.job
    dialect = program.load_dialect(table.control)
    z_zero_mm = context.thickness_mm if table.z_reference == "top" else 0.0
    title = job.id if context.serial is None else f"{job.id} sheet {context.serial}"
    title += "" if context.setup is None else f" setup {context.setup}"
    air = program.air_cut(plan.motion, travel_z_mm=plan.travel_z_mm)
    text = program.write_program(plan.motion, table, dialect, title=title, z_zero_mm=z_zero_mm)
    air_text = program.write_program(
        air, table, dialect, title=f"{title} AIR CUT", z_zero_mm=z_zero_mm
    )
    return ProgramResult(text=text, air_text=air_text, dialect_id=dialect.id, z_zero_mm=z_zero_mm)


def verify_plan(
    context: JobContext, upstream: Upstream, _: Store, progress: Progress
) -> CheckResult:
    """Read the program of a plan back and check it."""
    return check_result(upstream["program"], upstream["plan"], context, progress=progress)


def hold_parts(
    parts: Sequence[Part],
    laid: Layout,
    plan: PlanResult,
    timed: TimedMotion,
    context: JobContext,
) -> HoldResult:
    """Check that the vacuum holds every part of a plan."""
    report = holddown.check(
        laid,
        plan.motion,
        context.table,
        parts=parts,
        material=context.material,
        table_from_sheet=plan.placed.maps[0] if plan.placed.maps else plan.placed.table_from_sheet,
        thickness_mm=context.thickness_mm,
        tools=tools_of(context),
        zones_on=zones_of(plan.placed, context),
        timed=timed,
    )
    return HoldResult(report=report)


_STOPS = (Severity.HOLDS_PART, Severity.BLOCKS)


def _hold(context: JobContext, upstream: Upstream, _: Store, __: Progress) -> HoldResult:
    parts, laid = upstream["artwork"].parts, upstream["layout"].layout
    held = hold_parts(parts, laid, upstream["plan"], upstream["time"].timed, context)
    # Of the nominal plan hold-down is a forecast with every range at its bad end: it warns. What
    # is held back is decided for the sheet on the bed.
    softer = tuple(
        replace(f, severity=Severity.WARN) if f.severity in _STOPS else f
        for f in held.report.findings
    )
    return HoldResult(report=replace(held.report, findings=softer))


def _print(context: JobContext, upstream: Upstream, store: Store, _: Progress) -> PrintResult:
    sorted_out, laid = upstream["artwork"], upstream["layout"]
    placed = place_contours(sorted_out.parts, laid.layout, context.table)
    inks = sorted({s for d in sorted_out.drawings for s in d.separation if s})
    return print_sheet(sorted_out.parts, laid, placed, inks, context, store)


def hold_inputs(context: JobContext) -> tuple[Any, ...]:
    """Return what the hold-down check takes of job and books."""
    run = context.sheet_run
    zones = (context.job.choices.zones, None if run is None else run.zones)
    return (context.table, context.material, context.tools, context.thickness_mm, zones)


def _file_inputs(context: JobContext) -> tuple[Any, ...]:
    return (context.job.inputs, context.job.choices.tolerances.read_mm)


def _layout_inputs(context: JobContext) -> tuple[Any, ...]:
    choices = context.job.choices
    how = (choices.nest, choices.spacing_mm, choices.layout_time_s, choices.marks)
    return (choices.sheet, how, context.job.seeds, context.table)


def _plan_inputs(context: JobContext) -> tuple[Any, ...]:
    job = context.job
    books = (context.table, context.material, context.tools, context.cards)
    return (job.rules, job.choices, job.seeds, job.held, context.setup, *books)


def _program_inputs(context: JobContext) -> tuple[Any, ...]:
    return (context.job.id, context.table, program.load_dialect(context.table.control))


STAGES: tuple[Stage, ...] = (
    Stage(
        name="drawing", version=2, result=DrawingsResult, needs=(), inputs=_file_inputs, run=_read
    ),
    Stage(
        name="artwork",
        version=2,
        result=ArtworkResult,
        needs=("drawing",),
        inputs=lambda c: (c.job.rules,),
        run=_sort,
    ),
    Stage(
        name="layout",
        version=2,
        result=LayoutResult,
        needs=("artwork",),
        inputs=_layout_inputs,
        run=_lay,
    ),
    Stage(
        name="print",
        version=1,
        result=PrintResult,
        needs=("artwork", "layout"),
        inputs=lambda c: (c.job.id, c.job.inputs, c.job.choices.sheet, c.job.rules),
        run=_print,
    ),
    Stage(
        name="plan",
        version=2,
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
        run=time_plan,
    ),
    Stage(
        name="hold",
        version=2,
        result=HoldResult,
        needs=("plan", "time", "artwork", "layout"),
        inputs=hold_inputs,
        run=_hold,
    ),
    Stage(
        name="program",
        version=1,
        result=ProgramResult,
        needs=("plan",),
        inputs=_program_inputs,
        run=write_plan,
    ),
    Stage(
        name="verify",
        version=2,
        result=CheckResult,
        needs=("plan", "program"),
        inputs=lambda c: (c.table, c.tools, c.job.choices, program.load_dialect(c.table.control)),
        run=verify_plan,
    ),
)
"""Every stage in order."""
