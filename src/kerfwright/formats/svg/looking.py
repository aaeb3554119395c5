"""Looks up what an element declares at the spot where it is met: lengths, style, matrix."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from kerfwright.formats.notes import Notes
from kerfwright.formats.svg.cascade import Cascade, Declared, Value
from kerfwright.formats.svg.lengths import Viewport, is_read_everywhere, length_of
from kerfwright.formats.svg.matrices import Matrix
from kerfwright.formats.svg.numbers import HugeNumberError
from kerfwright.formats.svg.placing import matrix_of
from kerfwright.formats.svg.shapes import Lengths
from kerfwright.formats.svg.spot import Spot
from kerfwright.formats.svg.style import Sizes, Style, styled
from kerfwright.formats.svg.tree import Element, place_of
from kerfwright.formats.text import name_of

WHOLE: Final = Value("100%", is_style=False)
_AUTO: Final = ("auto", "initial", "unset", "inherit")
_SHOWN: Final = 30


def word(declared: Declared, name: str, otherwise: str = "") -> str:
    """Return the value of a property in lower case."""
    value = declared.get(name)
    return otherwise if value is None else value.text.lower()


@dataclass(slots=True)
class Looking:
    """Looks up properties; what cannot be read is noted and counts as not declared.

    Parameters
    ----------
    cascade : Cascade
        What elements declare.
    page : Viewport
        Size of the page in px.
    notes : Notes
        Where values that cannot be read are counted.
    root : Style or None
        Style of the root, once it is known.
    """

    cascade: Cascade
    page: Viewport
    notes: Notes
    root: Style | None = None

    def style(self, element: Element, declared: Declared, spot: Spot) -> Style:
        """Return the style of an element met at a spot."""
        sizes = Sizes(spot.viewport, self.page, self.root)
        return styled(spot.style, declared, sizes, self._complaint(element))

    def matrix(self, element: Element, declared: Declared, spot: Spot, style: Style) -> Matrix:
        """Return the matrix of an element's own transform."""
        measures = Sizes(spot.viewport, self.page, self.root).measures(style)

        def length(text: str, axis: int) -> float:
            return length_of(text, spot.viewport, measures, axis)

        return matrix_of(declared, length, self._complaint(element))

    def lengths(self, element: Element, declared: Declared, spot: Spot) -> Lengths:
        """Return what looks up a length of an element met at a spot; None is "auto"."""
        measures = Sizes(spot.viewport, self.page, self.root).measures(spot.style)
        complain = self._complaint(element)

        def get(name: str, axis: int) -> float | None:
            for value in declared.get(name) or ():
                if value.text.lower() in _AUTO:
                    return None
                self._note_length(element, value)
                bare = not value.is_style
                try:
                    return length_of(value.text, spot.viewport, measures, axis, bare=bare)
                except HugeNumberError:
                    raise
                except ValueError:
                    complain(name, value.text)
            return None

        return get

    def _note_length(self, element: Element, value: Value) -> None:
        """Note a length that not every program reads, or reads where it stands."""
        if value.is_style:
            self.notes.count("SVG-104", place_of(element))
        if not is_read_everywhere(value.text):
            shown = name_of(value.text)[:_SHOWN]
            self.notes.count("SVG-107", f"{shown} of {place_of(element)}")

    def complain(self, element: Element, name: str, text: str) -> None:
        """Note a value that cannot be read."""
        code = "SVG-109" if name == "transform-box" else "SVG-133"
        self.notes.count(code, f"{name} {name_of(text)[:_SHOWN]!r} of {place_of(element)}")

    def _complaint(self, element: Element) -> Callable[[str, str], None]:
        return lambda name, text: self.complain(element, name, text)
