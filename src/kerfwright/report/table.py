"""Tables that run over pages: the head is repeated, a row is never parted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from itertools import accumulate
from typing import Literal

from kerfwright.report.flow import Flow
from kerfwright.report.look import INK, LEFT_MM, PANEL, RULE, SMALL_PT, SOFT, TEXT_PT, Colour
from kerfwright.report.pen import Pen
from kerfwright.report.symbols import state_mark
from kerfwright.report.text import line_mm, wrap

_PAD_MM = 0.95
_SIDE_MM = 1.7
_MARK_MM = 4.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: title, width [mm], and on which side its texts stand."""

    title: str
    width_mm: float
    align: Literal["left", "right"] = "left"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """What stands in one field.

    Parameters
    ----------
    text : str
        Words or numbers.
    note : str
        Smaller words under them.
    bold : bool
        Whether the text is bold.
    colour : Colour
        Colour of the text.
    state : str
        Verdict state whose mark stands before the text; empty for none.
    bar : float
        Share of the column's width that a bar fills, 0 to 1; below 0 for none.
    """

    text: str = ""
    note: str = ""
    bold: bool = False
    colour: Colour = INK
    state: str = ""
    bar: float = -1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Set:
    """A cell broken into lines."""

    cell: Cell
    lines: tuple[str, ...]
    notes: tuple[str, ...]
    height_mm: float


def add_table(flow: Flow, columns: Sequence[Column], rows: Sequence[Sequence[str | Cell]]) -> None:
    """Add a table; columns are as wide as they say."""
    edges = list(accumulate((c.width_mm for c in columns), initial=LEFT_MM))
    head = [_set(flow, c, Cell(text=c.title, bold=True, colour=SOFT), SMALL_PT) for c in columns]
    head_mm = max(cell.height_mm for cell in head) + 2.0 * _PAD_MM
    draw_head = partial(_draw_head, columns, edges, head, head_mm)
    for number, row in enumerate(rows):
        cells = [
            _set(flow, column, cell if isinstance(cell, Cell) else Cell(text=cell), TEXT_PT)
            for column, cell in zip(columns, row, strict=True)
        ]
        height = max(cell.height_mm for cell in cells) + 2.0 * _PAD_MM
        pages = flow.n_pages
        flow.need(height + (head_mm if number == 0 else 0.0))
        if number == 0 or flow.n_pages > pages:
            flow.put(head_mm, draw_head)
        flow.put(height, partial(_draw_row, columns, edges, cells, height))


def _set(flow: Flow, column: Column, cell: Cell, size_pt: float) -> _Set:
    width = column.width_mm - 2.0 * _SIDE_MM - (_MARK_MM if cell.state else 0.0)
    text, note = flow.letters.clean(cell.text), flow.letters.clean(cell.note)
    lines = wrap(text, width, size_pt=size_pt, bold=cell.bold)
    notes = wrap(note, width, size_pt=SMALL_PT) if note else []
    return _Set(
        cell=cell,
        lines=tuple(lines),
        notes=tuple(notes),
        height_mm=len(lines) * line_mm(size_pt) + len(notes) * line_mm(SMALL_PT),
    )


def _draw_head(
    columns: Sequence[Column],
    edges: Sequence[float],
    head: Sequence[_Set],
    height_mm: float,
    pen: Pen,
    top: float,
) -> None:
    pen.box((edges[0], top - height_mm, edges[-1], top), fill=PANEL)
    pen.line((edges[0], top - height_mm), (edges[-1], top - height_mm), width_mm=0.3)
    for column, left, cell in zip(columns, edges, head, strict=False):
        _draw_cell(pen, column, left, cell, top - _PAD_MM, SMALL_PT)


def _draw_row(
    columns: Sequence[Column],
    edges: Sequence[float],
    cells: Sequence[_Set],
    height_mm: float,
    pen: Pen,
    top: float,
) -> None:
    bottom = top - height_mm
    pen.line((edges[0], bottom), (edges[-1], bottom), width_mm=0.12, colour=RULE)
    for column, left, cell in zip(columns, edges, cells, strict=False):
        _draw_cell(pen, column, left, cell, top - _PAD_MM, TEXT_PT)


def _draw_cell(
    pen: Pen, column: Column, left: float, item: _Set, top: float, size_pt: float
) -> None:
    cell, right = item.cell, left + column.width_mm
    is_right = column.align == "right"
    x = right - _SIDE_MM if is_right else left + _SIDE_MM
    if cell.state:
        middle = (left + _SIDE_MM + 1.7, top - 0.5 * line_mm(size_pt))
        state_mark(pen, middle, cell.state, radius_mm=1.45)
        x += 0.0 if is_right else _MARK_MM
    if cell.bar >= 0.0:
        reach = cell.bar * (column.width_mm - 2.0 * _SIDE_MM)
        pen.box((left + _SIDE_MM, top - 2.9, left + _SIDE_MM + reach, top - 0.9), fill=INK)
    for lines, size, colour, bold in (
        (item.lines, size_pt, cell.colour, cell.bold),
        (item.notes, SMALL_PT, SOFT, False),
    ):
        for line in lines:
            base = top - 0.78 * line_mm(size)
            pen.text(
                x,
                base,
                line,
                size_pt=size,
                bold=bold,
                colour=colour,
                anchor="end" if is_right else "start",
            )
            top -= line_mm(size)
