"""Where in the drawing an element is met: everything it takes from what lies around it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from kerfwright.formats.svg.cascade import Declared
from kerfwright.formats.svg.lengths import Viewport
from kerfwright.formats.svg.matrices import Matrix
from kerfwright.formats.svg.servers import Coat
from kerfwright.formats.svg.style import Style
from kerfwright.formats.svg.tree import Element


@dataclass(frozen=True, slots=True)
class Above:
    """The elements a copy is met through, the innermost first; copies count as lying there."""

    element: Element
    outer: Above | None

    def __iter__(self) -> Iterator[Element]:
        here: Above | None = self
        while here is not None:
            yield here.element
            here = here.outer


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where an element is met.

    Parameters
    ----------
    matrix : tuple of float
        From its user units to the artwork frame.
    viewport : Viewport
        What percentages are of.
    style : Style
        What it inherits.
    own : dict
        What the element around it declares and does not hand down.
    clip : int
        Clip over it.
    layer : str
        Layer it lies on.
    names : tuple of str
        Names of all that lies around it, the outermost first.
    above : Above or None
        Elements around it.
    copies : int
        How many copies within copies it is in.
    is_seen : bool
        Whether no opacity around it is 0.
    size : dict or None
        Width and height that a copy asks of the symbol or drawing it shows; None elsewhere.
    """

    matrix: Matrix
    viewport: Viewport
    style: Style
    own: Declared
    clip: int
    layer: str = ""
    names: tuple[str, ...] = ()
    above: Above | None = None
    copies: int = 0
    is_seen: bool = True
    size: Declared | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """One shape that is painted.

    Parameters
    ----------
    element : element
        What it was drawn as.
    matrix, clip : int
        Index of its matrix, and of the clip over it.
    layer : str
        Layer it lies on.
    names : tuple of str
        Names of all that lies around it, the outermost first, then its own classes.
    fill, stroke : Coat
        What it is painted with.
    width : float
        Width of the stroke in the artwork frame [mm].
    fill_rule : str
        ``nonzero`` or ``evenodd``.
    """

    element: Element
    matrix: int
    clip: int
    layer: str
    names: tuple[str, ...]
    fill: Coat
    stroke: Coat
    width: float
    fill_rule: str

    @property
    def ink(self) -> Coat:
        """The coat that names the line: the stroke's, or the fill's where that alone is named."""
        if not self.stroke.is_seen or (self.fill.ink and not self.stroke.ink):
            return self.fill
        return self.stroke
