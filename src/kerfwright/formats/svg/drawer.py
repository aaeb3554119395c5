"""Draws the shape of an element into a pile, in the element's own user units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from kerfwright.formats.svg.cascade import Declared, Value
from kerfwright.formats.svg.looking import Looking
from kerfwright.formats.svg.pile import LINE, WIDTH, Outlining
from kerfwright.formats.svg.shapes import (
    Lengths,
    draw_circle,
    draw_ellipse,
    draw_line,
    draw_path,
    draw_points,
    draw_rect,
)
from kerfwright.formats.svg.spot import Spot
from kerfwright.formats.svg.tree import Element, local_name, place_of

_ENDS: Final = ("x1", "y1", "x2", "y2")
_BY_LENGTHS: Final[dict[str, Callable[[Outlining, Lengths], None]]] = {
    "rect": draw_rect, "circle": draw_circle, "ellipse": draw_ellipse,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Drawer:
    """Draws shapes; faults of their data are noted."""

    looking: Looking

    def draw(self, element: Element, declared: Declared, spot: Spot, pile: Outlining) -> None:
        """Draw one shape, up to the first fault of its data."""
        kind, fault = local_name(element), ""
        if kind == "path":
            fault = _path(declared, pile)
        elif kind in ("polyline", "polygon"):
            fault = draw_points(pile, element.get("points") or "", closed=kind == "polygon")
        elif kind == "line":
            attributes = {n: Value(element.get(n) or "0", is_style=False) for n in _ENDS}
            ends = self.looking.lengths(element, attributes, spot)
            draw_line(pile, lambda name, axis: ends(name, axis) or 0.0)
        else:
            _BY_LENGTHS[kind](pile, self.looking.lengths(element, declared, spot))
        if fault:
            self.looking.notes.count("SVG-130", f"{place_of(element)}: {fault}")


def _path(declared: Declared, pile: Outlining) -> str:
    value = declared.get("d")
    if value is None or value.text == "none":
        return ""
    return "data in a style sheet" if value.is_style else draw_path(pile, value.text)


def is_flat(pile: Outlining, first: int) -> bool:
    """Return whether all pieces from one on lie on one upright or level line."""
    points = [
        pile.rows[WIDTH * k + i : WIDTH * k + i + 2]
        for k in range(first, len(pile.kinds))
        for i in ((0, 8) if pile.kinds[k] == LINE else (0, 2, 4, 8))
    ]
    return any(len({p[axis] for p in points}) <= 1 for axis in (0, 1))
