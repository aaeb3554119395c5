"""The one door to compiled kernels.

``kernel`` compiles a function that Python calls; ``inner`` one that only other kernels call, and
``dual`` one that both call. All cache to a folder named by the hash of every source a kernel can
be compiled from, because the compiler's own cache does not notice that a callee or a constant in
another file has changed. A kernel calls kernels of its own room only, and takes constants of its
own room and of the motion model; so the hash covers those two, and work on one room leaves the
compiled kernels of others alone. A test reads every kernel for it. At the door arrays are made
contiguous and lose their read-only flag, so that one specialisation serves all callers; a kernel
therefore never writes to its arguments. No kernel runs in parallel threads: parallel work belongs
to processes.
"""

from __future__ import annotations

import atexit
import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable
from functools import cache, update_wrapper
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

P = ParamSpec("P")
R = TypeVar("R")

SHARED_FILES = ("model/motion.py",)
"""Files outside its own room whose constants a kernel may use."""


@cache
def source_hash(room: str) -> str:
    """Return the hash over every source that kernels of a room can be compiled from."""
    root = Path(__file__).parent
    total = hashlib.sha256(numba.__version__.encode() + np.__version__.encode())
    total.update(os.environ.get("NUMBA_BOUNDSCHECK", "0").encode())
    shared = [file for name in SHARED_FILES if (file := root / name).exists()]
    for file in sorted([*(root / room).rglob("*.py"), *shared, Path(__file__)]):
        total.update(file.relative_to(root).as_posix().encode())
        total.update(file.read_bytes())
    return total.hexdigest()[:16]


def cache_folder(room: str) -> Path:
    """Return the folder compiled kernels of a room are kept in, named by `source_hash`."""
    base = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")  # noqa: PTH111 - unlike Path.home it never raises
    return Path(base) / "kerfwright" / f"kernels-{room}-{source_hash(room)}"


@cache
def _usable_folder(room: str) -> Path:
    """Return `cache_folder`, or a private folder of this process where it cannot be written.

    Left to itself the compiler would fall back to a cache beside the sources, which goes stale.
    """
    folder = cache_folder(room)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return folder
    except OSError:
        private = tempfile.mkdtemp(prefix="kerfwright-kernels-")
        atexit.register(shutil.rmtree, private, ignore_errors=True)
        return Path(private)


class _Unlocked:
    """Presents an array's memory without its read-only flag; keeps the array alive."""

    def __init__(self, array: NDArray[Any]) -> None:
        self.__array_interface__ = array.__array_interface__ | {
            "data": (array.__array_interface__["data"][0], False)
        }
        self.array = array


def _at_the_door(value: object) -> object:
    if not isinstance(value, np.ndarray):
        return value
    array = np.asarray(value, order="C")
    if array.flags.writeable:
        return array
    return np.asarray(_Unlocked(array)) if array.size else array.copy()


def kernel(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function that Python calls with arrays and numbers."""
    compiled = _compiled(function)

    def call(*args: P.args, **kwargs: P.kwargs) -> R:
        named = {name: _at_the_door(value) for name, value in kwargs.items()}
        return compiled(*map(_at_the_door, args), **named)  # type: ignore[arg-type]

    return cast("Callable[P, R]", update_wrapper(call, function))


def inner(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function that only kernels call; a call from Python ends the process.

    Without the doors for Python and C a function compiles in half the time. A test reads every
    file for calls that come from outside a kernel.
    """
    return _compiled(function, has_doors=False)


def dual(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function that kernels call, and Python with numbers or writable arrays."""
    return _compiled(function)


def _compiled(function: Callable[P, R], *, has_doors: bool = True) -> Callable[P, R]:
    room = function.__module__.split(".")[1:2] or [""]
    numba.config.CACHE_DIR = str(_usable_folder(room[0]))  # type: ignore[attr-defined] # numba has no stubs
    doors: dict[str, Any] = {"no_cpython_wrapper": not has_doors, "no_cfunc_wrapper": not has_doors}
    compiled: Callable[P, R] = numba.njit(cache=True, error_model="numpy", **doors)(function)
    return compiled
