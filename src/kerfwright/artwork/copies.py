"""Lines drawn twice."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.distance import hausdorff
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64, I64
from kerfwright.model.drawing import Drawing

_NEIGHBOURS = 16
"""Earlier look-alikes compared for each line; a heap of copies is found link by link."""


def earlier_copies(paths: PathSet, operation: I64, *, tolerance_mm: float) -> I64:
    """Return for each line the earlier one it repeats, -1 for none.

    Two lines are the same when they share the operation and nowhere lie further apart than the
    tolerance, in whichever direction and from whichever vertex they are drawn.

    Parameters
    ----------
    paths : PathSet
        K lines [mm].
    operation : ndarray of shape (K,), int
        Operation of each line; negative ones are not looked at.
    tolerance_mm : float
        Greatest distance between copies [mm].
    """
    first = np.full(len(paths), -1, np.int64)
    rows = np.flatnonzero(operation >= 0)
    if rows.size < 2:
        return first
    box = paths.bounds_mm()[rows]
    near = cKDTree(box).query(
        box, k=min(_NEIGHBOURS, rows.size), p=np.inf, distance_upper_bound=tolerance_mm * 1.001
    )[1]
    for place, k in enumerate(rows.tolist()):
        for other in sorted(int(rows[n]) for n in near[place] if n < place):
            if operation[other] == operation[k] and _is_same(paths, other, k, tolerance_mm):
                first[k] = other if first[other] < 0 else first[other]
                break
    return first


def _is_same(paths: PathSet, one: int, two: int, tolerance_mm: float) -> bool:
    if paths.closed[one] != paths.closed[two]:
        return False
    apart = hausdorff(paths.select([one]), paths.select([two]), accuracy_mm=tolerance_mm / 10.0)
    return apart.high_mm <= tolerance_mm


def copy_finding(drawing: Drawing, k: int, xy: F64, tolerance_mm: float) -> Finding:
    """Return what is said of a line that repeats an earlier one."""
    return Finding(
        code="ART-130",
        severity=Severity.WARN,
        where=Place(stage="artwork", contour=drawing.ids[k], xy_mm=(float(xy[0]), float(xy[1]))),
        measured=0.0,
        limit=tolerance_mm,
        unit="mm",
    )
