"""Tables of the job ticket about the work: tools, order, time, checks, files, overrides."""

from __future__ import annotations

from kerfwright.report.flow import Flow
from kerfwright.report.look import BAD, INK, SOFT
from kerfwright.report.spans import rounded_to_sum
from kerfwright.report.table import Cell, Column, add_table
from kerfwright.report.ticket_data import TicketData
from kerfwright.report.ticket_lines import CardValue, ToolLine
from kerfwright.report.words import say
from kerfwright.units import S_PER_MIN

_SHA_DIGITS = 16


def add_tools(flow: Flow, data: TicketData) -> None:
    """Add the stations with their setting cards, and the zones."""
    flow.heading(say("ticket", "tools"))
    columns = [
        Column(title="station", width_mm=15.0, align="right"),
        Column(title="head", width_mm=32.0),
        Column(title="tool", width_mm=32.0),
        Column(title="setting card", width_mm=99.0),
    ]
    add_table(flow, columns, [_tool_row(tool) for tool in data.tools])
    zones = ", ".join(map(str, data.zones_on)) or say("ticket", "no_zones")
    flow.gap(1.0)
    flow.paragraph(say("ticket", "zones", zones=zones))


def _tool_row(tool: ToolLine) -> list[Cell]:
    proven = say("ticket", "proven", by=tool.proven) if tool.proven else say("ticket", "not_proven")
    values = "; ".join(map(_card_value, tool.values))
    return [
        Cell(text=str(tool.station), bold=True),
        Cell(text=tool.head),
        Cell(text=tool.tool),
        Cell(text=f"{tool.card} ({proven})", note=values),
    ]


def _card_value(value: CardValue) -> str:
    return f"{value.name} {value.value:g} {value.unit} ({value.low:g} to {value.high:g})"


def add_operations(flow: Flow, data: TicketData) -> None:
    """Add the cuts by operation in their order."""
    flow.heading(say("ticket", "operations"))
    columns = [
        Column(title="", width_mm=8.0, align="right"),
        Column(title="operation", width_mm=46.0),
        Column(title="process", width_mm=30.0),
        Column(title="station", width_mm=14.0, align="right"),
        Column(title="cuts", width_mm=14.0, align="right"),
        Column(title="length m", width_mm=18.0, align="right"),
        Column(title="first cut", width_mm=24.0),
        Column(title="last cut", width_mm=24.0),
    ]
    rows = [
        [
            str(number),
            line.operation,
            line.process,
            str(line.station),
            str(line.cuts),
            f"{line.length_mm / 1000.0:.3f}",
            line.first,
            line.last,
        ]
        for number, line in enumerate(data.operations, start=1)
    ]
    add_table(flow, columns, rows)


def add_times(flow: Flow, data: TicketData) -> None:
    """Add time by cause; the upper numbers as shown add up to the total as shown."""
    flow.heading(say("ticket", "times"))
    columns = [
        Column(title="cause", width_mm=46.0),
        Column(title="", width_mm=84.0),
        Column(title="at least s", width_mm=24.0, align="right"),
        Column(title="at most s", width_mm=24.0, align="right"),
    ]
    highs = [line.high_s for line in data.times]
    shown = rounded_to_sum(highs, total=data.time_high_s, decimals=1)
    most = max(highs, default=0.0) or 1.0
    rows = [
        [
            Cell(text=line.cause),
            Cell(bar=line.high_s / most),
            Cell(text=f"{line.low_s:.1f}"),
            Cell(text=high),
        ]
        for line, high in zip(data.times, shown, strict=True)
    ]
    total = [
        Cell(text=say("ticket", "time_total"), bold=True),
        Cell(text=_minutes(data), colour=SOFT),
        Cell(text=f"{data.time_low_s:.1f}", bold=True),
        Cell(text=f"{data.time_high_s:.1f}", bold=True),
    ]
    add_table(flow, columns, [*rows, total])


def _minutes(data: TicketData) -> str:
    low, high = data.time_low_s / S_PER_MIN, data.time_high_s / S_PER_MIN
    return f"{low:.1f} to {high:.1f} min"


def add_checks(flow: Flow, data: TicketData) -> None:
    """Add what was checked and how it came out."""
    if not data.checks:
        return
    flow.heading(say("ticket", "checks"))
    columns = [
        Column(title="check", width_mm=70.0),
        Column(title="result", width_mm=84.0),
        Column(title="", width_mm=24.0),
    ]
    rows = [
        [
            Cell(text=line.what),
            Cell(text=line.result),
            Cell(
                text=say("check_states", line.state),
                bold=line.state != "passed",
                colour=BAD if line.state == "failed" else INK,
            ),
        ]
        for line in data.checks
    ]
    add_table(flow, columns, rows)


def add_files(flow: Flow, data: TicketData) -> None:
    """Add the files handed over with the beginning of their hash."""
    if not data.files:
        return
    flow.heading(say("ticket", "files"))
    columns = [
        Column(title="file", width_mm=84.0),
        Column(title=f"SHA-256, first {_SHA_DIGITS} digits", width_mm=60.0),
        Column(title="bytes", width_mm=34.0, align="right"),
    ]
    rows = [[f.name, f.sha256[:_SHA_DIGITS], str(f.size_bytes)] for f in data.files]
    add_table(flow, columns, rows)


def add_overrides(flow: Flow, data: TicketData) -> None:
    """Add what a person allowed, with reason and initials."""
    flow.heading(say("ticket", "overrides"))
    if not data.overrides:
        flow.paragraph(say("ticket", "no_overrides"))
        return
    columns = [
        Column(title="what", width_mm=70.0),
        Column(title="reason", width_mm=84.0),
        Column(title="initials", width_mm=24.0),
    ]
    rows: list[list[str | Cell]] = [
        [line.what, line.reason, Cell(text=line.initials, bold=True)] for line in data.overrides
    ]
    add_table(flow, columns, rows)
