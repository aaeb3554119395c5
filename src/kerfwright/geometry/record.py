"""Frozen records: dataclasses whose arrays cannot be written and whose content has a digest.

Records compare by identity (``eq=False``), because arrays have no single truth value; compare
contents by `digest`.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kerfwright.errors import ModelError

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
BOOL = NDArray[np.bool_]

T = TypeVar("T")


class Record:
    """Base of frozen records; gives `digest`."""

    __slots__ = ()

    @property
    def digest(self) -> str:
        """SHA-256 over the canonical bytes of all fields, as hex."""
        return digest_of(self)


def digest_of(value: object) -> str:
    """Return the SHA-256 of a value's canonical bytes, as hex."""
    total = hashlib.sha256()
    for piece in canonical_pieces(value):
        total.update(piece)
    return total.hexdigest()


def canonical_pieces(value: object) -> Iterator[bytes]:
    """Yield bytes that are equal for equal contents, whatever the order of mappings.

    Every piece is led by a tag and a length, so that no two different values run together.
    """
    match value:
        case None:
            yield b"N"
        case Enum():
            yield from canonical_pieces(value.value)
        case bool() | np.bool_():
            yield b"T" if value else b"F"
        case int() | np.integer():
            yield _framed(b"i", str(int(value)).encode())
        case float() | np.floating():
            yield b"f" + struct.pack("<d", float(value) + 0.0)
        case str():
            # names read from files may hold lone surrogates
            yield _framed(b"s", value.encode("utf-8", "surrogatepass"))
        case bytes():
            yield _framed(b"b", value)
        case np.ndarray():
            yield from _array_pieces(value)
        case Mapping():
            yield _framed(b"m", str(len(value)).encode())
            for key in sorted(value, key=str):
                yield from canonical_pieces(str(key))
                yield from canonical_pieces(value[key])
        case tuple() | list():
            yield _framed(b"t", str(len(value)).encode())
            for item in value:
                yield from canonical_pieces(item)
        case _ if is_dataclass(value) and not isinstance(value, type):
            yield _framed(b"d", type(value).__name__.encode())
            for field in fields(value):
                yield from canonical_pieces(getattr(value, field.name))
        case _:
            msg = f"a {type(value).__name__} has no canonical bytes; store plain values or records"
            raise ModelError(msg)


def _framed(tag: bytes, body: bytes) -> bytes:
    return tag + struct.pack("<Q", len(body)) + body


def _array_pieces(array: NDArray[Any]) -> Iterator[bytes]:
    if array.dtype.kind not in "biufUS":
        msg = f"an array of {array.dtype} has no canonical bytes; use numbers or text"
        raise ModelError(msg)
    little = np.asarray(array, dtype=array.dtype.newbyteorder("<"), order="C")
    if little.dtype.kind == "f":
        little = little + 0.0  # minus zero and zero are the same content
    yield _framed(b"a", f"{little.dtype.str}{little.shape}".encode())
    yield little.tobytes()


def frozen_array(
    owner: object,
    name: str,
    *,
    dtype: type[np.generic],
    shape: tuple[int | None, ...],
    finite: bool = True,
) -> None:
    """Replace a field of a frozen record by a read-only array of the given type and shape.

    Parameters
    ----------
    owner : record
        The record under construction.
    name : str
        Name of the field.
    dtype : type
        Element type wanted.
    shape : tuple of int or None
        Wanted shape; None allows any length.
    finite : bool, default True
        Refuse NaN and infinity.

    Raises
    ------
    ModelError
        If the values are no such numbers, the shape differs or a number is not finite.
    """
    what = f"{type(owner).__name__}.{name}"
    try:
        array = read_only(getattr(owner, name), dtype=dtype)
    except (TypeError, ValueError, OverflowError) as error:
        msg = f"{what} holds no array of {np.dtype(dtype)}: {error}"
        raise ModelError(msg) from error
    if array.ndim != len(shape) or any(
        want is not None and have != want for want, have in zip(shape, array.shape, strict=True)
    ):
        wanted = tuple("any" if n is None else n for n in shape)
        msg = f"{what} has shape {array.shape}, wanted {wanted}; give one row per item"
        raise ModelError(msg)
    if finite and array.dtype.kind == "f" and not np.isfinite(array).all():
        row = int(np.argwhere(~np.isfinite(array))[0][0])
        msg = f"{what} holds {array[row]} in row {row}; only finite numbers are allowed"
        raise ModelError(msg)
    object.__setattr__(owner, name, array)


def read_only(values: ArrayLike, *, dtype: type[np.generic]) -> NDArray[Any]:
    """Return a contiguous array that nobody can write; the caller's array is never locked.

    Raises
    ------
    ValueError
        If whole numbers are wanted and a value is not whole.
    """
    with np.errstate(invalid="ignore"):  # a value that is not whole is refused below
        array = np.array(values, dtype=dtype, order="C", copy=None)
    if array.dtype.kind in "iu":
        given = np.asarray(values)
        if given.dtype.kind not in "iub" and (given != array).any():
            msg = "a number is not whole"
            raise ValueError(msg)
    is_ours = isinstance(values, (list, tuple, int, float)) or (
        isinstance(values, np.ndarray) and not np.may_share_memory(array, values)
    )
    if not is_ours and _is_writeable(array):
        array = array.copy()
    array.flags.writeable = False
    return array


def _is_writeable(array: NDArray[Any]) -> bool:
    """Return whether anybody can write the memory: through the array or what it is a view of."""
    owner: object = array
    while isinstance(owner, np.ndarray):
        if owner.flags.writeable:
            return True
        owner = owner.base
    return owner is not None and not isinstance(owner, bytes)


def require(condition: object, message: str) -> None:
    """Raise `ModelError` with a message unless a condition holds."""
    if not condition:
        raise ModelError(message)
