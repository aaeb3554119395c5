"""What stands on which page: strokes are collected first and drawn once the pages are counted.

*Block*: something of a known height that is never parted. The cursor runs down the page; a block
that finds no room opens the next page.
"""

from __future__ import annotations

from collections.abc import Callable

from kerfwright.report.letters import Letters
from kerfwright.report.look import (
    BOTTOM_MM,
    HEAD_PT,
    INK,
    LEFT_MM,
    RIGHT_MM,
    TEXT_PT,
    TOP_MM,
    Colour,
)
from kerfwright.report.pen import Pen
from kerfwright.report.text import line_mm, wrap

Stroke = Callable[[Pen], None]
Furniture = Callable[[Pen, int, int], None]
"""Draws what stands on every page: takes the page and how many there are, counted from one."""


class Flow:
    """Pages being filled from the top."""

    def __init__(self, *, top_mm: float = TOP_MM, first_top_mm: float = TOP_MM) -> None:
        self.letters = Letters()
        self._pages: list[list[Stroke]] = [[]]
        self._top_mm = top_mm
        self.y_mm = first_top_mm

    @property
    def room_mm(self) -> float:
        """What is left of this page [mm]."""
        return self.y_mm - BOTTOM_MM

    @property
    def n_pages(self) -> int:
        """How many pages there are."""
        return len(self._pages)

    def new_page(self) -> None:
        """Open the next page."""
        self._pages.append([])
        self.y_mm = self._top_mm

    def need(self, height_mm: float) -> None:
        """Open the next page unless so much room is left, or this page is still empty."""
        if height_mm > self.room_mm and self.y_mm < self._top_mm:
            self.new_page()

    def put(self, height_mm: float, draw: Callable[[Pen, float], None]) -> None:
        """Add a block; it is given the height of its upper edge."""
        self.need(height_mm)
        top = self.y_mm
        self._pages[-1].append(lambda pen: draw(pen, top))
        self.y_mm -= height_mm

    def gap(self, height_mm: float) -> None:
        """Leave room."""
        self.y_mm -= height_mm

    def heading(self, text: str, *, keep_mm: float = 20.0) -> None:
        """Add a heading with a rule under it, together with so much of what follows."""
        self.need(9.0 + keep_mm)
        if self.y_mm < self._top_mm:
            self.gap(2.6)

        def draw(pen: Pen, top: float) -> None:
            pen.text(LEFT_MM, top - 4.2, text, size_pt=HEAD_PT, bold=True)
            pen.line((LEFT_MM, top - 5.8), (RIGHT_MM, top - 5.8), width_mm=0.35)

        self.put(8.2, draw)

    def paragraph(
        self,
        text: str,
        *,
        size_pt: float = TEXT_PT,
        bold: bool = False,
        colour: Colour = INK,
        x_mm: float = LEFT_MM,
        width_mm: float = RIGHT_MM - LEFT_MM,
        most: int = 12,
    ) -> None:
        """Add a text, line by line."""
        step = line_mm(size_pt)
        for line in wrap(self.letters.clean(text), width_mm, size_pt=size_pt, bold=bold, most=most):
            self.put(step, _line_of(line, x_mm, size_pt, bold=bold, colour=colour))

    def render(self, *, title: str, subject: str, furniture: Furniture) -> bytes:
        """Draw all pages and return the document."""
        pen = Pen(title=title, subject=subject)
        for number, strokes in enumerate(self._pages, start=1):
            furniture(pen, number, len(self._pages))
            for stroke in strokes:
                stroke(pen)
            pen.end_page()
        return pen.to_bytes()


def _line_of(
    text: str, x_mm: float, size_pt: float, *, bold: bool, colour: Colour
) -> Callable[[Pen, float], None]:
    def draw(pen: Pen, top: float) -> None:
        base = top - 0.78 * line_mm(size_pt)
        pen.text(x_mm, base, text, size_pt=size_pt, bold=bold, colour=colour)

    return draw
