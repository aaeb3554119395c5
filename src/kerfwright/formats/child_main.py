"""What runs in the reading process: set the limits, read, hand over, leave.

Started as ``python -m kerfwright.formats.child_main`` with the task on its standard input; the
answer goes to its standard output, and whatever libraries print goes to the error channel.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import sys
import threading
import time
from collections.abc import Callable, Mapping
from importlib import import_module
from math import ceil
from pathlib import Path
from typing import Any, Final

from kerfwright.errors import KerfwrightError, OutOfResourcesError
from kerfwright.formats.text import one_line

EXIT_MEMORY: Final = 97
EXIT_NO_ROOM: Final = 98
_WATCH_EVERY_S: Final = 0.02

Reader = Callable[[Mapping[str, Any]], tuple[dict[str, Any], dict[str, Any]]]


def main() -> int:
    """Do the one task and return the exit code."""
    task = json.loads(sys.stdin.buffer.read())
    # A private channel for the answer, and no way for a print to get into it.
    with os.fdopen(os.dup(1), "wb") as out:
        os.dup2(2, 1)
        try:
            limit_self(task["memory_bytes"], task["seconds"], watch=task["watch_memory"])
            for piece in _answer(task):
                out.write(piece)
        except MemoryError:
            os._exit(EXIT_MEMORY)  # even tidying up may need memory
        except OSError as error:
            sys.stderr.write(one_line(error))
            return EXIT_NO_ROOM
    return 0


def _answer(task: Mapping[str, Any]) -> list[bytes]:
    from kerfwright.formats.frame import pack  # noqa: PLC0415 - after the limits are set

    try:
        header, arrays = _reader(task["reader"])(task["request"])
    except OutOfResourcesError as error:
        return list(pack({"error": "resources", "message": error.message}, {}))
    except KerfwrightError as error:
        return list(pack({"error": "unreadable", "message": error.message}, {}))
    except Exception as error:  # whatever a parser throws at a hostile file
        if _is_of_memory(error):
            raise MemoryError from error
        return list(pack({"error": "failed", "message": one_line(error)}, {}))
    return list(pack(header, arrays))


def _is_of_memory(error: BaseException) -> bool:
    """Return whether an error is a lack of memory; loading a library says so in its own way."""
    no_memory = getattr(error, "errno", None) == errno.ENOMEM
    return no_memory or isinstance(error, MemoryError) or "allocate memory" in str(error)


def _reader(name: str) -> Reader:
    module, _, function = name.partition(":")
    found: Reader = getattr(import_module(module), function)
    return found


def limit_self(memory_bytes: int, seconds: float, *, watch: bool) -> None:
    """Limit this process: by the system where it can, by watching where it cannot."""
    if sys.platform == "linux" and not watch:
        _limit_by_system(memory_bytes, seconds)
    else:
        threading.Thread(target=_watch, args=(memory_bytes,), daemon=True).start()


def _limit_by_system(memory_bytes: int, seconds: float) -> None:
    import resource  # noqa: PLC0415 - does not exist everywhere

    whole = ceil(seconds)
    _lower(resource, resource.RLIMIT_CPU, whole)
    _lower(resource, resource.RLIMIT_AS, memory_bytes)
    _lower(resource, resource.RLIMIT_FSIZE, memory_bytes)
    _lower(resource, resource.RLIMIT_CORE, 0)


def _lower(resource: Any, what: int, limit: int) -> None:  # noqa: ANN401 - a module
    """Lower one limit; one that is already lower stays."""
    _, hard = resource.getrlimit(what)
    limit = limit if hard == resource.RLIM_INFINITY else min(limit, hard)
    resource.setrlimit(what, (limit, hard))


def _watch(memory_bytes: int) -> None:
    while peak_memory_bytes() <= memory_bytes:
        time.sleep(_WATCH_EVERY_S)
    os._exit(EXIT_MEMORY)


if sys.platform == "win32":

    def peak_memory_bytes() -> int:
        """Return the most memory this process has had."""
        import ctypes  # noqa: PLC0415 - does not exist everywhere
        from ctypes import wintypes  # noqa: PLC0415 - does not exist everywhere

        names = ("faults", "peak_set", "set", "a", "b", "c", "d", "file", "peak_file")
        types = [wintypes.DWORD] + [ctypes.c_size_t] * 8
        fields = [("size", wintypes.DWORD), *zip(names, types, strict=True)]
        counters = type("Counters", (ctypes.Structure,), {"_fields_": fields})()
        counters.size = ctypes.sizeof(counters)
        this, ask = ctypes.windll.kernel32.GetCurrentProcess, ctypes.windll.psapi
        this.restype = wintypes.HANDLE
        ask.GetProcessMemoryInfo.argtypes = [wintypes.HANDLE, ctypes.c_void_p, wintypes.DWORD]
        ask.GetProcessMemoryInfo(this(), ctypes.byref(counters), counters.size)
        return int(counters.peak_file)

elif sys.platform == "linux":

    def peak_memory_bytes() -> int:
        """Return the most memory this process has had; `getrusage` counts its parent's too."""
        status = Path("/proc/self/status").read_text(encoding="ascii")
        return int(status.partition("VmHWM:")[2].split()[0]) * 1024

else:

    def peak_memory_bytes() -> int:
        """Return the most memory this process has had."""
        import resource  # noqa: PLC0415 - does not exist everywhere

        unit = 1 if sys.platform == "darwin" else 1024
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


if __name__ == "__main__":
    with contextlib.suppress(BrokenPipeError):
        sys.exit(main())
