"""What each stage of the pipeline leaves in the store."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import I64, Record, frozen_array
from kerfwright.model.cut import CutOrder, CutSetup
from kerfwright.model.drawing import Drawing
from kerfwright.model.motion import TimedMotion, ToolMotion
from kerfwright.model.operation import Operation
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout
from kerfwright.model.verification import Verification


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ArtworkResult(Record):
    """Lines joined and sorted into parts.

    Parameters
    ----------
    drawing : Drawing
        The drawing after lines were joined.
    parts : tuple of Part
        Parts found.
    findings : tuple of Finding
        What joining and sorting found.
    """

    drawing: Drawing
    parts: tuple[Part, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayoutResult(Record):
    """Where parts lie.

    Parameters
    ----------
    layout : Layout
        Placements on the sheet.
    findings : tuple of Finding
        What does not fit.
    """

    layout: Layout
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
    """

    contours: tuple[str, ...]
    placement: I64
    on_sheet: PathSet
    on_table: PathSet
    operations: tuple[Operation, ...]
    operation: I64
    part_side: I64
    table_from_sheet: PlaneMap

    def __post_init__(self) -> None:
        for name in ("placement", "operation", "part_side"):
            frozen_array(self, name, dtype=np.int64, shape=(len(self.contours),))


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
