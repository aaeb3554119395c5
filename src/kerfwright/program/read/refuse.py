"""The one way this reader says no."""

from __future__ import annotations

from kerfwright.errors import Finding, Place, ProgramSyntaxError, Severity
from kerfwright.errors.messages import cure_of, sentence_of


class ProgramLineError(ProgramSyntaxError):
    """A line of a program that was refused, with its finding.

    Parameters
    ----------
    finding : Finding
        Code, line, values and limit; the message is made from it.
    """

    def __init__(self, finding: Finding) -> None:
        line = finding.where.line or 1
        message = f"line {line}: {sentence_of(finding)}; {cure_of(finding)}"
        super().__init__(message, line=line, code=finding.code)
        self.finding = finding


def refusal(
    code: str,
    line: int,
    *,
    measured: float | None = None,
    limit: float | None = None,
    unit: str = "",
    **params: str | float,
) -> ProgramLineError:
    """Return the error of a line: number, what, limit and cure in one message."""
    return ProgramLineError(
        Finding(
            code=code,
            severity=Severity.BLOCKS,
            where=Place(stage="program", line=line),
            measured=measured,
            limit=limit,
            unit=unit,
            params=params,
        )
    )


def shown(text: str) -> str:
    """Return a short printable form of text from the program."""
    short = text if len(text) <= 24 else f"{text[:24]}..."
    return "".join(c if " " <= c <= "~" else f"\\x{ord(c):02x}" for c in short)
