"""Whether a shape is painted, and with what: fill, stroke or both make it a line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt
from typing import Final

from kerfwright.formats.notes import Notes
from kerfwright.formats.svg.looking import word
from kerfwright.formats.svg.matrices import determinant
from kerfwright.formats.svg.names import Naming
from kerfwright.formats.svg.paints import Paint
from kerfwright.formats.svg.servers import BARE, Coat, Servers
from kerfwright.formats.svg.spot import Shape, Spot
from kerfwright.formats.svg.tree import Element, local_name, place_of

_MARKED: Final = ("path", "line", "polyline", "polygon")


@dataclass(frozen=True, slots=True)
class Painter:
    """Decides about paint.

    Parameters
    ----------
    servers : Servers
        Looks up paint servers.
    notes : Notes
        Where lines that nobody sees, dashes and markers are counted.
    naming : Naming
        Names of elements.
    px_mm : float
        Millimetres in one px of the page.
    """

    servers: Servers
    notes: Notes
    naming: Naming
    px_mm: float

    def shape(
        self, element: Element, spot: Spot, matrix: int, flat: Callable[[], bool]
    ) -> Shape | None:
        """Return a shape as it is painted, None where nothing of it can be seen.

        Parameters
        ----------
        element : element
            The shape, drawn at `spot`.
        spot : Spot
            Where, with its own style and matrix.
        matrix : int
            Index of the matrix.
        flat : callable
            Tells whether the box around it has no width or no height.
        """
        fill, stroke = self._coats(element, spot, flat)
        if not (fill.is_seen or stroke.is_seen):
            self.notes.count("SVG-120", place_of(element))
            return None
        style = spot.style
        if style.has_markers and local_name(element) in _MARKED:
            self.notes.count("SVG-115", place_of(element))
        if stroke.is_seen and style.is_dashed:
            self.notes.count("SVG-122", spot.layer or place_of(element))
        return Shape(
            element=element,
            matrix=matrix,
            clip=spot.clip,
            layer=spot.layer,
            names=(*spot.names, *self.naming.names(element)),
            fill=fill,
            stroke=stroke,
            width=self._width(spot) if stroke.is_seen else 0.0,
            fill_rule=style.fill_rule,
        )

    def _coats(self, element: Element, spot: Spot, flat: Callable[[], bool]) -> tuple[Coat, Coat]:
        """Return fill and stroke; a line has no inside, and a matrix may leave nothing."""
        style = spot.style
        is_served = style.fill.server is not None or style.stroke.server is not None
        is_flat = is_served and flat()
        if not spot.is_seen or determinant(spot.matrix) == 0.0:
            return BARE, BARE

        def coat(paint: Paint, alpha: float) -> Coat:
            return self.servers.coat(paint, style, alpha, is_flat=is_flat)

        is_line = local_name(element) == "line"
        fill = BARE if is_line else coat(style.fill, style.fill_alpha)
        stroke = coat(style.stroke, style.stroke_alpha) if style.width > 0.0 else BARE
        return fill, stroke

    def _width(self, spot: Spot) -> float:
        if word(spot.own, "vector-effect") == "non-scaling-stroke":
            return spot.style.width * self.px_mm
        return spot.style.width * sqrt(abs(determinant(spot.matrix)))
