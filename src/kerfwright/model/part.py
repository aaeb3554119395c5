"""Parts: what the customer gets, with every line that belongs to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import I64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows
from kerfwright.model.drawing import ArtRef
from kerfwright.model.operation import Operation


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part(Record):
    """One part in the artwork frame.

    Parameters
    ----------
    id : str
        Name inside the job.
    paths : PathSet
        K lines of the part [mm].
    contour_ids : tuple of str
        Id of each line.
    operations : tuple of Operation
        Operations used by its lines.
    operation : ndarray of shape (K,), int
        Index into `operations` for each line.
    outline : int
        Index of the line that frees the part, -1 when none does.
    quantity : int
        How many are wanted.
    priority : int
        Higher goes first when sheets run out.
    rotations_rad : tuple of float
        Turns allowed in the layout [rad].
    mirror_ok : bool
        Whether it may be turned over.
    bleed_mm : float
        Printed margin around it [mm].
    art : ArtRef or None
        Its printed art.
    """

    id: str
    paths: PathSet
    contour_ids: tuple[str, ...]
    operations: tuple[Operation, ...]
    operation: I64
    outline: int = -1
    quantity: int = 1
    priority: int = 0
    rotations_rad: tuple[float, ...] = (0.0,)
    mirror_ok: bool = False
    bleed_mm: float = 0.0
    art: ArtRef | None = None

    def __post_init__(self) -> None:
        frozen_array(self, "operation", dtype=np.int64, shape=(len(self.paths),))
        require_finite(self)
        lines, ids, known = len(self.paths), len(self.contour_ids), len(self.operations)
        require(lines > 0, f"part {self.id} has 0 lines, least is 1")
        require(ids == lines, f"part {self.id} has {ids} contour ids for {lines} lines")
        in_range = (self.operation >= 0) & (self.operation < known)
        require_rows(self, "operation", in_range, f"from 0 to {known - 1}")
        require(
            -1 <= self.outline < lines,
            f"part {self.id}: outline is {self.outline}, must be from -1 to {lines - 1}",
        )
        require(self.quantity >= 1, f"part {self.id}: quantity {self.quantity}, least is 1")
        require(self.bleed_mm >= 0.0, f"part {self.id}: bleed {self.bleed_mm} mm below 0")
