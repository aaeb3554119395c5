"""The current path: operators of construction to moves, lines, curves and closings.

``v`` takes the current point as its first control point, ``y`` its end as the second. After
``h`` the current point is where the outline began, so a line that follows begins a new outline
there. ``re`` is a move, three lines and a closing (ISO 32000-1, 8.5.2).
"""

from __future__ import annotations

from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from kerfwright.formats.pdf.store import CLOSE, CURVE, LINE, MOVE


class BadOperandsError(Exception):
    """Operands that an operator cannot take."""


@dataclass(slots=True)
class PathBuilder:
    """Collects one path; `is_broken` once an operator of it made no sense."""

    ops: bytearray = field(default_factory=bytearray)
    xy: array[float] = field(default_factory=lambda: array("d"))
    begin: int = 0
    was_closed: bool = False
    is_broken: bool = False

    def build(self, word: bytes, operands: list[Any]) -> None:
        """Run one operator of construction.

        Raises
        ------
        BadOperandsError
            If its operands make no sense; the path is broken from then on.
        """
        count, function = BUILDERS[word]
        if len(operands) != count or not all(type(v) is float for v in operands):
            self.is_broken = True
            raise BadOperandsError
        function(self, operands)

    def clear(self) -> None:
        """Begin a new path."""
        self.ops, self.xy = bytearray(), array("d")
        self.begin, self.was_closed, self.is_broken = 0, False, False

    def move(self, p: list[float]) -> None:
        """Begin an outline; one that follows another move replaces it."""
        if self.ops and self.ops[-1] == MOVE:
            self.ops.pop()
            del self.xy[-2:]
        self.ops.append(MOVE)
        self.begin, self.was_closed = len(self.xy), False
        self.xy.extend(p)

    def _go_on(self) -> None:
        if self.was_closed:
            self.move(list(self.xy[self.begin : self.begin + 2]))
        elif not self.ops:
            self.is_broken = True
            raise BadOperandsError

    def line(self, p: list[float]) -> None:
        """Draw a line from the current point."""
        self._go_on()
        self.ops.append(LINE)
        self.xy.extend(p)

    def curve(self, p: list[float]) -> None:
        """Draw a cubic curve."""
        self._go_on()
        self.ops.append(CURVE)
        self.xy.extend(p)

    def curve_from_point(self, p: list[float]) -> None:
        """Draw a cubic curve whose first control point is the current point."""
        self._go_on()
        self.ops.append(CURVE)
        self.xy.extend((*self.xy[-2:], *p))

    def curve_to_point(self, p: list[float]) -> None:
        """Draw a cubic curve whose second control point is its end."""
        self.curve([*p, *p[2:]])

    def close(self, _: list[float] | None = None) -> None:
        """Close the outline; a second time changes nothing."""
        if self.ops and not self.was_closed:
            self.ops.append(CLOSE)
            self.was_closed = True

    def rectangle(self, p: list[float]) -> None:
        """Draw a rectangle as an outline of its own."""
        x, y, w, h = p
        self.move([x, y])
        self.ops += bytes((LINE, LINE, LINE))
        self.xy.extend((x + w, y, x + w, y + h, x, y + h))
        self.close()


BUILDERS: Final[dict[bytes, tuple[int, Callable[[PathBuilder, list[float]], None]]]] = {
    b"m": (2, PathBuilder.move),
    b"l": (2, PathBuilder.line),
    b"c": (6, PathBuilder.curve),
    b"v": (4, PathBuilder.curve_from_point),
    b"y": (4, PathBuilder.curve_to_point),
    b"h": (0, PathBuilder.close),
    b"re": (4, PathBuilder.rectangle),
}
"""Operators of path construction: how many numbers each takes, and what it does."""
