"""What placing marks could not do, with the place and the numbers."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import BOOL, F64
from kerfwright.model.sheet import Sheet

SHARE_OF_TOLERANCE = 4.0
"""Twice the standard deviation of the map may take one part in so many of the tolerance."""
SAFE_AMBIGUITY = 2
"""No set of marks has less: a half turn about the middle of a pair swaps the two."""


def findings_of(
    sheet: Sheet,
    xy: F64,
    is_lonely: BOOL,
    *,
    wanted: int,
    ambiguity: int,
    sd_mm: float,
    worst_xy: F64,
    tolerance_mm: float | None,
) -> list[Finding]:
    """Return what is wrong with a set of marks.

    Parameters
    ----------
    sheet : Sheet
        The sheet they stand on.
    xy : ndarray of shape (N, 2), float
        The marks [mm].
    is_lonely : ndarray of shape (N,), bool
        Which have no neighbour in view.
    wanted : int
        How many were wanted.
    ambiguity : int
        As `layout_ambiguity` gives it.
    sd_mm : float
        Greatest standard deviation [mm].
    worst_xy : ndarray of shape (2,), float
        Where it is [mm].
    tolerance_mm : float or None
        Tolerance to the print [mm].
    """
    found, count = [], len(xy)
    if count < wanted:
        found.append(
            _finding("MRK-110", sheet, worst_xy, params={"placed": count, "wanted": wanted})
        )
    if tolerance_mm is not None and 2.0 * sd_mm > tolerance_mm / SHARE_OF_TOLERANCE:
        found.append(
            _finding(
                "MRK-120",
                sheet,
                worst_xy,
                measured=2.0 * sd_mm,
                limit=tolerance_mm / SHARE_OF_TOLERANCE,
                params={"count": count, "tolerance_mm": tolerance_mm},
            )
        )
    lost = count - ambiguity - 1
    if lost < 0:
        found.append(_finding("MRK-131", sheet, None, Severity.BLOCKS, params={"count": count}))
    elif ambiguity > SAFE_AMBIGUITY:
        params = {"ambiguity": ambiguity, "count": count, "lost": lost}
        found.append(_finding("MRK-130", sheet, None, params=params))
    found += [
        _finding("MRK-140", sheet, xy[i], params={"mark": i})
        for i in np.flatnonzero(is_lonely).tolist()
    ]
    return found


def _finding(
    code: str,
    sheet: Sheet,
    xy: F64 | None,
    severity: Severity = Severity.WARN,
    *,
    measured: float | None = None,
    limit: float | None = None,
    params: Mapping[str, int | float],
) -> Finding:
    return Finding(
        code=code,
        severity=severity,
        where=Place(
            stage="registration",
            sheet=sheet.id,
            xy_mm=None if xy is None else (float(xy[0]), float(xy[1])),
            frame="sheet",
        ),
        measured=measured,
        limit=limit,
        unit="" if measured is None else "mm",
        params=params,
    )
