"""What the program is checked against: nominal contours, how they lie, what is done to each."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import numpy as np

from kerfwright.geometry.paths import PathSet, empty_paths
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import F64, I64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows
from kerfwright.model.operation import Operation
from kerfwright.model.tooling import Tool


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """Every tolerance of one job, passed down as one value.

    Parameters
    ----------
    read_mm : float
        Between a curve of the file and its arcs [mm].
    map_mm : float
        Between a mapped curve and its arcs [mm].
    offset_mm : float
        Of an offset [mm].
    program_mm : float
        Of the numbers written [mm].
    cut_mm : float
        Greatest deviation of a cut from its contour the check accepts [mm].
    depth_mm : float
        Greatest error of depth the check accepts [mm].
    uncut_mm : float
        Greatest uncut length along a contour the check accepts [mm].
    overcut_mm : float
        Greatest cut into a part past a corner the check accepts [mm].
    blade_rad : float
        Greatest angle between blade and contour, beyond what the curve itself asks, the check
        accepts [rad].
    """

    read_mm: float = 0.001
    map_mm: float = 0.002
    offset_mm: float = 0.001
    program_mm: float = 0.0001
    cut_mm: float = 0.03
    depth_mm: float = 0.1
    uncut_mm: float = 0.03
    overcut_mm: float = 0.03
    blade_rad: float = 0.01

    def __post_init__(self) -> None:
        require_finite(self)
        for f in fields(self):
            value = getattr(self, f.name)
            require(value > 0.0, f"Tolerances.{f.name} is {value}, must be above 0")

    @property
    def sum_mm(self) -> float:
        """Sum of what reading, mapping, offsetting and writing may add up to [mm]."""
        return self.read_mm + self.map_mm + self.offset_mm + self.program_mm


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Design(Record):
    """K contours as they are wanted on this very sheet.

    Parameters
    ----------
    contours : tuple of str
        Contour ids, one per row; a contour with two operations has two rows.
    nominal : PathSet
        K paths in the sheet frame [mm].
    operations : tuple of Operation
        Operations used.
    operation : ndarray of shape (K,), int
        Index into `operations`.
    tools : tuple of Blade
        Tools used.
    tool : ndarray of shape (K,), int
        Index into `tools`.
    maps : tuple of PlaneMap
        table_from_sheet maps used.
    map : ndarray of shape (K,), int
        Index into `maps`.
    bottom_z_mm, top_z_mm : float
        Faces of the stock above the bed [mm].
    travel_z_mm : float
        Least height of a tip while it travels between cuts [mm].
    keep_outs : PathSet
        Places no tool may cut, table frame [mm].
    leads_mm : ndarray of shape (O, 2), float
        Way over which the wheel of each operation rolls down to its depth and up again; negative
        where it does so before the line begins and after it ends. No rows for none [mm].
    """

    contours: tuple[str, ...]
    nominal: PathSet
    operations: tuple[Operation, ...]
    operation: I64
    tools: tuple[Tool, ...]
    tool: I64
    maps: tuple[PlaneMap, ...]
    map: I64
    bottom_z_mm: float
    top_z_mm: float
    travel_z_mm: float
    keep_outs: PathSet = field(default_factory=empty_paths)
    leads_mm: F64 = field(default_factory=lambda: np.zeros((0, 2)))

    def __post_init__(self) -> None:
        n = len(self.nominal)
        require_finite(self)
        have = len(self.contours)
        require(have == n, f"Design.contours has {have} entries for {n} paths")
        self._check_leads()
        for name, pool in (
            ("operation", self.operations),
            ("tool", self.tools),
            ("map", self.maps),
        ):
            frozen_array(self, name, dtype=np.int64, shape=(n,))
            index = getattr(self, name)
            known = (index >= 0) & (index < len(pool))
            require_rows(self, name, known, f"from 0 to {len(pool) - 1}")
        bottom, top = self.bottom_z_mm, self.top_z_mm
        require(bottom < top, f"Design: stock from {bottom} to {top} mm has no thickness")
        require(
            self.travel_z_mm > top,
            f"Design.travel_z_mm is {self.travel_z_mm}, must be above the stock's top at {top} mm",
        )

    @property
    def row_leads_mm(self) -> F64:
        """Leads of each contour, shape (K, 2) [mm]."""
        if not len(self.leads_mm):
            return np.zeros((len(self.nominal), 2))
        rows: F64 = self.leads_mm[self.operation]
        return rows

    def _check_leads(self) -> None:
        frozen_array(self, "leads_mm", dtype=np.float64, shape=(None, 2))
        rows, wanted = len(self.leads_mm), len(self.operations)
        require(rows in {0, wanted}, f"Design.leads_mm has {rows} rows for {wanted} operations")
