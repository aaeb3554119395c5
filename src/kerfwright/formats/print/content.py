"""A content stream with what must not print taken out, and all else left as it is.

What is left out: content of optional content groups that are steps or hidden, and paint of
given inks. Only painting is taken out; matrix, clip and text position still take effect, as
ISO 32000-2, 8.11.3.2 asks of hidden content. Marks of optional content are dissolved: what is
left always prints.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any, Final

import pikepdf
from pikepdf import Token, TokenFilter, TokenType

from kerfwright.formats.print.inks import Space, space_of
from kerfwright.formats.print.names import key_text, raw_name_text
from kerfwright.formats.print.visibility import Visibility, Why

# what is left of an operator when it may (fill and stroke, stroke only, fill only, neither)
_PAINT: Final = {
    b"S": (b"S", b"S", b"n", b"n"),
    b"s": (b"s", b"s", b"n", b"n"),
    b"f": (b"f", b"n", b"f", b"n"),
    b"F": (b"F", b"n", b"F", b"n"),
    b"f*": (b"f*", b"n", b"f*", b"n"),
    b"B": (b"B", b"S", b"f", b"n"),
    b"B*": (b"B*", b"S", b"f*", b"n"),
    b"b": (b"b", b"s", b"f", b"n"),
    b"b*": (b"b*", b"s", b"f*", b"n"),
}
_FILLS: Final = frozenset((b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*"))
_STROKES: Final = frozenset((b"S", b"s", b"B", b"B*", b"b", b"b*"))
_TEXT: Final = frozenset((b"Tj", b"TJ", b"'", b'"'))
_DEVICE: Final = {b"g": "fill", b"rg": "fill", b"k": "fill"} | {
    b"G": "stroke",
    b"RG": "stroke",
    b"K": "stroke",
}
_SPACES: Final = {b"cs": "fill", b"CS": "stroke"}
_COLOURS: Final = {b"sc": "fill", b"scn": "fill", b"SC": "stroke", b"SCN": "stroke"}
# text modes by whether fill and stroke are left: 0 fill, 1 stroke, 2 both, 3 neither
_MODE: Final = {(True, True): 2, (True, False): 0, (False, True): 1, (False, False): 3}
_FILLING, _STROKING = (0, 2), (1, 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """The part of the graphics state that decides whether paint is left out.

    Parameters
    ----------
    fill, stroke : str
        Ink for which fills and strokes are left out; "" when they print.
    text_mode : int
        Text rendering mode.
    """

    fill: str = ""
    stroke: str = ""
    text_mode: int = 0


@dataclass(slots=True, kw_only=True)
class Surroundings:
    """What a content stream is read with.

    Parameters
    ----------
    resources : Dictionary
        Its resources.
    visibility : Visibility
        States of the file's groups.
    drop : frozenset of str
        Inks to leave out.
    form : callable
        Takes a form and the pen it starts with; gives the operand to call it by.
    left_out : Counter
        How many painted things were left out, by reason.
    used : set of tuple of str
        Kind and name of the patterns, graphics states and inks the content uses.
    """

    resources: Any
    visibility: Visibility
    drop: frozenset[str]
    form: Callable[[Any, Pen], bytes]
    left_out: Counter[Why]
    used: set[tuple[str, str]] = field(default_factory=set)
    _known: dict[str, dict[str, Any]] = field(default_factory=dict)

    def find(self, kind: str, name: str) -> Any:  # noqa: ANN401
        """Return an entry of the resources; None when there is none."""
        if kind not in self._known:
            self._known[kind] = entries_of(self.resources, kind)
        return self._known[kind].get(name)


def entries_of(resources: Any, kind: str) -> dict[str, Any]:  # noqa: ANN401
    """Return the entries of one kind of resource by the text of their names."""
    group = resources.get(f"/{kind}")
    if not isinstance(group, pikepdf.Dictionary):
        return {}
    return {key_text(key): value for key, value in group.items()}


class ContentFilter(TokenFilter):
    """Rewrites one content stream token by token; `text` is what comes out."""

    def __init__(self, around: Surroundings, pen: Pen) -> None:
        super().__init__()
        self._around = around
        self._pen = pen
        self._saved: list[Pen] = []
        self._spaces = {"fill": Space(), "stroke": Space()}
        self._saved_spaces: list[dict[str, Space]] = []
        self._marked: list[tuple[bool, Why | None]] = []  # is optional content, why hidden
        self._pieces: list[bytes] = []
        self._pending: list[bytes] = []
        self._operands: list[Token] = []
        self._in_image = False

    @property
    def text(self) -> bytes:
        """The stream as rewritten so far; marks and states the file left open are closed."""
        marks = sum(not is_optional for is_optional, _ in self._marked)
        closing = b"\nEMC" * marks + b"\nQ" * len(self._saved)
        return b"".join(self._pieces) + closing + b"\n"

    def handle_token(self, token: Token) -> None:
        """Take one token in."""
        kind = token.type_
        if kind == TokenType.word and (not self._in_image or token.raw_value == b"EI"):
            self._operator(token.raw_value)
            return
        self._pending.append(token.raw_value)
        if kind not in {TokenType.space, TokenType.comment, TokenType.eof}:
            self._operands.append(token)

    # ------------------------------------------------------------ operators

    def _operator(self, word: bytes) -> None:
        if word == b"BI":
            self._in_image = True
            self._pending.append(word)
            return
        written = self._rewritten(word)
        if written is not None:
            self._pieces += [*self._pending, written]
        self._pending, self._operands = [], []

    def _rewritten(self, word: bytes) -> bytes | None:
        """Return what stands for an operator after its operands; None leaves both out."""
        if word in _PAINT:
            return self._paint(word)
        if word in _TEXT:
            return self._show(word)
        if word in {b"BDC", b"BMC", b"EMC"}:
            return self._mark(word)
        if word in {b"Do", b"sh", b"EI"}:
            return self._place(word)
        if word == b"Q" and not self._saved:
            return None
        self._follow_state(word)
        return word

    def _follow_state(self, word: bytes) -> None:
        if word == b"q":
            self._saved.append(self._pen)
            self._saved_spaces.append(dict(self._spaces))
        elif word == b"Q":
            self._pen, self._spaces = self._saved.pop(), self._saved_spaces.pop()
        elif word == b"Tr" and self._numbers():
            self._pen = replace(self._pen, text_mode=int(self._numbers()[-1]))
        elif word == b"gs":
            self._around.used.add(("ExtGState", self._last_name()))
        elif word in _DEVICE:
            self._set_space(_DEVICE[word], Space())
        elif word in _SPACES:
            self._set_space(_SPACES[word], self._space_named(self._last_name()))
        elif word in _COLOURS:
            self._set_colour(_COLOURS[word])

    # ------------------------------------------------------------ colour

    def _set_space(self, use: str, space: Space) -> None:
        self._spaces[use] = space
        self._set_pen(use, space.dropped([], self._around.drop))

    def _set_colour(self, use: str) -> None:
        name = self._last_name()
        self._around.used.add(("Pattern", name))
        pattern = self._around.find("Pattern", name)
        if isinstance(pattern, pikepdf.Dictionary) and "/Shading" in pattern:
            space = space_of(pattern["/Shading"].get("/ColorSpace"))
            self._set_pen(use, space.dropped([], self._around.drop))
            return
        self._set_pen(use, self._spaces[use].dropped(self._numbers(), self._around.drop))

    def _set_pen(self, use: str, ink: str) -> None:
        changed = {"fill": ink} if use == "fill" else {"stroke": ink}
        self._pen = replace(self._pen, **changed)  # type: ignore[arg-type]

    def _space_named(self, name: str) -> Space:
        return replace(space_of(self._around.find("ColorSpace", name)), name=name)

    def _use(self, *uses: str) -> None:
        """Note the inks that something is painted with."""
        spaces = (self._spaces[use] for use in uses)
        self._around.used |= {("ColorSpace", space.name) for space in spaces if space.name}

    # ------------------------------------------------------------ painting

    def _paint(self, word: bytes) -> bytes:
        fills, strokes = word in _FILLS, word in _STROKES
        why = self._why_hidden()
        if why is not None:
            self._count(why)
            return _PAINT[word][3]
        no_fill, no_stroke = fills and self._pen.fill, strokes and self._pen.stroke
        for ink in {no_fill, no_stroke} - {"", False}:
            self._count(Why(kind="ink", name=str(ink)))
        self._use(*["fill"] * (fills and not no_fill), *["stroke"] * (strokes and not no_stroke))
        return _PAINT[word][2 * bool(no_stroke) + bool(no_fill)]

    def _show(self, word: bytes) -> bytes:
        old = self._pen.text_mode
        why = self._why_hidden()
        fill, stroke = old % 4 in _FILLING, old % 4 in _STROKING
        left = (fill and not self._pen.fill, stroke and not self._pen.stroke)
        if why is not None:
            left = (False, False)
        elif left != (fill, stroke):
            ink = self._pen.fill if fill and self._pen.fill else self._pen.stroke
            why = Why(kind="ink", name=ink)
        self._use(*["fill"] * left[0], *["stroke"] * left[1])
        mode = _MODE[left] + 4 * (old >= 4)
        if mode == old or why is None:
            return word
        # text out of sight still moves the place of what comes next
        self._count(why)
        self._pieces.append(b" %d Tr " % mode)
        return word + b" %d Tr" % old

    def _place(self, word: bytes) -> bytes | None:
        self._in_image = False
        why = self._why_hidden()
        if why is None and word == b"Do":
            return self._call()
        if why is None:
            why = self._ink_of_shading() if word == b"sh" else self._ink_of_inline_image()
        if why is not None:
            self._count(why)
            return None
        return word

    def _call(self) -> bytes | None:
        name = self._last_name()
        what = self._around.find("XObject", name)
        if not isinstance(what, pikepdf.Stream):
            return None  # nothing is painted by a name that names nothing
        why = self._around.visibility.why_hidden(what["/OC"]) if "/OC" in what else None
        is_form = raw_name_text(what.get("/Subtype", pikepdf.Name.Image).unparse()) == "Form"
        if why is None and not is_form:
            why = self._ink_of_image(what)
        if why is not None:
            self._count(why)
            return None
        self._use(*["fill"] * (not self._pen.fill), *["stroke"] * (not self._pen.stroke))
        if not is_form:
            return b"Do"
        self._pending = [b" "]
        return self._around.form(what, self._pen) + b" Do"

    def _ink_of_image(self, image: Any) -> Why | None:  # noqa: ANN401
        if image.get("/ImageMask", False):
            return _ink(self._pen.fill)
        return _ink(space_of(image.get("/ColorSpace")).dropped([], self._around.drop))

    def _ink_of_inline_image(self) -> Why | None:
        words = [t.raw_value for t in self._operands]
        after = dict(pairwise(words))
        if b"true" in {after.get(b"/IM"), after.get(b"/ImageMask")}:
            self._use(*["fill"] * (not self._pen.fill))
            return _ink(self._pen.fill)
        space = self._space_named(raw_name_text(after.get(b"/CS", after.get(b"/ColorSpace", b""))))
        ink = space.dropped([], self._around.drop)
        if not ink:
            self._around.used.add(("ColorSpace", space.name))
        return _ink(ink)

    def _ink_of_shading(self) -> Why | None:
        shading = self._around.find("Shading", self._last_name())
        if not isinstance(shading, (pikepdf.Dictionary, pikepdf.Stream)):
            return None
        return _ink(space_of(shading.get("/ColorSpace")).dropped([], self._around.drop))

    # ------------------------------------------------------------ marked content

    def _mark(self, word: bytes) -> bytes | None:
        if word == b"EMC":
            if not self._marked:
                return None
            is_optional, _ = self._marked.pop()
            return None if is_optional else word
        names = [t.raw_value for t in self._operands]
        content = None
        if word == b"BDC" and len(names) == 2 and raw_name_text(names[0]) == "OC":
            content = self._around.find("Properties", raw_name_text(names[1]))
        if content is None:
            self._marked.append((False, None))
            return word
        self._marked.append((True, self._around.visibility.why_hidden(content)))
        return None

    def _why_hidden(self) -> Why | None:
        return next((why for _, why in reversed(self._marked) if why is not None), None)

    def _count(self, why: Why) -> None:
        self._around.left_out[why] += 1

    # ------------------------------------------------------------ operands

    def _last_name(self) -> str:
        return raw_name_text(self._operands[-1].raw_value) if self._operands else ""

    def _numbers(self) -> list[float]:
        kinds = {TokenType.integer, TokenType.real}
        return [float(t.raw_value) for t in self._operands if t.type_ in kinds]


def _ink(name: str) -> Why | None:
    return Why(kind="ink", name=name) if name else None
