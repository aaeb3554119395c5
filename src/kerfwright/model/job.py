"""The job document: what was asked for, what was chosen, and which results stand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from kerfwright.errors import Finding, UnknownNameError
from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_finite
from kerfwright.model.design import Tolerances
from kerfwright.model.prior import PrintPrior
from kerfwright.model.rules import RuleTable
from kerfwright.model.run import SheetRun, StageResult, StageState
from kerfwright.model.sheet import Sheet

SCHEMA_VERSION = 1
_NO_FILE = ("", ".", "..")


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
    page : int
        Page that is taken, from 1.
    quantity : int
        How often each part of it is wanted.
    """

    name: str
    sha256: str
    size_bytes: int
    unit: str = ""
    scale: float | None = None
    page: int = 1
    quantity: int = 1

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
        require(self.page >= 1, f"{self.name}: page is {self.page}, the first page is 1")
        require(self.quantity >= 1, f"{self.name}: quantity is {self.quantity}, least is 1")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkChoices(Record):
    """How a printed sheet shall find its way.

    Parameters
    ----------
    diameter_mm : float
        Printed diameter of a mark [mm].
    count : int or None
        Number of marks; None takes as many as the tolerance needs.
    throw_rad : float
        Largest turn the sheet may be thrown with, either way [rad].
    field_of_view_mm : tuple of float
        Width and height the camera sees [mm].
    face_down : bool
        Whether the sheet may be laid face down.
    prior : PrintPrior
        What is known of printer and medium before a mark is seen.
    feed_step_sd_mm : float
        Standard deviation of a feed step that may lie unseen between marks; above 0.1 mm a step
        is visible as banding (common practice, no source) [mm].
    """

    diameter_mm: float = 6.0
    count: int | None = None
    throw_rad: float = 0.07
    field_of_view_mm: tuple[float, float] = (160.0, 120.0)
    face_down: bool = False
    prior: PrintPrior = field(default_factory=PrintPrior)
    feed_step_sd_mm: float = 0.04

    def __post_init__(self) -> None:
        require_finite(self)
        require(self.diameter_mm > 0.0, f"marks of {self.diameter_mm} mm, must be above 0")
        require(self.count is None or self.count >= 2, f"{self.count} marks, least is 2")
        require(self.throw_rad > 0.0, f"a throw of {self.throw_rad} rad, must be above 0")
        w, h = self.field_of_view_mm
        require(min(w, h) > self.diameter_mm, f"a view of {w} x {h} mm holds no mark")
        step = self.feed_step_sd_mm
        require(step >= 0.0, f"a feed step of {step} mm, must not be below 0")


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
    marks : MarkChoices or None
        Registration marks; None for a job that is laid by hand and keeps its nominal place.
    nest : bool
        Whether parts are laid out anew; otherwise they lie as drawn.
    spacing_mm : float
        Least gap between parts that are laid out anew [mm].
    layout_time_s : float
        Longest that laying out may take [s].
    zones : tuple of int
        Vacuum zones that are on; empty for all that lie under the sheet.
    """

    table_id: str
    material_id: str
    sheet: Sheet
    tolerances: Tolerances = field(default_factory=Tolerances)
    marks: MarkChoices | None = None
    nest: bool = False
    spacing_mm: float = 8.0
    layout_time_s: float = 10.0
    zones: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        require_finite(self)
        for name in ("spacing_mm", "layout_time_s"):
            value = getattr(self, name)
            require(value > 0.0, f"JobChoices.{name} is {value}, must be above 0")


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
    runs : tuple of SheetRun
        Physical sheets, in order of their serials.
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
    runs: tuple[SheetRun, ...] = ()

    def __post_init__(self) -> None:
        require(
            self.schema_version == SCHEMA_VERSION,
            f"job {self.id} has form {self.schema_version}, this program writes {SCHEMA_VERSION}",
        )
        require(self.version >= 0, f"job {self.id}: version is {self.version}, least is 0")
        require(self.inputs, f"job {self.id} has 0 input files, least is 1")
        serials = [run.serial for run in self.runs]
        rising = serials == sorted(set(serials))
        require(rising, f"job {self.id}: serials {serials} must rise, each once")

    def run(self, serial: int) -> SheetRun:
        """Return a physical sheet by its serial.

        Raises
        ------
        UnknownNameError
            If the job has no such sheet.
        """
        for run in self.runs:
            if run.serial == serial:
                return run
        known = ", ".join(str(run.serial) for run in self.runs) or "none yet"
        raise UnknownNameError(f"job {self.id} has no sheet {serial}; it has: {known}")
