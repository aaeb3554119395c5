"""Versions of a job as they were saved, and where undo and redo lead.

Nothing is ever rewritten: undo adds a version with the content of an earlier one. The *basis* of a
version is the version whose content it has, itself for one that was saved; so a row of undos walks
back step by step, and what is saved after an undo follows the version that was come back to.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from kerfwright.errors import UsageError


@dataclass(frozen=True, slots=True, kw_only=True)
class SavedVersion:
    """One saved version of a job.

    Parameters
    ----------
    version : int
        Its number, from 1; the order of saving, whatever the clock said.
    saved_at : datetime
        When it was saved, in UTC.
    basis : int
        The version whose content it has: its own, or the one that undo or redo came to.
    changed : tuple of str
        Fields of the job that differ from the version before; empty for the first.
    """

    version: int
    saved_at: datetime
    basis: int
    changed: tuple[str, ...]


def undo_target(basis: Sequence[int]) -> int:
    """Return the version whose content undo brings back.

    Parameters
    ----------
    basis : sequence of int
        Basis of each version, the first one of version 1.

    Raises
    ------
    UsageError
        If the first version already stands.
    """
    before = _before(basis, basis[-1])
    if before is None:
        raise UsageError("there is nothing to undo: the first version stands")
    return before


def redo_target(basis: Sequence[int]) -> int:
    """Return the version whose content redo brings back.

    Parameters
    ----------
    basis : sequence of int
        As for `undo_target`.

    Raises
    ------
    UsageError
        If nothing was undone since the last change.
    """
    saved = max(version for version, base in enumerate(basis, 1) if version == base)
    for version in _line(basis, saved):
        if _before(basis, version) == basis[-1]:
            return version
    raise UsageError("there is nothing to redo: nothing was undone since the last change")


def _line(basis: Sequence[int], version: int) -> Iterator[int]:
    """Yield a saved version, the one it was made from, and so on back to the first."""
    step: int | None = version
    while step is not None:
        yield step
        step = _before(basis, step)


def _before(basis: Sequence[int], version: int) -> int | None:
    """Return the version that a saved version was made from; None for the first."""
    return basis[version - 2] if version > 1 else None
