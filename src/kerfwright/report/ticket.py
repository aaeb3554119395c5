"""The job ticket of one physical sheet: what goes with it to the table."""

from __future__ import annotations

from collections import Counter

from kerfwright.report.cautions import add_cautions
from kerfwright.report.flow import Flow
from kerfwright.report.furniture import furniture_of
from kerfwright.report.heat import add_error_map
from kerfwright.report.look import (
    INK,
    LEFT_MM,
    PANEL,
    RIGHT_MM,
    SMALL_PT,
    SOFT,
    STATES,
    TEXT_PT,
    TITLE_PT,
    TOP_MM,
    WIDTH_MM,
)
from kerfwright.report.pen import Pen, text_width_mm
from kerfwright.report.picture import add_picture
from kerfwright.report.symbols import square_code, state_mark
from kerfwright.report.text import line_mm, wrap
from kerfwright.report.ticket_data import TicketData
from kerfwright.report.ticket_tables import (
    add_checks,
    add_files,
    add_operations,
    add_overrides,
    add_times,
    add_tools,
)
from kerfwright.report.verdict_tables import add_findings, add_holds, add_parts
from kerfwright.report.words import said_of, say

_LATER_TOP_MM = 278.0
_CODE_MM = 33.0
_QUIET = 4
"""Modules left free around the code, ISO/IEC 18004."""
_PICTURE_MM = 113.0
_FACT_MM = 15.0
_MAP_MM = 105.0


def ticket_pdf(data: TicketData) -> bytes:
    """Return the job ticket of one sheet as PDF; the same data gives the same bytes.

    Parameters
    ----------
    data : TicketData
        What the ticket says.

    Returns
    -------
    bytes
        A4 pages: the sheet and the cautions first, then tools, order, time, the error map and
        the tables, which run over as many pages as they need.

    Raises
    ------
    UnknownNameError
        If a finding's code is not in the catalogue.
    """
    flow = Flow(top_mm=_LATER_TOP_MM, first_top_mm=TOP_MM)
    _add_head(flow, data)
    _add_counts(flow, data)
    words = say("ticket", "picture_frame", frame=data.picture.frame)
    add_picture(flow, data.picture, data.parts, data.zones_on, most_mm=_PICTURE_MM)
    flow.paragraph(f"{words}. {say('ticket', 'held')}", size_pt=SMALL_PT, colour=SOFT)
    flow.gap(2.0)
    add_cautions(flow)
    _add_boxes(flow)
    flow.new_page()
    add_tools(flow, data)
    add_operations(flow, data)
    add_times(flow, data)
    if data.error_map is not None:
        flow.heading(say("ticket", "error_map"), keep_mm=_MAP_MM)
        add_error_map(flow, data.error_map, data.picture, most_mm=_MAP_MM)
    for add in (add_parts, add_holds, add_findings, add_checks, add_files, add_overrides):
        add(flow, data)
    return _rendered(flow, data)


def _rendered(flow: Flow, data: TicketData) -> bytes:
    head = say("ticket", "for_sheet", job=data.job_id, sheet=data.sheet_id, serial=data.serial)
    foot = f"{say('ticket', 'belongs')} {data.serial}"
    paper = say("ticket", "paper")
    furniture = furniture_of(flow.letters, head=f"{paper} {head}", foot=foot)
    if flow.letters.sentence():
        flow.heading(say("ticket", "letters"))
        flow.paragraph(flow.letters.sentence(), size_pt=SMALL_PT)
    title = flow.letters.clean(f"{paper} {data.job_id} {data.serial}")
    return flow.render(title=title, subject=flow.letters.clean(data.title), furniture=furniture)


def _add_head(flow: Flow, data: TicketData) -> None:
    width = WIDTH_MM - _CODE_MM - 6.0
    title = wrap(flow.letters.clean(data.title), width, size_pt=13.0, bold=True, most=2)
    half = width / 2.0
    facts = [(_facts_of_job(data), LEFT_MM), (_facts_of_stock(data), LEFT_MM + half)]
    columns = [(_set_facts(flow, rows, half), x) for rows, x in facts]
    head_mm = 13.0 + len(title) * line_mm(13.0)
    facts_mm = max(sum(len(lines) for _, lines in rows) for rows, _ in columns) * line_mm(TEXT_PT)
    code_note = wrap(flow.letters.clean(data.label_text), _CODE_MM - 6.0, size_pt=5.5, most=2)

    def draw(pen: Pen, top: float) -> None:
        pen.text(LEFT_MM, top - 6.2, say("ticket", "paper"), size_pt=TITLE_PT, bold=True)
        y = top - 12.6
        for line in title:
            pen.text(LEFT_MM, y, line, size_pt=13.0, bold=True)
            y -= line_mm(13.0)
        for rows, x in columns:
            _draw_facts(pen, x, top - head_mm - 1.0, rows)
        if len(data.label):
            _code(pen, data, top, code_note)

    flow.put(max(head_mm + facts_mm + 1.0, _CODE_MM + 8.0), draw)


def _facts_of_job(data: TicketData) -> list[tuple[str, str]]:
    return [
        ("Job", data.job_id),
        ("Sheet", data.sheet_id),
        ("Serial", data.serial),
        ("Table", data.table),
    ]


def _facts_of_stock(data: TicketData) -> list[tuple[str, str]]:
    caliper = "not measured" if data.caliper_mm is None else f"{data.caliper_mm:g} mm"
    return [
        ("Material", data.material),
        ("Thickness", f"{data.thickness_mm:g} mm nominal"),
        ("Caliper", caliper),
        ("Made on", data.made_on or "-"),
    ]


def _set_facts(
    flow: Flow, rows: list[tuple[str, str]], width_mm: float
) -> list[tuple[str, list[str]]]:
    room = width_mm - _FACT_MM - 2.0
    return [
        (name, wrap(flow.letters.clean(value), room, size_pt=TEXT_PT, bold=True, most=2))
        for name, value in rows
    ]


def _draw_facts(pen: Pen, x: float, y: float, rows: list[tuple[str, list[str]]]) -> None:
    for name, lines in rows:
        pen.text(x, y, name, size_pt=SMALL_PT, colour=SOFT)
        for line in lines:
            pen.text(x + _FACT_MM, y, line, size_pt=TEXT_PT, bold=True)
            y -= line_mm(TEXT_PT)


def _code(pen: Pen, data: TicketData, top: float, note: list[str]) -> None:
    quiet = _QUIET * _CODE_MM / (len(data.label) + 2 * _QUIET)
    left, y = RIGHT_MM - _CODE_MM + quiet, top + 1.0
    side = _CODE_MM - 2.0 * quiet
    square_code(pen, data.label, (left, y - side, left + side, y))
    y -= side + quiet
    pen.text(left, y, say("ticket", "code_note"), size_pt=5.5, colour=SOFT)
    for line in note:
        y -= line_mm(5.5)
        pen.text(left, y, line, size_pt=5.5, colour=SOFT)


def _add_counts(flow: Flow, data: TicketData) -> None:
    """Add how many parts stand in each state, as the first thing to read."""
    counts = Counter(part.state for part in data.parts)

    def draw(pen: Pen, top: float) -> None:
        pen.box((LEFT_MM, top - 9.0, RIGHT_MM, top), fill=PANEL)
        x = LEFT_MM + 4.0
        for state in STATES:
            state_mark(pen, (x + 1.5, top - 4.5), state, radius_mm=2.0)
            number = str(counts[state])
            pen.text(x + 5.2, top - 6.0, number, size_pt=12.0, bold=True)
            after = x + 6.4 + text_width_mm(number, size_pt=12.0, bold=True)
            pen.text(after, top - 5.9, say("states", state).lower(), size_pt=TEXT_PT)
            x += WIDTH_MM / len(STATES)

    flow.put(11.5, draw)


def _add_boxes(flow: Flow) -> None:
    """Add the fields that are filled in by hand at the table."""
    words = list(said_of("by_hand").values())
    width = WIDTH_MM / len(words)

    def draw(pen: Pen, top: float) -> None:
        y = top - 2.0
        for k, word in enumerate(words):
            x = LEFT_MM + k * width
            pen.box((x, y - 15.0, x + width, y), stroke=INK, width_mm=0.2)
            pen.text(x + 1.5, y - 3.4, word, size_pt=SMALL_PT, colour=SOFT)

    flow.put(17.5, draw)
