"""One picture of the whole bed from a fixed camera: where a thrown sheet roughly lies.

It gives the walk from mark to mark its first guess, so that nobody has to show it a mark.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from kerfwright import registration
from kerfwright.errors import (
    BlockedError,
    Finding,
    Place,
    Severity,
    UnreadableError,
    UsageError,
)
from kerfwright.geometry.record import F64, Record
from kerfwright.job.context import JobContext
from kerfwright.job.files import read_file
from kerfwright.job.pipeline import run_stages
from kerfwright.job.progress import Progress, silent
from kerfwright.job.stages import STAGES
from kerfwright.job.store import Store
from kerfwright.model.job import Job
from kerfwright.model.marks import MarkLayout, MarkMatch

_MOST_POINTS_BYTES = 1 << 20
_MOST_PICTURE_BYTES = 200 << 20
_KEYS = ("x_px", "y_px", "x_mm", "y_mm")
_ROUGH_MM = 8.0
"""How far a mark may lie off in a straightened bed picture (common practice, no source)."""
_ROUGH_SCALE = 0.02
_LEAST_PAIRS = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BedGuess(Record):
    """Where a sheet and its marks roughly lie.

    Parameters
    ----------
    table_from_sheet : ndarray of shape (2, 3), float
        Rigid motion of the sheet, mirrored where the print is [1, mm].
    places_mm : ndarray of shape (N, 2), float
        Every nominal mark, table frame [mm].
    seen : tuple of int
        Nominal marks that were seen in the picture; the walk begins at the first of them.
    findings : tuple of Finding
        What the picture says, turned or mirrored among it.
    """

    table_from_sheet: F64
    places_mm: F64
    seen: tuple[int, ...]
    findings: tuple[Finding, ...] = ()

    @property
    def start_xy_mm(self) -> F64:
        """Where the camera goes first [mm]."""
        return np.asarray(self.places_mm[self.seen[0]], np.float64)

    @property
    def is_blocked(self) -> bool:
        """Whether the picture does not tell where the sheet lies."""
        return not self.seen


def read_bed_points(path: Path) -> tuple[F64, F64]:
    """Return known points of the bed as they lie in the picture and on the table.

    The file is a JSON list of objects with ``x_px, y_px, x_mm, y_mm``; pixels count from the
    middle of the upper left one, x to the right and y down.

    Returns
    -------
    ndarray of shape (N, 2), float
        In the picture [px].
    ndarray of shape (N, 2), float
        On the table [mm].

    Raises
    ------
    UnreadableError
        If the file is missing or no such list; names the entry.
    """
    try:
        rows = json.loads(read_file(path, limit_bytes=_MOST_POINTS_BYTES).decode())
    except ValueError as error:
        raise UnreadableError(f"{path} is no JSON list of points: {error}") from error
    if not isinstance(rows, list) or not rows:
        raise UnreadableError(f"{path} lists no point; list each with {', '.join(_KEYS)}")
    numbers = np.array([_point(row, f"{path}, entry {n + 1}") for n, row in enumerate(rows)])
    return numbers[:, :2], numbers[:, 2:]


def _point(row: object, place: str) -> list[float]:
    if not isinstance(row, Mapping):
        raise UnreadableError(f"{place} is no object with {', '.join(_KEYS)}")
    for key in _KEYS:
        value = row.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(value):
            raise UnreadableError(f"{place}: {key} is {value!r}, must be a number")
    return [float(row[key]) for key in _KEYS]


def look_at_bed(
    job: Job, store: Store, picture: Path, points: Path, *, progress: Progress = silent
) -> BedGuess:
    """Return where a sheet of a job roughly lies, from a picture file and a list of bed points.

    Raises
    ------
    UsageError
        If the job has no registration marks, or the points settle nothing.
    BlockedError
        If the nominal stages do not come to a layout with marks.
    UnreadableError
        If a file cannot be read.
    """
    if job.choices.marks is None:
        raise UsageError(f"job {job.id} has no registration marks, so there is nothing to look for")
    picture_px, table_mm = read_bed_points(points)
    office = run_stages(STAGES, job, store, last="layout", progress=progress)
    marks = office.upstream["layout"].marks if "layout" in office.reached else None
    if marks is None:
        codes = ", ".join(sorted({f.code for f in office.findings})) or "no finding"
        raise BlockedError(f"job {job.id} has no marks laid out ({codes}); run layout first")
    data = read_file(picture, limit_bytes=_MOST_PICTURE_BYTES)
    return guess_from_bed(data, picture_px, table_mm, marks, office.context, name=picture.name)


def guess_from_bed(
    picture: bytes,
    picture_px: F64,
    table_mm: F64,
    marks: MarkLayout,
    context: JobContext,
    *,
    name: str = "bed picture",
) -> BedGuess:
    """Return where a sheet roughly lies, from one picture of the bed.

    Parameters
    ----------
    picture : bytes
        PNG, JPEG or TIFF.
    picture_px, table_mm : ndarray of shape (N, 2), float
        Known points of the bed, in the picture and on the table; at least four [px, mm].
    marks : MarkLayout
        Marks of the nominal sheet.
    context : JobContext
        Job and books.
    name : str
        Of the picture, for messages.

    Raises
    ------
    UnreadableError, OutOfResourcesError
        If the bytes are no picture, or too large.
    UsageError, GeometryError
        If the points do not settle how the camera sees the bed.
    """
    bed = context.table.bed
    image = registration.decode_photo(picture, name=name)
    table_from_picture = registration.fit_homography(picture_px, table_mm, bed_mm=bed)
    found, findings = registration.marks_on_bed(
        image, table_from_picture, bed_mm=bed, diameter_mm=marks.diameter_mm
    )
    if any(f.severity is Severity.BLOCKS for f in findings):
        return _nothing(marks, findings)
    how = context.job.choices.marks
    match = registration.match_marks(
        found,
        marks.xy,
        tolerance_mm=_ROUGH_MM,
        scale_limit=_ROUGH_SCALE,
        may_be_mirrored=how is not None and how.face_down,
        turn_rad=context.table.load_pose.turn_rad,
    )
    if match.is_ambiguous or len(match.pairs) < _LEAST_PAIRS:
        said = Finding(
            code="LOK-151",
            severity=Severity.BLOCKS,
            where=Place(stage="look", frame="table"),
            measured=float(len(match.pairs)),
            limit=float(max(_LEAST_PAIRS, match.rival_votes + 2)),
        )
        return _nothing(marks, (*findings, said))
    return _guess(match, marks, found)


def _nothing(marks: MarkLayout, findings: tuple[Finding, ...]) -> BedGuess:
    return BedGuess(
        table_from_sheet=np.eye(2, 3),
        places_mm=np.zeros((len(marks.xy), 2)),
        seen=(),
        findings=findings,
    )


def _guess(match: MarkMatch, marks: MarkLayout, found: F64) -> BedGuess:
    """Return the nearest rigid motion; of a rough picture a growth means nothing."""
    u, _, vt = np.linalg.svd(match.table_from_sheet[:, :2])
    linear = u @ vt
    there, here = match.pairs[:, 1], match.pairs[:, 0]
    shift = found[here].mean(axis=0) - linear @ marks.xy[there].mean(axis=0)
    kept = tuple(f for f in match.findings if f.code not in ("LOK-121", "LOK-126"))
    return BedGuess(
        table_from_sheet=np.column_stack((linear, shift)),
        places_mm=marks.xy @ linear.T + shift,
        seen=tuple(int(k) for k in np.sort(there)),
        findings=kept,
    )
