"""What the sheet lies on in each set-up: knives need a mat, cutters a board to run into.

A tool that stays inside the stock does not mind. A set-up takes the table's usual surface if that
bears everything that goes through, else the first of its other surfaces that does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from kerfwright.errors import Finding, Severity, UnknownNameError
from kerfwright.job.context import JobContext
from kerfwright.job.planning_finding import finding_of
from kerfwright.model.operation import Operation, Process
from kerfwright.model.table import Table

_BEARS = {
    Process.CUTTING: ("mat", "underlay"),
    Process.ROUTING: ("spoilboard", "underlay"),
}


def used_operations(context: JobContext) -> tuple[Operation, ...]:
    """Return the operations some rule of the job names."""
    used = {rule.operation for rule in context.job.rules.rules}
    return tuple(o for o in context.job.rules.operations if o.id in used)


def surface_of(operations: Sequence[Operation], table: Table) -> str | None:
    """Return the surface operations of one set-up lie on; None if the table has none for all."""
    through = [o for o in operations if o.goes_through]
    for surface in (table.bed_surface, *table.other_surfaces):
        if all(surface in _BEARS[o.process] for o in through):
            return surface
    return None


def table_for_setup(context: JobContext, setup: int) -> Table:
    """Return the table as it is laid for a set-up; with its usual surface where none fits."""
    operations = [o for o in used_operations(context) if o.setup == setup]
    surface = surface_of(operations, context.table)
    return context.table.laid_with(surface or context.table.bed_surface)


def setups_of(context: JobContext) -> tuple[int, ...]:
    """Return the set-ups the job's operations are spread over, in order."""
    return tuple(sorted({o.setup for o in used_operations(context)})) or (1,)


def laid_for(context: JobContext, setup: int | None) -> JobContext:
    """Return the context of one set-up, with what its sheet lies on.

    None takes the only set-up there is, and of several the first.
    """
    setups = setups_of(context)
    chosen = setups[0] if setup is None else setup
    if chosen not in setups:
        known = ", ".join(map(str, setups))
        raise UnknownNameError(f"job {context.job.id} has no set-up {chosen}; it has: {known}")
    table = table_for_setup(context, chosen)
    return replace(context, table=table, setup=chosen if len(setups) > 1 else None)


def check_surfaces(context: JobContext) -> tuple[Finding, ...]:
    """Return what is wrong with what the sheet lies on in the set-up that is planned."""
    setup = context.setup or setups_of(context)[0]
    operations = [o for o in used_operations(context) if o.setup == setup]
    return tuple(_check_setup(operations, setup, context)) if operations else ()


def _check_setup(operations: Sequence[Operation], setup: int, context: JobContext) -> list[Finding]:
    table, usual = context.table, context.usual_surface or context.table.bed_surface
    surface = surface_of(operations, table)
    if surface == usual:
        return []
    if surface is not None:
        return [finding_of("JOB-148", Severity.NOTE, setup=setup, surface=surface, usual=usual)]
    through = {o.process: o.id for o in operations if o.goes_through}
    has = ", ".join((table.bed_surface, *table.other_surfaces))
    if len(through) > 1:
        return [
            finding_of(
                "JOB-146",
                Severity.BLOCKS,
                setup=setup,
                knife=through[Process.CUTTING],
                cutter=through[Process.ROUTING],
                has=has,
            )
        ]
    process, name = next(iter(through.items()))
    needs = _BEARS[process][0]
    return [
        finding_of("JOB-147", Severity.BLOCKS, operation=name, needs=needs, table=table.id, has=has)
    ]
