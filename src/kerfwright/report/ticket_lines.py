"""Lines of a job ticket as plain records.

They hold words and numbers only, so that whoever makes verdicts, times or hold-down hands them
over without knowing the page, and the page knows nothing of how they were found.
"""

from __future__ import annotations

from dataclasses import dataclass

from kerfwright.geometry.record import require
from kerfwright.model._checks import require_finite, require_word
from kerfwright.report.look import STATES


@dataclass(frozen=True, slots=True, kw_only=True)
class CardValue:
    """One value of a setting card: name, value, unit, and the range it was chosen from."""

    name: str
    value: float
    unit: str
    low: float
    high: float

    def __post_init__(self) -> None:
        require_finite(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolLine:
    """One station of the table that this sheet uses.

    Parameters
    ----------
    station : int
        Number of the station.
    head, tool, card : str
        What is mounted, what is in it, and the setting card.
    values : tuple of CardValue
        What the card says.
    proven : str
        When and by whom the card was proven; empty for a starting value.
    """

    station: int
    head: str
    tool: str
    card: str
    values: tuple[CardValue, ...] = ()
    proven: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationLine:
    """Cuts of one operation in their order: how many, how long, the first and the last.

    Parameters
    ----------
    operation, process : str
        Operation of the rules and its process.
    station : int
        Station that does it.
    cuts : int
        How many cuts.
    length_mm : float
        Length of their contours [mm].
    first, last : str
        Placed contours cut first and last.
    """

    operation: str
    process: str
    station: int
    cuts: int
    length_mm: float
    first: str
    last: str

    def __post_init__(self) -> None:
        require_finite(self)
        require(self.cuts >= 1, f"operation {self.operation} has {self.cuts} cuts, least is 1")


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeLine:
    """Time one cause takes.

    Parameters
    ----------
    cause : str
        What takes it.
    low_s, high_s : float
        Bracket [s].
    """

    cause: str
    low_s: float
    high_s: float

    def __post_init__(self) -> None:
        require_finite(self)
        what = f"time of {self.cause}"
        require(0.0 <= self.low_s <= self.high_s, f"{what}: {self.low_s} to {self.high_s} s")


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLine:
    """Verdict of one placed part.

    Parameters
    ----------
    part : str
        Placed part, as ``7: badge``.
    state : str
        will_cut, check, will_not_cut or needs_you.
    follows : str
        What its tolerance is measured from, as print or size.
    deviation_mm, low_mm, high_mm : float or None
        Promised greatest deviation and its interval; None where it cannot be computed [mm].
    limit_mm : float
        Tolerance [mm].
    reason : str
        One sentence.
    """

    part: str
    state: str
    follows: str = "print"
    deviation_mm: float | None = None
    low_mm: float | None = None
    high_mm: float | None = None
    limit_mm: float
    reason: str = ""

    def __post_init__(self) -> None:
        require_finite(self)
        require_word(f"state of part {self.part}", self.state, STATES)
        given = [v is not None for v in (self.deviation_mm, self.low_mm, self.high_mm)]
        require(
            all(given) or (not any(given) and self.state == "needs_you"),
            f"part {self.part} is {self.state} and lacks a deviation or its interval; only "
            "needs_you may have none",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldLine:
    """How well one part is held at its worst moment.

    Parameters
    ----------
    part : str
        Placed part.
    load_n, hold_n : float
        Force on it, and the force it withstands [N].
    margin : float
        The second over the first.
    least_margin : float
        What is asked for.
    when : str
        The moment.
    """

    part: str
    load_n: float
    hold_n: float
    margin: float
    least_margin: float
    when: str = ""

    def __post_init__(self) -> None:
        require_finite(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class FileLine:
    """One file handed over: name, SHA-256 as hex, size."""

    name: str
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckLine:
    """One thing that was checked.

    Parameters
    ----------
    what, result : str
        What was checked, and what came out, in words.
    state : str
        passed, failed or not_done.
    """

    what: str
    result: str
    state: str

    def __post_init__(self) -> None:
        require_word(f"check of {self.what}", self.state, ("passed", "failed", "not_done"))


@dataclass(frozen=True, slots=True, kw_only=True)
class OverrideLine:
    """Something a person allowed against a finding: what, the reason, initials."""

    what: str
    reason: str
    initials: str

    def __post_init__(self) -> None:
        require(self.reason.strip(), f"override of {self.what}: the reason is missing")
        require(self.initials.strip(), f"override of {self.what}: the initials are missing")
