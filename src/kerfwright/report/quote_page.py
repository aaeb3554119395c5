"""The page of a quote: one page, whatever the order."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from kerfwright.errors import ModelError
from kerfwright.report.flow import Flow
from kerfwright.report.furniture import furniture_of
from kerfwright.report.look import (
    INK,
    LEFT_MM,
    PANEL,
    RIGHT_MM,
    SMALL_PT,
    SOFT,
    TEXT_PT,
    TITLE_PT,
    TOP_MM,
    WIDTH_MM,
)
from kerfwright.report.pen import Pen
from kerfwright.report.quote_data import PriceBreak, Quote, QuoteData, QuoteLine
from kerfwright.report.spans import Money, rounded_to_sum, shown
from kerfwright.report.table import Cell, Column, add_table
from kerfwright.report.text import line_mm, wrap
from kerfwright.report.words import say

_PRICE_MM = 62.0


def quote_pdf(data: QuoteData) -> bytes:
    """Return the one page of a quote as PDF; the same data gives the same bytes.

    Parameters
    ----------
    data : QuoteData
        What the page says.

    Returns
    -------
    bytes
        One A4 page.

    Raises
    ------
    ModelError
        If the texts are too long for one page.
    """
    flow = Flow(first_top_mm=TOP_MM)
    _add_head(flow, data)
    _add_lines(flow, data.quote)
    _add_breaks(flow, data.quote)
    _add_words(flow, data)
    paper = say("quote", "paper")
    furniture = furniture_of(flow.letters, head="", foot=say("quote", "estimate"))
    if flow.letters.sentence():
        flow.paragraph(flow.letters.sentence(), size_pt=SMALL_PT, colour=SOFT, most=2)
    if flow.n_pages > 1:
        raise ModelError(f"quote {data.job_id[:40]} does not fit on one page; shorten its texts")
    return flow.render(
        title=flow.letters.clean(f"{paper} {data.job_id}"),
        subject=flow.letters.clean(data.title),
        furniture=furniture,
    )


def _add_head(flow: Flow, data: QuoteData) -> None:
    order, width = data.quote.order, WIDTH_MM - _PRICE_MM - 6.0
    title = wrap(flow.letters.clean(data.title), width, size_pt=13.0, bold=True, most=2)
    facts = (
        ("Job", data.job_id),
        ("Order", f"{order.parts} parts, {order.parts_per_sheet} a sheet: {order.sheets} sheets"),
        ("Material", data.material),
        ("Sheet", data.sheet),
        ("Made on", data.made_on or "-"),
    )
    rows = [
        (name, wrap(flow.letters.clean(v), width - 16.0, size_pt=TEXT_PT, bold=True, most=1)[0])
        for name, v in facts
    ]
    height = 13.0 + len(title) * line_mm(13.0) + len(rows) * line_mm(TEXT_PT)

    def draw(pen: Pen, top: float) -> None:
        pen.text(LEFT_MM, top - 6.2, say("quote", "paper"), size_pt=TITLE_PT, bold=True)
        y = top - 12.6
        for line in title:
            pen.text(LEFT_MM, y, line, size_pt=13.0, bold=True)
            y -= line_mm(13.0)
        for name, value in rows:
            pen.text(LEFT_MM, y - 0.5, name, size_pt=SMALL_PT, colour=SOFT)
            pen.text(LEFT_MM + 16.0, y - 0.5, value, size_pt=TEXT_PT, bold=True)
            y -= line_mm(TEXT_PT)
        _draw_price(pen, top, flow.letters.clean(data.quote.currency), data.quote.total)

    flow.put(max(height, 33.0), draw)


def _draw_price(pen: Pen, top: float, currency: str, total: Money) -> None:
    left = RIGHT_MM - _PRICE_MM
    pen.box((left, top - 25.5, RIGHT_MM, top - 0.5), fill=PANEL, stroke=INK, width_mm=0.6)
    room = _PRICE_MM - 8.0
    amount = say("quote", "price", amount=shown(total.value_cent), cur=currency)
    size_pt = 17.0
    while size_pt > SMALL_PT and len(wrap(amount, room, size_pt=size_pt, bold=True)) > 1:
        size_pt -= 1.0
    line = wrap(amount, room, size_pt=size_pt, bold=True, most=1)[0]
    pen.text(RIGHT_MM - 4.0, top - 9.5, line, size_pt=size_pt, bold=True, anchor="end")
    low, high = shown(total.low_cent), shown(total.high_cent)
    y = top - 14.5
    for line in wrap(
        say("quote", "range", low=low, high=high, cur=currency), room, size_pt=SMALL_PT, most=4
    ):
        pen.text(RIGHT_MM - 4.0, y, line, size_pt=SMALL_PT, colour=SOFT, anchor="end")
        y -= line_mm(SMALL_PT)


def _add_lines(flow: Flow, quote: Quote) -> None:
    flow.heading(say("quote", "lines"))
    columns = [
        Column(title="", width_mm=90.0),
        Column(title="table min", width_mm=18.0, align="right"),
        Column(title="hand min", width_mm=18.0, align="right"),
        Column(title=quote.currency, width_mm=20.0, align="right"),
        Column(title="range", width_mm=32.0, align="right"),
    ]
    table = _minutes([line.table_min for line in quote.lines])
    hand = _minutes([line.hand_min for line in quote.lines])
    rows = [_row(*row) for row in zip(quote.lines, table, hand, strict=False)]
    total = [
        Cell(text=say("quote", "total"), bold=True),
        Cell(text=table[-1], bold=True),
        Cell(text=hand[-1], bold=True),
        Cell(text=shown(quote.total.value_cent), bold=True),
        Cell(text=_range(quote.total), bold=True),
    ]
    add_table(flow, columns, [*rows, total])


def _minutes(values: list[float]) -> list[str]:
    """Return minutes as shown, and last their sum, which what is shown adds up to."""
    total = sum(values)
    rounded = f"{Decimal(repr(total)).quantize(Decimal('0.1'), ROUND_HALF_UP)}"
    return [*rounded_to_sum(values, total=total, decimals=1), rounded]


def _range(amount: Money) -> str:
    return f"{shown(amount.low_cent)} to {shown(amount.high_cent)}"


def _row(line: QuoteLine, table_min: str, hand_min: str) -> list[Cell]:
    return [
        Cell(text=say("lines", line.key), note=line.assumption),
        Cell(text=table_min if line.table_min else "-"),
        Cell(text=hand_min if line.hand_min else "-"),
        Cell(text=shown(line.amount.value_cent)),
        Cell(text=_range(line.amount), colour=SOFT),
    ]


def _add_breaks(flow: Flow, quote: Quote) -> None:
    if not quote.breaks:
        return
    flow.heading(say("quote", "breaks"))
    titles = (
        "sheets",
        "parts",
        "set-up",
        "handling",
        "cutting",
        "material, overs",
        "total",
        "a sheet",
        "a part",
    )
    widths = (13.0, 16.0, 18.0, 20.0, 20.0, 27.0, 24.0, 20.0, 20.0)
    columns = [
        Column(title=title, width_mm=width, align="right")
        for title, width in zip(titles, widths, strict=True)
    ]
    add_table(flow, columns, [_break_row(item) for item in quote.breaks])


def _break_row(item: PriceBreak) -> list[Cell]:
    amounts = (item.set_up, item.handling, item.cutting, item.material)
    total = item.total.value_cent
    return [
        Cell(text=str(item.sheets), bold=True),
        Cell(text=str(item.parts)),
        *(Cell(text=shown(amount.value_cent)) for amount in amounts),
        Cell(text=shown(total), bold=True),
        Cell(text=_each(total, item.sheets, places="0.01")),
        Cell(text=_each(total, item.parts, places="0.001")),
    ]


def _each(cent: int, count: int, *, places: str) -> str:
    return f"{(Decimal(cent) / 100 / count).quantize(Decimal(places), ROUND_HALF_UP)}"


def _add_words(flow: Flow, data: QuoteData) -> None:
    """Add what the price assumes and how long it holds."""
    quote = data.quote
    flow.heading(say("quote", "assumptions"))
    cur = quote.currency
    said = [
        quote.hourly,
        say("quote", "excluded"),
        say("quote", "spare", spare=quote.spare_sheets, sheets=quote.order.sheets),
        say("quote", "rounding", cur=cur),
        say("quote", "source", source=quote.source),
        say("quote", "notes", notes=data.notes) if data.notes else "",
    ]
    for text in filter(None, said):
        flow.paragraph(text, size_pt=SMALL_PT + 0.5, most=2)
    flow.gap(1.2)
    flow.paragraph(say("quote", "validity", validity=data.validity), bold=True, most=1)
    flow.paragraph(say("quote", "estimate"), bold=True)
