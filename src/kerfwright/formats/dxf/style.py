"""Layer, colour and width of an entity, and what it takes from its layer and its block.

Colours are "#rrggbb". Index 7 means black on a light and white on a dark ground; a printed sheet
is light, so it is black here. An entity on layer 0 of a block lies on the layer of the insert;
"by block" takes what the insert has (DXF reference).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from ezdxf.colors import aci2rgb, int2rgb

from kerfwright.formats.text import name_of

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document
    from ezdxf.entities.dxfentity import DXFEntity

BY_BLOCK, BY_LAYER, FOREGROUND, LAST_INDEX = 0, 256, 7, 255
_WIDTH_BY_LAYER, _WIDTH_BY_BLOCK = -1, -2
_BLACK: Final = "#000000"
_HUNDREDTHS: Final = 100.0
_POINTS_ONLY: Final = "defpoints"


@dataclass(frozen=True, slots=True)
class Style:
    """What an entity says of itself; an index of 0 and 256 stands for block and layer."""

    layer: str
    index: int
    colour: str  # true colour, empty when there is none
    width: int  # hundredths of a millimetre, negative as in the file


@dataclass(frozen=True, slots=True)
class Look:
    """Layer, colour and width that an entity really has; also what an insert hands down."""

    layer: str
    colour: str
    width_mm: float


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer of the file."""

    name: str
    colour: str
    width_mm: float
    off: bool
    frozen: bool

    @property
    def points_only(self) -> bool:
        """Whether it is the layer that CAD keeps for the points of dimensions."""
        return self.name.casefold() == _POINTS_ONLY


def style_of(entity: DXFEntity) -> Style:
    """Return what an entity says of itself."""
    dxf = entity.dxf
    true_colour = dxf.get("true_color")
    return Style(
        layer=name_of(str(dxf.get("layer", "0"))),
        index=int(dxf.get("color", BY_LAYER)),
        colour="" if true_colour is None else _hex(int(true_colour)),
        width=int(dxf.get("lineweight", _WIDTH_BY_LAYER)),
    )


def _hex(value: int) -> str:
    r, g, b = int2rgb(value & 0xFFFFFF)
    return f"#{r:02x}{g:02x}{b:02x}"


def colour_of_index(index: int) -> str:
    """Return the colour of a colour index; black for the foreground and for what is none."""
    if not 1 <= index <= LAST_INDEX or index == FOREGROUND:
        return _BLACK
    r, g, b = aci2rgb(index)
    return f"#{r:02x}{g:02x}{b:02x}"


class Layers:
    """The layers of a file, by name without regard to case."""

    def __init__(self, document: Document) -> None:
        self._known: dict[str, Layer] = {}
        for entry in document.layers:
            rgb = entry.rgb
            name = name_of(entry.dxf.name)
            self._known[name.casefold()] = Layer(
                name=name,
                colour="#{:02x}{:02x}{:02x}".format(*rgb) if rgb else colour_of_index(entry.color),
                width_mm=_width_mm(int(entry.dxf.get("lineweight", _WIDTH_BY_LAYER)), 0.0, 0.0),
                off=entry.is_off(),
                frozen=entry.is_frozen(),
            )

    def get(self, name: str) -> Layer:
        """Return a layer; one that the file does not describe is visible and black."""
        key = name.casefold()
        if key not in self._known:
            self._known[key] = Layer(
                name=name, colour=_BLACK, width_mm=0.0, off=False, frozen=False
            )
        return self._known[key]

    def look(self, style: Style, outer: Look | None) -> Look:
        """Return layer, colour and width of an entity inside what an insert hands down."""
        layer = self.get(outer.layer if style.layer == "0" and outer else style.layer)
        by_block = outer or Look(layer.name, _BLACK, 0.0)
        colour = style.colour
        if not colour and style.index == BY_BLOCK:
            colour = by_block.colour
        elif not colour:
            by_layer = not 1 <= style.index <= LAST_INDEX
            colour = layer.colour if by_layer else colour_of_index(style.index)
        return Look(layer.name, colour, _width_mm(style.width, layer.width_mm, by_block.width_mm))


def _width_mm(hundredths: int, of_layer: float, of_block: float) -> float:
    if hundredths == _WIDTH_BY_LAYER:
        return of_layer
    if hundredths == _WIDTH_BY_BLOCK:
        return of_block
    return max(hundredths, 0) / _HUNDREDTHS
