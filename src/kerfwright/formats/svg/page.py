"""The page: its size, and the matrix from its user units to the artwork frame (SVG 2, 8).

A width or height with a unit settles the size; px and bare numbers are 1/96 inch by the standard.
Where the file leaves one out, it follows from the viewBox; where it leaves both out, one unit of
the viewBox is taken as one px, which is what programs show, and that is said. Without a viewBox
the size is 300 x 150 px, the size CSS gives to what has none.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from kerfwright.formats.notes import Notes
from kerfwright.formats.svg.cascade import Declared
from kerfwright.formats.svg.lengths import (
    MM_PER_PX,
    PX,
    Measures,
    Viewport,
    length_of,
    split_length,
)
from kerfwright.formats.svg.matrices import UNIT, Matrix, product
from kerfwright.formats.svg.numbers import HugeNumberError
from kerfwright.formats.svg.style import INITIAL_FONT
from kerfwright.formats.svg.tree import Element
from kerfwright.formats.svg.viewport import ViewBox, fitted, view_box_of
from kerfwright.units import DRAWING_UNITS_MM

DEFAULT_SIZE: Final = Viewport(300.0, 150.0)
_AUTO: Final = ("", "auto", "initial", "inherit", "unset")
_OF_WINDOW: Final = ("%", "vw", "vh", "vi", "vb", "vmin", "vmax")
_SHOWN_PX: Final = ("", "px")


@dataclass(slots=True)
class Sides:
    """Width and height as the file gives them, None where it does not, in px."""

    width: float | None = None
    height: float | None = None
    units: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """Size and place of a page.

    Parameters
    ----------
    px : Viewport
        Size in px.
    inside : Viewport
        Size in user units, what percentages are of.
    mm_from_user : tuple of float
        Matrix from user units to the artwork frame.
    size_mm : tuple of float
        Width and height [mm].
    unit : str
        Unit it was read in.
    unit_mm : float
        Millimetres in that unit.
    unit_px_mm : float
        Millimetres in one px of the page.
    doubt : str
        Why the unit is not certain; empty when it is.
    contradicted : str
        What the file says where a person says otherwise; empty otherwise.
    """

    px: Viewport
    inside: Viewport
    mm_from_user: Matrix
    size_mm: tuple[float, float]
    unit: str = "mm"
    unit_mm: float = 1.0
    unit_px_mm: float = MM_PER_PX
    doubt: str = ""
    contradicted: str = ""

    @property
    def is_empty(self) -> bool:
        """Whether it has no area, so that nothing on it is drawn."""
        return min(self.size_mm) <= 0.0


def page_of(
    root: Element, declared: Declared, *, units: str | None, scale: float, notes: Notes
) -> Page:
    """Return the page of a drawing, enlarged by `scale`.

    Parameters
    ----------
    root : element
        The outermost ``svg``.
    declared : dict
        What it declares.
    units : str or None
        Unit of its user units as a person says, a word of `DRAWING_UNITS_MM`.
    scale : float
        Factor by which the drawing is enlarged.
    notes : Notes
        Where bad values are said.
    """
    box = _view_box(root, notes)
    sides = _sides(declared, notes)
    said = f"{declared['width'].text} x {declared['height'].text}" if len(sides.units) == 2 else ""
    px = _size(sides, box)
    if units is not None:
        return _told(box, px, units, scale, said or ", ".join(_given(declared, sides)))
    inside = Viewport(box.width, box.height) if box else px
    matrix = UNIT
    if box and not box.is_empty:
        aspect = str(root.get("preserveAspectRatio") or "")
        try:
            matrix = fitted(box, px.width, px.height, aspect)
        except ValueError:
            notes.count("SVG-133", f"preserveAspectRatio {aspect[:40]!r} of the page")
            matrix = fitted(box, px.width, px.height, "")
    k = MM_PER_PX * scale
    size_mm = (0.0, 0.0) if box and box.is_empty else (px.width * k, px.height * k)
    doubt = ""
    if not sides.units:
        doubt = "it gives no size" if box else "it gives neither a size nor a viewBox"
    elif any(unit in _SHOWN_PX for unit in sides.units):
        notes.add("SVG-103", params={"width": f"{size_mm[0]:.6g}", "height": f"{size_mm[1]:.6g}"})
    is_px = bool(doubt) or sides.units[0] in _SHOWN_PX
    return Page(
        px=px,
        inside=inside,
        mm_from_user=product(matrix, (k, 0.0, 0.0, -k, 0.0, px.height * k)),
        size_mm=size_mm,
        unit="px" if is_px else "mm",
        unit_mm=MM_PER_PX if is_px else 1.0,
        unit_px_mm=k,
        doubt=doubt,
    )


def _told(box: ViewBox | None, px: Viewport, units: str, scale: float, said: str) -> Page:
    """Return the page where a person says what one user unit is."""
    u = DRAWING_UNITS_MM[units] * scale
    box = box or ViewBox(0.0, 0.0, px.width, px.height)
    return Page(
        px=px,
        inside=Viewport(box.width, box.height),
        mm_from_user=(u, 0.0, 0.0, -u, -box.x * u, (box.y + box.height) * u),
        size_mm=(box.width * u, box.height * u),
        unit=units,
        unit_mm=DRAWING_UNITS_MM[units],
        unit_px_mm=u,
        contradicted=said,
    )


def _given(declared: Declared, sides: Sides) -> list[str]:
    pairs = (("width", sides.width), ("height", sides.height))
    return [f"{name} {declared[name].text}" for name, value in pairs if value is not None]


def _view_box(root: Element, notes: Notes) -> ViewBox | None:
    text = root.get("viewBox")
    try:
        return view_box_of(text)
    except HugeNumberError:
        raise
    except ValueError:
        notes.count("SVG-133", f"viewBox {str(text)[:40]!r} of the page")
        return None


def _sides(declared: Declared, notes: Notes) -> Sides:
    sides = Sides()
    measures = Measures(INITIAL_FONT, INITIAL_FONT, INITIAL_FONT, INITIAL_FONT, DEFAULT_SIZE)
    for name in ("width", "height"):
        value = declared.get(name)
        if value is None or value.text.lower() in _AUTO:
            continue
        try:
            unit = split_length(value.text)[1]
            px = length_of(value.text, DEFAULT_SIZE, measures, 0)
        except HugeNumberError:
            raise
        except ValueError:
            px, unit = -1.0, ""
        if unit in _OF_WINDOW:
            continue
        if px < 0.0:
            notes.count("SVG-133", f"{name} {value.text[:40]!r} of the page")
            continue
        if value.is_style:
            notes.count("SVG-104", f"{name} of the page")
        sides.units.append(unit if unit in PX else "px")
        setattr(sides, name, px)
    return sides


def _size(sides: Sides, box: ViewBox | None) -> Viewport:
    """Return the size in px; a side that is missing keeps the shape of the viewBox."""
    w, h = sides.width, sides.height
    if box is None or box.is_empty:
        return Viewport(
            DEFAULT_SIZE.width if w is None else w, DEFAULT_SIZE.height if h is None else h
        )
    if w is None and h is None:
        return Viewport(box.width, box.height)
    if w is None:
        w = (h or 0.0) * box.width / box.height
    elif h is None:
        h = w * box.height / box.width
    return Viewport(w, h or 0.0)
