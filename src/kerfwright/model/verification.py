"""What the check of a program found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.record import F64, Record, frozen_array
from kerfwright.model._checks import require_rows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Verification(Record):
    """The program as read against the design, contour by contour.

    Parameters
    ----------
    program_sha : str
        SHA-256 of the text that was checked.
    passed : bool
        Whether nothing was found that blocks or holds a part.
    contour : tuple of str
        Contour ids, one per row of the design.
    worst_mm : ndarray of shape (K,), float
        Greatest distance between swept blade and contour, sideways [mm].
    worst_xy : ndarray of shape (K, 2), float
        Where it is, in the table frame [mm].
    uncut_mm : ndarray of shape (K,), float
        Length of the contour the blade does not reach [mm].
    overcut_part_mm, overcut_waste_mm : ndarray of shape (K,), float
        Greatest cut past the contour into a part, and into waste [mm].
    strays : tuple of tuple of float
        x, y of cuts that belong to no contour, table frame [mm].
    limit_violations, collisions : tuple of str
        Sentences about limits of axes and reach, and about things hit.
    findings : tuple of Finding
        All of it with stable codes.
    """

    program_sha: str
    passed: bool
    contour: tuple[str, ...]
    worst_mm: F64
    worst_xy: F64
    uncut_mm: F64
    overcut_part_mm: F64
    overcut_waste_mm: F64
    strays: tuple[tuple[float, float], ...] = ()
    limit_violations: tuple[str, ...] = ()
    collisions: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.contour)
        for name in ("worst_mm", "uncut_mm", "overcut_part_mm", "overcut_waste_mm"):
            frozen_array(self, name, dtype=np.float64, shape=(n,))
            require_rows(self, name, getattr(self, name) >= 0.0, "0 or more")
        frozen_array(self, "worst_xy", dtype=np.float64, shape=(n, 2))
