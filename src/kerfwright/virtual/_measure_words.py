"""What a measured cut says in words: contours never cut, strays."""

from __future__ import annotations

from math import inf

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import F64


def measure_words(
    ids: tuple[str, ...], rows: list[tuple[float, F64, float]], stray: float, reach: float
) -> tuple[Finding, ...]:
    """Return contours never cut, and the length of stray cuts."""
    never = [
        Finding(
            code="VIR-110",
            severity=Severity.WARN,
            where=Place(stage="virtual", contour=name, xy_mm=_pair(where), frame="table"),
            measured=uncut,
            limit=0.0,
            unit="mm",
        )
        for name, (worst, where, uncut) in zip(ids, rows, strict=True)
        if worst == inf
    ]
    if stray > 0.0:
        place = Place(stage="virtual", frame="table")
        never.append(
            Finding(
                code="VIR-111",
                severity=Severity.WARN,
                where=place,
                measured=stray,
                limit=reach,
                unit="mm",
            )
        )
    return tuple(never)


def _pair(xy: F64) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])
