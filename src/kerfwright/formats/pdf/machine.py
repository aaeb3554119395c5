"""The graphics machine: runs content streams and gives every painted path to the store.

Only what decides where lines lie and what they are called is kept. Every operator is guarded:
one with operands that make no sense is counted, and a path with such an operator is left out
whole, because half a path is a wrong cut.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from kerfwright.errors import KerfwrightError, OutOfResourcesError, UnreadableError
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.document import Streams
from kerfwright.formats.pdf.inks import Spaces
from kerfwright.formats.pdf.layers import NO_LAYER, Layer, Layers
from kerfwright.formats.pdf.lexer import INLINE_IMAGE, Name, operators
from kerfwright.formats.pdf.page import PageFrame
from kerfwright.formats.pdf.path_building import BUILDERS, BadOperandsError, PathBuilder
from kerfwright.formats.pdf.state import COLOUR_WORDS, Frame, State
from kerfwright.formats.pdf.store import CLOSE, LINE, MOVE, Shape, Store
from kerfwright.formats.pdf.values import (
    UNIT_MATRIX,
    entry,
    entry_named,
    identity,
    inherited,
    is_dictionary,
    is_stream,
    name_bytes,
    number,
    numbers,
    product,
    text_of,
)

_MOST_SAVED: Final = 10_000  # q in q; printers stop at 28 (ISO 32000-1 annex C, from memory)
_INVISIBLE_TEXT: Final = 3.0
_SHOWN: Final = 24
_NOWHERE: Final = slice(0)
_QUADRILATERAL: Final = bytes((MOVE, LINE, LINE, LINE, CLOSE))
_WITHOUT_EFFECT: Final = frozenset(
    b"J j M d i ri BT ET Tc Tw Tz TL Tf Ts Td TD Tm T* d0 d1 MP DP BX EX".split()
)
_PAINTS: Final = {  # operator: closes first, fills, strokes
    b"S": (False, False, True), b"s": (True, False, True), b"f": (False, True, False),
    b"F": (False, True, False), b"f*": (False, True, False), b"B": (False, True, True),
    b"B*": (False, True, True), b"b": (True, True, True), b"b*": (True, True, True),
    b"n": (False, False, False),
}  # fmt: skip


@dataclass(slots=True)
class Machine:
    """Runs the content of one page.

    Parameters
    ----------
    store : Store
        Takes the painted paths.
    streams : Streams
        Unpacks content.
    layers : Layers
        Knows the layers of the file.
    notes : Notes
        Where everything else is counted.
    file : str
        Name of the file, for messages.
    limits : ReadLimits
        How long it may run.
    """

    store: Store
    streams: Streams
    layers: Layers
    notes: Notes
    file: str
    limits: ReadLimits
    spaces: Spaces = field(init=False)
    state: State = field(default_factory=lambda: State(UNIT_MATRIX))
    frame: Frame = field(default_factory=lambda: Frame((), NO_LAYER))
    layer: Layer = NO_LAYER
    saved: list[State] = field(default_factory=list)
    marks: list[Layer] = field(default_factory=list)
    path: PathBuilder = field(default_factory=PathBuilder)
    clipping: bytes = b""
    steps: int = 0
    placed: int = 0
    active: dict[tuple[int, int] | None, str] = field(default_factory=dict)
    contents: dict[tuple[int, int] | None, bytes] = field(default_factory=dict)
    calls: dict[bytes, Callable[[list[Any]], None]] = field(init=False)

    def __post_init__(self) -> None:
        """Bind the operators that take operands or have an effect of their own."""
        self.spaces = Spaces(self.notes)
        self.calls = {
            b"q": self._save, b"Q": self._restore, b"cm": self._concatenate, b"w": self._width,
            b"gs": self._parameters, b"Do": self._place, b"sh": self._shading,
            b"BMC": self._begin_marked, b"BDC": self._begin_marked, b"EMC": self._end_marked,
            b"Tr": self._text_mode, INLINE_IMAGE: self._inline_image,
            **dict.fromkeys((b"Tj", b"TJ", b"'", b'"'), self._text),
        }  # fmt: skip

    def run_page(self, page: object, frame: PageFrame) -> None:
        """Run a page that lies as `frame` says; nothing outside its media box can be seen.

        Raises
        ------
        UnreadableError
            If content is damaged, or a form holds itself.
        OutOfResourcesError
            If a limit was reached.
        """
        self.state = State(frame.mm_from_user)
        self._clip_box(frame.media)
        resources = inherited(page, "/Resources")
        self._run(self.streams.page_content(page), Frame((resources,), NO_LAYER))

    def _clip_box(self, box: tuple[float, ...]) -> None:
        """Clip all that follows to a box of the current user space."""
        x0, y0, x1, y1 = box
        corners = array("d", (x0, y0, x1, y0, x1, y1, x0, y1))
        self.state.clip = self.store.clip(
            self.state.clip, _QUADRILATERAL, corners, self.state.ctm, even_odd=False
        )

    def _run(self, data: bytes, frame: Frame) -> None:
        outer = self.frame, self.layer, self.saved, self.marks
        self.frame, self.layer, self.saved, self.marks = frame, frame.layer, [], []
        self.path.clear()
        for word, operands in operators(data):
            self.steps += 1
            if self.steps > self.limits.operators:
                raise self._too_many(self.limits.operators, "operators")
            try:
                self._step(word, operands)
            except KerfwrightError:  # some of them are value errors as well
                raise
            except (BadOperandsError, TypeError, ValueError, OverflowError):
                self.notes.count("PDF-130", text_of(word)[:_SHOWN])
        for what, left in (("q", self.saved), ("BMC", self.marks)):
            if left:
                self.notes.count("PDF-130", f"{what} without its end", len(left))
        self.path.clear()
        self.frame, self.layer, self.saved, self.marks = outer

    def _step(self, word: bytes, operands: list[Any]) -> None:
        if word in BUILDERS:
            self.path.build(word, operands)
        elif word in _PAINTS:
            self._paint(word)
        elif word in self.calls:
            self.calls[word](operands)
        elif word in COLOUR_WORDS:
            self.state.choose_colour(word, operands, self.spaces, self._colour_space)
        elif word in (b"W", b"W*"):
            self.clipping = word
        elif word not in _WITHOUT_EFFECT:
            raise BadOperandsError

    # ------------------------------------------------------------ paths

    def _paint(self, word: bytes) -> None:
        closes, fills, strokes = _PAINTS[word]
        path, state = self.path, self.state
        if closes:
            path.close()
        if path.is_broken:
            painted = int(fills or strokes)
            self.notes.count("PDF-131", "paths with unreadable operators", painted)
        elif path.ops:
            if fills or strokes:
                self.store.add(self._shape(fills=fills, strokes=strokes), path.ops, path.xy)
            if self.clipping:
                state.clip = self.store.clip(
                    state.clip, bytes(path.ops), path.xy, state.ctm,
                    even_odd=self.clipping == b"W*",
                )  # fmt: skip
        self.clipping = b""
        path.clear()

    def _shape(self, *, fills: bool, strokes: bool) -> Shape:
        state = self.state
        return Shape(
            _NOWHERE, _NOWHERE, self.store.matrix(state.ctm), state.clip, self.layer,
            self.frame.forms, state.fill if fills else None, state.stroke if strokes else None,
            state.width if strokes else 0.0,
        )  # fmt: skip

    # ------------------------------------------------------------ state

    def _save(self, _: list[Any]) -> None:
        if len(self.saved) >= _MOST_SAVED:
            raise self._too_many(_MOST_SAVED, "saved graphics states")
        self.saved.append(self.state.copy())

    def _restore(self, _: list[Any]) -> None:
        if not self.saved:
            raise BadOperandsError
        self.state = self.saved.pop()

    def _concatenate(self, operands: list[Any]) -> None:
        a, b, c, d, e, f = map(_checked, operands)
        self.state.ctm = product((a, b, c, d, e, f), self.state.ctm)
        if self.path.ops:
            self.path.is_broken = True  # which part of the path it moves, readers disagree

    def _width(self, operands: list[Any]) -> None:
        (width,) = operands
        self.state.width = abs(_checked(width))

    def _text_mode(self, operands: list[Any]) -> None:
        (mode,) = operands
        self.state.text_mode = _checked(mode)

    def _parameters(self, operands: list[Any]) -> None:
        """Take the line width of a parameter dictionary; nothing else of it moves a line."""
        (name,) = operands
        width = number(entry(self._resource("ExtGState", name), "/LW"))
        if width is not None:
            self.state.width = abs(width)

    def _colour_space(self, name: Name) -> object:
        return self._resource("ColorSpace", name)

    def _resource(self, kind: str, name: object) -> Any:  # noqa: ANN401 - what the file holds
        """Return an entry of the nearest resources that have it, None if none has."""
        if not isinstance(name, Name):
            raise BadOperandsError
        for resources in self.frame.resources:
            found = entry_named(entry(resources, "/" + kind), name)
            if found is not None:
                return found
        self.notes.count("PDF-135", f"{kind} {text_of(name)}")
        return None

    # ------------------------------------------------------------ layers

    def _begin_marked(self, operands: list[Any]) -> None:
        self.marks.append(self.layer)
        if not operands or operands[0] != b"OC":
            return
        name = operands[-1]
        if not isinstance(name, Name) or len(operands) != 2:
            self.notes.count("PDF-125", "content marked OC without a name")
            return
        found = self.layers.layer_of(self._resource("Properties", name))
        if found is None:
            self.notes.count("PDF-125", text_of(name))
        else:
            self.layer = self.layers.inside(self.layer, found)

    def _end_marked(self, _: list[Any]) -> None:
        if not self.marks:
            raise BadOperandsError
        self.layer = self.marks.pop()

    def _layer_of(self, thing: object) -> Layer:
        """Return where a form or picture stands, by its own entry OC."""
        optional = entry(thing, "/OC")
        found = self.layers.layer_of(optional)
        if found is None:
            if optional is not None:
                self.notes.count("PDF-125", "OC of a form or picture")
            return self.layer
        return self.layers.inside(self.layer, found)

    # ------------------------------------------------------------ print that is no line

    def _text(self, _: list[Any]) -> None:
        if self.state.text_mode != _INVISIBLE_TEXT:
            self._art("texts", self.layer)

    def _shading(self, _: list[Any]) -> None:
        self._art("shadings", self.layer)

    def _inline_image(self, _: list[Any]) -> None:
        self._art("pictures", self.layer)

    def _art(self, kind: str, layer: Layer) -> None:
        self.notes.count("PDF-110", kind)
        if layer.step:
            code = "PDF-111" if kind == "texts" else "PDF-112"
            self.notes.count(code, f"{layer.name} ({layer.step})")

    # ------------------------------------------------------------ forms

    def _place(self, operands: list[Any]) -> None:
        (name,) = operands
        thing = self._resource("XObject", name)
        if thing is None:
            return
        kind = name_bytes(entry(thing, "/Subtype"))
        if kind == b"Image":
            self._art("pictures", self._layer_of(thing))
        elif kind == b"Form" and is_stream(thing):
            self._place_form(thing, text_of(name))
        else:
            self.notes.count("PDF-135", f"XObject {text_of(name)}")

    def _place_form(self, form: Any, name: str) -> None:  # noqa: ANN401 - what the file holds
        key = identity(form)
        chain = [*self.active.values(), name]
        if key in self.active:
            msg = (
                f"{self.file}: form {name} holds itself ({' > '.join(chain)}); have the file "
                "exported anew"
            )
            raise UnreadableError(msg)
        if self.path.ops:
            self.notes.count("PDF-131", "paths with a form inside")
        self.placed += 1
        if self.placed > self.limits.instances:
            raise self._too_many(self.limits.instances, "placed forms")
        if len(self.active) >= self.limits.nesting:
            raise self._too_many(self.limits.nesting, "forms within one another")
        if key not in self.contents:
            self.contents[key] = self.streams.decoded(form, f"form {name}")
        before, self.active[key] = self.state, name
        self._run_form(form, self.contents[key], name)
        del self.active[key]
        self.state = before

    def _run_form(self, form: Any, data: bytes, name: str) -> None:  # noqa: ANN401
        matrix = entry(form, "/Matrix")
        found = UNIT_MATRIX if matrix is None else numbers(matrix, 6)
        if found is None:
            self.notes.count("PDF-131", f"forms with a matrix that is none ({name})")
            return
        a, b, c, d, e, f = found
        self.state = self.state.copy()
        self.state.ctm = product((a, b, c, d, e, f), self.state.ctm)
        box = numbers(entry(form, "/BBox"), 4)
        if box is not None:
            self._clip_box(box)
        own = entry(form, "/Resources")
        around = self.frame.resources
        resources = (own, *around) if is_dictionary(own) else around
        frame = Frame(resources, self._layer_of(form), (*self.frame.forms, _plain(name)))
        self._run(data, frame)

    def _too_many(self, limit: int, what: str) -> OutOfResourcesError:
        msg = (
            f"{self.file}: the page comes to more than {limit} {what}, which is the limit; leave "
            "out what is not cut, or raise the limit"
        )
        return OutOfResourcesError(msg)


def _checked(value: object) -> float:
    if not isinstance(value, float):
        raise BadOperandsError
    return value


def _plain(name: str) -> str:
    """Return the name of a form without the sign that parts names in the source of a line."""
    return name.replace(">", "?")
