"""How one physical sheet lies on the table and how its print stretched, with what is not known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import Finding
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import BOOL, F64, Record, frozen_array, require
from kerfwright.geometry.uncertain_map import MapNode, UncertainMap
from kerfwright.model._checks import require_finite


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetFit(Record):
    """The map from the nominal sheet to the table, fitted to N marks.

    Parameters
    ----------
    table_from_sheet : UncertainMap
        The averaged models and their uncertainty.
    marks : ndarray of shape (N, 2), float
        Nominal places of the marks, sheet frame [mm].
    measured : ndarray of shape (N, 2), float
        Where they were seen, table frame [mm].
    used : ndarray of shape (N,), bool
        Which marks the fit rests on; the others contradict the rest and are left out.
    residual : ndarray of shape (N, 2), float
        Measured less mean map [mm].
    leave_one_out : ndarray of shape (N, 2) or (0, 2), float
        Measured less what the other marks say, for a mark left out its residual; no rows when no
        mark can be spared [mm].
    noise_sd_mm : float
        Scatter of a mark along each axis, median of what the marks allow [mm].
    spare : int
        Numbers measured less numbers of the heaviest model: what residuals can be judged by.
    undetectable_mm : float
        Smallest feed step that would be noticed wherever between marks it lies; a smaller one
        cannot be excluded [mm].
    mirrored : bool
        Whether the sheet lies face down.
    findings : tuple of Finding
        What fitting found.
    """

    table_from_sheet: UncertainMap
    marks: F64
    measured: F64
    used: BOOL
    residual: F64
    leave_one_out: F64
    noise_sd_mm: float
    spare: int
    undetectable_mm: float
    mirrored: bool = False
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        frozen_array(self, "marks", dtype=np.float64, shape=(None, 2))
        n = len(self.marks)
        for name in ("measured", "residual"):
            frozen_array(self, name, dtype=np.float64, shape=(n, 2))
        frozen_array(self, "leave_one_out", dtype=np.float64, shape=(None, 2))
        rows = len(self.leave_one_out)
        require(rows in (0, n), f"SheetFit.leave_one_out has {rows} rows for {n} marks")
        frozen_array(self, "used", dtype=np.bool_, shape=(n,))
        require_finite(self)
        used = int(np.count_nonzero(self.used))
        require(used >= 2, f"SheetFit.used holds {used} marks, least is 2")
        for name in ("noise_sd_mm", "spare", "undetectable_mm"):
            value = getattr(self, name)
            require(value >= 0, f"SheetFit.{name} is {value}, must not be below 0")

    @property
    def nodes(self) -> tuple[MapNode, ...]:
        """The averaged models: weight, map, factor, degrees of freedom."""
        return self.table_from_sheet.nodes

    @property
    def domain(self) -> tuple[float, float, float, float]:
        """x0, y0, x1, y1 of the sheet frame inside which the fit holds [mm]."""
        return self.table_from_sheet.domain

    @property
    def mean_map(self) -> PlaneMap:
        """The mean map, along which contours are cut."""
        return self.table_from_sheet.mean_map()

    def map(self, xy: ArrayLike) -> F64:
        """Return where N points of the sheet lie on the table, shape (N, 2) [mm].

        Raises
        ------
        GeometryError
            If `xy` is not of shape (N, 2) or (2,), or a number is not finite.
        """
        return self.table_from_sheet.map(xy)

    def sd(self, xy: ArrayLike) -> F64:
        """Return the standard deviation along the table's x and y, shape (N, 2) [mm].

        Raises
        ------
        GeometryError
            If `xy` is not of shape (N, 2) or (2,), or a number is not finite.
        """
        return self.table_from_sheet.sd(xy)

    def interval(self, xy: ArrayLike, level: float) -> tuple[F64, F64]:
        """Return low and high ends for each point alone; see `UncertainMap.interval`.

        Raises
        ------
        GeometryError
            If a point is not finite, or `level` is not between 0 and 1.
        """
        return self.table_from_sheet.interval(xy, level)

    def simultaneous_band(self, xy: ArrayLike, level: float) -> F64:
        """Return radii that hold over the whole sheet; see `UncertainMap.simultaneous_band`.

        Raises
        ------
        GeometryError
            If a point is not finite, or `level` is not between 0 and 1.
        """
        return self.table_from_sheet.simultaneous_band(xy, level)
