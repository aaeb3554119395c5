"""Look at a sheet: pictures in, marks and label out; and the guided walk from mark to mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from kerfwright import registration
from kerfwright.errors import Finding, Severity
from kerfwright.geometry.plane_map import rigid_map
from kerfwright.geometry.record import F64
from kerfwright.job.budget import ASSUMED_REPEAT_MM, REPEATABILITY
from kerfwright.job.context import JobContext
from kerfwright.job.progress import Progress
from kerfwright.job.results import Furniture, LookResult
from kerfwright.job.store import Store
from kerfwright.model.job import MarkChoices
from kerfwright.model.marks import FoundMarks, MarkLayout, MarkMatch, Photo
from kerfwright.model.operation import HeadKind

_MATCH_MM = 4.0
"""How far a mark may lie from where a rigid sheet would have it (common practice, no source)."""
_EXTRA_LOOKS = 12


class Camera(Protocol):
    """Whatever takes pictures: a virtual table, a folder, a person who jogs and triggers."""

    def take(self, xy_mm: F64) -> tuple[Photo, bytes]:
        """Go to a place of the table [mm]; return what is known of the picture, and its bytes."""
        ...


def look_at(
    photos: Sequence[Photo],
    marks: MarkLayout,
    context: JobContext,
    store: Store,
    progress: Progress,
) -> LookResult:
    """Return what the pictures of a sheet show.

    Parameters
    ----------
    photos : sequence of Photo
        Pictures, in order.
    marks : MarkLayout
        Marks of the nominal sheet.
    context : JobContext
        Job and books.
    store : Store
        Where the pictures are.
    progress : Progress
        Told at every picture.

    Returns
    -------
    LookResult
        Marks, which is which, the label, and what is wrong in words.
    """
    founds: list[FoundMarks] = []
    texts: set[str] = set()
    findings: list[Finding] = []
    for n, photo in enumerate(photos):
        progress("look", n, len(photos))
        image = registration.decode_photo(store.get_blob(photo.image_sha), name=f"picture {n + 1}")
        labels = registration.read_labels(image)
        found = _found(image, photo, marks)
        # A picture taken of the label need not show a mark.
        founds.append(replace(found, findings=()) if labels and not len(found.xy) else found)
        texts |= set(labels)
    seen = registration.merge_found(photos, founds, repeat_sd_mm=repeat_sd_mm(context))
    match = _match(seen, marks, context)
    findings += [*_refused(founds), *seen.findings, *match.findings]
    job = context.job
    labelled = registration.check_label(
        sorted(texts), job=job.id, sheet=job.choices.sheet.id, marks=marks.id
    )
    findings += labelled
    if labelled:  # its label where the marks have it would say that they are right
        findings += registration.doubt_match(match, marks, photos)
    blocked = any(f.severity is Severity.BLOCKS for f in findings)
    return LookResult(
        xy_mm=seen.xy_mm,
        cov_mm2=seen.cov_mm2,
        photo=seen.photo,
        match=None if blocked else match,
        labels=tuple(sorted(texts)),
        findings=tuple(findings),
    )


def repeat_sd_mm(context: JobContext) -> float:
    """Return how well the gantry comes back to a place: measured, else assumed [mm]."""
    known = [c.value for c in context.table.calibration if c.name == REPEATABILITY]
    return known[-1] if known else ASSUMED_REPEAT_MM


def _found(image: np.ndarray, photo: Photo, marks: MarkLayout) -> FoundMarks:
    found: FoundMarks = registration.find_marks(
        image, diameter_px=marks.diameter_mm * photo.px_per_mm
    )
    return found


def _refused(founds: Sequence[FoundMarks]) -> list[Finding]:
    """Return what single pictures say, unless other pictures show what they do not."""
    if any(len(found.xy) for found in founds):
        return [f for found in founds for f in found.findings if f.severity is not Severity.BLOCKS]
    return [f for found in founds for f in found.findings]


def _match(seen: registration.Seen, marks: MarkLayout, context: JobContext) -> MarkMatch:
    how = context.job.choices.marks
    match: MarkMatch = registration.match_marks(
        seen.xy_mm,
        marks.xy,
        tolerance_mm=_MATCH_MM,
        found_cov_mm2=seen.cov_mm2,
        may_be_mirrored=how is not None and how.face_down,
        turn_rad=context.table.load_pose.turn_rad,
        turn_limit_rad=None if how is None else how.throw_rad,
    )
    return match


def walk(
    camera: Camera,
    start_xy_mm: F64,
    marks: MarkLayout,
    furniture: Furniture,
    how: MarkChoices,
    context: JobContext,
    progress: Progress,
    *,
    expected: F64 | None = None,
) -> tuple[list[tuple[Photo, bytes]], tuple[Finding, ...]]:
    """Take pictures from the first mark to the last, then of the label.

    Parameters
    ----------
    camera : Camera
        Takes the pictures.
    start_xy_mm : ndarray of shape (2,), float
        Where somebody, or a picture of the bed, showed it the first mark, table frame [mm].
    marks : MarkLayout
        Marks of the nominal sheet.
    furniture : Furniture
        Where the label is.
    how : MarkChoices
        Throw, view and prior.
    context : JobContext
        Job and books.
    progress : Progress
        Told at every picture.
    expected : ndarray of shape (2, 3), float, optional
        table_from_sheet as a picture of the bed shows it; without it as the table's load pose has
        it [1, mm].

    Returns
    -------
    list of (Photo, bytes)
        Pictures taken.
    tuple of Finding
        Why the walk ended early; empty when every mark was visited.
    """
    if expected is None:
        pose = context.table.load_pose
        expected = rigid_map(pose.x_mm, pose.y_mm, pose.turn_rad).affine
    others = registration.other_poses(expected, context.job.choices.sheet.outline.box_mm())
    taken: list[tuple[Photo, bytes]] = []
    founds: list[FoundMarks] = []
    cameras = [h.reach for h in context.table.heads if h.kind is HeadKind.CAMERA]
    at, most = np.asarray(start_xy_mm, dtype=np.float64), len(marks.xy) + _EXTRA_LOOKS
    while True:
        progress("look", len(taken), most)
        seen, match = _look(camera, at, taken, founds, marks, context)
        known = match if len(match.pairs) >= 2 else None
        looked = np.array([photo.camera_xy_mm for photo, _ in taken])
        view = registration.next_view(
            seen,
            marks,
            how.prior,
            match=known,
            expected=expected,
            throw_rad=how.throw_rad,
            field_of_view_mm=how.field_of_view_mm,
            camera_xy_mm=at,
            visited=_visited(looked, marks, known, how),
            looked_xy_mm=looked,
            reach_mm=cameras[0] if cameras else None,
            others=others,
        )
        if known is None and (view is None or len(taken) >= most):
            return taken, (registration.no_view_finding(seen),)
        if view is None or len(taken) >= most:
            break
        at = view.camera_xy_mm
    if known is not None:
        _look_at_label(camera, furniture, known, taken, progress)
    return taken, ()


def _look(
    camera: Camera,
    at: F64,
    taken: list[tuple[Photo, bytes]],
    founds: list[FoundMarks],
    marks: MarkLayout,
    context: JobContext,
) -> tuple[registration.Seen, MarkMatch]:
    photo, data = camera.take(at)
    taken.append((photo, data))
    founds.append(_found(registration.decode_photo(data), photo, marks))
    photos = [p for p, _ in taken]
    seen = registration.merge_found(photos, founds, repeat_sd_mm=repeat_sd_mm(context))
    return seen, _match(seen, marks, context)


def _visited(looked: F64, marks: MarkLayout, match: MarkMatch | None, how: MarkChoices) -> set[int]:
    """Return the marks a picture was taken of, found there or not, as far as the match tells.

    Pictures that were taken while a mark was held for another show nothing of what was meant.
    """
    if match is None:
        return set()
    place = marks.xy @ match.table_from_sheet[:, :2].T + match.table_from_sheet[:, 2]
    away = np.hypot(*(place[:, None] - looked[None]).transpose(2, 0, 1)).min(axis=1)
    return set(np.flatnonzero(away < min(how.field_of_view_mm) / 8.0).tolist())


def _look_at_label(
    camera: Camera,
    furniture: Furniture,
    match: MarkMatch,
    taken: list[tuple[Photo, bytes]],
    progress: Progress,
) -> None:
    x0, y0, x1, y1 = furniture.label_box_mm
    middle = np.array(((x0 + x1) / 2.0, (y0 + y1) / 2.0))
    place = match.table_from_sheet[:, :2] @ middle + match.table_from_sheet[:, 2]
    progress("look", len(taken), len(taken) + 1)
    taken.append(camera.take(place))
