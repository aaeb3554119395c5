"""The cautions every ticket carries, whatever the job; nobody can hand one over without them."""

from __future__ import annotations

from kerfwright.report.flow import Flow
from kerfwright.report.look import HEAD_PT, INK, LEFT_MM, PAPER, RIGHT_MM, SMALL_PT, SOFT
from kerfwright.report.pen import Pen
from kerfwright.report.symbols import warning_sign
from kerfwright.report.text import line_mm, wrap
from kerfwright.report.words import said_of, say

_TEXT_PT = 7.6
_GUTTER_MM = 5.0
_INSET_MM = 3.0
_TITLE_MM = 8.5


def add_cautions(flow: Flow) -> None:
    """Add the framed block of cautions and, under them, what to read on the subject."""
    width = (RIGHT_MM - LEFT_MM - 2.0 * _INSET_MM - _GUTTER_MM) / 2.0
    items = [wrap(text, width - 3.5, size_pt=_TEXT_PT) for text in said_of("cautions").values()]
    left, right = _columns(items)
    body = max(_height(left), _height(right))
    reading = wrap(
        f"{say('ticket', 'standards')}: {'; '.join(said_of('standards').values())}. "
        f"{say('ticket', 'standards_note')}",
        RIGHT_MM - LEFT_MM - 2.0 * _INSET_MM,
        size_pt=SMALL_PT,
    )
    foot = len(reading) * line_mm(SMALL_PT) + 2.0
    height = _TITLE_MM + body + foot + _INSET_MM

    def draw(pen: Pen, top: float) -> None:
        bottom = top - height + 1.0
        pen.box((LEFT_MM, bottom, RIGHT_MM, top), fill=PAPER, stroke=INK, width_mm=0.6)
        warning_sign(pen, (LEFT_MM + 6.2, top - 5.0), radius_mm=2.5)
        heading = say("ticket", "cautions")
        pen.text(LEFT_MM + 11.0, top - 6.0, heading, size_pt=HEAD_PT, bold=True)
        for column, x in ((left, LEFT_MM + _INSET_MM), (right, RIGHT_MM - _INSET_MM - width)):
            _draw_items(pen, column, x, top - _TITLE_MM)
        y = top - _TITLE_MM - body - 1.2
        pen.line((LEFT_MM + _INSET_MM, y), (RIGHT_MM - _INSET_MM, y), width_mm=0.15)
        for line in reading:
            y -= line_mm(SMALL_PT)
            pen.text(LEFT_MM + _INSET_MM, y + 0.2, line, size_pt=SMALL_PT, colour=SOFT)

    flow.put(height, draw)


def _columns(items: list[list[str]]) -> tuple[list[list[str]], list[list[str]]]:
    """Part the items so that the taller column is as low as can be; the left one is the taller."""
    cut = next(i for i in range(1, len(items) + 1) if _height(items[:i]) >= _height(items[i:]))
    return items[:cut], items[cut:]


def _height(items: list[list[str]]) -> float:
    return sum(len(lines) * line_mm(_TEXT_PT) + 0.9 for lines in items)


def _draw_items(pen: Pen, items: list[list[str]], x: float, top: float) -> None:
    for lines in items:
        pen.box((x + 0.3, top - 2.6, x + 1.4, top - 1.5), fill=INK)
        for line in lines:
            top -= line_mm(_TEXT_PT)
            pen.text(x + 3.5, top + 0.6, line, size_pt=_TEXT_PT)
        top -= 0.9
