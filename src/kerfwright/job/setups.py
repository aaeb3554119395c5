"""Setting card, material and table -> the numbers one operation is planned with."""

from __future__ import annotations

from kerfwright.errors import Finding, Place, Severity, UnknownNameError
from kerfwright.job.context import JobContext
from kerfwright.model.cut import CutSetup
from kerfwright.model.material import SettingCard
from kerfwright.model.operation import HeadKind, Operation, Process

_FEEDS = {"fine": "feed_fine_mm_s", "standard": "feed_mm_s", "fast": "feed_fast_mm_s"}


def setup_for(operation: Operation, context: JobContext) -> CutSetup:
    """Return the numbers of one operation on the job's sheet.

    Raises
    ------
    UnknownNameError
        If the setting card lacks a value the process needs.
    """
    card, table = context.cards[operation.card_id], context.table
    top, tolerances = context.thickness_mm, context.job.choices.tolerances
    feed = operation.feed_mm_s or card.value(_FEEDS[operation.quality])
    shakes = operation.head_kind is HeadKind.OSCILLATING_KNIFE
    return CutSetup(
        bottom_z_mm=0.0,
        top_z_mm=top,
        feed_mm_s=feed,
        plunge_mm_s=card.value("plunge_mm_s"),
        turn_rad_s=float(table.axes.speed[3]),
        lift_angle_rad=card.value("lift_angle_rad"),
        lift_z_mm=top + max(card.value("lift_mm"), table.clearance_mm),
        side_offset_mm=card.value("side_offset_mm"),
        stroke_hz=card.value("stroke_hz") if shakes else 0.0,
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
    used = {rule.operation for rule in context.job.rules.rules}
    for operation in context.job.rules.operations:
        if operation.id in used:
            found += _check_station(operation, context)
            found += _check_tool(operation, context)
            found += _check_card(operation, context)
    top = context.thickness_mm
    low, high = context.material.thickness_mm.low, context.material.thickness_mm.high
    if not low <= top <= high:
        found.append(_finding("JOB-140", Severity.WARN, top, high, low=low, high=high))
    return tuple(found)


def _check_station(operation: Operation, context: JobContext) -> list[Finding]:
    try:
        station = context.table.station_for(operation.head_kind, operation.tool_id)
    except UnknownNameError:
        return [
            _finding(
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
        return [_finding("JOB-122", Severity.BLOCKS, travel, limit, head=head.id)]
    return []


def _check_tool(operation: Operation, context: JobContext) -> list[Finding]:
    tool = context.tools[operation.tool_id]
    found: list[Finding] = []
    top = context.thickness_mm
    deep = top - operation.tip_z_mm(top)
    if operation.head_kind not in tool.fits:
        found.append(
            _finding(
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
            _finding("JOB-123", Severity.BLOCKS, deep, limit, operation=operation.id, tool=tool.id)
        )
    return found + _check_depth(operation, context, top)


def _check_depth(operation: Operation, context: JobContext, top: float) -> list[Finding]:
    tip = operation.tip_z_mm(top)
    mat = context.table.bed_surface_mm
    through = operation.process is Process.CUTTING
    if tip < -mat:
        return [_finding("JOB-124", Severity.BLOCKS, -tip, mat, operation=operation.id)]
    if through and tip > 0.0:
        return [_finding("JOB-125", Severity.BLOCKS, tip, 0.0, operation=operation.id)]
    if not through and not 0.0 < tip < top:
        return [_finding("JOB-126", Severity.BLOCKS, tip, top, operation=operation.id)]
    return []


def _check_card(operation: Operation, context: JobContext) -> list[Finding]:
    card = context.cards[operation.card_id]
    found = []
    if not card.proven_on:
        found.append(_finding("JOB-131", Severity.NOTE, card=card.id, operation=operation.id))
    for what, card_says, job_says in _card_differences(card, operation, context):
        found.append(
            _finding(
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


def _finding(
    code: str,
    severity: Severity,
    measured: float | None = None,
    limit: float | None = None,
    **params: str | float,
) -> Finding:
    return Finding(
        code=code,
        severity=severity,
        where=Place(stage="plan"),
        measured=measured,
        limit=limit,
        unit="mm" if measured is not None else "",
        params=params,
    )
