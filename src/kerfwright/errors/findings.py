"""Findings: what is wrong with the job, with a stable code, a place and numbers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Severity(StrEnum):
    """How far a finding reaches, mildest first."""

    NOTE = "note"
    WARN = "warn"
    HOLDS_PART = "holds_part"
    BLOCKS = "blocks"


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a finding is.

    Parameters
    ----------
    stage : str
        Room that says it.
    file : str or None
        Name of the file, without its folder.
    page, line : int or None
        Page or line of the file, counted from one.
    sheet, contour : str or None
        Ids of the sheet and of the contour.
    xy_mm : tuple of float or None
        Point in `frame` [mm].
    frame : str
        Frame of `xy_mm`: artwork, sheet, image, table or machine.
    """

    stage: str
    file: str | None = None
    page: int | None = None
    line: int | None = None
    sheet: str | None = None
    contour: str | None = None
    xy_mm: tuple[float, float] | None = None
    frame: str = "artwork"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that is wrong with, or worth knowing of, the job.

    Parameters
    ----------
    code : str
        Stable code of the catalogue, as ``ART-110``.
    severity : Severity
        note, warn, holds_part (that part is left out) or blocks (no program is written).
    where : Place
        Where it is.
    measured, limit : float or None
        What was found and what is allowed, in `unit`.
    unit : str
        Unit of both.
    cure : str
        Code of the cure; empty means the cure of the finding's own entry.
    params : mapping of str to str, int or float
        Values its sentence speaks of.
    """

    code: str
    severity: Severity
    where: Place
    measured: float | None = None
    limit: float | None = None
    unit: str = ""
    cure: str = ""
    params: Mapping[str, str | float | int] = field(default_factory=dict)


def worst_severity(findings: Iterable[Finding]) -> Severity | None:
    """Return the gravest severity among findings, None when there are none."""
    ranks = list(Severity)
    return max((f.severity for f in findings), key=ranks.index, default=None)
