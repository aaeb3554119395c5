"""Outlines while they are drawn, piled up flat in the user units they were drawn in.

A *piece* is a line, a cubic curve or an elliptical arc, as a row of twelve numbers: begin, three
pairs, end, and two numbers. Of a curve the first two pairs are its control points. Of an arc they
are centre, u and v of ``centre + u cos t + v sin t``, and the numbers are first t and sweep.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from kerfwright.errors import OutOfResourcesError
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.svg.arcs import Ellipse, Point, ellipse_of
from kerfwright.formats.svg.path_data import Segment

LINE, CURVE, ARC = range(3)
WIDTH: Final = 12


@dataclass(slots=True)
class Outlining:
    """Pieces of all shapes; `begin` a shape before drawing it.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    limits : ReadLimits
        How many pieces there may be.
    """

    file: str
    limits: ReadLimits
    rows: array[float] = field(default_factory=lambda: array("d"))
    kinds: bytearray = field(default_factory=bytearray)
    starts: list[int] = field(default_factory=list)  # first piece of each outline
    closed: list[bool] = field(default_factory=list)
    shape: list[int] = field(default_factory=list)
    current: int = -1
    at: Point = (0.0, 0.0)
    first: Point = (0.0, 0.0)
    is_open: bool = False
    is_fresh: bool = False  # moved, and nothing drawn since

    def begin(self, shape: int) -> tuple[int, int]:
        """Begin a shape and return a mark to go back to."""
        self.current, self.is_open, self.is_fresh = shape, False, False
        return len(self.kinds), len(self.starts)

    def back(self, mark: tuple[int, int]) -> None:
        """Take back what was drawn since a mark."""
        pieces, outlines = mark
        del self.kinds[pieces:], self.rows[WIDTH * pieces :]
        del self.starts[outlines:], self.closed[outlines:], self.shape[outlines:]

    def move(self, to: Point) -> None:
        """Begin an outline."""
        self.at = self.first = to
        self.is_open, self.is_fresh = False, True

    def line(self, to: Point) -> None:
        """Draw a line."""
        self._piece(LINE, self.at, self.at, to, to, to)

    def curve(self, a: Point, b: Point, to: Point) -> None:
        """Draw a cubic curve."""
        self._piece(CURVE, a, b, to, to, to)

    def quadratic(self, a: Point, to: Point) -> None:
        """Draw a quadratic curve, which is a cubic one."""
        (x0, y0), (x1, y1), (x2, y2) = self.at, a, to
        self.curve(
            ((x0 + 2.0 * x1) / 3.0, (y0 + 2.0 * y1) / 3.0),
            ((x2 + 2.0 * x1) / 3.0, (y2 + 2.0 * y1) / 3.0),
            to,
        )

    def arc(self, e: Ellipse, to: Point) -> None:
        """Draw an arc of an ellipse that begins here."""
        self._piece(ARC, e.centre, e.u, e.v, to, (e.start_rad, e.sweep_rad))

    def close(self) -> None:
        """Join the end of the outline to its beginning."""
        if not self.is_open and self.is_fresh:
            self._open()
        if self.is_open:
            self.closed[-1] = True
        self.at, self.is_open = self.first, False

    def draw(self, segments: Iterable[Segment]) -> None:
        """Draw the segments of a path."""
        for kind, v in segments:
            if kind == "M":
                self.move((v[0], v[1]))
            elif kind == "L":
                self.line((v[0], v[1]))
            elif kind == "C":
                self.curve((v[0], v[1]), (v[2], v[3]), (v[4], v[5]))
            elif kind == "Q":
                self.quadratic((v[0], v[1]), (v[2], v[3]))
            elif kind == "A":
                self._path_arc(v)
            else:
                self.close()

    def _path_arc(self, v: tuple[float, ...]) -> None:
        end = (v[5], v[6])
        if end == self.at:
            return
        found = ellipse_of(
            self.at, end, radii=(v[0], v[1]), turn_deg=v[2], large=v[3] != 0.0, sweep=v[4] != 0.0
        )
        if found is None:
            self.line(end)
        else:
            self.arc(found, end)

    def _open(self) -> None:
        self.starts.append(len(self.kinds))
        self.closed.append(False)
        self.shape.append(self.current)
        self.is_open, self.is_fresh, self.first = True, False, self.at

    def _piece(self, kind: int, a: Point, b: Point, c: Point, to: Point, more: Point) -> None:
        if not self.is_open:
            self._open()
        self.kinds.append(kind)
        self.rows.extend((*self.at, *a, *b, *c, *to, *more))
        self.at = to
        if len(self.kinds) > self.limits.points:
            msg = (
                f"{self.file}: the drawing comes to more than {self.limits.points} lines and "
                "curves, which is the limit; leave out what is not cut, or raise the limit"
            )
            raise OutOfResourcesError(msg)
