"""The style an element ends up with: inherited and declared, relative sizes resolved."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

from kerfwright.formats.svg.cascade import INHERITED, Declared, Value
from kerfwright.formats.svg.lengths import (
    DIAGONAL,
    UPRIGHT,
    Measures,
    Viewport,
    length_of,
    line_height,
    split_length,
)
from kerfwright.formats.svg.numbers import HugeNumberError
from kerfwright.formats.svg.paints import BLACK, NOTHING, Paint, colour_of, paint_of

INITIAL_FONT: Final = 16.0  # px, what "medium" is to programs, common practice, no source
_KEEP: Final = ("inherit", "unset", "revert", "revert-layer")
_FONT_WORDS: Final = {
    "xx-small": 9.0, "x-small": 10.0, "small": 13.0, "medium": 16.0, "large": 18.0,
    "x-large": 24.0, "xx-large": 32.0, "xxx-large": 48.0,
}  # fmt: skip
_FONT_STEP: Final = {"smaller": 1.0 / 1.2, "larger": 1.2}
_SPLIT: Final = re.compile(r"[\s,]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """Inherited properties of an element that bear on its lines.

    Parameters
    ----------
    colour : tuple of str and float
        The current colour, ``#rrggbb``, with its alpha.
    fill, stroke : Paint
        As declared; `painted` looks up what they come to.
    width : float
        Of the stroke, in user units.
    fill_alpha, stroke_alpha : float
        From 0 to 1.
    fill_rule, clip_rule : str
        ``nonzero`` or ``evenodd``.
    is_dashed, is_visible, has_markers : bool
        Whether the stroke is dashed, the element seen, ends and corners marked.
    font : float
        Font size in user units.
    line : float
        Height of a line in user units.
    """

    colour: tuple[str, float] = ("#000000", 1.0)
    fill: Paint = BLACK
    stroke: Paint = NOTHING
    width: float = 1.0
    fill_alpha: float = 1.0
    stroke_alpha: float = 1.0
    fill_rule: str = "nonzero"
    clip_rule: str = "nonzero"
    is_dashed: bool = False
    is_visible: bool = True
    has_markers: bool = False
    font: float = INITIAL_FONT
    line: float = 1.2 * INITIAL_FONT


INITIAL: Final = Style()


@dataclass(frozen=True, slots=True)
class Sizes:
    """What relative values of one element are relative to: `root` is the style of the root."""

    viewport: Viewport
    page: Viewport
    root: Style | None

    def measures(self, style: Style) -> Measures:
        """Return the sizes relative units have in an element of a style."""
        root = self.root or style
        return Measures(style.font, root.font, style.line, root.line, self.page)


Complain = Callable[[str, str], None]
"""Takes a property and its text, where the text cannot be read."""


def styled(parent: Style, declared: Declared, sizes: Sizes, complain: Complain) -> Style:
    """Return the style of an element inside another one.

    Parameters
    ----------
    parent : Style
        Style it inherits from.
    declared : dict
        What it declares.
    sizes : Sizes
        What relative values are relative to.
    complain : callable
        Told of each value that cannot be read; the property is then as if not declared.

    Raises
    ------
    HugeNumberError
        If a number is beyond what a drawing can mean.
    """
    if declared.keys().isdisjoint(INHERITED):
        return parent
    changes: dict[str, Any] = {}
    if "font-size" in declared or "line-height" in declared:
        changes.update(_font(parent, declared, sizes, complain))
    fonted = replace(parent, **changes) if changes else parent
    for name, (field, read) in _READERS.items():
        value = declared.get(name)
        if value is None:
            continue
        for candidate in value:
            word = candidate.text.lower()
            if word in _KEEP:
                break
            if word == "initial":
                changes[field] = getattr(INITIAL, field)
                break
            try:
                changes[field] = read(candidate, fonted, sizes)
                break
            except HugeNumberError:
                raise
            except ValueError:
                complain(name, candidate.text)
    if any(name in declared for name in _MARKERS):
        changes["has_markers"] = _has_markers(parent, declared)
    return replace(parent, **changes) if changes else parent


def _font(parent: Style, declared: Declared, sizes: Sizes, complain: Complain) -> dict[str, float]:
    size, font = declared.get("font-size"), parent.font
    if size is not None:
        try:
            font = _font_size(size, parent, sizes)
        except HugeNumberError:
            raise
        except ValueError:
            complain("font-size", size.text)
    height = declared.get("line-height")
    line = parent.line if height is None else line_height(height.text, font, parent.line)
    return {"font": font, "line": line}


def _font_size(value: Value, parent: Style, sizes: Sizes) -> float:
    word = value.text.lower()
    if word in _KEEP:
        return parent.font
    if word in _FONT_STEP:
        return parent.font * _FONT_STEP[word]
    if word in _FONT_WORDS:
        return _FONT_WORDS[word]
    if split_length(word)[1] == "%":
        return split_length(word)[0] / 100.0 * parent.font
    return length_of(word, sizes.viewport, sizes.measures(parent), UPRIGHT)


def _colour(value: Value, style: Style, _: Sizes) -> tuple[str, float]:
    return colour_of(value.text) or style.colour


def _paint(value: Value, _: Style, __: Sizes) -> Paint:
    return paint_of(value.text)


def _width(value: Value, style: Style, sizes: Sizes) -> float:
    found = length_of(value.text, sizes.viewport, sizes.measures(style), DIAGONAL)
    if found < 0.0:
        raise ValueError(value.text)
    return found


def _alpha(value: Value, _: Style, __: Sizes) -> float:
    return alpha_of(value.text)


def alpha_of(text: str) -> float:
    """Return an opacity from 0 to 1.

    Raises
    ------
    ValueError
        If it is none.
    """
    number, unit = split_length(text)
    if unit not in ("", "%"):
        raise ValueError(text)
    return min(max(number / 100.0 if unit else number, 0.0), 1.0)


def _rule(value: Value, _: Style, __: Sizes) -> str:
    word = value.text.lower()
    if word not in ("nonzero", "evenodd"):
        raise ValueError(word)
    return word


def _dashed(value: Value, style: Style, sizes: Sizes) -> bool:
    """Return whether a list of dashes breaks the line: their sum is above 0, none is negative."""
    if value.text.lower() == "none":
        return False
    measures = sizes.measures(style)
    parts = [p for p in _SPLIT.split(value.text) if p]
    lengths = [length_of(p, sizes.viewport, measures, DIAGONAL) for p in parts]
    if not lengths or min(lengths) < 0.0:
        raise ValueError(value.text)
    gaps = lengths[1::2] if len(lengths) % 2 == 0 else lengths
    return sum(lengths) > 0.0 and sum(gaps) > 0.0


def _visible(value: Value, _: Style, __: Sizes) -> bool:
    word = value.text.lower()
    if word not in ("visible", "hidden", "collapse"):
        raise ValueError(word)
    return word == "visible"


_MARKERS: Final = ("marker-start", "marker-mid", "marker-end")


def _has_markers(parent: Style, declared: Declared) -> bool:
    words = [declared[name].text.lower() for name in _MARKERS if name in declared]
    return any(w.startswith("url") or (w in _KEEP and parent.has_markers) for w in words)


_READERS: Final[dict[str, tuple[str, Callable[[Value, Style, Sizes], object]]]] = {
    "color": ("colour", _colour), "fill": ("fill", _paint), "stroke": ("stroke", _paint),
    "stroke-width": ("width", _width), "fill-opacity": ("fill_alpha", _alpha),
    "stroke-opacity": ("stroke_alpha", _alpha), "fill-rule": ("fill_rule", _rule),
    "clip-rule": ("clip_rule", _rule), "stroke-dasharray": ("is_dashed", _dashed),
    "visibility": ("is_visible", _visible),
}  # fmt: skip
