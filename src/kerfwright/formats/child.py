"""Run a reader in a child process with limits of time and memory, and tell its failures apart.

Parsers meet hostile files: numbers that make a loop run for hours, blocks that double twenty
times, memory that never ends. A reader therefore runs in a process of its own, started afresh
(no fork, no pool), which gets one JSON request and gives back plain arrays (`frame`), never
objects. Whatever happens to it ends in one sentence here.

A *reader* is a function, named ``module:function``: ``read(request) -> (header, arrays)``.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from kerfwright.errors import OutOfResourcesError, UnreadableError
from kerfwright.formats.child_main import EXIT_MEMORY, EXIT_NO_ROOM
from kerfwright.formats.frame import Arrays, unpack
from kerfwright.formats.limits import ReadLimits

_MOST_STDERR: Final = 300


def run_reader(
    reader: str,
    request: Mapping[str, object],
    *,
    file: str,
    limits: ReadLimits,
    watch_memory: bool = False,
) -> tuple[dict[str, Any], Arrays]:
    """Run a reader in a limited child process and return what it read.

    Parameters
    ----------
    reader : str
        ``module:function``; the module is imported in the child only.
    request : mapping
        Argument of the reader; anything JSON can hold.
    file : str
        Name of the file, for messages.
    limits : ReadLimits
        Seconds and memory that the child may use.
    watch_memory : bool, default False
        Let the child watch its own memory even where the system could limit it (Linux); elsewhere
        it always does.

    Returns
    -------
    header : dict
        Plain values.
    arrays : dict of str to ndarray
        Read-only arrays.

    Raises
    ------
    UnreadableError
        If the reader refuses the file, fails on it or crashes.
    OutOfResourcesError
        If a limit of time, memory or size was reached.
    """
    task = {
        "reader": reader,
        "request": dict(request),
        "seconds": limits.seconds,
        "memory_bytes": limits.memory_bytes,
        "watch_memory": watch_memory,
    }
    code, answer, said = _run(json.dumps(task).encode(), file=file, limits=limits)
    if code != 0:
        raise _failure_of(code, said, file=file, limits=limits)
    header, arrays = unpack(answer)
    if "error" in header:
        raise _reported(header, file=file)
    return header, arrays


def _run(task: bytes, *, file: str, limits: ReadLimits) -> tuple[int, bytes, str]:
    """Return exit code, answer and the end of what the child said on its error channel."""
    with tempfile.TemporaryDirectory(prefix="reader-") as folder:
        answer, said = Path(folder, "answer"), Path(folder, "said")
        try:
            with answer.open("wb") as out, said.open("wb") as err:
                code = _wait(task, folder, (out.fileno(), err.fileno()), file=file, limits=limits)
            return code, answer.read_bytes(), said.read_bytes().decode(errors="replace")
        except OSError as error:
            msg = f"{file}: the reading process could not be run: {error.strerror or error}"
            raise OutOfResourcesError(msg) from error


def _wait(
    task: bytes, folder: str, channels: tuple[int, int], *, file: str, limits: ReadLimits
) -> int:
    # The child works in an empty folder: libraries look for settings where they are started.
    with subprocess.Popen(
        [sys.executable, "-P", "-m", "kerfwright.formats.child_main"],
        stdin=subprocess.PIPE,
        stdout=channels[0],
        stderr=channels[1],
        cwd=folder,
        env=_environment(),
    ) as process:
        try:
            process.communicate(task, timeout=limits.seconds)
        except subprocess.TimeoutExpired:
            raise _too_slow(file, limits) from None
        finally:
            if process.poll() is None:
                process.kill()
        return process.returncode


def _environment() -> dict[str, str]:
    """Return the environment with one thread for linear algebra: threads reserve memory."""
    return os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}


def _failure_of(code: int, said: str, *, file: str, limits: ReadLimits) -> Exception:
    if code == EXIT_MEMORY:
        return _too_big(file, limits)
    if code == -getattr(signal, "SIGXCPU", 0):
        return _too_slow(file, limits)
    if code == EXIT_NO_ROOM:
        msg = f"{file}: the reading process could not hand over what it read: {said.strip()}"
        return OutOfResourcesError(msg)
    how = f"signal {-code}" if code < 0 else f"exit code {code}"
    last = " ".join(said.split())[-_MOST_STDERR:]
    msg = (
        f"{file}: the reading process ended with {how}"
        f"{': ' + last if last else ''}; the file is damaged, save it again or export it anew"
    )
    return UnreadableError(msg)


def _reported(header: Mapping[str, Any], *, file: str) -> Exception:
    message = str(header.get("message", ""))
    if header["error"] == "resources":
        return OutOfResourcesError(message)
    if header["error"] == "unreadable":
        return UnreadableError(message)
    msg = f"{file}: the reader failed on it ({message}); save the file again or export it anew"
    return UnreadableError(msg)


def _too_slow(file: str, limits: ReadLimits) -> OutOfResourcesError:
    msg = (
        f"{file}: reading took longer than the limit of {limits.seconds:g} s and was stopped; "
        "leave out what is not cut, or raise the limit"
    )
    return OutOfResourcesError(msg)


def _too_big(file: str, limits: ReadLimits) -> OutOfResourcesError:
    msg = (
        f"{file}: reading needed more memory than the limit of "
        f"{limits.memory_bytes / 2**20:.0f} MiB and was stopped; leave out what is not cut, or "
        "raise the limit"
    )
    return OutOfResourcesError(msg)
