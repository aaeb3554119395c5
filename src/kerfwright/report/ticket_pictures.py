"""Pictures of a job ticket as plain records: how the sheet lies, how well it is known."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import BOOL, F64, I64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows, require_word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetPicture(Record):
    """How the sheet and its parts lie.

    Parameters
    ----------
    frame : str
        Frame of all points: table or sheet.
    view_mm : tuple of float
        What is shown, x0, y0, x1, y1: the bed, or the sheet [mm].
    sheet : PathSet
        Edge of the sheet [mm].
    outlines : PathSet
        K contours of parts, holes included [mm].
    part : ndarray of shape (K,), int
        Row of the ticket's verdict table each contour belongs to.
    marks_xy : ndarray of shape (N, 2), float
        Registration marks [mm].
    marks_used : ndarray of shape (N,), bool
        Whether the fit uses the mark.
    zone_box_mm : ndarray of shape (Z, 4), float
        Vacuum zones x0, y0, x1, y1 [mm].
    zone : ndarray of shape (Z,), int
        Their numbers.
    """

    frame: str = "table"
    view_mm: tuple[float, float, float, float]
    sheet: PathSet
    outlines: PathSet
    part: I64
    marks_xy: F64 = field(default_factory=lambda: np.zeros((0, 2)))
    marks_used: BOOL = field(default_factory=lambda: np.zeros(0, bool))
    zone_box_mm: F64 = field(default_factory=lambda: np.zeros((0, 4)))
    zone: I64 = field(default_factory=lambda: np.zeros(0, np.int64))

    def __post_init__(self) -> None:
        require_word("SheetPicture.frame", self.frame, ("table", "sheet"))
        frozen_array(self, "part", dtype=np.int64, shape=(len(self.outlines),))
        frozen_array(self, "marks_xy", dtype=np.float64, shape=(None, 2))
        frozen_array(self, "marks_used", dtype=np.bool_, shape=(len(self.marks_xy),))
        frozen_array(self, "zone_box_mm", dtype=np.float64, shape=(None, 4))
        frozen_array(self, "zone", dtype=np.int64, shape=(len(self.zone_box_mm),))
        require(np.isfinite(self.view_mm).all(), f"SheetPicture.view_mm is {self.view_mm}")
        edge = self.sheet
        require(len(edge) and edge.closed.all(), "SheetPicture.sheet must hold closed paths")
        x0, y0, x1, y1 = self.view_mm
        require(x0 < x1 and y0 < y1, f"SheetPicture.view_mm {self.view_mm} is empty")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ErrorMap(Record):
    """Expected deviation over the sheet, as a grid of cells in the frame of the picture.

    It is drawn inside the sheet's edge only, so cells the edge runs through are filled as well.

    Parameters
    ----------
    x_mm : ndarray of shape (C + 1,), float
        Edges of the columns, growing [mm].
    y_mm : ndarray of shape (R + 1,), float
        Edges of the rows, growing [mm].
    deviation_mm : ndarray of shape (R, C), float
        Deviation not exceeded with the chance of `level`; NaN where there is no sheet [mm].
    limit_mm : float
        Smallest tolerance of the sheet's parts; cells above it are hatched [mm].
    level : float
        Chance, 0 to 1.
    """

    x_mm: F64
    y_mm: F64
    deviation_mm: F64
    limit_mm: float
    level: float = 0.95

    def __post_init__(self) -> None:
        frozen_array(self, "x_mm", dtype=np.float64, shape=(None,))
        frozen_array(self, "y_mm", dtype=np.float64, shape=(None,))
        shape = (max(len(self.y_mm) - 1, 0), max(len(self.x_mm) - 1, 0))
        frozen_array(self, "deviation_mm", dtype=np.float64, shape=shape, finite=False)
        require_finite(self)
        for name in ("x_mm", "y_mm"):
            grows = np.diff(getattr(self, name)) > 0.0
            require(grows.size and grows.all(), f"ErrorMap.{name} must hold growing edges")
        values = self.deviation_mm
        require_rows(
            self,
            "deviation_mm",
            ~(np.isinf(values) | (values < 0.0)).any(axis=1),
            "0 or more, or NaN where there is no sheet",
        )
        require(np.isfinite(values).any(), "ErrorMap.deviation_mm holds no cell of the sheet")
        require(self.limit_mm > 0.0, f"ErrorMap.limit_mm is {self.limit_mm}, must be above 0")
        require(0.0 < self.level < 1.0, f"ErrorMap.level is {self.level}, must be in 0 to 1")
