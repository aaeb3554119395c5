"""Tables of the job ticket about the parts: verdicts, hold margins, findings."""

from __future__ import annotations

from kerfwright.errors import Finding, Severity
from kerfwright.errors.messages import cure_of, full_sentence_of
from kerfwright.report.flow import Flow
from kerfwright.report.look import SMALL_PT, SOFT
from kerfwright.report.table import Cell, Column, add_table
from kerfwright.report.ticket_data import TicketData
from kerfwright.report.ticket_lines import PartLine
from kerfwright.report.words import say


def add_parts(flow: Flow, data: TicketData) -> None:
    """Add the verdict of every part."""
    flow.heading(say("ticket", "parts"))
    columns = [
        Column(title="", width_mm=9.0, align="right"),
        Column(title="part", width_mm=33.0),
        Column(title="verdict and reason", width_mm=61.0),
        Column(title="follows", width_mm=14.0),
        Column(title="promised mm", width_mm=21.0, align="right"),
        Column(title="95 % interval mm", width_mm=26.0, align="right"),
        Column(title="limit mm", width_mm=14.0, align="right"),
    ]
    rows = [_part_row(number, part) for number, part in enumerate(data.parts, start=1)]
    add_table(flow, columns, rows)


def _part_row(number: int, part: PartLine) -> list[Cell]:
    is_held = part.state != "will_cut"
    if part.deviation_mm is None or part.low_mm is None or part.high_mm is None:
        promised, interval = "-", say("ticket", "not_computed")
    else:
        promised, interval = f"{part.deviation_mm:.3f}", f"{part.low_mm:.3f} to {part.high_mm:.3f}"
    return [
        Cell(text=str(number), colour=SOFT),
        Cell(text=part.part, bold=is_held),
        Cell(text=say("states", part.state), note=part.reason, bold=is_held, state=part.state),
        Cell(text=part.follows),
        Cell(text=promised, bold=is_held),
        Cell(text=interval),
        Cell(text=f"{part.limit_mm:.3f}"),
    ]


def add_holds(flow: Flow, data: TicketData) -> None:
    """Add how well each part is held."""
    if not data.holds:
        return
    flow.heading(say("ticket", "holds"))
    flow.paragraph(say("ticket", "holds_note"), size_pt=SMALL_PT, colour=SOFT)
    flow.gap(1.0)
    columns = [
        Column(title="part", width_mm=50.0),
        Column(title="pull N", width_mm=20.0, align="right"),
        Column(title="withstands N", width_mm=24.0, align="right"),
        Column(title="margin", width_mm=18.0, align="right"),
        Column(title="least", width_mm=16.0, align="right"),
        Column(title="worst moment", width_mm=50.0),
    ]
    rows = []
    for line in data.holds:
        is_weak = line.margin < line.least_margin
        rows.append(
            [
                Cell(text=line.part, bold=is_weak),
                Cell(text=f"{line.load_n:.1f}"),
                Cell(text=f"{line.hold_n:.1f}"),
                Cell(text=f"{'! ' if is_weak else ''}{line.margin:.2f}", bold=is_weak),
                Cell(text=f"{line.least_margin:.2f}"),
                Cell(text=line.when),
            ]
        )
    add_table(flow, columns, rows)


def add_findings(flow: Flow, data: TicketData) -> None:
    """Add what was found, gravest first, in its own words."""
    flow.heading(say("ticket", "findings"))
    if not data.findings:
        flow.paragraph(say("ticket", "no_findings"))
        return
    columns = [
        Column(title="code", width_mm=19.0),
        Column(title="", width_mm=25.0),
        Column(title="what, where, and the cure", width_mm=134.0),
    ]
    ranks = list(Severity)
    ordered = sorted(data.findings, key=lambda f: -ranks.index(f.severity))
    add_table(flow, columns, [_finding_row(finding) for finding in ordered])


def _finding_row(finding: Finding) -> list[Cell]:
    is_grave = finding.severity in {Severity.BLOCKS, Severity.HOLDS_PART}
    cure = cure_of(finding)
    return [
        Cell(text=finding.code),
        Cell(text=say("severity", finding.severity.value), bold=is_grave),
        Cell(text=full_sentence_of(finding), note=say("ticket", "cure", cure=cure) if cure else ""),
    ]
