"""What each stage of the pipeline leaves in the store."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import F64, I64, Record, frozen_array
from kerfwright.model.cut import CutOrder, CutSetup
from kerfwright.model.drawing import Drawing
from kerfwright.model.fit import SheetFit
from kerfwright.model.hold import HoldReport
from kerfwright.model.marks import MarkLayout, MarkMatch
from kerfwright.model.motion import TimedMotion, ToolMotion
from kerfwright.model.operation import Operation
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout
from kerfwright.model.verdict import ErrorBudget, Verdict
from kerfwright.model.verification import Verification


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawingsResult(Record):
    """What was read of each input; contour ids differ across all of them.

    Parameters
    ----------
    drawings : tuple of Drawing
        One per input of the job.
    """

    drawings: tuple[Drawing, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What reading found, input by input."""
        return tuple(f for drawing in self.drawings for f in drawing.findings)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ArtworkResult(Record):
    """Lines joined and sorted into parts.

    Parameters
    ----------
    drawings : tuple of Drawing
        Each input after lines were joined.
    parts : tuple of Part
        Parts found.
    findings : tuple of Finding
        What joining and sorting found.
    """

    drawings: tuple[Drawing, ...]
    parts: tuple[Part, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Furniture(Record):
    """What is printed for the machine and its operator besides the marks.

    Parameters
    ----------
    label_box_mm : tuple of float
        x0, y0, x1, y1 of the sheet label with its quiet zone, sheet frame [mm].
    arrow_xy_mm : tuple of float
        Foot of the arrow that shows the operator side, sheet frame [mm].
    """

    label_box_mm: tuple[float, float, float, float]
    arrow_xy_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayoutResult(Record):
    """Where parts lie.

    Parameters
    ----------
    layout : Layout
        Placements on the sheet.
    marks : MarkLayout or None
        Registration marks; None for a job without.
    furniture : Furniture or None
        Where label and arrow stand; None for a job without marks.
    findings : tuple of Finding
        What does not fit.
    """

    layout: Layout
    marks: MarkLayout | None = None
    furniture: Furniture | None = None
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedContours(Record):
    """K contours as they lie on one sheet.

    Parameters
    ----------
    contours : tuple of str
        Placed contour ids.
    placement : ndarray of shape (K,), int
        Placement each one belongs to.
    on_sheet, on_table : PathSet
        The contours in the sheet and in the table frame [mm].
    operations : tuple of Operation
        Operations used.
    operation : ndarray of shape (K,), int
        Index into `operations`.
    part_side : ndarray of shape (K,), int
        +1 where the part lies left of the drawn direction, -1 right, 0 both or none.
    table_from_sheet : PlaneMap
        How the sheet lies.
    maps : tuple of PlaneMap
        Maps from the sheet to the table that contours follow; empty for `table_from_sheet` alone.
    map : ndarray of shape (K,), int
        Index into `maps`; no rows for `table_from_sheet` alone.
    """

    contours: tuple[str, ...]
    placement: I64
    on_sheet: PathSet
    on_table: PathSet
    operations: tuple[Operation, ...]
    operation: I64
    part_side: I64
    table_from_sheet: PlaneMap
    maps: tuple[PlaneMap, ...] = ()
    map: I64 = field(default_factory=lambda: np.zeros(0, np.int64))

    def __post_init__(self) -> None:
        for name in ("placement", "operation", "part_side"):
            frozen_array(self, name, dtype=np.int64, shape=(len(self.contours),))
        rows = len(self.contours) if self.maps else 0
        frozen_array(self, "map", dtype=np.int64, shape=(rows,))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanResult(Record):
    """Motion of the whole sheet, and what was left out of it.

    Parameters
    ----------
    placed : PlacedContours
        Contours that are cut.
    held : tuple of str
        Placed contours left out because their part is held back.
    setups : tuple of CutSetup
        Numbers of each operation, in the order of ``placed.operations``.
    order : CutOrder
        Order of the cuts.
    motion : ToolMotion
        Motion in the table frame.
    travel_z_mm : float
        Height heads travel at [mm].
    findings : tuple of Finding
        What planning found.
    """

    placed: PlacedContours
    held: tuple[str, ...]
    setups: tuple[CutSetup, ...]
    order: CutOrder
    motion: ToolMotion
    travel_z_mm: float
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TimeResult(Record):
    """How long the program takes.

    Parameters
    ----------
    timed : TimedMotion
        Time along the motion.
    naive_s : float
        Length over feed, for comparison [s].
    """

    timed: TimedMotion
    naive_s: float

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What timing found."""
        return self.timed.findings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProgramResult(Record):
    """Text for the control.

    Parameters
    ----------
    text : str
        The program.
    air_text : str
        The same way through the air.
    dialect_id : str
        Dialect both are written in.
    z_zero_mm : float
        Height above the bed of the program's Z zero [mm].
    """

    text: str
    air_text: str
    dialect_id: str
    z_zero_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CheckResult(Record):
    """The program read back and compared with the design.

    Parameters
    ----------
    verification : Verification
        What the check found.
    air_cuts_nothing : bool
        Whether the air program, read back, stays at travel height with nothing switched on.
    findings : tuple of Finding
        Findings of both.
    """

    verification: Verification
    air_cuts_nothing: bool
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PrintResult(Record):
    """Print files of the nominal sheet.

    Parameters
    ----------
    with_cut_lines, without : str
        Hashes of the stored files; empty for a job without marks.
    label : str
        What the sheet label says.
    findings : tuple of Finding
        What making them found.
    """

    with_cut_lines: str = ""
    without: str = ""
    label: str = ""
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LookResult(Record):
    """What the pictures of one physical sheet show.

    Parameters
    ----------
    xy_mm : ndarray of shape (K, 2), float
        Marks found, table frame [mm].
    cov_mm2 : ndarray of shape (K, 2, 2), float
        Covariance of each [mm2].
    photo : ndarray of shape (K,), int
        Picture each was taken from.
    match : MarkMatch or None
        Which is which; None when nothing could be matched.
    labels : tuple of str
        Texts of the labels read.
    findings : tuple of Finding
        What is wrong with pictures, marks or label.
    """

    xy_mm: F64
    cov_mm2: F64
    photo: I64
    match: MarkMatch | None
    labels: tuple[str, ...] = ()
    findings: tuple[Finding, ...]

    def __post_init__(self) -> None:
        frozen_array(self, "xy_mm", dtype=np.float64, shape=(None, 2))
        count = len(self.xy_mm)
        frozen_array(self, "cov_mm2", dtype=np.float64, shape=(count, 2, 2))
        frozen_array(self, "photo", dtype=np.int64, shape=(count,))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitResult(Record):
    """How one physical sheet lies, and which parts will land in tolerance.

    Parameters
    ----------
    fit : SheetFit
        The map and what is not known of it.
    placed : PlacedContours
        Every contour where this sheet has it.
    budget : ErrorBudget
        Errors the marks cannot show.
    verdicts : tuple of Verdict
        One per contour.
    findings : tuple of Finding
        What fitting found; a part that is not `will_cut` is held back.
    """

    fit: SheetFit
    placed: PlacedContours
    budget: ErrorBudget
    verdicts: tuple[Verdict, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HoldResult(Record):
    """Whether the vacuum holds every part.

    Parameters
    ----------
    report : HoldReport
        Load, hold and margin of each part.
    """

    report: HoldReport

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the hold-down check found."""
        return self.report.findings
