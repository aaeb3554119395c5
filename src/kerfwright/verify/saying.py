"""Findings of this room, put together the same way everywhere."""

from __future__ import annotations

from collections.abc import Sequence

from kerfwright.errors import Finding, Place
from kerfwright.errors.messages import entry_of
from kerfwright.verify.columns import F64

STAGE = "verify"


def finding(
    code: str,
    *,
    contour: str | None = None,
    xy: F64 | Sequence[float] | None = None,
    measured: float | None = None,
    limit: float | None = None,
    unit: str = "",
    **params: str | float,
) -> Finding:
    """Return a finding at a point of the table frame, as grave as the catalogue says."""
    at = None if xy is None else (float(xy[0]), float(xy[1]))
    return Finding(
        code=code,
        severity=entry_of(code).severity,
        where=Place(stage=STAGE, contour=contour, xy_mm=at, frame="table"),
        measured=None if measured is None else float(measured),
        limit=None if limit is None else float(limit),
        unit=unit,
        params=params,
    )
