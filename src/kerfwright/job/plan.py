"""Plans: parts on the nominal sheet -> order and motion; the real sheet -> motion in that order.

A part with a contour that cannot be cut is left out whole, and the rest is planned without it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence

import numpy as np

from kerfwright import registration, sequence, toolpath
from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import BOOL
from kerfwright.job.context import JobContext
from kerfwright.job.crease_checks import crossed_creases
from kerfwright.job.place import keep_placements, lies_on, place_contours
from kerfwright.job.progress import Progress, for_stage
from kerfwright.job.results import PlacedContours, PlanResult
from kerfwright.job.setups import check_setups, setup_for, travel_height_mm
from kerfwright.job.surfaces import setups_of
from kerfwright.model.cut import CutChoices, CutOrder, CutSetup
from kerfwright.model.motion import ToolMotion
from kerfwright.model.operation import Operation
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout

OrderOf = Callable[[PlacedContours, list[CutChoices]], CutOrder]


def plan_sheet(
    parts: Sequence[Part],
    layout: Layout,
    context: JobContext,
    *,
    hold: Collection[str] = (),
    progress: Progress,
) -> PlanResult:
    """Plan every part of the sheet that is not held back.

    Parameters
    ----------
    parts : sequence of Part
        Parts of the job.
    layout : Layout
        Where they lie.
    context : JobContext
        Job and books.
    hold : collection of str
        Contours an earlier round found wanting; their parts are left out.
    progress : Progress
        Told at every step.

    Returns
    -------
    PlanResult
        Without motion when a finding blocks.
    """
    full = place_contours(parts, layout, context.table)
    everything = of_setup(full, context)
    # A part held for what another set-up does to it is left out of this one too.
    hold = {*hold, *full.contours} - set(_without(full, set(hold)).contours)

    def chosen(placed: PlacedContours, choices: list[CutChoices]) -> CutOrder:
        return sequence.order(
            choices,
            paths=placed.on_table,
            contours=placed.contours,
            operations=placed.operations,
            operation=placed.operation,
            table=context.table,
            travel_z_mm=travel_height_mm(context),
            seed=context.job.seeds.get("sequence", 0),
            progress=for_stage(progress, "plan: order"),
        )

    return _planned(everything, chosen, context, hold=hold, progress=progress)


def of_setup(placed: PlacedContours, context: JobContext) -> PlacedContours:
    """Return the contours whose operation belongs to the set-up that is planned."""
    if context.setup is None:
        return placed
    wanted = np.array([o.setup == context.setup for o in placed.operations], bool)
    return keep_placements(placed, wanted[placed.operation])


def plan_real(
    everything: PlacedContours,
    order: CutOrder,
    context: JobContext,
    *,
    hold: Collection[str] = (),
    progress: Progress,
) -> PlanResult:
    """Plan the sheet on the bed in an order that is kept.

    Parameters
    ----------
    everything : PlacedContours
        Every contour where this physical sheet has it.
    order : CutOrder
        Order of the nominal plan; cuts of parts held back are left out.
    context : JobContext
        Job and books.
    hold : collection of str
        Contours whose parts are left out.
    progress : Progress
        Told at every step.

    Returns
    -------
    PlanResult
        Without motion when a finding blocks.
    """

    def kept(placed: PlacedContours, _: list[CutChoices]) -> CutOrder:
        return _kept_order(order, placed)

    return _planned(everything, kept, context, hold=hold, progress=progress)


def _kept_order(order: CutOrder, placed: PlacedContours) -> CutOrder:
    there = set(placed.contours)
    rows = [i for i, name in enumerate(order.contour) if name in there]
    return CutOrder(
        contour=tuple(order.contour[i] for i in rows),
        operation=tuple(order.operation[i] for i in rows),
        pass_no=order.pass_no[rows],
        entry_s=order.entry_s[rows],
        reversed=order.reversed[rows],
        group=order.group[rows],
    )


def _planned(
    everything: PlacedContours,
    order_of: OrderOf,
    context: JobContext,
    *,
    hold: Collection[str],
    progress: Progress,
) -> PlanResult:
    findings = [
        *check_setups(context),
        *_check_bed(everything, context),
        *_zones_changed(context),
        *_one_setup(context),
    ]
    if any(f.severity is Severity.BLOCKS for f in findings):
        return _refused(everything, context, findings)
    setups = tuple(setup_for(o, context) for o in everything.operations)
    held = set(hold)
    progress("plan", 1, 5)
    placed = _without(everything, held)
    choices = _choices(placed, context, setups)
    found = _once_per_contour(f for c in choices for f in c.findings)
    found += crossed_creases(placed)
    newly = held_contours(found)
    if newly:
        held |= newly
        placed = _without(everything, held)
        choices = _choices(placed, context, setups)
    progress("plan", 2, 5)
    if not placed.contours:
        nothing_left = Finding(
            code="JOB-160",
            severity=Severity.BLOCKS,
            where=Place(stage="plan"),
            params={"count": len(everything.contours)},
        )
        return _refused(everything, context, [*findings, *found, nothing_left])
    order = order_of(placed, choices)
    return _linked(everything, placed, order, setups, context, findings + found, progress)


def _choices(
    placed: PlacedContours, context: JobContext, setups: tuple[CutSetup, ...]
) -> list[CutChoices]:
    return [
        toolpath.choices(
            operation,
            context.tools[operation.tool_id],
            placed.on_table.select(rows),
            contours=_names(placed, rows),
            part_side=placed.part_side[rows],
            setup=setups[i],
        )
        for i, operation, rows in _by_operation(placed)
    ]


def _linked(
    everything: PlacedContours,
    placed: PlacedContours,
    order: CutOrder,
    setups: tuple[CutSetup, ...],
    context: JobContext,
    findings: list[Finding],
    progress: Progress,
) -> PlanResult:
    travel_z_mm = travel_height_mm(context)
    progress("plan", 3, 5)
    motions = [
        toolpath.plan(
            operation,
            context.tools[operation.tool_id],
            placed.on_table.select(rows),
            order,
            contours=_names(placed, rows),
            part_side=placed.part_side[rows],
            setup=setups[i],
        )
        for i, operation, rows in _by_operation(placed)
    ]
    progress("plan", 4, 5)
    operations = placed.operations
    motion = sequence.link(
        motions,
        order,
        context.table,
        stations={
            o.id: context.table.station_for(o.head_kind, o.tool_id).number for o in operations
        },
        setups={o.id: setup for o, setup in zip(operations, setups, strict=True)},
        travel_z_mm=travel_z_mm,
        zones=zones_of(placed, context),
    )
    gone = set(everything.contours) - set(placed.contours)
    return PlanResult(
        placed=placed,
        held=tuple(c for c in everything.contours if c in gone),
        setups=setups,
        order=order,
        motion=motion,
        travel_z_mm=travel_z_mm,
        findings=(*findings, *motion.findings),
    )


def _by_operation(placed: PlacedContours) -> list[tuple[int, Operation, np.ndarray]]:
    rows = [np.flatnonzero(placed.operation == i) for i in range(len(placed.operations))]
    return [(i, placed.operations[i], r) for i, r in enumerate(rows) if r.size]


def _names(placed: PlacedContours, rows: np.ndarray) -> tuple[str, ...]:
    return tuple(placed.contours[i] for i in rows.tolist())


def _once_per_contour(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings without repeats: ways of one cut often share what is wrong with it."""
    seen = {(f.code, f.where.contour): f for f in findings}
    return list(seen.values())


def held_contours(findings: Sequence[Finding]) -> set[str]:
    """Return the contours that findings hold back."""
    holding = [f for f in findings if f.severity is Severity.HOLDS_PART]
    return {f.where.contour for f in holding if f.where.contour is not None}


def _without(placed: PlacedContours, held: set[str]) -> PlacedContours:
    """Return the contours of placements none of whose contours are held."""
    is_held = np.array([c in held or c.split("@")[0] in held for c in placed.contours], bool)
    gone: BOOL = np.isin(placed.placement, placed.placement[is_held])
    return keep_placements(placed, ~gone)


def zones_of(placed: PlacedContours, context: JobContext) -> tuple[int, ...]:
    """Return the zones that are on: as at the look, as the job says, or all under the sheet."""
    run = context.sheet_run
    if run is not None and run.zones:
        return run.zones
    return context.job.choices.zones or zones_under(placed, context)


def zones_under(placed: PlacedContours, context: JobContext) -> tuple[int, ...]:
    """Return the vacuum zones the sheet lies over; the others would only leak."""
    x0, y0, x1, y1 = lies_on(placed.table_from_sheet, context.job.choices.sheet)
    return tuple(
        z.number
        for z in context.table.zones
        if z.box_mm[0] < x1 and z.box_mm[2] > x0 and z.box_mm[1] < y1 and z.box_mm[3] > y0
    )


def _check_bed(placed: PlacedContours, context: JobContext) -> list[Finding]:
    sheet = context.job.choices.sheet
    lies = lies_on(placed.table_from_sheet, sheet)
    bed = context.table.bed
    over = [bed[0] - lies[0], bed[1] - lies[1], lies[2] - bed[2], lies[3] - bed[3]]
    worst = max(over)
    if worst <= 1e-9:
        return []
    side = ("left", "front", "right", "far")[over.index(worst)]
    params: dict[str, str | float] = {"side": side, "table": context.table.id}
    if context.serial is not None:
        params |= _turns(placed, context)
    return [
        Finding(
            code="JOB-111" if context.serial is None else "JOB-113",
            severity=Severity.BLOCKS,
            where=Place(stage="layout", sheet=sheet.id, frame="table"),
            measured=worst,
            limit=0.0,
            unit="mm",
            params=params,
        )
    ]


def _zones_changed(context: JobContext) -> list[Finding]:
    """Return a finding when other zones are on than when the sheet was looked at."""
    run, now = context.sheet_run, context.job.choices.zones
    if run is None or not now or not run.zones or set(now) == set(run.zones):
        return []
    return [
        Finding(
            code="JOB-171",
            severity=Severity.BLOCKS,
            where=Place(stage="plan"),
            params={"before": _listed(run.zones), "now": _listed(now)},
        )
    ]


def _one_setup(context: JobContext) -> list[Finding]:
    """Return a finding when a sheet that was looked at belongs to a job of several set-ups."""
    setups = setups_of(context)
    if context.serial is None or len(setups) == 1:
        return []
    return [
        Finding(
            code="JOB-152",
            severity=Severity.BLOCKS,
            where=Place(stage="plan"),
            params={"count": len(setups), "serial": context.serial},
        )
    ]


def _listed(zones: tuple[int, ...]) -> str:
    return ", ".join(str(zone) for zone in zones)


def _turns(placed: PlacedContours, context: JobContext) -> dict[str, float]:
    """Return how the sheet is turned from its load pose, and how far its size allows [deg]."""
    affine, pose = placed.table_from_sheet.affine, context.table.load_pose
    turn = np.arctan2(affine[1, 0], affine[0, 0]) - pose.turn_rad
    x0, y0, x1, y1 = context.job.choices.sheet.outline.box_mm()
    allowed = registration.allowed_throw_rad(x1 - x0, y1 - y0, context.table.bed)
    return {"turn_deg": float(np.degrees(turn)), "allowed_deg": float(np.degrees(allowed))}


def _refused(
    placed: PlacedContours, context: JobContext, findings: Sequence[Finding]
) -> PlanResult:
    nothing = keep_placements(placed, np.zeros(len(placed.contours), bool))
    return PlanResult(
        placed=nothing,
        held=placed.contours,
        setups=(),
        order=_no_order(),
        motion=_no_motion(),
        travel_z_mm=travel_height_mm(context),
        findings=tuple(findings),
    )


def _no_order() -> CutOrder:
    none = np.zeros(0, np.int64)
    return CutOrder(
        contour=(),
        operation=(),
        pass_no=none,
        entry_s=np.zeros(0),
        reversed=np.zeros(0, bool),
        group=none,
    )


def _no_motion() -> ToolMotion:
    none, zero = np.zeros(0, np.int64), np.zeros(0)
    return ToolMotion(
        start=np.zeros(4),
        kind=none,
        end=np.zeros((0, 4)),
        centre=np.zeros((0, 2)),
        sweep_rad=zero,
        feed=zero,
        feed_kind=none,
        dwell_s=zero,
        role=none,
        cut=none,
        tool=none,
    )
