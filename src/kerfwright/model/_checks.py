"""Invariants many records share; each refusal names the value and its limit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import Field, fields
from math import isfinite
from typing import Any, ClassVar, Protocol

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import ModelError


class _HasFields(Protocol):
    """Any dataclass."""

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]


def require_finite(record: _HasFields) -> None:
    """Refuse NaN and infinity in a record's plain numbers; NaN would pass ``not x > limit``."""
    for field in fields(record):
        value = getattr(record, field.name)
        for number in value if isinstance(value, tuple) else (value,):
            if isinstance(number, float) and not isfinite(number):
                what = f"{type(record).__name__}.{field.name}"
                raise ModelError(f"{what} is {number}; only finite numbers are allowed")


def require_rows(record: object, name: str, is_right: ArrayLike, limit: str) -> None:
    """Refuse an array field unless every row is right; names the first wrong one."""
    wrong = np.flatnonzero(~np.asarray(is_right))
    if wrong.size:
        row = int(wrong[0])
        what = f"{type(record).__name__}.{name}"
        value = np.asarray(getattr(record, name))[row].tolist()
        raise ModelError(f"{what} holds {value} in row {row}, must be {limit}")


def require_word(what: str, value: object, words: Iterable[object]) -> None:
    """Refuse a value that is none of the words known."""
    known = tuple(words)
    if value not in known:
        raise ModelError(f"{what} is {value!r}, must be one of {', '.join(map(str, known))}")
