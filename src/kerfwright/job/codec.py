"""Records to bytes and back, readable by anyone: JSON, and raw arrays behind it for results.

A *document* is pretty JSON with arrays as nested lists: it is read and compared by people. A
*blob* is one line of JSON header and then the arrays' bytes, little-endian, in order. Neither
can name code: what is built is decided by the type the reader asks for, and every record checks
its own invariants while it is built.
"""

from __future__ import annotations

import json
import math
import types
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from reprlib import repr as short
from typing import Any, Literal, NoReturn, TypeVar, Union, get_args, get_origin, get_type_hints

import numpy as np

from kerfwright.errors import KerfwrightError, ModelError, UnreadableError
from kerfwright.geometry.record import read_only
from kerfwright.model.tooling import Blade, Cutter, Pen, Tool, Wheel

T = TypeVar("T")

_MAGIC = b"kerfwright-record-1\n"
_ALIGN = 16


class _Body:
    """Arrays of a blob: their bytes in order, each one aligned."""

    def __init__(self) -> None:
        self.pieces: list[bytes] = []
        self.size = 0

    def add(self, array: np.ndarray) -> int:
        """Append an array; return where it begins."""
        at, raw = self.size, array.tobytes()
        padding = -len(raw) % _ALIGN
        self.pieces += [raw, b"\0" * padding]
        self.size += len(raw) + padding
        return at


def to_document(value: object) -> str:
    """Return a record as JSON text for people; floats are written so that they read back equal.

    Raises
    ------
    ModelError
        If a number is not finite (JSON has no word for it), or a text is no Unicode.
    """
    plain = _plain(value, None)
    try:
        text = json.dumps(plain, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        text.encode()
    except ValueError as error:
        raise ModelError(f"a {type(value).__name__} cannot be stored: {error}") from error
    return text


def from_document(kind: type[T], text: str, *, origin: str) -> T:
    """Return the record a document holds.

    Raises
    ------
    UnreadableError
        If the text is no JSON, or does not make a record of that kind; names the place.
    """
    try:
        plain = json.loads(text, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        raise UnreadableError(f"{origin} is not JSON: {error}; restore it from a copy") from error
    return _built(kind, plain, None, origin)


def _refuse_constant(word: str) -> NoReturn:
    raise ValueError(f"{word} is no JSON number")


def to_blob(value: object) -> bytes:
    """Return a record as bytes: magic, length of the header, header, aligned arrays.

    Raises
    ------
    ModelError
        If a text is no Unicode.
    """
    body = _Body()
    plain = {"record": type(value).__name__, "value": _plain(value, body)}
    try:
        header = json.dumps(plain, ensure_ascii=False, separators=(",", ":")).encode()
    except UnicodeEncodeError as error:
        raise ModelError(f"a {type(value).__name__} cannot be stored: {error}") from error
    start = len(_MAGIC) + 8
    padding = b" " * (-(start + len(header)) % _ALIGN)
    size = len(header).to_bytes(8, "little")
    return b"".join((_MAGIC, size, header, padding, *body.pieces))


def from_blob(kind: type[T], data: bytes, *, origin: str) -> T:
    """Return the record a blob holds.

    Raises
    ------
    UnreadableError
        If the bytes are not a blob, or hold another kind of record.
    """
    start = len(_MAGIC) + 8
    size = int.from_bytes(data[len(_MAGIC) : start], "little")
    if not data.startswith(_MAGIC) or start + size > len(data):
        raise UnreadableError(f"{origin} is not a stored result; run the stage again")
    try:
        header = json.loads(data[start : start + size])
    except (ValueError, RecursionError) as error:
        raise UnreadableError(f"{origin} has a broken header: {error}; run it again") from error
    body_at = start + size + (-(start + size) % _ALIGN)
    if not isinstance(header, dict) or {"record", "value"} - set(header):
        raise UnreadableError(f"{origin} has a header that names no record; run it again")
    if header["record"] not in [k.__name__ for k in (kind, *_FAMILIES.get(kind, {}).values())]:
        have = short(header["record"])
        raise UnreadableError(f"{origin} holds a {have}, wanted a {kind.__name__}; run it again")
    return _built(kind, header["value"], memoryview(data)[body_at:], origin)


def _built(kind: type[T], plain: object, body: memoryview | None, origin: str) -> T:
    try:
        # Damaged numbers may overflow inside an invariant; that is a refusal, not a warning.
        with np.errstate(over="raise", invalid="raise", divide="raise"):
            value: T = _typed(kind, plain, body)
    except KerfwrightError as error:
        raise UnreadableError(f"{origin}: {error}") from error
    except (LookupError, TypeError, ValueError, ArithmeticError, RecursionError) as error:
        raise UnreadableError(f"{origin} is no {kind.__name__}: {error}; restore it") from error
    return value


def _plain(value: Any, body: _Body | None) -> Any:
    match value:
        case Enum():
            return value.value
        case None | bool() | int() | str():
            return value
        case float():
            return float(value)
        case np.generic():
            return value.item()
        case np.ndarray():
            return _plain_array(value, body)
        case Mapping():
            return {str(k): _plain(v, body) for k, v in value.items()}
        case tuple() | list():
            return [_plain(v, body) for v in value]
        case _ if is_dataclass(value):
            return {f.name: _plain(getattr(value, f.name), body) for f in fields(value)}
    raise TypeError(f"a {type(value).__name__} cannot be stored")


def _plain_array(array: np.ndarray, body: _Body | None) -> Any:
    if body is None:
        # Nested lists of no rows would lose the number of columns.
        return array.tolist() if array.size else {"shape": list(array.shape)}
    little = np.ascontiguousarray(array, dtype=array.dtype.newbyteorder("<"))
    return {"dtype": little.dtype.str, "shape": list(little.shape), "at": body.add(little)}


@cache
def _hints(kind: type) -> Mapping[str, Any]:
    return get_type_hints(kind)


def _typed(hint: Any, plain: Any, body: memoryview | None) -> Any:
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        return _typed_union(get_args(hint), plain, body)
    if origin is np.ndarray:
        wanted = np.dtype(get_args(get_args(hint)[1])[0])
        return _stored_array(plain, wanted, body) if body is not None else _listed(plain, wanted)
    if origin is tuple:
        return _typed_tuple(get_args(hint), plain, body)
    if origin is Literal:
        return _typed_literal(get_args(hint), plain)
    if origin is not None and issubclass(origin, Mapping):
        items = _checked(plain, dict).items()
        return {_unicode(k): _typed(get_args(hint)[1], v, body) for k, v in items}
    if isinstance(hint, type) and is_dataclass(hint):
        return _typed_record(hint, plain, body)
    if isinstance(hint, type) and issubclass(hint, Enum):
        return hint(plain)
    return _typed_scalar(hint, plain, body)


def _checked(plain: Any, kind: type[T]) -> T:
    if not isinstance(plain, kind):
        raise TypeError(f"{short(plain)} stands where a {kind.__name__} should")
    return plain


def _typed_literal(options: tuple[Any, ...], plain: Any) -> Any:
    if not any(type(plain) is type(o) and plain == o for o in options):
        raise ValueError(f"{short(plain)} is none of {options}")
    return plain


def _typed_union(options: tuple[Any, ...], plain: Any, body: memoryview | None) -> Any:
    if plain is None and type(None) in options:
        return None
    rest = [o for o in options if o is not type(None)]
    scalars = tuple(o for o in rest if o in (str, int, float, bool))
    if len(scalars) == 1 or not scalars:
        return _typed(rest[0], plain, body)
    if not isinstance(plain, scalars):  # one that could be of several types keeps its own
        raise TypeError(f"{short(plain)} is no {' or '.join(o.__name__ for o in scalars)}")
    return _unicode(plain) if isinstance(plain, str) else plain


def _listed(plain: Any, wanted: np.dtype[Any]) -> np.ndarray:
    """Return the array of a document: nested lists, or the shape of one without items."""
    if isinstance(plain, dict):
        array = np.zeros(_shape(plain["shape"]), wanted)
        if array.size:
            raise ValueError("an array of numbers is given by its shape alone")
        return array
    array = np.array(_checked(plain, list))
    if array.size and array.dtype.kind not in _SAME_KIND[wanted.kind]:
        raise ValueError(f"{short(plain)} holds no {wanted.name} numbers")
    return array.astype(wanted)


def _stored_array(plain: Any, wanted: np.dtype[Any], body: memoryview) -> np.ndarray:
    """Return the array of a blob, a view of its bytes."""
    dtype, shape, at = np.dtype(plain["dtype"]), _shape(plain["shape"]), plain["at"]
    if dtype.kind not in _SAME_KIND[wanted.kind] or dtype.itemsize > _ALIGN:
        raise ValueError(f"an array of {dtype} stands where one of {wanted} should")
    size = dtype.itemsize * math.prod(shape)
    if at < 0 or at % _ALIGN or at + size > len(body):
        raise ValueError("an array reaches past the end of the file")
    flat = np.frombuffer(body[at : at + size], dtype=dtype).reshape(shape)
    return read_only(flat, dtype=dtype.type)


_SAME_KIND: Mapping[str, str] = {"f": "fiu", "i": "i", "b": "b"}
"""Kinds of stored numbers that become a wanted kind without loss."""


def _shape(plain: Any) -> tuple[int, ...]:
    shape = tuple(_typed_scalar(int, n, None) for n in _checked(plain, list))
    if any(n < 0 for n in shape):
        raise ValueError(f"an array cannot have the shape {shape}")
    return shape


def _typed_tuple(items: tuple[Any, ...], plain: Any, body: memoryview | None) -> tuple[Any, ...]:
    values = _checked(plain, list)
    if len(items) == 2 and items[1] is Ellipsis:
        return tuple(_typed(items[0], v, body) for v in values)
    return tuple(_typed(h, v, body) for h, v in zip(items, values, strict=True))


_FAMILIES: Mapping[type, Mapping[str, type]] = {
    Tool: {"blade": Blade, "cutter": Cutter, "wheel": Wheel, "pen": Pen}
}
"""Records of several kinds that stand for one another, by the word in their field `kind`."""


def _typed_record(kind: Any, plain: Any, body: memoryview | None) -> Any:
    given = _checked(plain, dict)
    if kind in _FAMILIES:
        kind = _FAMILIES[kind][_typed_scalar(str, given["kind"], body)]
    hints = _hints(kind)
    unknown = sorted(set(given) - set(hints))
    if unknown:
        raise ValueError(f"{kind.__name__} has no field {short(unknown[0])}")
    return kind(**{name: _typed(hints[name], value, body) for name, value in given.items()})


def _typed_scalar(hint: Any, plain: Any, body: memoryview | None) -> Any:
    if hint is float and isinstance(plain, int) and not isinstance(plain, bool):
        return float(plain)
    if not isinstance(plain, hint) or (hint is int and isinstance(plain, bool)):
        raise TypeError(f"{short(plain)} is no {hint.__name__}")
    if body is None and isinstance(plain, float) and not math.isfinite(plain):
        raise ValueError("a number is too large")  # JSON reads 1e999 as infinity
    return _unicode(plain) if hint is str else plain


def _unicode(text: str) -> str:
    """Return a text that can be written again; JSON may spell half of a surrogate pair."""
    text.encode()
    return text
