"""The walk through everything that is drawn, with a stack of its own instead of recursion.

An element is met at a *spot*: with the matrix, style, clip and names it takes from what lies
around it. A copy (``use``) is met as if what it shows lay in it. Each shape that is painted is
drawn into the pile; everything else that shows is counted, so that nothing is left out in silence.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Final

from kerfwright.errors import OutOfResourcesError, UnreadableError
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.store import NO_CLIP, Store
from kerfwright.formats.svg.cascade import OWN, Cascade, Declared, Value
from kerfwright.formats.svg.clip_paths import ClipPaths
from kerfwright.formats.svg.clips import Clips
from kerfwright.formats.svg.conditions import chosen, depends_on_language, holds
from kerfwright.formats.svg.drawer import Drawer, is_flat
from kerfwright.formats.svg.lengths import ACROSS, UPRIGHT, Viewport
from kerfwright.formats.svg.looking import WHOLE, Looking, word
from kerfwright.formats.svg.matrices import UNIT, Matrix, product
from kerfwright.formats.svg.names import Naming
from kerfwright.formats.svg.numbers import HugeNumberError
from kerfwright.formats.svg.page import Page
from kerfwright.formats.svg.painting import Painter
from kerfwright.formats.svg.pile import Outlining
from kerfwright.formats.svg.servers import Servers
from kerfwright.formats.svg.shapes import SHAPES
from kerfwright.formats.svg.spot import Above, Shape, Spot
from kerfwright.formats.svg.style import INITIAL, alpha_of
from kerfwright.formats.svg.tree import Element, Tree, bare_name, href_of, local_name, place_of
from kerfwright.formats.svg.viewport import fitted, view_box_of
from kerfwright.formats.text import name_of

_GROUPS: Final = ("g", "a", "switch")
_PICTURES: Final = ("image", "foreignObject", "video", "canvas", "iframe", "audio")
_SILENT: Final = frozenset((
    "defs", "symbol", "clipPath", "mask", "marker", "pattern", "linearGradient", "radialGradient",
    "meshgradient", "hatch", "solidColor", "solidcolor", "filter", "style", "script", "title",
    "desc", "metadata", "animate", "animateTransform", "animateMotion", "animateColor", "set",
    "view", "cursor", "font", "font-face", "color-profile", "link", "stop", "discard", "mpath",
))  # fmt: skip
_ACTIVE: Final = frozenset((
    "animate", "animateTransform", "animateMotion", "animateColor", "set", "script",
))  # fmt: skip
_SHOWING: Final = frozenset((*SHAPES, "use", "text", "image"))
_MOVED_SINCE_SVG_2: Final = ("svg", "symbol")
_CLIPPED: Final = ("hidden", "scroll", "clip")
_NO: Final = ("", "none", "initial", "unset")
_CLEAR: Final = (*_NO, "transparent")
_ORIGIN: Final = {"x": Value("0", is_style=False), "y": Value("0", is_style=False)}


@dataclass(slots=True)
class Walker:
    """Walks a drawing and keeps what is painted: `pile`, `shapes`, `matrices`, `clips`."""

    tree: Tree
    cascade: Cascade
    page: Page
    notes: Notes
    file: str
    limits: ReadLimits
    pile: Outlining = field(init=False)
    clips: Clips = field(init=False)
    looking: Looking = field(init=False)
    drawer: Drawer = field(init=False)
    painter: Painter = field(init=False)
    clip_paths: ClipPaths = field(init=False)
    shapes: list[Shape] = field(default_factory=list)
    matrices: dict[Matrix, int] = field(default_factory=dict)
    stack: list[tuple[Element, Spot]] = field(default_factory=list)
    naming: Naming = field(default_factory=Naming)
    steps: int = 0
    hidden: set[Element] = field(default_factory=set)
    enter: dict[str, Callable[[Element, Declared, Spot], None]] = field(init=False)

    def __post_init__(self) -> None:
        """Make the parts that share its file, limits and notes."""
        self.pile = Outlining(self.file, self.limits)
        self.clips = Clips(Store(self.file, self.limits))
        self.looking = Looking(self.cascade, self.page.px, self.notes)
        self.drawer = Drawer(self.looking)
        servers = Servers(self.tree, self.cascade, self.notes)
        self.painter = Painter(servers, self.notes, self.naming, self.page.unit_px_mm)
        scratch = Outlining(self.file, self.limits)
        self.clip_paths = ClipPaths(self.tree, self.clips, self.drawer, scratch)
        self.enter = {
            **dict.fromkeys(SHAPES, self._shape), **dict.fromkeys(_GROUPS, self._group),
            "svg": self._drawing, "symbol": self._drawing, "use": self._use,
        }  # fmt: skip

    def walk(self) -> None:
        """Go through the whole drawing.

        Raises
        ------
        UnreadableError
            If a number is beyond what a drawing can mean.
        OutOfResourcesError
            If a limit was reached.
        """
        if active := sum(1 for e in self.tree.root.iter() if local_name(e) in _ACTIVE):
            self.notes.count("SVG-118", "animations and scripts", active)
        if self.page.is_empty:
            return
        clip = self.clips.rectangle(NO_CLIP, UNIT, *self.page.size_mm)
        spot = Spot(
            matrix=self.page.mm_from_user, viewport=self.page.inside, style=INITIAL, own={},
            clip=clip,
        )  # fmt: skip
        self.stack.append((self.tree.root, spot))
        while self.stack:
            element, spot = self.stack.pop()
            self._count_steps(1)
            try:
                self._visit(element, spot)
            except HugeNumberError as error:
                msg = (
                    f"{self.file}: {place_of(element)}: the number {error} is beyond 1e30, which "
                    "no drawing can mean; correct it or delete the element"
                )
                raise UnreadableError(msg) from error

    def _count_steps(self, number: int) -> None:
        self.steps += number
        if self.steps > self.limits.operators:
            raise self._too_many(self.limits.operators, "elements and lines")

    def _too_many(self, limit: int, what: str) -> OutOfResourcesError:
        msg = (
            f"{self.file}: the drawing comes to more than {limit} {what}, which is the limit; "
            "leave out what is not cut, or raise the limit"
        )
        return OutOfResourcesError(msg)

    # ------------------------------------------------------------ one element

    def _visit(self, element: Element, spot: Spot) -> None:
        kind = local_name(element)
        is_shown_symbol = kind == "symbol" and spot.size is not None
        if not kind or (kind in _SILENT and not is_shown_symbol):
            self._skip(element, kind)
            return
        if not holds(element):
            self.notes.count("SVG-123", place_of(element))
            return
        declared = self._resolved(element, spot)
        if word(declared, "display") == "none":
            self._hide(element)
            return
        inner = self._inside(element, declared, spot)
        if kind in self.enter:
            self.enter[kind](element, declared, inner)
        else:
            self._other(element, kind, inner)

    def _skip(self, element: Element, kind: str) -> None:
        """Pass over what is never drawn; say so where shapes lie in something unknown."""
        if not kind and any(local_name(e) in SHAPES for e in element.iter()):
            self.notes.count("SVG-114", bare_name(element))

    def _other(self, element: Element, kind: str, spot: Spot) -> None:
        if not (spot.is_seen and spot.style.is_visible):
            self._hide(element)
        elif kind == "text":
            self.notes.count("SVG-110", spot.layer or place_of(element))
        elif kind in _PICTURES:
            self.notes.count("SVG-113", place_of(element))
        else:
            self.notes.count("SVG-114", bare_name(element))

    def _hide(self, element: Element) -> None:
        """Count what is hidden, once for each element of the file."""
        if element in self.hidden:
            return
        self.hidden.add(element)
        if count := sum(1 for e in element.iter() if local_name(e) in _SHOWING):
            self.notes.count("SVG-121", place_of(element), count)

    def _resolved(self, element: Element, spot: Spot) -> Declared:
        """Return what an element declares, with "inherit" of what is not handed down resolved."""
        declared = self.cascade.of(element)
        asked = [n for n, v in declared.items() if n in OWN and v.text.lower() == "inherit"]
        if not asked:
            return declared
        found = {n: v for n, v in declared.items() if n not in asked}
        return found | {n: spot.own[n] for n in asked if n in spot.own}

    def _inside(self, element: Element, declared: Declared, spot: Spot) -> Spot:
        """Return the spot of an element's own content: style, matrix and clips applied."""
        style = self.looking.style(element, declared, spot)
        self.looking.root = self.looking.root or style
        matrix = spot.matrix
        if "transform" in declared:
            if local_name(element) in _MOVED_SINCE_SVG_2:
                self.notes.count("SVG-104", place_of(element))
            matrix = product(self.looking.matrix(element, declared, spot, style), matrix)
        inner = replace(
            spot, matrix=matrix, style=style, own=declared, above=Above(element, spot.above),
            is_seen=spot.is_seen and self._is_seen(element, declared),
        )  # fmt: skip
        for name, code in (("filter", "SVG-117"), ("mask", "SVG-142")):
            if word(declared, name) not in _NO:
                self.notes.count(code, place_of(element))
        if word(declared, "clip-path") in _NO:
            return inner
        clip = self.clip_paths.clip(declared["clip-path"].text, inner, place_of(element))
        return replace(inner, clip=clip)

    def _is_seen(self, element: Element, declared: Declared) -> bool:
        value = declared.get("opacity")
        if value is None or value.text.lower() in ("initial", "unset"):
            return True
        try:
            return alpha_of(value.text) > 0.0
        except ValueError:
            self.looking.complain(element, "opacity", value.text)
            return True

    # ------------------------------------------------------------ containers

    def _push(self, elements: Iterable[Element], spot: Spot) -> None:
        found = [(e, spot) for e in elements if isinstance(e.tag, str)]
        self.stack += reversed(found)

    def _group(self, element: Element, _: Declared, spot: Spot) -> None:
        layer, names = (
            self.naming.layer(element) or spot.layer,
            (*spot.names, *self.naming.names(element)),
        )
        inside = replace(spot, layer=layer, names=names, size=None)
        if local_name(element) != "switch":
            self._push(element, inside)
            return
        if any(depends_on_language(child) for child in element):
            self.notes.count("SVG-123", place_of(element))
        child = chosen(element)
        self._push([] if child is None else [child], inside)

    def _drawing(self, element: Element, declared: Declared, spot: Spot) -> None:
        """Enter an ``svg`` or a symbol that is shown."""
        if element is self.tree.root:
            backgrounds = (word(declared, n) for n in ("background", "background-color"))
            if any(b not in _CLEAR for b in backgrounds):
                self.notes.count("SVG-119", place_of(element))
            self._push(element, replace(spot, names=self.naming.names(element)))
            return
        is_symbol = local_name(element) == "symbol"
        asked = {**declared, **(spot.size or {}), **(_ORIGIN if is_symbol else {})}
        get = self.looking.lengths(element, asked, spot)
        w, h = get("width", ACROSS), get("height", UPRIGHT)
        w = spot.viewport.width if w is None or w < 0.0 else w
        h = spot.viewport.height if h is None or h < 0.0 else h
        shift = (1.0, 0.0, 0.0, 1.0, get("x", ACROSS) or 0.0, get("y", UPRIGHT) or 0.0)
        matrix, clip = product(shift, spot.matrix), spot.clip
        if word(declared, "overflow", "hidden") in _CLIPPED:
            clip = self.clips.rectangle(clip, matrix, w, h)
        inner, viewport = self._view(element, w, h)
        if inner is None:
            self._hide(element)
            return
        inside = replace(
            spot, matrix=product(inner, matrix), viewport=viewport, clip=clip, size=None,
            layer=spot.layer if is_symbol else self.naming.layer(element) or spot.layer,
            names=(*spot.names, *self.naming.names(element)),
        )  # fmt: skip
        self._push(element, inside)

    def _view(self, element: Element, w: float, h: float) -> tuple[Matrix | None, Viewport]:
        """Return the matrix of an inner viewBox, None where it draws nothing, and its viewport."""
        viewport = Viewport(w, h)
        if w <= 0.0 or h <= 0.0:
            return None, viewport
        try:
            box = view_box_of(element.get("viewBox"))
            if box is None:
                return UNIT, viewport
            if box.is_empty:
                return None, viewport
            aspect = str(element.get("preserveAspectRatio") or "")
            return fitted(box, w, h, aspect), Viewport(box.width, box.height)
        except HugeNumberError:
            raise
        except ValueError as error:
            self.looking.complain(element, "viewBox or preserveAspectRatio", str(error))
            return UNIT, viewport

    def _use(self, element: Element, declared: Declared, spot: Spot) -> None:
        reference = href_of(element)
        if not reference:
            return
        target = self.tree.ids.get(reference[1:]) if reference[0] == "#" else None
        if target is None:
            code = "SVG-135" if reference[0] == "#" else "SVG-136"
            self.notes.count(code, name_of(reference)[:60])
            return
        if any(e is target for e in spot.above or ()):
            self.notes.count("SVG-134", place_of(element))
            return
        if spot.copies >= self.limits.nesting:
            raise self._too_many(self.limits.nesting, "copies within one another")
        get = self.looking.lengths(element, declared, spot)
        shift = (1.0, 0.0, 0.0, 1.0, get("x", ACROSS) or 0.0, get("y", UPRIGHT) or 0.0)
        inside = replace(
            spot, matrix=product(shift, spot.matrix), own={}, copies=spot.copies + 1,
            names=(*spot.names, *self.naming.names(element)), size=_size_for(target, declared),
        )  # fmt: skip
        self._push([target], inside)

    # ------------------------------------------------------------ shapes

    def _shape(self, element: Element, declared: Declared, spot: Spot) -> None:
        mark = self.pile.begin(len(self.shapes))
        self.drawer.draw(element, declared, spot, self.pile)
        self._count_steps(len(self.pile.kinds) - mark[0])
        if len(self.pile.starts) == mark[1]:
            return
        shape = None
        if spot.style.is_visible:
            matrix = self.matrices.setdefault(spot.matrix, len(self.matrices))
            shape = self.painter.shape(element, spot, matrix, lambda: is_flat(self.pile, mark[0]))
        else:
            self._hide(element)
        if shape is None:
            self.pile.back(mark)
            return
        self.shapes.append(shape)
        if len(self.shapes) > self.limits.entities:
            raise self._too_many(self.limits.entities, "shapes")


def _size_for(target: Element, declared: Declared) -> Declared | None:
    """Return the size a copy asks of what it shows; only drawings and symbols take one."""
    kind = local_name(target)
    if kind not in ("svg", "symbol"):
        return None
    size: Declared = {n: v for n, v in declared.items() if n in ("width", "height")}
    return {"width": WHOLE, "height": WHOLE, **size} if kind == "symbol" else size
