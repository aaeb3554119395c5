"""viewBox and preserveAspectRatio: the matrix from a viewBox to its viewport (SVG 2, 8.2)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kerfwright.formats.svg.matrices import Matrix
from kerfwright.formats.svg.numbers import number_list

_SHARE: Final = {"min": 0.0, "mid": 0.5, "max": 1.0}
_ALIGNS: Final = {
    f"x{x.title()}Y{y.title()}": (_SHARE[x], _SHARE[y]) for x in _SHARE for y in _SHARE
}


@dataclass(frozen=True, slots=True)
class ViewBox:
    """A rectangle in user units; an empty one draws nothing."""

    x: float
    y: float
    width: float
    height: float

    @property
    def is_empty(self) -> bool:
        """Whether it has no area, which turns drawing off."""
        return self.width == 0.0 or self.height == 0.0


def view_box_of(text: str | None) -> ViewBox | None:
    """Return a viewBox, None if there is none.

    Raises
    ------
    ValueError
        If it is none; the argument says why.
    HugeNumberError
        If a number is beyond what a drawing can mean.
    """
    if text is None:
        return None
    numbers, sound = number_list(text)
    if not sound or len(numbers) != 4 or min(numbers[2:]) < 0.0:
        raise ValueError(text[:40])
    return ViewBox(*numbers)


def fitted(box: ViewBox, width: float, height: float, aspect: str) -> Matrix:
    """Return the matrix from a viewBox that is not empty to a viewport at the origin.

    Raises
    ------
    ValueError
        If `aspect` is no value of preserveAspectRatio.
    """
    words = aspect.split()
    if words and words[0] == "defer":
        words = words[1:]
    align, *rest = words or ["xMidYMid"]
    if rest not in ([], ["meet"], ["slice"]) or (align != "none" and align not in _ALIGNS):
        raise ValueError(aspect[:40])
    sx, sy = width / box.width, height / box.height
    if align == "none":
        return sx, 0.0, 0.0, sy, -box.x * sx, -box.y * sy
    s = max(sx, sy) if rest == ["slice"] else min(sx, sy)
    right, down = _ALIGNS[align]
    e = (width - box.width * s) * right - box.x * s
    f = (height - box.height * s) * down - box.y * s
    return s, 0.0, 0.0, s, e, f
