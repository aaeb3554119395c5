"""Progress and cancel, passed in by the face; a stage only ever calls it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol


class Progress(Protocol):
    """Told how far a stage is; raises `CancelledError` to stop the work."""

    def __call__(self, stage: str, done: int, of: int) -> None:
        """Report that `done` of `of` steps of a stage are behind us."""


def silent(stage: str, done: int, of: int) -> None:
    """Report to nobody."""


def for_stage(progress: Progress, stage: str) -> Callable[[int, int], None]:
    """Return the two-number form a stage's function takes."""

    def report(done: int, of: int) -> None:
        progress(stage, done, of)

    return report
