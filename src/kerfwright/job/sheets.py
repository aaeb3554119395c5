"""Physical sheets of a job: taken in with their pictures, brought to a checked program."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from kerfwright import registration
from kerfwright.errors import (
    BlockedError,
    Finding,
    ModelError,
    Place,
    Severity,
    UnreadableError,
    UsageError,
)
from kerfwright.geometry.record import F64
from kerfwright.job.files import read_file
from kerfwright.job.looking import look_at
from kerfwright.job.pipeline import Run, run_stages, with_run
from kerfwright.job.plan import zones_of
from kerfwright.job.progress import Progress, silent
from kerfwright.job.results import LookResult
from kerfwright.job.sheet_stages import OFFICE, SHEET_STAGES
from kerfwright.job.stages import STAGES
from kerfwright.job.store import Store
from kerfwright.model.job import Job
from kerfwright.model.marks import Photo
from kerfwright.model.run import Release, SheetRun, SheetState

_ROUNDS = 6
_LIST = "photos.json"
_MOST_PHOTO_BYTES = 200 << 20
_MOST_LIST_BYTES = 1 << 20
_LOST_MM = 5.0
_MOVED_SIGMAS = 4.0
_LEAST_MARKS = 2
OFFICE_LAST = "plan"
"""Nominal stage that a physical sheet builds on."""


def office_run(job: Job, store: Store, *, progress: Progress = silent) -> Run:
    """Bring the nominal stages that physical sheets build on up to date."""
    return run_stages(STAGES, job, store, last=OFFICE_LAST, progress=progress)


def add_sheet(
    job: Job,
    store: Store,
    *,
    photos: Sequence[tuple[Photo, bytes]],
    serial: int | None = None,
    caliper_mm: float | None = None,
    zones: tuple[int, ...] = (),
) -> tuple[Job, int]:
    """Take a physical sheet with its pictures into the job, or give it new pictures.

    Parameters
    ----------
    job : Job
        The job as stored.
    store : Store
        Where pictures go.
    photos : sequence of (Photo, bytes)
        Pictures with where they were taken; the bytes as the camera gave them.
    serial : int, optional
        Number of the sheet; None takes the next one.
    caliper_mm : float, optional
        Measured thickness [mm].
    zones : tuple of int
        Vacuum zones that were on; empty for those under the nominal sheet.

    Returns
    -------
    Job
        As stored now.
    int
        Serial of the sheet.

    Raises
    ------
    UsageError
        If the job has no registration marks, or the sheet is done with.
    """
    if job.choices.marks is None:
        raise UsageError(
            f"job {job.id} has no registration marks, so there is nothing to look for; make it "
            "with marks, or plan and hand over the nominal sheet"
        )
    if not zones and not job.choices.zones:
        office = office_run(job, store)
        job, zones = office.context.job, _nominal_zones(office)
    number = serial or max((run.serial for run in job.runs), default=0) + 1
    known = {run.serial: run for run in job.runs}.get(number)
    done = (SheetState.GOOD, SheetState.SPOILED)
    if known is not None and known.state in done:
        raise UsageError(f"sheet {number} of job {job.id} is {known.state.value}; take the next")
    kept = tuple(replace(p, image_sha=store.put_blob(data)) for p, data in photos)
    fresh = SheetRun(
        serial=number,
        sheet_id=job.choices.sheet.id,
        photos=kept,
        zones=zones or job.choices.zones,
        caliper_mm=caliper_mm if caliper_mm is not None or known is None else known.caliper_mm,
    )
    return store.save_job(with_run(job, fresh)), number


def _nominal_zones(office: Run) -> tuple[int, ...]:
    if "plan" not in office.reached:
        return ()
    return zones_of(office.upstream["plan"].placed, office.context)


def read_photos(folder: Path) -> list[tuple[Photo, bytes]]:
    """Return the pictures of a folder, listed in its ``photos.json``.

    The list holds one object per picture: ``file``, ``x_mm``, ``y_mm``, ``px_per_mm``, and, if
    wanted, ``turn_deg`` and ``taken_at``.

    Raises
    ------
    UnreadableError
        If list or picture are missing, damaged or lack a value; names the place.
    """
    listed = folder / _LIST
    try:
        rows = json.loads(read_file(listed, limit_bytes=_MOST_LIST_BYTES).decode())
    except ValueError as error:
        raise UnreadableError(f"{listed} is no JSON list of pictures: {error}") from error
    if not isinstance(rows, list) or not rows:
        raise UnreadableError(f"{listed} lists no picture; list each with file, x_mm, y_mm")
    return [_photo_of(row, n, folder) for n, row in enumerate(rows)]


def _photo_of(row: object, n: int, folder: Path) -> tuple[Photo, bytes]:
    place = f"{folder / _LIST}, entry {n + 1}"
    if not isinstance(row, dict):
        raise UnreadableError(f"{place} is no object with file, x_mm, y_mm and px_per_mm")
    missing = [k for k in ("file", "x_mm", "y_mm", "px_per_mm") if k not in row]
    if missing:
        raise UnreadableError(f"{place} lacks {', '.join(missing)}")
    name = str(row["file"])
    if Path(name).name != name:
        raise UnreadableError(f"{place}: {name!r} is not the name of a file in that folder")
    data = read_file(folder / name, limit_bytes=_MOST_PHOTO_BYTES)
    image = registration.decode_photo(data, name=name)
    try:
        photo = Photo(
            image_sha="",
            camera_xy_mm=_numbers(row, "x_mm", "y_mm"),
            px_per_mm=float(_numbers(row, "px_per_mm")[0]),
            turn_rad=math.radians(float(_numbers(row, "turn_deg")[0])),
            size_px=(image.shape[1], image.shape[0]),
            taken_at=str(row.get("taken_at", "")),
        )
    except ModelError as error:
        raise UnreadableError(f"{place}: {error}") from error
    return photo, data


def _numbers(row: Mapping[str, object], *names: str) -> F64:
    values = []
    for name in names:
        value = row.get(name, 0.0)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ModelError(f"{name} is {value!r}, must be a number")
        values.append(float(value))
    return np.array(values)


def run_sheet(
    job: Job, store: Store, serial: int, *, last: str, progress: Progress = silent
) -> Run:
    """Bring the stages of one physical sheet up to date.

    Returns
    -------
    Run
        Of the sheet; of the nominal stages where one of these blocks.

    Raises
    ------
    KerfwrightError
        Whatever a stage raises.
    """
    office = office_run(job, store, progress=progress)
    if office.is_blocked or OFFICE_LAST not in office.reached:
        return office
    return run_stages(
        SHEET_STAGES,
        office.context.job,
        store,
        last=last,
        progress=progress,
        serial=serial,
        above=office.upstream.below(OFFICE),
    )


def run_sheet_checked(job: Job, store: Store, serial: int, *, progress: Progress = silent) -> Run:
    """Bring one physical sheet to a checked program; parts the check holds back are left out.

    Raises
    ------
    BlockedError
        If parts still fall out after several rounds.
    KerfwrightError
        Whatever a stage raises.
    """
    job = _forget_held(job, store, serial)
    for _ in range(_ROUNDS):
        run = run_sheet(job, store, serial, last="verify", progress=progress)
        because = _held_by_check(run)
        if not because:
            return _with_reasons(run)
        stored = run.context.job
        sheet = stored.run(serial)
        names = dict.fromkeys(str(f.where.contour) for f in because)
        held = replace(
            sheet,
            held=(*sheet.held, *names),
            held_because=(*sheet.held_because, *because),
        )
        job = store.save_job(with_run(stored, held))
    raise BlockedError(
        f"job {job.id}, sheet {serial}: parts are still held back after {_ROUNDS} rounds; look at "
        "the findings of hold and verify"
    )


def _forget_held(job: Job, store: Store, serial: int) -> Job:
    """Return the job with nothing held by an earlier check: it is found again if it is still so."""
    sheet = job.run(serial)
    if not sheet.held:
        return job
    return store.save_job(with_run(job, replace(sheet, held=(), held_because=())))


def _held_by_check(run: Run) -> tuple[Finding, ...]:
    """Return what hold-down and check hold parts back for, of contours not held yet.

    Also where the check blocks: that may come from a part that is held, and be gone without it.
    """
    if "verify" not in run.reached or run.context.sheet_run is None:
        return ()
    found = (*run.upstream["hold"].findings, *run.upstream["verify"].findings)
    known = {None, *run.context.sheet_run.held}
    return tuple(
        f for f in found if f.severity is Severity.HOLDS_PART and f.where.contour not in known
    )


def _with_reasons(run: Run) -> Run:
    sheet = run.context.sheet_run
    if sheet is None or "plan" not in run.reached:
        return run
    return replace(run, findings=(*run.findings, *sheet.held_because))


def release(job: Job, store: Store, serial: int, given: Sequence[Release]) -> Job:
    """Let doubtful parts of a sheet be cut, each with a reason and initials.

    Raises
    ------
    UnknownNameError
        If the job has no such sheet.
    """
    sheet = job.run(serial)
    others = [r for r in sheet.released if r.contour not in {g.contour for g in given}]
    return store.save_job(with_run(job, replace(sheet, released=(*others, *given))))


def set_state(job: Job, store: Store, serial: int, state: SheetState, program_sha: str = "") -> Job:
    """Note how far a sheet has come, and the program it was handed over with."""
    sheet = job.run(serial)
    sha = program_sha or sheet.program_sha
    return store.save_job(with_run(job, replace(sheet, state=state, program_sha=sha)))


def end_look(
    job: Job, store: Store, serial: int, photos: Sequence[tuple[Photo, bytes]]
) -> tuple[Job, tuple[Finding, ...]]:
    """Look at two marks again after the cut: a sheet that stayed shows them where they were.

    Parameters
    ----------
    job : Job
        The job as stored.
    store : Store
        Where pictures go.
    serial : int
        The sheet.
    photos : sequence of (Photo, bytes)
        New pictures of at least two marks.

    Returns
    -------
    Job
        As stored now, with the new pictures.
    tuple of Finding
        Marks that moved; a look with fewer than two known marks says so.
    """
    run = run_sheet(job, store, serial, last="look")
    before = run.upstream["look"]
    kept = tuple(replace(p, image_sha=store.put_blob(data)) for p, data in photos)
    marks = run.upstream[OFFICE + "layout"].marks
    after = look_at(kept, marks, run.context, store, silent)
    stored = run.context.job
    sheet = replace(stored.run(serial), end_photos=kept)
    return store.save_job(with_run(stored, sheet)), moved_marks(before, after)


def moved_marks(before: LookResult, after: LookResult) -> tuple[Finding, ...]:
    """Return the marks that two looks at one sheet show in different places."""
    near = np.hypot(*(after.xy_mm[:, None] - before.xy_mm[None]).transpose(2, 0, 1))
    pairs = [
        (m, int(row.argmin())) for m, row in enumerate(near) if row.min(initial=9.0) < _LOST_MM
    ]
    if len(pairs) < _LEAST_MARKS:
        few = Finding(
            code="LOK-125",
            severity=Severity.BLOCKS,
            where=Place(stage="look", frame="table"),
            measured=float(len(pairs)),
            limit=float(_LEAST_MARKS),
        )
        return (few,)
    return tuple(found for m, k in pairs if (found := _moved(before, after, m, k)) is not None)


def _moved(before: LookResult, after: LookResult, m: int, k: int) -> Finding | None:
    gap = float(np.hypot(*(after.xy_mm[m] - before.xy_mm[k])))
    spread = float(np.sqrt(np.trace(after.cov_mm2[m] + before.cov_mm2[k]) / 2.0))
    if gap <= _MOVED_SIGMAS * spread:
        return None
    x, y = before.xy_mm[k].tolist()
    return Finding(
        code="JOB-172",
        severity=Severity.BLOCKS,
        where=Place(stage="look", xy_mm=(x, y), frame="table"),
        measured=gap,
        limit=_MOVED_SIGMAS * spread,
        unit="mm",
        params={"mark": k + 1},
    )
