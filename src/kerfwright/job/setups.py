"""Setting card, material and table -> the numbers one operation is planned with."""

from __future__ import annotations

from math import pi

from kerfwright.errors import Finding, Severity, UnknownNameError
from kerfwright.job.context import JobContext
from kerfwright.job.planning_finding import finding_of
from kerfwright.job.process_checks import FEEDS, KNIVES, check_inside, check_process
from kerfwright.job.surfaces import check_surfaces, table_for_setup, used_operations
from kerfwright.model.cut import CutSetup
from kerfwright.model.material import SettingCard
from kerfwright.model.operation import HeadKind, Operation


def setup_for(operation: Operation, context: JobContext) -> CutSetup:
    """Return the numbers of one operation on the job's sheet.

    What a kind of head does not do is 0: leads of what does not roll, revolutions of what does not
    turn. What does not turn C never lifts at a corner.

    Raises
    ------
    UnknownNameError
        If the setting card lacks a value the process needs.
    """
    card, table = context.cards[operation.card_id], context.table
    top, tolerances = context.thickness_mm, context.job.choices.tolerances
    head = operation.head_kind
    turns_c = head in KNIVES or head is HeadKind.CREASING_WHEEL

    def value(name: str, *, where: bool, otherwise: float = 0.0) -> float:
        return card.value(name) if where else otherwise

    rolls, routes = head is HeadKind.CREASING_WHEEL, head is HeadKind.ROUTER_SPINDLE
    return CutSetup(
        bottom_z_mm=0.0,
        top_z_mm=top,
        feed_mm_s=operation.feed_mm_s or card.value(FEEDS[operation.quality]),
        plunge_mm_s=card.value("plunge_mm_s"),
        turn_rad_s=float(table.axes.speed[3]),
        lift_angle_rad=value("lift_angle_rad", where=turns_c, otherwise=pi),
        lift_z_mm=top + max(card.value("lift_mm"), table.clearance_mm),
        side_offset_mm=value("side_offset_mm", where=head in KNIVES),
        stroke_hz=value("stroke_hz", where=head is HeadKind.OSCILLATING_KNIFE),
        spindle_hz=value("spindle_hz", where=routes),
        lead_in_mm=value("lead_in_mm", where=rolls),
        lead_out_mm=value("lead_out_mm", where=rolls),
        tolerance_mm=min(tolerances.cut_mm, tolerances.overcut_mm),
    )


def travel_height_mm(context: JobContext) -> float:
    """Return the height heads travel at: over the sheet, its curl and the clearance [mm]."""
    curl = context.material.figure("curl_mm").high
    over = context.thickness_mm + curl + context.table.clearance_mm
    return max(context.table.travel_z_mm, over)


def check_setups(context: JobContext) -> tuple[Finding, ...]:
    """Return what makes an operation impossible on this table, tool, card or stock."""
    found: list[Finding] = []
    for operation in used_operations(context):
        found += _check_station(operation, context)
        found += _check_tool(operation, context)
        found += check_process(operation, context)
        found += _check_card(operation, context)
    found += check_surfaces(context)
    top = context.thickness_mm
    low, high = context.material.thickness_mm.low, context.material.thickness_mm.high
    if not low <= top <= high:
        found.append(finding_of("JOB-140", Severity.WARN, top, high, low=low, high=high))
    return tuple(found)


def _check_station(operation: Operation, context: JobContext) -> list[Finding]:
    try:
        station = context.table.station_for(operation.head_kind, operation.tool_id)
    except UnknownNameError:
        return [
            finding_of(
                "JOB-120",
                Severity.BLOCKS,
                operation=operation.id,
                tool=operation.tool_id,
                head=operation.head_kind.value,
                table=context.table.id,
            )
        ]
    head = context.table.head(station.head_id)
    travel = travel_height_mm(context)
    if travel > head.z_travel_mm[1]:
        limit = head.z_travel_mm[1]
        return [finding_of("JOB-122", Severity.BLOCKS, travel, limit, head=head.id)]
    return []


def _check_tool(operation: Operation, context: JobContext) -> list[Finding]:
    tool = context.tools[operation.tool_id]
    found: list[Finding] = []
    top = context.thickness_mm
    deep = top - operation.tip_z_mm(top)
    if operation.head_kind not in tool.fits:
        found.append(
            finding_of(
                "JOB-121",
                Severity.BLOCKS,
                operation=operation.id,
                tool=tool.id,
                head=operation.head_kind.value,
            )
        )
    if deep > tool.free_length_mm:
        limit = tool.free_length_mm
        found.append(
            finding_of(
                "JOB-123", Severity.BLOCKS, deep, limit, operation=operation.id, tool=tool.id
            )
        )
    return found + _check_depth(operation, context, top)


def _check_depth(operation: Operation, context: JobContext, top: float) -> list[Finding]:
    tip = operation.tip_z_mm(top)
    laid = table_for_setup(context, operation.setup)
    if tip < -laid.bed_surface_mm:
        params = {"operation": operation.id, "surface": laid.bed_surface}
        return [finding_of("JOB-124", Severity.BLOCKS, -tip, laid.bed_surface_mm, **params)]
    if operation.goes_through:
        said = finding_of("JOB-125", Severity.BLOCKS, tip, 0.0, operation=operation.id)
        return [said] if tip > 0.0 else []
    return check_inside(operation, context.tools[operation.tool_id], top)


def _check_card(operation: Operation, context: JobContext) -> list[Finding]:
    card = context.cards[operation.card_id]
    found = []
    if not card.proven_on:
        found.append(finding_of("JOB-131", Severity.NOTE, card=card.id, operation=operation.id))
    for what, card_says, job_says in _card_differences(card, operation, context):
        found.append(
            finding_of(
                "JOB-130",
                Severity.WARN,
                card=card.id,
                operation=operation.id,
                what=what,
                card_says=card_says,
                job_says=job_says,
            )
        )
    return found


def _card_differences(
    card: SettingCard, operation: Operation, context: JobContext
) -> list[tuple[str, str, str]]:
    top = context.thickness_mm
    thick = f"{card.thickness_mm.low:g} to {card.thickness_mm.high:g} mm"
    in_range = card.thickness_mm.low <= top <= card.thickness_mm.high
    rows = [
        ("material", card.material_id, context.material.id),
        ("process", card.process.value, operation.process.value),
        ("head", card.head_kind.value, operation.head_kind.value),
        ("tool", card.tool_id, operation.tool_id),
        ("thickness", thick, thick if in_range else f"{top:g} mm"),
    ]
    return [row for row in rows if row[1] != row[2]]
