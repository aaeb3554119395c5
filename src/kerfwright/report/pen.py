"""Draws on pages, in mm from the lower left corner; the only place that knows the PDF library.

Bytes are the same for the same strokes: no clock, no random id, no file of this machine.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from io import BytesIO
from typing import Any, Final, Literal

import numpy as np
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from kerfwright.geometry.record import F64
from kerfwright.report.look import INK, PAGE_MM, Colour
from kerfwright.units import MM_PER_INCH

PT_PER_MM: Final = 72.0 / MM_PER_INCH
Anchor = Literal["start", "middle", "end"]
Ring = tuple[F64, bool]
"""Points on the page (M, 2) [mm], and whether the last is joined to the first."""

_EVEN_ODD, _NONZERO = 0, 1
_BUTT = 0


def font_of(*, bold: bool) -> str:
    """Return the name of a standard font; its digits are all of one width."""
    return "Helvetica-Bold" if bold else "Helvetica"


def text_width_mm(text: str, *, size_pt: float, bold: bool = False) -> float:
    """Return how wide a text is [mm]."""
    return float(stringWidth(text, font_of(bold=bold), size_pt)) / PT_PER_MM


class Pen:
    """One document being drawn, page after page."""

    def __init__(self, *, title: str, subject: str) -> None:
        self._buffer = BytesIO()
        self._canvas: Any = Canvas(
            self._buffer,
            pagesize=tuple(side * PT_PER_MM for side in PAGE_MM),
            invariant=1,
            pageCompression=1,
            initialFontName=font_of(bold=False),
            lang="en",
        )
        self._canvas.setTitle(title)
        self._canvas.setSubject(subject)
        self._canvas.setAuthor("")
        self._canvas.setCreator("kerfwright")
        self._canvas.setProducer("kerfwright")

    def end_page(self) -> None:
        """Close the page and open the next."""
        self._canvas.showPage()

    def to_bytes(self) -> bytes:
        """Return the document."""
        self._canvas.save()
        return self._buffer.getvalue()

    def text(
        self,
        x_mm: float,
        y_mm: float,
        text: str,
        *,
        size_pt: float,
        bold: bool = False,
        colour: Colour = INK,
        anchor: Anchor = "start",
    ) -> None:
        """Write one line; y is its base line."""
        text.encode("cp1252")  # an uncleaned text is a defect, never a page of wrong letters
        self._canvas.setFillColorRGB(*colour)
        self._canvas.setFont(font_of(bold=bold), size_pt)
        draw = {
            "start": self._canvas.drawString,
            "middle": self._canvas.drawCentredString,
            "end": self._canvas.drawRightString,
        }[anchor]
        draw(x_mm * PT_PER_MM, y_mm * PT_PER_MM, text)

    def line(
        self,
        start: Sequence[float],
        end: Sequence[float],
        *,
        width_mm: float = 0.2,
        colour: Colour = INK,
        dash_mm: Sequence[float] = (),
    ) -> None:
        """Draw a straight line."""
        self._set_stroke(width_mm, colour, dash_mm)
        self._canvas.line(*(v * PT_PER_MM for v in (*start, *end)))

    def lines(self, ends: F64, *, width_mm: float, colour: Colour) -> None:
        """Draw straight lines of one look; `ends` of shape (N, 4) is x0, y0, x1, y1 [mm]."""
        if len(ends):
            self._set_stroke(width_mm, colour, ())
            self._canvas.lines((ends * PT_PER_MM).tolist())

    def box(
        self,
        box_mm: Sequence[float],
        *,
        fill: Colour | None = None,
        stroke: Colour | None = None,
        width_mm: float = 0.2,
    ) -> None:
        """Draw a box x0, y0, x1, y1."""
        self.boxes([box_mm], fill=fill, stroke=stroke, width_mm=width_mm)

    def boxes(
        self,
        boxes_mm: Iterable[Sequence[float]],
        *,
        fill: Colour | None = None,
        stroke: Colour | None = None,
        width_mm: float = 0.2,
    ) -> None:
        """Draw boxes of one look as one figure; where they lap it is filled as well."""
        path = self._canvas.beginPath()
        for x0, y0, x1, y1 in boxes_mm:
            path.rect(*(v * PT_PER_MM for v in (x0, y0, x1 - x0, y1 - y0)))
        self._paint(path, fill, stroke, width_mm, (), rule=_NONZERO)

    def rings(
        self,
        rings: Iterable[Ring],
        *,
        fill: Colour | None = None,
        stroke: Colour | None = None,
        width_mm: float = 0.2,
        dash_mm: Sequence[float] = (),
    ) -> None:
        """Draw paths as one figure; a ring inside another is a hole."""
        self._paint(self._path(rings), fill, stroke, width_mm, dash_mm)

    def disc(
        self,
        centre: Sequence[float],
        radius_mm: float,
        *,
        fill: Colour | None = None,
        stroke: Colour | None = None,
        width_mm: float = 0.2,
    ) -> None:
        """Draw a full circle."""
        path = self._canvas.beginPath()
        path.circle(*(v * PT_PER_MM for v in (*centre, radius_mm)))
        self._paint(path, fill, stroke, width_mm, ())

    @contextmanager
    def inside(self, rings: Iterable[Ring]) -> Iterator[None]:
        """Keep what is drawn meanwhile inside paths."""
        self._canvas.saveState()
        path = self._path(rings)
        self._canvas.clipPath(path, stroke=0, fill=0, fillMode=_EVEN_ODD)
        yield
        self._canvas.restoreState()

    def _path(self, rings: Iterable[Ring]) -> Any:  # noqa: ANN401 - the library has no types
        path = self._canvas.beginPath()
        for points, is_closed in rings:
            scaled = (points * PT_PER_MM).tolist()
            path.moveTo(*scaled[0])
            for xy in scaled[1:]:
                path.lineTo(*xy)
            if is_closed:
                path.close()
        return path

    def _paint(
        self,
        path: Any,  # noqa: ANN401 - the library has no types
        fill: Colour | None,
        stroke: Colour | None,
        width_mm: float,
        dash_mm: Sequence[float],
        *,
        rule: int = _EVEN_ODD,
    ) -> None:
        if fill is not None:
            self._canvas.setFillColorRGB(*fill)
        if stroke is not None:
            self._set_stroke(width_mm, stroke, dash_mm)
        is_filled, is_stroked = int(fill is not None), int(stroke is not None)
        self._canvas.drawPath(path, stroke=is_stroked, fill=is_filled, fillMode=rule)

    def _set_stroke(self, width_mm: float, colour: Colour, dash_mm: Sequence[float]) -> None:
        self._canvas.setStrokeColorRGB(*colour)
        self._canvas.setLineWidth(width_mm * PT_PER_MM)
        self._canvas.setLineCap(_BUTT)
        self._canvas.setLineJoin(1)
        self._canvas.setDash([v * PT_PER_MM for v in dash_mm])


def box_ring(box_mm: Sequence[float]) -> Ring:
    """Return the edge of a box x0, y0, x1, y1."""
    x0, y0, x1, y1 = box_mm
    return np.array(((x0, y0), (x1, y0), (x1, y1), (x0, y1))), True


def hatch(
    pen: Pen,
    rings: Sequence[Ring],
    *,
    step_mm: float,
    turn_deg: float,
    colour: Colour,
    width_mm: float = 0.16,
) -> None:
    """Fill paths with parallel lines that line up from figure to figure."""
    turn = np.deg2rad(turn_deg)
    turned = np.array(((np.cos(turn), -np.sin(turn)), (np.sin(turn), np.cos(turn))))
    # what lies off the page needs no lines, however far it reaches
    reach = float(np.hypot(*PAGE_MM))
    uv = np.clip(np.concatenate([p for p, _ in rings]) @ turned, -reach, reach)
    (u0, v0), (u1, v1) = uv.min(axis=0), uv.max(axis=0)
    rows = np.arange(np.ceil(v0 / step_mm), np.floor(v1 / step_mm) + 1.0) * step_mm
    start = np.column_stack((np.full(len(rows), u0), rows)) @ turned.T
    end = np.column_stack((np.full(len(rows), u1), rows)) @ turned.T
    with pen.inside(rings):
        pen.lines(np.column_stack((start, end)), width_mm=width_mm, colour=colour)
