"""What ``q`` saves, as far as lines need it, and what a content stream is run with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from kerfwright.formats.pdf.inks import BLACK, CMYK, GREY, RGB, Ink, Space, Spaces
from kerfwright.formats.pdf.layers import Layer
from kerfwright.formats.pdf.lexer import Name
from kerfwright.formats.pdf.path_building import BadOperandsError
from kerfwright.formats.pdf.store import NO_CLIP
from kerfwright.formats.pdf.values import Matrix

_DEVICE = {
    b"g": (GREY, False), b"G": (GREY, True), b"rg": (RGB, False), b"RG": (RGB, True),
    b"k": (CMYK, False), b"K": (CMYK, True),
}  # fmt: skip
_SPACE = {b"cs": False, b"CS": True}
_CHOICE = {b"sc": False, b"scn": False, b"SC": True, b"SCN": True}
COLOUR_WORDS = frozenset((*_DEVICE, *_SPACE, *_CHOICE))
"""Operators that choose a colour space or a colour."""


@dataclass(slots=True)
class State:
    """The graphics state."""

    ctm: Matrix
    clip: int = NO_CLIP
    width: float = 1.0
    fill: Ink = BLACK
    stroke: Ink = BLACK
    fill_space: Space = GREY
    stroke_space: Space = GREY
    text_mode: float = 0.0

    def copy(self) -> State:
        """Return a state of its own with the same values."""
        return State(
            self.ctm, self.clip, self.width, self.fill, self.stroke, self.fill_space,
            self.stroke_space, self.text_mode,
        )  # fmt: skip

    def set_ink(self, ink: Ink, *, strokes: bool) -> None:
        """Choose the ink of strokes or of fills."""
        if strokes:
            self.stroke = ink
        else:
            self.fill = ink

    def set_space(self, space: Space, *, strokes: bool) -> None:
        """Choose a colour space, and with it its first colour."""
        if strokes:
            self.stroke_space = space
        else:
            self.fill_space = space
        self.set_ink(space.first_ink(), strokes=strokes)

    def choose_colour(
        self,
        word: bytes,
        operands: list[Any],
        spaces: Spaces,
        resource: Any,  # noqa: ANN401
    ) -> None:
        """Run an operator of `COLOUR_WORDS`; `resource` looks up a colour space by name."""
        if word in _DEVICE:
            space, strokes = _DEVICE[word]
            self.set_space(space, strokes=strokes)
        elif word in _SPACE:
            strokes = _SPACE[word]
            (name,) = operands
            if not isinstance(name, Name):
                raise BadOperandsError
            known = spaces.device(name)
            self.set_space(known or spaces.space(resource(name)), strokes=strokes)
            return
        else:
            strokes = _CHOICE[word]
        space = self.stroke_space if strokes else self.fill_space
        ink = spaces.chosen(space, operands)
        if ink is None:
            self.set_ink(Ink(), strokes=strokes)
            raise BadOperandsError
        self.set_ink(ink, strokes=strokes)


@dataclass(frozen=True, slots=True)
class Frame:
    """What a content stream is run with: resources, nearest first; layer; forms around it."""

    resources: tuple[Any, ...]
    layer: Layer
    forms: tuple[str, ...] = ()
