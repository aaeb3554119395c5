"""How a child hands over its answer: a JSON header and plain arrays, and nothing that can run.

``magic, header length, header, arrays one after the other``. The header lists name, type and
shape of each array; only three element types exist. The side that reads trusts nothing: every
length is checked against the bytes that are there.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator, Mapping
from math import prod
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from kerfwright.errors import UnreadableError

_MAGIC: Final = b"KWFR0001"
_LENGTH: Final = struct.Struct("<Q")
_TYPES: Final = {"f": "<f8", "i": "<i8", "b": "|b1", "u": "|u1"}

Arrays = dict[str, NDArray[Any]]


def pack(header: Mapping[str, object], arrays: Mapping[str, NDArray[Any]]) -> Iterator[bytes]:
    """Yield the bytes of an answer.

    Parameters
    ----------
    header : mapping
        Anything JSON can hold; finite numbers only.
    arrays : mapping of str to ndarray
        Arrays of float64, int64 or bool.
    """
    little = {n: np.ascontiguousarray(a, dtype=_TYPES[a.dtype.kind]) for n, a in arrays.items()}
    listed = [[name, a.dtype.kind, list(a.shape)] for name, a in little.items()]
    text = json.dumps({"header": dict(header), "arrays": listed}, allow_nan=False).encode()
    yield _MAGIC
    yield _LENGTH.pack(len(text))
    yield text
    for a in little.values():
        yield a.tobytes()


def unpack(data: bytes) -> tuple[dict[str, Any], Arrays]:
    """Return header and arrays of an answer.

    Raises
    ------
    UnreadableError
        If the bytes are no whole answer.
    """
    start = len(_MAGIC) + _LENGTH.size
    if len(data) < start or not data.startswith(_MAGIC):
        raise UnreadableError("the reading process gave no answer")
    (size,) = _LENGTH.unpack_from(data, len(_MAGIC))
    try:
        whole = json.loads(data[start : start + size])
        header, listed = dict(whole["header"]), list(whole["arrays"])
        arrays, end = _take_arrays(data, start + size, listed)
    except (ValueError, KeyError, TypeError) as error:
        msg = f"the answer of the reading process is broken: {error}"
        raise UnreadableError(msg) from error
    if end != len(data):
        msg = f"the answer of the reading process has {len(data)} bytes, {end} were announced"
        raise UnreadableError(msg)
    return header, arrays


def _take_arrays(data: bytes, place: int, listed: list[Any]) -> tuple[Arrays, int]:
    arrays: Arrays = {}
    for name, kind, shape in listed:
        dtype = np.dtype(_TYPES[kind])
        count = prod(int(n) for n in shape)
        if count < 0 or place + count * dtype.itemsize > len(data):
            msg = f"array {name} is cut short"
            raise ValueError(msg)
        flat = np.frombuffer(data, dtype=dtype, count=count, offset=place)
        arrays[str(name)] = flat.reshape([int(n) for n in shape])
        place += count * dtype.itemsize
    return arrays, place
