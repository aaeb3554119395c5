"""Sheets and where parts lie on them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from kerfwright.geometry.paths import PathSet, empty_paths
from kerfwright.geometry.record import F64, I64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet(Record):
    """A nominal sheet in its own frame, origin at the lower left.

    Parameters
    ----------
    id : str
        Name inside the job.
    outline : PathSet
        Its edge, one closed path [mm].
    holes, keep_outs : PathSet
        Openings, and places that must not be cut [mm].
    thickness_mm : float
        Nominal thickness [mm].
    material_id : str
        Material by id.
    grain_rad : float
        Direction of grain or flutes from +x [rad].
    margin_mm : float
        Border that must stay free of parts [mm].
    cost : float
        Price of one sheet in the shop's currency.
    """

    id: str
    outline: PathSet
    holes: PathSet = field(default_factory=empty_paths)
    keep_outs: PathSet = field(default_factory=empty_paths)
    thickness_mm: float
    material_id: str
    grain_rad: float = 0.0
    margin_mm: float = 0.0
    cost: float = 0.0

    def __post_init__(self) -> None:
        require_finite(self)
        paths, closed = len(self.outline), int(np.count_nonzero(self.outline.closed))
        require(
            paths == closed == 1,
            f"sheet {self.id}: the outline has {paths} paths, {closed} of them closed; must be "
            "one closed path",
        )
        thick, margin = self.thickness_mm, self.margin_mm
        require(thick > 0.0, f"sheet {self.id}: thickness is {thick} mm, must be above 0")
        require(margin >= 0.0, f"sheet {self.id}: margin is {margin} mm, must not be below 0")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout(Record):
    """P placements of parts on sheets.

    Parameters
    ----------
    sheets : tuple of Sheet
        Sheets used.
    part, sheet : ndarray of shape (P,), int
        Index of the part and of the sheet of each placement.
    sheet_from_part : ndarray of shape (P, 2, 3), float
        Rigid map of each placement [1, mm].
    unplaced : tuple of str
        Ids of parts that found no place.
    density : float
        Part area over sheet area.
    """

    sheets: tuple[Sheet, ...]
    part: I64
    sheet: I64
    sheet_from_part: F64
    unplaced: tuple[str, ...] = ()
    density: float = 0.0

    def __post_init__(self) -> None:
        frozen_array(self, "part", dtype=np.int64, shape=(None,))
        frozen_array(self, "sheet", dtype=np.int64, shape=(len(self.part),))
        frozen_array(self, "sheet_from_part", dtype=np.float64, shape=(len(self.part), 2, 3))
        require_finite(self)
        known = (self.sheet >= 0) & (self.sheet < len(self.sheets))
        require_rows(self, "sheet", known, f"from 0 to {len(self.sheets) - 1}")
        require_rows(self, "part", self.part >= 0, "0 or more")
        linear = self.sheet_from_part[:, :, :2]
        unit = np.abs(linear @ linear.transpose(0, 2, 1) - np.eye(2)) <= 1e-9
        require_rows(self, "sheet_from_part", unit.all(axis=(1, 2)), "rigid within 1e-9")
