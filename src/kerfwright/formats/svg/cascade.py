"""What an element says of itself: attributes, rules, ``style``, the strongest last (SVG 2, 6)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from kerfwright.formats.svg.sheets import Declaration, Sheets, declarations
from kerfwright.formats.svg.tree import Element

GEOMETRY: Final = frozenset(("x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "d"))
"""Attributes that SVG 2 made properties."""

INHERITED: Final = frozenset((
    "color", "fill", "stroke", "stroke-width", "fill-opacity", "stroke-opacity", "fill-rule",
    "clip-rule", "stroke-dasharray", "visibility", "font-size", "line-height", "marker-start",
    "marker-mid", "marker-end",
))  # fmt: skip
OWN: Final = frozenset((
    "display", "opacity", "clip-path", "mask", "filter", "overflow", "transform",
    "transform-origin", "transform-box", "vector-effect", "stop-color", "stop-opacity",
    "solid-color", "solid-opacity", "background", "background-color",
))  # fmt: skip
_KNOWN: Final = GEOMETRY | INHERITED | OWN
_ONLY_IN_SHEETS: Final = ("line-height", "transform-box")
_MARKERS: Final = ("marker-start", "marker-mid", "marker-end")


@dataclass(frozen=True, slots=True)
class Value:
    """Text of a property, and whether it stands in the language of style sheets.

    `weaker` is what would count if this one cannot be read.
    """

    text: str
    is_style: bool
    weaker: Value | None = None

    def __iter__(self) -> Iterator[Value]:
        """Go through the value and the weaker ones."""
        value: Value | None = self
        while value is not None:
            yield value
            value = value.weaker


Declared = dict[str, Value]


@dataclass(slots=True)
class Cascade:
    """What elements declare, each looked up once."""

    sheets: Sheets
    known: dict[Element, Declared] = field(default_factory=dict)

    def of(self, element: Element) -> Declared:
        """Return the winning value of each property that an element declares."""
        found = self.known.get(element)
        if found is None:
            found = self.known[element] = self._declared(element)
        return found

    def _declared(self, element: Element) -> Declared:
        found: Declared = {}
        for name, text in element.attrib.items():
            if name in _KNOWN and name not in _ONLY_IN_SHEETS:
                found[name] = Value(text.strip(), is_style=False)
        rules = self.sheets.of(element)
        style = element.get("style")
        own = declarations(style) if style else []
        if not rules and not own:
            return found
        for important in (False, True):
            for block in (*rules, own):
                for name, text in _weighed(block, important=important):
                    found[name] = Value(text, is_style=True, weaker=found.get(name))
        return found


def _weighed(block: list[Declaration], *, important: bool) -> Iterator[tuple[str, str]]:
    for d in block:
        if d.important != important:
            continue
        if d.name == "marker":
            yield from ((name, d.value) for name in _MARKERS)
        elif d.name in _KNOWN:
            yield d.name, d.value
