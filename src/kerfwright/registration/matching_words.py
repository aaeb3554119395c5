"""What a match says in words: scaled, mirrored, turned, ambiguous, marks missing."""

from __future__ import annotations

from math import atan2, degrees, hypot, pi

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import F64

TURNED_RAD = pi / 4.0
"""A sheet turned by more than this was laid with another edge towards the operator."""


def match_words(
    affine: F64,
    *,
    votes: int,
    needed: int,
    wanted: int,
    scale_limit: float,
    mirrored: bool,
    may_be_mirrored: bool,
    ambiguous: bool,
    on_a_line: bool,
    turn_rad: float | None,
) -> list[Finding]:
    """Return what is wrong with, or worth knowing of, a match.

    Parameters
    ----------
    affine : ndarray of shape (2, 3), float
        table_from_sheet [1, mm].
    votes, needed, wanted : int
        Marks paired, marks that would make it certain, nominal marks.
    scale_limit : float
        Growth that needs no word [1].
    mirrored, may_be_mirrored, ambiguous, on_a_line : bool
        The print is mirrored; it may be; another placement is as good; the paired marks lie on one
        line, or are two.
    turn_rad : float or None
        How the sheet should be turned [rad].
    """
    out: list[Finding] = []
    mean = (hypot(*affine[:, 0]) + hypot(*affine[:, 1])) / 2.0
    if abs(mean - 1.0) > scale_limit:
        out.append(said("LOK-121", Severity.BLOCKS, 100.0 * mean, 100.0 * (1.0 + scale_limit), "%"))
    if mirrored and not may_be_mirrored:
        out.append(said("LOK-122", Severity.BLOCKS))
    off = 0.0 if turn_rad is None else turn_off(affine, turn_rad)
    if abs(off) > TURNED_RAD:
        out.append(
            said("LOK-123", Severity.WARN, degrees(off), degrees(TURNED_RAD), "deg", how=_how(off))
        )
    if ambiguous:
        out.append(said("LOK-124", Severity.BLOCKS, float(votes), float(needed)))
    if votes < wanted:
        out.append(said("LOK-126", Severity.NOTE, float(votes), float(wanted)))
    if on_a_line:
        out.append(said("LOK-127", Severity.WARN, float(votes), 3.0))
    return out


def _how(off_rad: float) -> str:
    """Return in words how far a sheet is turned."""
    if abs(off_rad) > 3.0 * TURNED_RAD:
        return "by half a turn"
    return f"by a quarter turn {'counter-clockwise' if off_rad > 0.0 else 'clockwise'}"


def turn_off(affine: F64, turn_rad: float) -> float:
    """Return how far the sheet's y axis lies from where it should, -pi to pi [rad]."""
    off = atan2(affine[1, 1], affine[0, 1]) - pi / 2.0 - turn_rad
    return (off + pi) % (2.0 * pi) - pi


def said(
    code: str,
    severity: Severity,
    measured: float | None = None,
    limit: float | None = None,
    unit: str = "",
    **params: str | float,
) -> Finding:
    """Return a finding of the look."""
    return Finding(
        code=code,
        severity=severity,
        where=Place(stage="look", frame="table"),
        measured=measured,
        limit=limit,
        unit=unit,
        params=params,
    )
