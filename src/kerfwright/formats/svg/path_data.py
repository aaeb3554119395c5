"""The grammar of path data (SVG 1.1 second edition, 8.3.9): text to absolute segments.

A fault ends the path: what stands before the segment with the fault is kept, as the standard asks
of programs that draw it. Points are joined (``S`` and ``T`` get their mirrored control points,
``H`` and ``V`` become lines), so that a segment says all but where it begins.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from kerfwright.formats.svg.numbers import NUMBER, WSP, number_of

Segment = tuple[str, tuple[float, ...]]
"""Kind and numbers: ``M`` and ``L`` x y, ``C`` six, ``Q`` four, ``A`` rx ry turn large sweep x y,
``Z`` none."""

_SPACE: Final = rf"[{WSP}]*+"
_COMMAND: Final = re.compile(rf"{_SPACE}([MmZzLlHhVvCcSsQqTtAa])")
_FIRST: Final = re.compile(rf"{_SPACE}({NUMBER})")
_NEXT: Final = re.compile(rf"{_SPACE}(?:,{_SPACE})?+({NUMBER})")
_FLAG: Final = re.compile(rf"{_SPACE}(?:,{_SPACE})?+([01])")
_COUNT: Final = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
_FLAGS: Final = (3, 4)  # which numbers of an arc are flags
_END: Final = re.compile(_SPACE)
_SHOWN: Final = 12


@dataclass(frozen=True, slots=True)
class PathData:
    """Segments of a path, and what is wrong after them; empty when nothing is."""

    segments: list[Segment]
    fault: str = ""


@dataclass(slots=True)
class _Pen:
    """Where a path has got to."""

    segments: list[Segment] = field(default_factory=list)
    x: float = 0.0
    y: float = 0.0
    start: tuple[float, float] = (0.0, 0.0)
    control: tuple[float, float] = (0.0, 0.0)  # last control point, for S and T
    before: str = ""  # kind of the segment before, absolute

    def mirrored(self, kinds: str) -> tuple[float, float]:
        """Return the last control point mirrored, the place itself after other kinds."""
        if self.before not in kinds:
            return self.x, self.y
        return 2.0 * self.x - self.control[0], 2.0 * self.y - self.control[1]

    def to(self, kind: str, *v: float, control: tuple[float, float] | None = None) -> None:
        """Add a segment whose last two numbers are its end."""
        self.segments.append((kind, v))
        self.x, self.y = v[-2:]
        self.control = control or (self.x, self.y)
        self.before = kind


def parse_path(text: str) -> PathData:
    """Return the segments of path data.

    Parameters
    ----------
    text : str
        Value of the attribute ``d``.

    Raises
    ------
    HugeNumberError
        If a number is beyond what a drawing can mean.
    """
    pen = _Pen()
    place, end = 0, len(text)
    while True:
        match = _COMMAND.match(text, place)
        if match is None:
            break
        if not pen.before and match[1] not in "Mm":
            return PathData([], _fault(text, match.start(1), "a path begins with M"))
        place = match.end()
        place, wrong = _run(pen, text, place, match[1])
        if wrong:
            return PathData(pen.segments, _fault(text, place, wrong))
    rest = _END.match(text, place)
    place = rest.end() if rest else place
    if place < end:
        return PathData(pen.segments, _fault(text, place, "a command is wanted"))
    return PathData(pen.segments)


def _run(pen: _Pen, text: str, place: int, command: str) -> tuple[int, str]:
    """Take one command with all its sets of numbers; return where it ended and what is wrong."""
    kind = command.upper()
    if kind == "Z":
        _close(pen)
        return place, ""
    first = True
    while True:
        values, after, wrong = _numbers(text, place, kind, first=first)
        if wrong:
            return (place, "") if not first and not values else (after, wrong)
        if command.islower():
            _shift(values, kind, pen.x, pen.y)
        _DRAW[kind](pen, values)
        if first and kind == "M":
            kind, command = "L", "l" if command == "m" else "L"
        first, place = False, after


def _numbers(text: str, place: int, kind: str, *, first: bool) -> tuple[list[float], int, str]:
    values: list[float] = []
    for k in range(_COUNT[kind]):
        is_flag = kind == "A" and k in _FLAGS
        pattern = _FLAG if is_flag else _FIRST if first and k == 0 else _NEXT
        match = pattern.match(text, place)
        if match is None:
            return values, place, "a flag 0 or 1 is wanted" if is_flag else "a number is wanted"
        values.append(number_of(match[1]))
        place = match.end()
    return values, place, ""


def _shift(values: list[float], kind: str, x: float, y: float) -> None:
    """Make relative coordinates absolute."""
    if kind == "V":
        values[0] += y
        return
    for k in range(5 if kind == "A" else 0, len(values)):
        values[k] += y if (k % 2 == 1) != (kind == "A") else x


def _close(pen: _Pen) -> None:
    pen.segments.append(("Z", ()))
    pen.x, pen.y = pen.start
    pen.control, pen.before = pen.start, "Z"


def _move(pen: _Pen, v: list[float]) -> None:
    pen.to("M", *v)
    pen.start = pen.x, pen.y


def _line(pen: _Pen, v: list[float]) -> None:
    pen.to("L", *v)


def _across(pen: _Pen, v: list[float]) -> None:
    pen.to("L", v[0], pen.y)


def _upright(pen: _Pen, v: list[float]) -> None:
    pen.to("L", pen.x, v[0])


def _cubic(pen: _Pen, v: list[float]) -> None:
    pen.to("C", *v, control=(v[2], v[3]))


def _smooth_cubic(pen: _Pen, v: list[float]) -> None:
    pen.to("C", *pen.mirrored("C"), *v, control=(v[0], v[1]))


def _quadratic(pen: _Pen, v: list[float]) -> None:
    pen.to("Q", *v, control=(v[0], v[1]))


def _smooth_quadratic(pen: _Pen, v: list[float]) -> None:
    control = pen.mirrored("Q")
    pen.to("Q", *control, *v, control=control)


def _arc(pen: _Pen, v: list[float]) -> None:
    pen.to("A", *v)


_DRAW: Final[dict[str, Callable[[_Pen, list[float]], None]]] = {
    "M": _move, "L": _line, "H": _across, "V": _upright, "C": _cubic, "S": _smooth_cubic,
    "Q": _quadratic, "T": _smooth_quadratic, "A": _arc,
}  # fmt: skip


def _fault(text: str, place: int, wrong: str) -> str:
    rest = text[place : place + _SHOWN].strip()
    return f"{wrong} at character {place + 1}" + (f" ({rest!r})" if rest else "")
