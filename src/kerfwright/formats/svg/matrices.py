"""Matrices of SVG: lists of transforms in the grammar of attributes and in that of style sheets.

A matrix (a, b, c, d, e, f) takes (x, y) to (a x + c y + e, b x + d y + f). Attribute: SVG 1.1
second edition, 7.6. Style sheets: CSS Transforms level 1, where lengths have units and angles too.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from math import cos, isfinite, pi, sin, tan
from typing import Final

from kerfwright.formats.svg.numbers import LARGEST, NUMBER, WSP, HugeNumberError, number_list
from kerfwright.units import RAD_PER_DEG

Matrix = tuple[float, float, float, float, float, float]
UNIT: Final[Matrix] = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)

_FUNCTION: Final = re.compile(rf"[{WSP}]*+([A-Za-z]+)[{WSP}]*+\(([^()]*)\)[{WSP}]*+")
_ANGLE: Final = re.compile(rf"({NUMBER})(deg|rad|grad|turn)?", re.IGNORECASE)
_DEGREES: Final = {"": 1.0, "deg": 1.0, "grad": 0.9, "turn": 360.0, "rad": 180.0 / pi}
_NUMBERS: Final = {
    "matrix": (6,), "translate": (1, 2), "scale": (1, 2), "rotate": (1, 3), "skewx": (1,),
    "skewy": (1,),
}  # fmt: skip
_ANGLES: Final = ("rotate", "skewx", "skewy", "skew")


class TransformError(ValueError):
    """A list of transforms that cannot be read; what is wrong is the argument."""


def product(inner: Matrix, outer: Matrix) -> Matrix:
    """Return the matrix that applies `inner` first and `outer` to the result.

    Raises
    ------
    HugeNumberError
        If a number grows beyond what a drawing can mean.
    """
    a, b, c, d, e, f = inner
    g, h, i, j, k, m = outer
    found = (
        a * g + b * i, a * h + b * j, c * g + d * i, c * h + d * j,
        e * g + f * i + k, e * h + f * j + m,
    )  # fmt: skip
    if not all(isfinite(v) and -LARGEST <= v <= LARGEST for v in found):
        raise HugeNumberError(f"{max(map(abs, found)):.3g} by transforms within one another")
    return found


def determinant(m: Matrix) -> float:
    """Return by which factor areas grow, negative where the matrix mirrors."""
    return m[0] * m[3] - m[1] * m[2]


def about(m: Matrix, x: float, y: float) -> Matrix:
    """Return a matrix applied about a point instead of the origin."""
    return product(product((1.0, 0.0, 0.0, 1.0, -x, -y), m), (1.0, 0.0, 0.0, 1.0, x, y))


def attribute_transform(text: str) -> Matrix:
    """Return the matrix of an attribute ``transform``; the whole list or nothing.

    Raises
    ------
    TransformError, HugeNumberError
        If it cannot be read.
    """
    return _listed(text, _attribute_function, gap=f"{WSP},")


def style_transform(text: str, length: Callable[[str, int], float]) -> Matrix:
    """Return the matrix of a property ``transform`` of a style sheet.

    Parameters
    ----------
    text : str
        Its value.
    length : callable
        Takes a length and 0 for across or 1 for upright, and returns it in user units; raises
        ValueError for what is none.

    Raises
    ------
    TransformError, HugeNumberError
        If it cannot be read.
    """

    def function(name: str, arguments: str) -> Matrix:
        return _style_function(name, arguments, length)

    return UNIT if text.strip().lower() == "none" else _listed(text, function, gap=WSP)


def _listed(text: str, function: Callable[[str, str], Matrix], *, gap: str) -> Matrix:
    matrix, place = UNIT, 0
    text = text.strip(WSP)
    while place < len(text):
        match = _FUNCTION.match(text, place)
        if match is None:
            msg = f"no transform at character {place + 1} ({text[place : place + 12]!r})"
            raise TransformError(msg)
        matrix = product(function(match[1], match[2]), matrix)
        place = match.end()
        while place < len(text) and text[place] in gap:
            place += 1
    return matrix


def _attribute_function(name: str, arguments: str) -> Matrix:
    numbers, sound = number_list(arguments)
    key = name.lower()
    if not sound or len(numbers) not in _NUMBERS.get(key, ()):
        msg = f"{name}({arguments[:24]}) is no transform"
        raise TransformError(msg)
    return _matrix_of(key, numbers)


def _style_function(name: str, arguments: str, length: Callable[[str, int], float]) -> Matrix:
    key, parts = name.lower(), [p.strip() for p in arguments.split(",")]
    try:
        if key.startswith("translate"):
            return _translation(key, parts, length)
        if key in _ANGLES:
            return _turned(key, [_degrees(p) for p in parts])
        if key in ("scalex", "scaley"):
            (factor,) = map(float, parts)
            return _matrix_of("scale", [factor, 1.0] if key == "scalex" else [1.0, factor])
        if key in ("scale", "matrix") and len(parts) in _NUMBERS[key]:
            return _matrix_of(key, [float(p) for p in parts])
    except ValueError:
        pass
    msg = f"{name}({arguments[:24]}) is no plane transform"
    raise TransformError(msg)


def _translation(key: str, parts: list[str], length: Callable[[str, int], float]) -> Matrix:
    if key == "translate" and len(parts) <= 2:
        return (1.0, 0.0, 0.0, 1.0, length(parts[0], 0), length(parts[1], 1) if parts[1:] else 0.0)
    (only,) = parts
    if key == "translatex":
        return 1.0, 0.0, 0.0, 1.0, length(only, 0), 0.0
    if key == "translatey":
        return 1.0, 0.0, 0.0, 1.0, 0.0, length(only, 1)
    raise ValueError(key)


def _degrees(text: str) -> float:
    match = _ANGLE.fullmatch(text)
    if match is None:
        raise ValueError(text)
    return float(match[1]) * _DEGREES[(match[2] or "").lower()]


def _turned(key: str, degrees: list[float]) -> Matrix:
    if key == "skew":
        x, y = degrees[0], degrees[1] if degrees[1:] else 0.0
        return 1.0, tan(y * RAD_PER_DEG), tan(x * RAD_PER_DEG), 1.0, 0.0, 0.0
    (only,) = degrees
    return _matrix_of(key, [only])


def _matrix_of(key: str, v: list[float]) -> Matrix:
    if key == "matrix":
        return v[0], v[1], v[2], v[3], v[4], v[5]
    if key == "translate":
        return 1.0, 0.0, 0.0, 1.0, v[0], v[1] if v[1:] else 0.0
    if key == "scale":
        return v[0], 0.0, 0.0, v[1] if v[1:] else v[0], 0.0, 0.0
    if key == "skewx":
        return 1.0, 0.0, tan(v[0] * RAD_PER_DEG), 1.0, 0.0, 0.0
    if key == "skewy":
        return 1.0, tan(v[0] * RAD_PER_DEG), 0.0, 1.0, 0.0, 0.0
    c, s = _cos_sin(v[0])
    turn = (c, s, -s, c, 0.0, 0.0)
    return about(turn, v[1], v[2]) if v[1:] else turn


def _cos_sin(degrees: float) -> tuple[float, float]:
    """Return cosine and sine, exact for quarter turns."""
    quarter = degrees % 360.0 / 90.0
    if quarter in (0.0, 1.0, 2.0, 3.0):
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter)]
    return cos(degrees * RAD_PER_DEG), sin(degrees * RAD_PER_DEG)
