"""Files written so that a reader sees the old one or the new one, never half of one."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

from kerfwright.errors import (
    CannotWriteError,
    KerfwrightError,
    OutOfResourcesError,
    UnreadableError,
)

_WHY = {
    errno.ENOSPC: "the disk is full; free some space",
    errno.EDQUOT: "the quota of this user is used up; free some space",
    errno.EACCES: "this user may not write there; choose another folder",
    errno.EPERM: "this user may not write there; choose another folder",
    errno.EROFS: "the disk is read-only; choose another folder",
    errno.ENOTDIR: "a file stands where a folder is needed; choose another folder",
    errno.EEXIST: "a file stands where a folder is needed; choose another folder",
    errno.EISDIR: "a folder stands where the file should go; move it away",
    errno.EFBIG: "the file is larger than the limit set for this process; raise the limit",
    errno.ENAMETOOLONG: "the name is too long; choose a shorter one",
}


def write_file(path: Path, data: bytes) -> None:
    """Write a file aside, flush it to disk, then rename it into place.

    Raises
    ------
    CannotWriteError
        If any step fails; nothing is left behind, and the file that stood there is untouched
        unless the very last step failed, the flush of its folder.
    """
    write_together([(path, data)])


def write_together(files: Sequence[tuple[Path, bytes]]) -> None:
    """Write several files aside, and only when all are on disk rename them, in their order.

    Parameters
    ----------
    files : sequence of tuple of Path and bytes
        Where to and what; a path may stand twice, the later content stays.

    Raises
    ------
    CannotWriteError
        If any step fails. Nothing is left aside. Unless renaming itself failed, no file that
        stood there is touched.
    """
    asides: list[Path] = []
    path = Path()
    try:
        for path, data in files:
            path.parent.mkdir(parents=True, exist_ok=True)
            if path.is_dir():  # found now, not between two renames
                raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
            handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", dir=path.parent)
            asides.append(Path(name))
            _fill(handle, data)
            asides[-1].chmod(0o644)
        for aside, (path, _) in zip(asides, files, strict=True):
            aside.replace(path)
            _flush_folder(path.parent)
    except OSError as error:
        raise CannotWriteError(f"{path} cannot be written: {_why(error)}") from error
    finally:
        for aside in asides:  # those that were renamed are gone
            with contextlib.suppress(OSError):
                aside.unlink()


@contextlib.contextmanager
def filled_aside(path: Path) -> Iterator[BinaryIO]:
    """Yield a file to fill aside; flush it to disk and rename it into place at the end.

    Raises
    ------
    CannotWriteError
        If any step fails; nothing is left behind, as with `write_file`.
    """
    aside = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", dir=path.parent)
        aside = Path(name)
        with os.fdopen(handle, "w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        aside.chmod(0o644)
        aside.replace(path)
        _flush_folder(path.parent)
    except KerfwrightError:  # some are system errors too, and have their words
        raise
    except OSError as error:
        raise CannotWriteError(f"{path} cannot be written: {_why(error)}") from error
    finally:
        if aside is not None:
            aside.unlink(missing_ok=True)


def _fill(handle: int, data: bytes) -> None:
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _why(error: OSError) -> str:
    return _WHY.get(error.errno or 0, f"{error.strerror or error}; choose another folder")


def _flush_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextlib.contextmanager
def scratch_file(name: str, data: bytes) -> Iterator[Path]:
    """Yield a file of that name and content in a temporary folder that is removed afterwards.

    Raises
    ------
    CannotWriteError
        If there is no room for it.
    """
    try:
        folder = tempfile.TemporaryDirectory(prefix="kerfwright-")
    except OSError as error:
        raise CannotWriteError(f"no temporary folder can be made: {_why(error)}") from error
    with folder as root:
        path = Path(root) / name
        write_file(path, data)
        yield path


def is_there(path: Path) -> bool:
    """Return whether something of that name exists.

    Raises
    ------
    UnreadableError
        If that cannot be found out.
    """
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError as error:
        raise UnreadableError(f"{path} cannot be reached: {error.strerror}; check it") from error
    return True


def read_file(path: Path, *, limit_bytes: int = 1 << 30) -> bytes:
    """Return a file's bytes.

    Raises
    ------
    UnreadableError
        If it is missing, no file, or not readable.
    OutOfResourcesError
        If it is larger than the limit.
    """
    try:
        size = path.stat().st_size
        if not path.is_file():
            raise UnreadableError(f"{path} is not a file; name the file itself")
        if size > limit_bytes:
            raise OutOfResourcesError(f"{path} has {size} bytes, limit {limit_bytes}; split it")
        return path.read_bytes()
    except FileNotFoundError as error:
        raise UnreadableError(f"{path} does not exist; check name and folder") from error
    except OSError as error:
        raise UnreadableError(f"{path} cannot be read: {error.strerror}; check it") from error


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold a lock file while a document is compared and replaced; waits for others.

    Raises
    ------
    CannotWriteError
        If the lock file cannot be made.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        file = path.open("a")
    except OSError as error:
        raise CannotWriteError(f"{path} cannot be locked: {_why(error)}") from error
    with file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX)
        except OSError as error:
            raise CannotWriteError(f"{path} cannot be locked: {_why(error)}") from error
        yield
