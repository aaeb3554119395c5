"""Values of PDF objects taken without trust: names in any bytes, numbers that may be words.

pikepdf gives dictionary keys as text in which bytes that are no UTF-8 stand as lone surrogates,
and refuses to print such names. Names are therefore handled as bytes.
"""

from __future__ import annotations

from decimal import Decimal
from math import isfinite
from typing import Any, Final

import pikepdf

from kerfwright.formats.text import name_of

Matrix = tuple[float, float, float, float, float, float]
"""a, b, c, d, e, f: ``x' = a x + c y + e``, ``y' = b x + d y + f``."""

UNIT_MATRIX: Final[Matrix] = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
_MOST_PARENTS: Final = 64


def product(first: Matrix, then: Matrix) -> Matrix:
    """Return the matrix that applies `first`, then `then`."""
    a, b, c, d, e, f = first
    p, q, r, s, t, u = then
    return (
        a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s, e * p + f * r + t,
        e * q + f * s + u,
    )  # fmt: skip


def text_of(raw: bytes) -> str:
    """Return a name as text: UTF-8 where it is, else the usual one-byte letters."""
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    return name_of(text)


def name_bytes(value: object) -> bytes | None:
    """Return the bytes of a name without its slash, None if the value is no name."""
    if isinstance(value, pikepdf.Object) and value._type_code == pikepdf.ObjectType.name_:  # noqa: SLF001
        return bytes(value)[1:]
    return None


def name_text(value: object) -> str | None:
    """Return a name as text, None if the value is no name."""
    raw = name_bytes(value)
    return None if raw is None else text_of(raw)


def is_dictionary(value: object) -> bool:
    """Return whether a value is a dictionary or a stream, which has one."""
    return isinstance(value, pikepdf.Object) and value._type_code in (  # noqa: SLF001
        pikepdf.ObjectType.dictionary,
        pikepdf.ObjectType.stream,
    )


def is_stream(value: object) -> bool:
    """Return whether a value is a stream."""
    return isinstance(value, pikepdf.Object) and (
        value._type_code == pikepdf.ObjectType.stream  # noqa: SLF001
    )


def items_of(value: object) -> list[Any]:
    """Return the items of an array, nothing for any other value."""
    if isinstance(value, pikepdf.Object) and value._type_code == pikepdf.ObjectType.array:  # noqa: SLF001
        return list(value)
    return []


def entry(value: object, key: str) -> Any:  # noqa: ANN401 - whatever the file holds
    """Return an entry of a dictionary, None if there is none."""
    return value.get(key) if is_dictionary(value) else None  # type: ignore[attr-defined]


def entry_named(value: object, name: bytes) -> Any:  # noqa: ANN401 - whatever the file holds
    """Return an entry of a dictionary by the bytes of its name, None if there is none."""
    key = "/" + name.decode("utf-8", "surrogateescape")
    if not is_dictionary(value) or key not in value:  # type: ignore[operator]
        return None
    return value[key]  # type: ignore[index] # `get` refuses keys that are no UTF-8


def inherited(page: object, key: str) -> Any:  # noqa: ANN401 - whatever the file holds
    """Return an entry of a page, or of the nearest node above that has it."""
    node: Any = page
    for _ in range(_MOST_PARENTS):
        if not is_dictionary(node):
            return None
        found = node.get(key)
        if found is not None:
            return found
        node = node.get("/Parent")
    return None


def number(value: object) -> float | None:
    """Return a number, None if the value is none or is not finite."""
    if isinstance(value, (int, float, Decimal)) and not isinstance(value, bool):
        try:
            found = float(value)
        except OverflowError:
            return None
        return found if isfinite(found) else None
    return None


def numbers(value: object, count: int) -> tuple[float, ...] | None:
    """Return an array of so many finite numbers, None for anything else."""
    found = [number(v) for v in items_of(value)]
    if len(found) != count or None in found:
        return None
    return tuple(v for v in found if v is not None)


def identity(value: pikepdf.Object) -> tuple[int, int] | None:
    """Return the number of an indirect object, None for a direct one."""
    return value.objgen if value.objgen != (0, 0) else None
