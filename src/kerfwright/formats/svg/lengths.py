"""Lengths with units and percentages, in user units (SVG 2 chapter 8; CSS Values level 3 and 4).

One px is one user unit and 1/96 inch. A percentage is of the nearest viewport: of its width, its
height, or of its diagonal divided by the square root of 2. ``ex`` and ``ch`` are taken as half an
em, as CSS allows where no font is at hand; units of other features of a font are not read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import hypot, sqrt
from typing import Final

from kerfwright.formats.svg.numbers import NUMBER, WSP, number_of
from kerfwright.units import MM_PER_INCH

PX_PER_INCH: Final = 96.0
MM_PER_PX: Final = MM_PER_INCH / PX_PER_INCH
PX: Final = {
    "": 1.0, "px": 1.0, "in": PX_PER_INCH, "cm": 10.0 / MM_PER_PX, "mm": 1.0 / MM_PER_PX,
    "q": 0.25 / MM_PER_PX, "pt": PX_PER_INCH / 72.0, "pc": PX_PER_INCH / 6.0,
}  # fmt: skip
"""Pixels in one unit, by its lower-case name."""

ACROSS, UPRIGHT, DIAGONAL = range(3)
"""Which extent of the viewport a percentage is of."""

_EVERYWHERE: Final = ("", "%", "px", "in", "cm", "mm", "pt", "pc", "em", "ex")
_LENGTH: Final = re.compile(rf"({NUMBER})(%|[A-Za-z]+)?")
_NORMAL_LINE: Final = 1.2  # line height "normal" of most programs, common practice, no source


class LengthError(ValueError):
    """A length that cannot be read; its text is the argument."""


@dataclass(frozen=True, slots=True)
class Viewport:
    """Width and height that percentages are of, in user units."""

    width: float
    height: float

    def extent(self, axis: int) -> float:
        """Return the extent that percentages of an axis are of."""
        if axis == DIAGONAL:
            return hypot(self.width, self.height) / sqrt(2.0)
        return self.height if axis == UPRIGHT else self.width


@dataclass(frozen=True, slots=True)
class Measures:
    """What relative lengths are relative to, in user units.

    Parameters
    ----------
    em, rem : float
        Font size of the element and of the root.
    line, root_line : float
        Height of a line of both.
    page : Viewport
        The page, for ``vw`` and its like.
    """

    em: float
    rem: float
    line: float
    root_line: float
    page: Viewport

    def relative(self, unit: str) -> float | None:
        """Return the size of a relative unit, None for one that is not known."""
        w, h = self.page.width / 100.0, self.page.height / 100.0
        return {
            "em": self.em, "ex": self.em / 2.0, "ch": self.em / 2.0, "rem": self.rem,
            "lh": self.line, "rlh": self.root_line, "vw": w, "vh": h, "vi": w, "vb": h,
            "vmin": min(w, h), "vmax": max(w, h),
        }.get(unit)  # fmt: skip


def length_of(
    text: str, viewport: Viewport, measures: Measures, axis: int, *, bare: bool = True
) -> float:
    """Return a length in user units.

    Parameters
    ----------
    text : str
        As the file has it.
    viewport : Viewport
        What percentages are of.
    measures : Measures
        What other relative units are of.
    axis : int
        `ACROSS`, `UPRIGHT` or `DIAGONAL`.
    bare : bool, default True
        Whether a number without unit is a length, as it is in attributes.

    Raises
    ------
    LengthError
        If it is no length that is read.
    HugeNumberError
        If the number is beyond what a drawing can mean.
    """
    number, unit = split_length(text)
    if unit == "%":
        return number / 100.0 * viewport.extent(axis)
    if unit in PX:
        if not unit and number != 0.0 and not bare:
            raise LengthError(text[:40])
        return number * PX[unit]
    factor = measures.relative(unit)
    if factor is None:
        raise LengthError(text[:40])
    return number * factor


def split_length(text: str) -> tuple[float, str]:
    """Return number and lower-case unit of a length.

    Raises
    ------
    LengthError, HugeNumberError
        As for `length_of`.
    """
    match = _LENGTH.fullmatch(text.strip(WSP))
    if match is None:
        raise LengthError(text[:40])
    return number_of(match[1]), (match[2] or "").lower()


def is_read_everywhere(text: str) -> bool:
    """Return whether a length has no unit, or one of those SVG has had from the beginning."""
    try:
        return split_length(text)[1] in _EVERYWHERE
    except ValueError:
        return True


def line_height(text: str, em: float, parent: float) -> float:
    """Return the height of a line in user units; `parent` where the value says nothing."""
    if text.strip(WSP).lower() == "normal":
        return _NORMAL_LINE * em
    try:
        number, unit = split_length(text)
    except ValueError:
        return parent
    if unit in ("", "em"):
        return number * em
    if unit == "%":
        return number / 100.0 * em
    return number * PX[unit] if unit in PX else parent
