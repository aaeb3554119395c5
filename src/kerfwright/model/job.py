"""The job document: what was asked for, what was chosen, and which results stand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from kerfwright.errors import Finding
from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_finite
from kerfwright.model.design import Tolerances
from kerfwright.model.rules import RuleTable
from kerfwright.model.sheet import Sheet

SCHEMA_VERSION = 1
_NO_FILE = ("", ".", "..")


class StageState(StrEnum):
    """Whether a stage's result still answers what the job now asks."""

    DONE = "done"
    LOOK_AGAIN = "look_again"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JobInput(Record):
    """A file the customer sent, kept as a blob.

    Parameters
    ----------
    name : str
        File name without its folder.
    sha256 : str
        Hash of its content.
    size_bytes : int
        Its size.
    unit : str
        Drawing unit a person confirmed; empty while nobody has.
    scale : float or None
        Factor on top of the unit; None for 1.
    """

    name: str
    sha256: str
    size_bytes: int
    unit: str = ""
    scale: float | None = None

    def __post_init__(self) -> None:
        require_finite(self)
        require(
            self.name not in _NO_FILE and not set(self.name) & set("/\\\0"),
            f"JobInput.name is {self.name!r}, must be a file name without its folder",
        )
        require(self.size_bytes >= 0, f"{self.name}: size {self.size_bytes} bytes is below 0")
        require(
            self.scale is None or self.scale > 0.0,
            f"{self.name}: scale is {self.scale}, must be above 0",
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JobChoices(Record):
    """What people chose for the job.

    Parameters
    ----------
    table_id, material_id : str
        Entries of the shop's books.
    sheet : Sheet
        Nominal sheet.
    tolerances : Tolerances
        Every tolerance of the job.
    """

    table_id: str
    material_id: str
    sheet: Sheet
    tolerances: Tolerances = field(default_factory=Tolerances)


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job(Record):
    """One order.

    Parameters
    ----------
    id : str
        Name of the job in the store.
    schema_version : int
        Version of this document's form.
    version : int
        Counts every change; a stale one is refused.
    inputs : tuple of JobInput
        Files the customer sent.
    rules : RuleTable
        Which line is what.
    choices : JobChoices
        Table, material, sheet, tolerances.
    seeds : mapping of str to int
        Seed of each stage that draws numbers.
    held : tuple of str
        Placed contours the check held back; their parts are left out of the program.
    held_because : tuple of Finding
        What the check found about them.
    held_basis : str
        Key of the plan they were found in; a plan of something else forgets them.
    pins : mapping of str to str
        Digest of each book entry the results were made with, by ``book/id``.
    results : mapping of str to StageResult
        Result of each stage.
    state : mapping of str to StageState
        State of each stage that has a result.
    """

    id: str
    schema_version: int = SCHEMA_VERSION
    version: int = 0
    inputs: tuple[JobInput, ...]
    rules: RuleTable
    choices: JobChoices
    seeds: Mapping[str, int] = field(default_factory=dict)
    held: tuple[str, ...] = ()
    held_because: tuple[Finding, ...] = ()
    held_basis: str = ""
    pins: Mapping[str, str] = field(default_factory=dict)
    results: Mapping[str, StageResult] = field(default_factory=dict)
    state: Mapping[str, StageState] = field(default_factory=dict)

    def __post_init__(self) -> None:
        require(
            self.schema_version == SCHEMA_VERSION,
            f"job {self.id} has form {self.schema_version}, this program writes {SCHEMA_VERSION}",
        )
        require(self.version >= 0, f"job {self.id}: version is {self.version}, least is 0")
        require(self.inputs, f"job {self.id} has 0 input files, least is 1")
