"""Look into records: all record types, their array fields, their content bit by bit."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import struct
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from types import ModuleType
from typing import Any, get_args, get_origin, get_type_hints

import numpy as np

import kerfwright.model


def dataclasses_of(module: ModuleType) -> set[type]:
    """Every public dataclass a module defines."""
    found = {
        kind
        for name, kind in vars(module).items()
        if inspect.isclass(kind)
        and is_dataclass(kind)
        and kind.__module__ == module.__name__
        and not name.startswith("_")
    }
    # What others are made from is no record of its own.
    return found - {base for kind in found for base in kind.__mro__[1:]}


def model_types() -> set[type]:
    """Every record type of the model room."""
    found: set[type] = set()
    for info in pkgutil.iter_modules(kerfwright.model.__path__, "kerfwright.model."):
        found |= dataclasses_of(importlib.import_module(info.name))
    return found


def array_fields(kind: type) -> list[str]:
    return [n for n, hint in get_type_hints(kind).items() if get_origin(hint) is np.ndarray]


def float_fields(kind: type) -> list[str]:
    """Fields that hold a plain float, perhaps None."""
    hints = get_type_hints(kind)
    return [n for n, hint in hints.items() if hint is float or float in get_args(hint)]


def differences(a: Any, b: Any, where: str = "") -> list[str]:
    """Where two values differ in type or in a single bit; floats and arrays bit by bit."""
    if isinstance(a, np.ndarray) or isinstance(b, np.ndarray):
        same = type(a) is type(b) and a.dtype == b.dtype and a.shape == b.shape
        return [] if same and a.tobytes() == b.tobytes() else [where]
    if isinstance(a, Mapping) and isinstance(b, Mapping):
        keys = [] if set(a) == set(b) else [f"{where}: keys"]
        shared = set(a) & set(b)
        return keys + [d for k in shared for d in differences(a[k], b[k], f"{where}[{k!r}]")]
    if type(a) is not type(b):
        return [f"{where}: {type(a).__name__} and {type(b).__name__}"]
    if isinstance(a, float):
        return [] if struct.pack("<d", a) == struct.pack("<d", b) else [where]
    if isinstance(a, tuple):
        if len(a) != len(b):
            return [f"{where}: length"]
        return [d for i, (x, y) in enumerate(zip(a, b, strict=True))
                for d in differences(x, y, f"{where}[{i}]")]  # fmt: skip
    if is_dataclass(a):
        names = [f.name for f in fields(a)]
        return [d for n in names for d in differences(getattr(a, n), getattr(b, n), f"{where}.{n}")]
    return [] if a == b else [where]
