"""Colour spaces: the name of the spot colour a line is painted in, and its colour on a screen.

The colour is for people and for rules by colour, not for print: device colours are converted by
the plain formulas, and where a colour needs a profile or a program it stays empty. The name of
the separation is what counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.lexer import Name
from kerfwright.formats.pdf.values import (
    entry,
    identity,
    is_dictionary,
    items_of,
    name_bytes,
    name_text,
    number,
    numbers,
)

_MOST_COLOURS: Final = 32  # ISO 32000-1 annex C, from memory
_DEEP: Final = 8
_DEVICE: Final = {
    b"DeviceGray": 1, b"CalGray": 1, b"G": 1, b"DeviceRGB": 3, b"CalRGB": 3, b"RGB": 3,
    b"DeviceCMYK": 4, b"CMYK": 4,
}  # fmt: skip


def _hex(kind: int, values: Sequence[float]) -> str:
    """Return ``#rrggbb`` of a device colour, nothing for any other one."""
    if kind not in (1, 3, 4) or len(values) != kind:
        return ""
    rgb = list(values) * 3 if kind == 1 else list(values)
    if kind == 4:
        rgb = [(1.0 - v) * (1.0 - values[3]) for v in values[:3]]
    return "#" + "".join(f"{round(255.0 * min(max(v, 0.0), 1.0)):02x}" for v in rgb)


@dataclass(frozen=True, slots=True)
class Ink:
    """What a line is painted with: name of its separation, ``#rrggbb``; both may be empty."""

    separation: str = ""
    colour: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """A colour space as far as lines need it.

    Parameters
    ----------
    components : int
        Numbers of a colour; 0 when not known.
    device : int
        1, 3 or 4 when the numbers are grey, red-green-blue or the four process inks.
    names : tuple of str
        Inks of a Separation or DeviceN space.
    tint : tuple of tuples, optional
        Colours of the alternate space at tint 0 and 1, and the exponent between.
    alternate : int
        Kind of the alternate space, as `device`.
    """

    components: int = 0
    device: int = 0
    names: tuple[str, ...] = ()
    tint: tuple[tuple[float, ...], tuple[float, ...], float] | None = None
    alternate: int = 0

    def first_ink(self) -> Ink:
        """Return the ink before a colour is chosen."""
        if self.names:
            return self.ink([1.0] * len(self.names))
        return self.ink([0.0] * max(self.device - 1, 0) + [float(self.device == 4)])

    def ink(self, values: Sequence[float]) -> Ink:
        """Return the ink of a colour; DeviceN names it only if it is one ink alone."""
        if self.names:
            used = [n for n, v in zip(self.names, values, strict=False) if v != 0.0]
            name = self.names[0] if len(self.names) == 1 else used[0] if len(used) == 1 else ""
            return Ink(name, self._tinted(values[0]) if len(self.names) == 1 else "")
        return Ink("", _hex(self.device, values))

    def _tinted(self, tint: float) -> str:
        if self.tint is None:
            return ""
        low, high, exponent = self.tint
        share = min(max(tint, 0.0), 1.0) ** exponent
        mixed = [a + share * (b - a) for a, b in zip(low, high, strict=True)]
        return _hex(self.alternate, mixed)


GREY: Final = Space(components=1, device=1)
RGB: Final = Space(components=3, device=3)
CMYK: Final = Space(components=4, device=4)
PATTERN: Final = Space()
BLACK: Final = GREY.ink([0.0])
_OF_KIND: Final = {1: GREY, 3: RGB, 4: CMYK}


@dataclass(slots=True)
class Spaces:
    """Colour spaces of one file, each read when it is met first."""

    notes: Notes
    known: dict[tuple[int, int], Space] = field(default_factory=dict)

    def device(self, name: bytes) -> Space | None:
        """Return a space that needs no entry in the resources."""
        if name == b"Pattern":
            return PATTERN
        return _OF_KIND.get(_DEVICE.get(name, 0))

    def space(self, value: Any, depth: int = 0) -> Space:  # noqa: ANN401 - what the file holds
        """Return the space an entry of the resources describes; unknown ones have no names."""
        name = name_bytes(value)
        if name is not None:
            return self.device(name) or Space()
        parts = items_of(value)
        key = identity(value) if parts else None
        if key is not None and key in self.known:
            return self.known[key]
        found = self._family(parts, depth) if parts and depth < _DEEP else Space()
        if key is not None:
            self.known[key] = found
        return found

    def _family(self, parts: list[Any], depth: int) -> Space:
        family = name_bytes(parts[0]) or b""
        second = parts[1] if len(parts) > 1 else None
        if family in _DEVICE:
            return _OF_KIND[_DEVICE[family]]
        if family == b"ICCBased":
            count = number(entry(second, "/N"))
            return _OF_KIND.get(int(count or 0), Space())
        if family in (b"Pattern", b"Indexed", b"I"):
            base = self.space(second, depth + 1)
            # the numbers mean something else, the ink of a one-ink base is the same
            return Space(components=1, names=base.names if len(base.names) == 1 else ())
        if family == b"Separation":
            name = name_text(second)
            return self._spot(parts, () if name is None else (name,), depth)
        if family == b"DeviceN":
            names = tuple(name_text(v) or "" for v in items_of(second)[:_MOST_COLOURS])
            return self._spot(parts, names, depth)
        return Space()

    def _spot(self, parts: list[Any], names: tuple[str, ...], depth: int) -> Space:
        alternate = self.space(parts[2], depth + 1) if len(parts) > 2 else Space()
        tint = _exponential(parts[3], alternate.device) if len(parts) > 3 else None
        return Space(components=len(names), names=names, tint=tint, alternate=alternate.device)

    def chosen(self, space: Space, operands: Sequence[Any]) -> Ink | None:
        """Return the ink an operator chooses, None if its operands make no colour."""
        values = [v for v in operands if isinstance(v, float)]
        if operands and isinstance(operands[-1], Name):  # a pattern, perhaps over an ink
            return Ink(space.names[0] if len(space.names) == 1 else "")
        if not values or (space.components and len(values) != space.components):
            return None
        ink = space.ink(values)
        if len(space.names) > 1 and not ink.separation:
            used = " + ".join(n for n, v in zip(space.names, values, strict=True) if v != 0.0)
            self.notes.count("PDF-126", used or "no ink")
        return ink


def _exponential(function: object, kind: int) -> tuple[Any, Any, float] | None:
    """Return a function of type 2 (ISO 32000-1, 7.10.3) for so many colours."""
    if not is_dictionary(function) or number(entry(function, "/FunctionType")) != 2.0:
        return None
    low = numbers(entry(function, "/C0"), kind)
    high = numbers(entry(function, "/C1"), kind)
    exponent = number(entry(function, "/N"))
    if low is None or high is None or exponent is None or exponent <= 0.0:
        return None
    return low, high, exponent
