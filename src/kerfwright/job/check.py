"""Read the written program back, check it against the design, and check that its air cut is one."""

from __future__ import annotations

import numpy as np

from kerfwright import program
from kerfwright.errors import Finding, Place, Severity
from kerfwright.job.context import JobContext
from kerfwright.job.design import design_of
from kerfwright.job.progress import Progress, for_stage
from kerfwright.job.results import CheckResult, PlanResult, ProgramResult
from kerfwright.model.motion import EventCode, ToolMotion
from kerfwright.model.verification import Verification
from kerfwright.verify import check_program


def check_text(
    text: str, plan: PlanResult, context: JobContext, *, progress: Progress
) -> tuple[ToolMotion, Verification]:
    """Read a program's text and check it against the job's design.

    Raises
    ------
    ProgramSyntaxError
        If a line cannot be read; the message names it.
    """
    dialect = program.load_dialect(context.table.control)
    read = program.read_program(text, dialect)
    found = check_program(
        read,
        design_of(plan, context),
        context.table,
        context.job.choices.tolerances,
        progress=for_stage(progress, "verify: sweep"),
    )
    return read, found


def check_result(
    written: ProgramResult, plan: PlanResult, context: JobContext, *, progress: Progress
) -> CheckResult:
    """Check the program and its air cut, both from their text."""
    read, verification = check_text(written.text, plan, context, progress=progress)
    air = program.read_program(written.air_text, program.load_dialect(written.dialect_id))
    findings = list(verification.findings)
    clear = _stays_clear(air, plan.travel_z_mm - written.z_zero_mm, context)
    same = _same_way(read, air)
    if not (clear and same):
        findings.append(
            Finding(
                code="JOB-150",
                severity=Severity.BLOCKS,
                where=Place(stage="verify", frame="table"),
                params={"what": "another way" if clear else "a tip too low or something running"},
            )
        )
    return CheckResult(
        verification=verification, air_cuts_nothing=clear and same, findings=tuple(findings)
    )


def _stays_clear(air: ToolMotion, travel_z_mm: float, context: JobContext) -> bool:
    """Return whether every tip stays at travel height with spindle and oscillation off."""
    lift = np.zeros(len(air))
    if air.offsets_in == "program":
        for station in context.table.stations:
            offset = context.table.head(station.head_id).offset_mm[2]
            lift[air.tool == station.number] = offset
    written = 10.0 ** -program.load_dialect(context.table.control).decimals_mm
    high = bool((air.end[:, 2] - lift >= travel_z_mm - written).all())
    running = {EventCode.SPINDLE, EventCode.OSCILLATION}
    return high and not any(e.code in running and e.value > 0.0 for e in air.events)


def _same_way(cut: ToolMotion, air: ToolMotion) -> bool:
    """Return whether both go through the same x, y, c, leaving out blocks that move z alone."""
    ways = []
    for motion in (cut, air):
        way = np.concatenate((motion.start[None, :], motion.end))[:, [0, 1, 3]]
        moves = np.abs(np.diff(way, axis=0)).max(axis=1, initial=0.0) > 0.0
        turns = (motion.sweep_rad != 0.0) | moves
        ways.append(np.concatenate((way[:1], way[1:][turns])))
    return ways[0].shape == ways[1].shape and bool(np.abs(ways[0] - ways[1]).max(initial=0) < 1e-3)
