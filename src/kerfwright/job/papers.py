"""Ticket and quote of a sheet: what the stages found, in the words of the papers."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from kerfwright import catalog, formats, report
from kerfwright.geometry.fit import map_paths
from kerfwright.geometry.record import F64
from kerfwright.job.context import JobContext
from kerfwright.job.final import PartResult, part_results
from kerfwright.job.pipeline import Run, Upstream
from kerfwright.job.plan import zones_of
from kerfwright.job.results import CheckResult, FitResult, LayoutResult, PlanResult, TimeResult
from kerfwright.job.sheet_stages import OFFICE
from kerfwright.model.hold import HoldReport
from kerfwright.model.job import Job
from kerfwright.model.material import SettingCard
from kerfwright.model.sheet import Sheet

_CELL_MM = 60.0
_LEAST_MARGIN = 1.0
_OUTLINE_MM = 0.05


def ticket_of(run: Run, files: Mapping[str, bytes]) -> bytes:
    """Return the ticket of a checked sheet as PDF.

    Parameters
    ----------
    run : Run
        Of a physical sheet, up to ``verify``.
    files : mapping of str to bytes
        Files handed over with it.
    """
    context, up = run.context, run.upstream
    sheet_run = context.sheet_run
    assert sheet_run is not None  # noqa: S101 - only physical sheets have tickets
    plan: PlanResult = up["plan"]
    fitted: FitResult = up["fit"]
    timed: TimeResult = up["time"]
    parts = part_results(run)
    label = up["look"].labels
    modules = formats.label_modules(label[0]) if label else np.zeros((0, 0), np.uint8)
    data = report.TicketData(
        job_id=context.job.id,
        sheet_id=context.job.choices.sheet.id,
        serial=str(sheet_run.serial),
        title=context.job.id,
        table=context.table.name,
        material=context.material.name,
        thickness_mm=context.job.choices.sheet.thickness_mm,
        caliper_mm=sheet_run.caliper_mm,
        tools=_tools(plan, context),
        zones_on=zones_of(plan.placed, context),
        operations=_operations(plan, context),
        times=_times(timed),
        time_low_s=timed.timed.time_low_s,
        time_high_s=timed.timed.time_high_s,
        picture=_picture(fitted, parts, context),
        error_map=_error_map(fitted, context),
        parts=tuple(_part_line(part) for part in parts),
        holds=_holds(up["hold"].report, up[OFFICE + "layout"], parts),
        findings=run.findings,
        files=tuple(
            report.FileLine(name=name, sha256=_sha(data), size_bytes=len(data))
            for name, data in files.items()
        ),
        checks=_checks(up["verify"]),
        overrides=tuple(
            report.OverrideLine(what=f"contour {r.contour}", reason=r.reason, initials=r.initials)
            for r in sheet_run.released
        ),
        label=modules.astype(bool),
        label_text=label[0] if label else "",
    )
    return report.ticket_pdf(data)


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _tools(plan: PlanResult, context: JobContext) -> tuple[report.ToolLine, ...]:
    lines = {}
    for o in np.unique(plan.placed.operation).tolist():
        operation = plan.placed.operations[o]
        card = context.cards[operation.card_id]
        station = context.table.station_for(operation.head_kind, operation.tool_id)
        lines[(station.number, card.id)] = report.ToolLine(
            station=station.number,
            head=station.head_id,
            tool=station.tool_id,
            card=card.id,
            values=_card_values(card),
            proven=f"{card.proven_on} {card.by}".strip() if card.proven_on else "",
        )
    return tuple(lines[key] for key in sorted(lines))


def _card_values(card: SettingCard) -> tuple[report.CardValue, ...]:
    return tuple(
        report.CardValue(
            name=name, value=s.value, unit=s.range.unit, low=s.range.low, high=s.range.high
        )
        for name, s in card.values.items()
    )


def _operations(plan: PlanResult, context: JobContext) -> tuple[report.OperationLine, ...]:
    by_id = {o.id: o for o in plan.placed.operations}
    length = dict(
        zip(plan.placed.contours, plan.placed.on_table.lengths_mm().tolist(), strict=True)
    )
    lines = []
    for name in dict.fromkeys(plan.order.operation):
        own = [
            c for c, o in zip(plan.order.contour, plan.order.operation, strict=True) if o == name
        ]
        operation = by_id[name]
        station = context.table.station_for(operation.head_kind, operation.tool_id)
        lines.append(
            report.OperationLine(
                operation=name,
                process=operation.process.value,
                station=station.number,
                cuts=len(own),
                length_mm=float(sum(length[c] for c in own)),
                first=own[0],
                last=own[-1],
            )
        )
    return tuple(lines)


def _times(timed: TimeResult) -> tuple[report.TimeLine, ...]:
    """Return time by cause; the bracket is shared out in proportion."""
    causes = dict(timed.timed.by_cause)
    total = sum(causes.values())
    low = timed.timed.time_low_s / total if total else 1.0
    high = timed.timed.time_high_s / total if total else 1.0
    return tuple(
        report.TimeLine(cause=cause, low_s=s * min(low, high), high_s=s * high)
        for cause, s in causes.items()
        if s > 0.0
    )


def _picture(
    fitted: FitResult, parts: Sequence[PartResult], context: JobContext
) -> report.SheetPicture:
    table, zones = context.table, context.table.zones
    row = {part.placement: i for i, part in enumerate(parts)}
    mean = fitted.fit.mean_map
    outline = map_paths(context.job.choices.sheet.outline, mean, tolerance_mm=_OUTLINE_MM)
    return report.SheetPicture(
        view_mm=table.bed,
        sheet=outline.paths,
        outlines=fitted.placed.on_table,
        part=np.array([row[p] for p in fitted.placed.placement.tolist()], np.int64),
        marks_xy=fitted.fit.measured,
        marks_used=fitted.fit.used,
        zone_box_mm=np.array([z.box_mm for z in zones]).reshape(-1, 4),
        zone=np.array([z.number for z in zones], np.int64),
    )


def _error_map(fitted: FitResult, context: JobContext) -> report.ErrorMap:
    """Return what the cut stays within with 95 %, cell by cell in the table frame."""
    fit, budget = fitted.fit, fitted.budget
    mean = fit.mean_map
    outline = map_paths(context.job.choices.sheet.outline, mean, tolerance_mm=_OUTLINE_MM).paths
    x0, y0, x1, y1 = outline.box_mm()
    x = np.linspace(x0, x1, max(int((x1 - x0) / _CELL_MM), 2) + 1)
    y = np.linspace(y0, y1, max(int((y1 - y0) / _CELL_MM), 2) + 1)
    middle_x, middle_y = (x[1:] + x[:-1]) / 2.0, (y[1:] + y[:-1]) / 2.0
    grid = np.stack(np.meshgrid(middle_x, middle_y), axis=-1).reshape(-1, 2)
    place = _inverse(grid, mean.affine)
    head = next(iter(budget.motion_sd_mm))
    rest = budget.print_covariance_mm2(head)
    cov = fit.table_from_sheet.covariance(place) + rest
    widest = 1.96 * np.sqrt(np.linalg.eigvalsh(cov)[:, -1])
    sx0, sy0, sx1, sy1 = context.job.choices.sheet.outline.box_mm()
    inside = (place[:, 0] >= sx0) & (place[:, 0] <= sx1)
    inside &= (place[:, 1] >= sy0) & (place[:, 1] <= sy1)
    limit = min(o.tolerance_mm.print_mm for o in fitted.placed.operations)
    return report.ErrorMap(
        x_mm=x,
        y_mm=y,
        deviation_mm=np.where(inside, widest, np.nan).reshape(len(middle_y), len(middle_x)),
        limit_mm=limit,
    )


def _inverse(xy: F64, affine: F64) -> F64:
    return np.asarray(np.linalg.solve(affine[:, :2], (xy - affine[:, 2]).T).T, dtype=np.float64)


def _part_line(part: PartResult) -> report.PartLine:
    return report.PartLine(
        part=part.name,
        state=part.state,
        follows=part.kind,
        deviation_mm=part.expected_mm,
        low_mm=0.0,
        high_mm=part.bound_mm,
        limit_mm=part.limit_mm,
        reason=part.reason,
    )


def _holds(
    hold: HoldReport, laid: LayoutResult, parts: Sequence[PartResult]
) -> tuple[report.HoldLine, ...]:
    names = {part.placement: part.name for part in parts}
    del laid
    out = []
    for i, placement in enumerate(hold.placement.tolist()):
        load = float(np.hypot(*hold.load_n[i]))
        when = "" if hold.at_cut[i] < 0 else f"at cut {int(hold.at_cut[i]) + 1}"
        out.append(
            report.HoldLine(
                part=names.get(placement, str(placement)),
                load_n=load,
                hold_n=load * float(hold.margin_low[i]),
                margin=float(hold.margin_low[i]),
                least_margin=_LEAST_MARGIN,
                when=when,
            )
        )
    return tuple(out)


def _checks(checked: CheckResult) -> tuple[report.CheckLine, ...]:
    found = checked.verification
    worst = float(found.worst_mm.max(initial=0.0))
    state = {True: "passed", False: "failed"}
    return (
        report.CheckLine(
            what="program read back from its text and compared with the design",
            result=f"{len(found.contour)} contours, worst {worst:.4f} mm",
            state=state[found.passed],
        ),
        report.CheckLine(
            what="air cut stays at travel height with nothing switched on",
            result="every block",
            state=state[checked.air_cuts_nothing],
        ),
    )


def _size(sheet: Sheet) -> tuple[float, float]:
    x0, y0, x1, y1 = sheet.outline.box_mm()
    return x1 - x0, y1 - y0


def quote_of(job: Job, up: Upstream) -> bytes:
    """Return the quote of an order as PDF, from its nominal plan.

    Parameters
    ----------
    job : Job
        The job.
    up : Upstream
        Results of the nominal stages, up to ``time``.
    """
    return report.quote_pdf(
        report.QuoteData(
            job_id=job.id,
            title=job.id,
            material=job.choices.material_id,
            sheet="x".join(f"{v:.0f}" for v in _size(job.choices.sheet)) + " mm",
            quote=priced(job, up),
            validity="30 days from the day it is sent",
        )
    )


def price_lines(quote: report.Quote) -> tuple[tuple[str, str], ...]:
    """Return a quote's lines and total as words and amounts."""
    rows = [(line.key.replace("_", " "), line.amount) for line in quote.lines]
    rows.append(("total", quote.total))
    return tuple((word, _amount(amount, quote.currency)) for word, amount in rows)


def _amount(amount: report.Money, currency: str) -> str:
    usual, low, high = (c / 100.0 for c in (amount.value_cent, amount.low_cent, amount.high_cent))
    return f"{usual:.2f} {currency}, {low:.2f} to {high:.2f}"


def priced(job: Job, up: Upstream) -> report.Quote:
    """Return the quote of an order as numbers, from its nominal plan."""
    laid: LayoutResult = up["layout"]
    timed = up["time"].timed
    sheet = job.choices.sheet
    per_sheet = Counter(laid.layout.sheet.tolist()).get(0, 0)
    parts = sum(part.quantity for part in up["artwork"].parts)
    windows = sum(
        1
        for part in up["artwork"].parts
        for k, o in enumerate(part.operation.tolist())
        if k != part.outline and part.operations[o].bounds_part
    )
    order = report.QuoteOrder(
        parts=parts,
        parts_per_sheet=max(per_sheet, 1),
        material_id=job.choices.material_id,
        sheet_area_mm2=abs(float(sheet.outline.areas_mm2()[0])),
        sheet_cost=sheet.cost,
        cut_s=timed.time_high_s,
        cut_low_s=timed.time_low_s,
        cut_high_s=timed.time_high_s * 1.1,
        marks=0 if laid.marks is None else len(laid.marks.xy),
        waste_pieces=windows * max(per_sheet // max(len(up["artwork"].parts), 1), 1),
    )
    rates = next(iter(catalog.load_rates().values()))
    return report.quote(order, rates=rates)
