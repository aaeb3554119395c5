"""The one way this writer says no."""

from __future__ import annotations

from kerfwright.errors import BlockedError, Finding, Place, Severity
from kerfwright.errors.messages import cure_of, sentence_of


class ProgramRefusedError(BlockedError):
    """A program that must not be written, with its finding.

    Parameters
    ----------
    finding : Finding
        Why; the message is made from it.
    """

    def __init__(self, finding: Finding) -> None:
        super().__init__(f"{sentence_of(finding)}; {cure_of(finding)}")
        self.finding = finding


def blocking(
    code: str,
    *,
    measured: float | None = None,
    limit: float | None = None,
    unit: str = "",
    xy_mm: tuple[float, float] | None = None,
    **params: str | float,
) -> Finding:
    """Return a finding of this writer."""
    return Finding(
        code=code,
        severity=Severity.BLOCKS,
        where=Place(stage="program", xy_mm=xy_mm, frame="table"),
        measured=measured,
        limit=limit,
        unit=unit,
        params=params,
    )
