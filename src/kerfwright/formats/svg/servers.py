"""Paint servers: whether a reference paints, and with one colour under a name (SVG 2, 13 and 14).

A gradient of one colour is a swatch: programs keep named colours so, and its name is the ink.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from kerfwright.formats.notes import Notes
from kerfwright.formats.svg.cascade import Cascade
from kerfwright.formats.svg.paints import Paint, PaintError, colour_of
from kerfwright.formats.svg.style import Style, alpha_of
from kerfwright.formats.svg.tree import Element, Tree, href_of, local_name
from kerfwright.formats.text import name_of

_GRADIENTS: Final = ("linearGradient", "radialGradient")
_SOLID: Final = ("solidColor", "solidcolor")
_LONGEST: Final = 16  # references of gradients to others
_BOX_UNITS: Final = "objectBoundingBox"


@dataclass(frozen=True, slots=True)
class Coat:
    """What a paint comes to.

    Parameters
    ----------
    is_seen : bool
        Whether anything is painted.
    colour : str
        ``#rrggbb``; empty where there is no single one.
    alpha : float
        From 0 to 1.
    ink : str
        Name of the ink or swatch; empty when it has none.
    is_plain : bool
        Whether it is one colour all over.
    """

    is_seen: bool = False
    colour: str = ""
    alpha: float = 1.0
    ink: str = ""
    is_plain: bool = True


BARE: Final = Coat()


@dataclass(frozen=True, slots=True)
class Servers:
    """Looks up what paints come to."""

    tree: Tree
    cascade: Cascade
    notes: Notes

    def coat(self, paint: Paint, style: Style, alpha: float, *, is_flat: bool) -> Coat:
        """Return what a paint comes to.

        Parameters
        ----------
        paint : Paint
            As declared.
        style : Style
            Of the element.
        alpha : float
            Opacity beside that of the colour.
        is_flat : bool
            Whether the box around the shape has no width or no height, which servers that are
            relative to it cannot paint.
        """
        if paint.server is not None:
            found = self._served(paint.server, alpha, is_flat=is_flat)
            if found is not None:
                return found
        if paint.is_none:
            return BARE
        colour, own = style.colour if paint.is_current else (paint.colour, paint.alpha)
        return Coat(own * alpha > 0.0, colour, own * alpha, paint.ink)

    def _served(self, reference: str, alpha: float, *, is_flat: bool) -> Coat | None:
        """Return what a server paints, None where the fallback has to."""
        server = self.tree.ids.get(reference[1:]) if reference[:1] == "#" else None
        kind = "" if server is None else local_name(server)
        if server is None or kind not in (*_GRADIENTS, *_SOLID, "pattern"):
            self.notes.count("SVG-135", f"paint {name_of(reference)[:40]}")
            return None
        ink = name_of(reference[1:])
        if kind in _SOLID:
            colour, own = self._stop(server, "solid")
            return Coat(own * alpha > 0.0, colour, own * alpha, ink)
        chain = self._chain(server)
        if kind == "pattern":
            if not any(len(s) for s in chain):
                return BARE
            if is_flat and _units(chain, "patternUnits") == _BOX_UNITS:
                return None
            self.notes.count("SVG-116", ink[:40])
            return Coat(alpha > 0.0, alpha=alpha, is_plain=False)
        return self._gradient(chain, alpha, ink, is_flat=is_flat)

    def _gradient(
        self, chain: list[Element], alpha: float, ink: str, *, is_flat: bool
    ) -> Coat | None:
        stops = next(
            (found for s in chain if (found := [c for c in s if local_name(c) == "stop"])), []
        )
        if not stops:
            return BARE
        colours = {self._stop(s, "stop") for s in stops}
        if len(colours) == 1:
            colour, own = colours.pop()
            return Coat(own * alpha > 0.0, colour, own * alpha, ink)
        if is_flat and _units(chain, "gradientUnits") == _BOX_UNITS:
            return None
        return Coat(alpha > 0.0, alpha=alpha, is_plain=False)

    def _stop(self, element: Element, prefix: str) -> tuple[str, float]:
        """Return colour and opacity of a stop."""
        declared = self.cascade.of(element)
        colour, alpha = "#000000", 1.0
        if f"{prefix}-color" in declared:
            with suppress(PaintError):  # only the colour of print is in doubt
                colour, alpha = colour_of(declared[f"{prefix}-color"].text) or (colour, alpha)
        if f"{prefix}-opacity" in declared:
            with suppress(ValueError):
                alpha *= alpha_of(declared[f"{prefix}-opacity"].text)
        return colour, alpha

    def _chain(self, server: Element) -> list[Element]:
        """Return a server and those it takes what it lacks from."""
        chain = [server]
        while len(chain) < _LONGEST:
            reference = href_of(chain[-1]) or ""
            following = self.tree.ids.get(reference[1:]) if reference[:1] == "#" else None
            if following is None or following in chain:
                break
            chain.append(following)
        return chain


def _units(chain: list[Element], name: str) -> str:
    return next((str(s.get(name)) for s in chain if s.get(name)), _BOX_UNITS)
