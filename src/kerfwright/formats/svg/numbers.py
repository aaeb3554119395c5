"""Numbers as SVG writes them, alone and in lists."""

from __future__ import annotations

import re
from typing import Final

WSP: Final = " \t\r\n\f"
NUMBER: Final = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
LARGEST: Final = 1e30
"""A number beyond cannot be meant: products of two such numbers still have to be numbers."""

_SPACE: Final = rf"[{WSP}]*+"
_NUMBER: Final = re.compile(NUMBER)
_BETWEEN: Final = re.compile(rf"{_SPACE}(?:,{_SPACE})?+")
_START: Final = re.compile(_SPACE)


class HugeNumberError(ValueError):
    """A number that no drawing can mean; its text is the argument."""


def number_of(text: str) -> float:
    """Return a number that matches `NUMBER`.

    Raises
    ------
    HugeNumberError
        If it is beyond `LARGEST`.
    """
    value = float(text)
    if not -LARGEST <= value <= LARGEST:
        raise HugeNumberError(text[:40])
    return value


def number_list(text: str) -> tuple[list[float], bool]:
    """Return the numbers of a list up to its first fault, and whether it had none.

    Numbers are parted by white space, a comma, or nothing where a sign or point parts them.
    """
    found: list[float] = []
    begin = _START.match(text)
    place = begin.end() if begin else 0
    while place < len(text):
        match = _NUMBER.match(text, place)
        if match is None:
            return found, False
        found.append(number_of(match[0]))
        gap = _BETWEEN.match(text, match.end())
        place = gap.end() if gap else match.end()
        if gap and "," in gap[0] and place == len(text):
            return found, False
    return found, True
