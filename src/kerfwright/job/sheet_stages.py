"""Stages of one physical sheet: look, fit, plan in the order kept, hold, time, write, check.

They take the results of the nominal stages under names that begin with ``office``.
"""

from __future__ import annotations

from typing import Any

from kerfwright import program, registration
from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import F64
from kerfwright.job.bed import lines_for_verdict, place_on_bed, rigid_of
from kerfwright.job.budget import budget_of
from kerfwright.job.context import JobContext
from kerfwright.job.looking import look_at
from kerfwright.job.pipeline import Stage, Upstream
from kerfwright.job.place import place_contours
from kerfwright.job.plan import plan_real
from kerfwright.job.progress import Progress
from kerfwright.job.results import (
    CheckResult,
    FitResult,
    HoldResult,
    LayoutResult,
    LookResult,
    PlanResult,
    ProgramResult,
    TimeResult,
)
from kerfwright.job.stages import hold_inputs, hold_parts, time_plan, verify_plan, write_plan
from kerfwright.job.store import Store
from kerfwright.model.job import MarkChoices
from kerfwright.model.verdict import Verdict, VerdictState

OFFICE = "office "
"""Prefix of the names of nominal results."""


def _marks_of(context: JobContext) -> MarkChoices:
    how = context.job.choices.marks
    assert how is not None  # noqa: S101 - a job without marks has no physical sheets
    return how


def _look(context: JobContext, upstream: Upstream, store: Store, progress: Progress) -> LookResult:
    laid: LayoutResult = upstream[OFFICE + "layout"]
    run = context.sheet_run
    assert run is not None  # noqa: S101 - a stage of a physical sheet
    assert laid.marks is not None  # noqa: S101 - as in _marks_of
    return look_at(run.photos, laid.marks, context, store, progress)


def _fit(context: JobContext, upstream: Upstream, _: Store, progress: Progress) -> FitResult:
    looked: LookResult = upstream["look"]
    laid: LayoutResult = upstream[OFFICE + "layout"]
    parts = upstream[OFFICE + "artwork"].parts
    assert looked.match is not None  # noqa: S101 - without a match the look blocks
    assert laid.marks is not None  # noqa: S101 - as in _marks_of
    found, nominal = looked.match.pairs.T
    how = _marks_of(context)
    fit = registration.fit_sheet(
        laid.marks.xy[nominal],
        looked.xy_mm[found],
        measured_cov=looked.cov_mm2[found],
        domain=context.job.choices.sheet.outline.box_mm(),
        prior=how.prior,
        seed=context.job.seeds.get("fit", 0),
    )
    progress("fit", 1, 3)
    placed = place_contours(parts, laid.layout, context.table)
    rigid = rigid_of(parts, laid.layout, fit)
    on_bed = place_on_bed(placed, fit, rigid, tolerance_mm=context.job.choices.tolerances.map_mm)
    progress("fit", 2, 3)
    budget, assumed = budget_of(placed, how, context)
    verdicts = registration.verdict(fit, budget, lines_for_verdict(placed, rigid))
    findings = (*fit.findings, *assumed, *_held(verdicts, fit.mean_map, context))
    return FitResult(fit=fit, placed=on_bed, budget=budget, verdicts=verdicts, findings=findings)


def _held(
    verdicts: tuple[Verdict, ...], table_from_sheet: PlaneMap, context: JobContext
) -> list[Finding]:
    """Return why contours are held, and which are cut in spite of a doubt and on whose word."""
    run = context.sheet_run
    said = {r.contour: r for r in run.released} if run is not None else {}
    findings = []
    for v in verdicts:
        if v.state is VerdictState.WILL_CUT:
            continue
        word = said.get(v.contour) if v.state is VerdictState.CHECK else None
        params = {"state": v.state.value, "reason": v.reason}
        if word is not None:
            params = {"why": word.reason, "initials": word.initials}
        findings.append(
            Finding(
                code="JOB-180" if word is None else "JOB-182",
                severity=Severity.HOLDS_PART if word is None else Severity.NOTE,
                where=Place(
                    stage="fit",
                    contour=v.contour,
                    xy_mm=_place(table_from_sheet.map_points(v.worst_xy[None])[0]),
                    frame="table",
                ),
                measured=v.p_in_tolerance,
                params=params,
            )
        )
    return findings


def _place(xy: F64) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])


def held_by_verdict(fitted: FitResult, context: JobContext) -> set[str]:
    """Return contours that are not cut: not `will_cut`, and not let through by a person."""
    run = context.sheet_run
    released = {r.contour for r in run.released} if run is not None else set()
    return {
        v.contour
        for v in fitted.verdicts
        if v.state is not VerdictState.WILL_CUT
        and not (v.state is VerdictState.CHECK and v.contour in released)
    }


def _plan(context: JobContext, upstream: Upstream, _: Store, progress: Progress) -> PlanResult:
    fitted: FitResult = upstream["fit"]
    run = context.sheet_run
    assert run is not None  # noqa: S101 - a stage of a physical sheet
    nominal: PlanResult = upstream[OFFICE + "plan"]
    hold = {*run.held, *held_by_verdict(fitted, context), *nominal.held}
    return plan_real(fitted.placed, nominal.order, context, hold=hold, progress=progress)


def _hold(context: JobContext, upstream: Upstream, _: Store, __: Progress) -> HoldResult:
    return hold_parts(
        upstream[OFFICE + "artwork"].parts,
        upstream[OFFICE + "layout"].layout,
        upstream["plan"],
        upstream["time"].timed,
        context,
    )


def _look_inputs(context: JobContext) -> tuple[Any, ...]:
    run = context.sheet_run
    assert run is not None  # noqa: S101 - a stage of a physical sheet
    return (context.job.id, run.serial, run.photos, run.zones, context.job.choices.marks)


def _fit_inputs(context: JobContext) -> tuple[Any, ...]:
    choices, run = context.job.choices, context.sheet_run
    assert run is not None  # noqa: S101 - a stage of a physical sheet
    seeds, said = context.job.seeds, run.released
    return (choices.sheet, choices.marks, choices.tolerances, seeds, context.table, said)


def _plan_inputs(context: JobContext) -> tuple[Any, ...]:
    job, run = context.job, context.sheet_run
    assert run is not None  # noqa: S101 - a stage of a physical sheet
    books = (context.table, context.material, context.tools, context.cards)
    sheet = (run.caliper_mm, run.zones, run.released, run.held)
    return (job.rules, job.choices, job.seeds, sheet, *books)


def _program_inputs(context: JobContext) -> tuple[Any, ...]:
    dialect = program.load_dialect(context.table.control)
    return (context.job.id, context.serial, context.thickness_mm, context.table, dialect)


def _verify_inputs(context: JobContext) -> tuple[Any, ...]:
    dialect = program.load_dialect(context.table.control)
    return (context.table, context.tools, context.job.choices, context.thickness_mm, dialect)


SHEET_STAGES: tuple[Stage, ...] = (
    Stage(
        name="look",
        version=2,
        result=LookResult,
        needs=(OFFICE + "layout",),
        inputs=_look_inputs,
        run=_look,
    ),
    Stage(
        name="fit",
        version=1,
        result=FitResult,
        needs=("look", OFFICE + "artwork", OFFICE + "layout"),
        inputs=_fit_inputs,
        run=_fit,
    ),
    Stage(
        name="plan",
        version=1,
        result=PlanResult,
        needs=("fit", OFFICE + "plan"),
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
        version=1,
        result=HoldResult,
        needs=("plan", "time", OFFICE + "artwork", OFFICE + "layout"),
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
        inputs=_verify_inputs,
        run=verify_plan,
    ),
)
"""Every stage of a physical sheet, in order."""
