"""The matrix of an element: its transform about its origin (CSS Transforms 1, SVG 2 chapter 8)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from kerfwright.formats.svg.cascade import Declared, Value
from kerfwright.formats.svg.lengths import ACROSS, UPRIGHT
from kerfwright.formats.svg.matrices import (
    UNIT,
    Matrix,
    TransformError,
    about,
    attribute_transform,
    style_transform,
)
from kerfwright.formats.svg.numbers import HugeNumberError

_KEYWORDS: Final = {
    "left": (ACROSS, "0%"), "right": (ACROSS, "100%"), "top": (UPRIGHT, "0%"),
    "bottom": (UPRIGHT, "100%"), "center": (-1, "50%"),
}  # fmt: skip
_PAGE_BOX: Final = ("", "view-box", "initial")


def matrix_of(
    declared: Declared, length: Callable[[str, int], float], complain: Callable[[str, str], None]
) -> Matrix:
    """Return the matrix an element puts its content under.

    Parameters
    ----------
    declared : dict
        What it declares.
    length : callable
        Takes a length and an axis and returns it in user units; raises ValueError.
    complain : callable
        Told of a property and its text that cannot be read; it is then as if not declared.

    Raises
    ------
    HugeNumberError
        If a number is beyond what a drawing can mean.
    """
    value = declared.get("transform")
    if value is None or not value.text:
        return UNIT
    try:
        matrix = _read(value, length)
    except HugeNumberError:
        raise
    except TransformError:
        complain("transform", value.text)
        return UNIT
    origin = declared.get("transform-origin")
    if origin is None or matrix == UNIT:
        return matrix
    box = declared.get("transform-box")
    if box is not None and box.text.lower() not in _PAGE_BOX:
        complain("transform-box", box.text)
    try:
        return about(matrix, *origin_of(origin.text, length))
    except HugeNumberError:
        raise
    except ValueError:
        complain("transform-origin", origin.text)
        return matrix


def _read(value: Value, length: Callable[[str, int], float]) -> Matrix:
    if not value.is_style:
        return attribute_transform(value.text)
    word = value.text.lower()
    return UNIT if word in ("initial", "unset", "revert") else style_transform(value.text, length)


def origin_of(text: str, length: Callable[[str, int], float]) -> tuple[float, float]:
    """Return the point of a ``transform-origin``: one or two of lengths and keywords.

    Raises
    ------
    ValueError
        If it is no point in the plane.
    """
    words = text.lower().split()
    if len(words) == 3 and words[2] in ("0", "0px"):
        words = words[:2]
    if len(words) == 1:
        words.append("center")
    if len(words) != 2:
        raise ValueError(text)
    axes = [_KEYWORDS.get(w, (-1, w))[0] for w in words]
    if all(w in _KEYWORDS for w in words) and (axes[0] == UPRIGHT or axes[1] == ACROSS):
        words.reverse()  # keywords, and they alone, may stand the other way round
        axes.reverse()
    if axes[0] == UPRIGHT or axes[1] == ACROSS:
        raise ValueError(text)
    x, y = (_KEYWORDS.get(w, (-1, w))[1] for w in words)
    return length(x, ACROSS), length(y, UPRIGHT)
