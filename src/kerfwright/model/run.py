"""Physical sheets of a job: what was photographed, what was decided, what became of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from kerfwright.errors import Finding
from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_finite
from kerfwright.model.marks import Photo


class StageState(StrEnum):
    """Whether a stage's result still answers what the job now asks."""

    DONE = "done"
    LOOK_AGAIN = "look_again"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StageResult(Record):
    """Where the result of one stage lies.

    Parameters
    ----------
    key : str
        Hash of the stage's name, version and inputs.
    blob : str
        Hash of the stored result.
    """

    key: str
    blob: str


class SheetState(StrEnum):
    """How far one physical sheet has come."""

    ON_BED = "on_bed"
    READY = "ready"
    HANDED_OVER = "handed_over"
    GOOD = "good"
    SPOILED = "spoiled"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Release(Record):
    """A person lets a doubtful part be cut.

    Parameters
    ----------
    contour : str
        Placed contour whose verdict is `check`.
    reason : str
        Word of `RELEASE_REASONS`.
    initials : str
        Who says so; goes on the ticket.
    """

    contour: str
    reason: str
    initials: str

    def __post_init__(self) -> None:
        require(
            self.reason in RELEASE_REASONS,
            f"a release for {self.reason!r} is not known; give {', '.join(RELEASE_REASONS)}",
        )
        named = self.initials.strip()
        require(
            1 <= len(named) <= 8 and named.isprintable(),
            f"initials {self.initials!r} must be 1 to 8 letters",
        )


RELEASE_REASONS = ("measured_by_hand", "customer_accepts", "spare_part", "test_cut")
"""Why a doubtful part may be cut all the same."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetRun(Record):
    """One physical sheet of a job.

    Parameters
    ----------
    serial : int
        Number of the sheet within the job, from 1.
    sheet_id : str
        Nominal sheet it was printed from.
    state : SheetState
        How far it has come.
    caliper_mm : float or None
        Measured thickness; None takes the nominal one [mm].
    photos : tuple of Photo
        What the camera saw, in order.
    zones : tuple of int
        Vacuum zones that were on when it was photographed.
    end_photos : tuple of Photo
        Marks looked at again after the cut.
    released : tuple of Release
        Doubtful parts a person lets through.
    held : tuple of str
        Placed contours the check of the program held back.
    held_because : tuple of Finding
        What it found about them.
    held_basis : str
        Key of the plan they were found in.
    results : mapping of str to StageResult
        Result of each stage for this sheet.
    stage_state : mapping of str to StageState
        State of each of them.
    program_sha : str
        Hash of the program that was handed over for this sheet; empty before.
    """

    serial: int
    sheet_id: str
    state: SheetState = SheetState.ON_BED
    caliper_mm: float | None = None
    photos: tuple[Photo, ...] = ()
    zones: tuple[int, ...] = ()
    end_photos: tuple[Photo, ...] = ()
    released: tuple[Release, ...] = ()
    held: tuple[str, ...] = ()
    held_because: tuple[Finding, ...] = ()
    held_basis: str = ""
    results: Mapping[str, StageResult] = field(default_factory=dict)
    stage_state: Mapping[str, StageState] = field(default_factory=dict)
    program_sha: str = ""

    def __post_init__(self) -> None:
        require_finite(self)
        require(self.serial >= 1, f"SheetRun.serial is {self.serial}, the first sheet is 1")
        caliper = self.caliper_mm
        require(
            caliper is None or caliper > 0.0,
            f"sheet {self.serial}: caliper is {caliper} mm, must be above 0",
        )
