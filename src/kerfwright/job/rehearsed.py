"""A printed demo order from artwork to measured parts, on the virtual table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from kerfwright import virtual
from kerfwright.errors import BlockedError
from kerfwright.job import rehearsal
from kerfwright.job.files import write_together
from kerfwright.job.final import part_results
from kerfwright.job.looking import walk
from kerfwright.job.order import DemoOrder, make_printed_job
from kerfwright.job.pipeline import Run, run_stages
from kerfwright.job.place import place_contours
from kerfwright.job.progress import Progress
from kerfwright.job.results import LayoutResult
from kerfwright.job.sheet_handover import hand_over_sheet, write_prints, write_quote
from kerfwright.job.sheet_stages import OFFICE
from kerfwright.job.sheets import add_sheet, run_sheet_checked
from kerfwright.job.stages import STAGES
from kerfwright.job.store import Store
from kerfwright.model.job import Job
from kerfwright.model.marks import Photo

PHOTOS = "photos"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsed:
    """What came of a rehearsal.

    Parameters
    ----------
    run : Run
        Of the physical sheet; of the nominal stages where these block.
    truth_mm : mapping of str to float
        Greatest true deviation of each part that was cut, by its name [mm].
    files : tuple of Path
        Files written.
    price : tuple of str
        What the order costs, in words.
    """

    run: Run
    truth_mm: Mapping[str, float]
    files: tuple[Path, ...]
    price: tuple[str, ...] = ()


def rehearse(order: DemoOrder, store: Store, out: Path, *, progress: Progress) -> Rehearsed:
    """Bring a printed order to measured parts on the virtual table.

    Parameters
    ----------
    order : DemoOrder
        The order and what happens to its sheet.
    store : Store
        Where job and results are kept; a second run takes up what stands there.
    out : Path
        Folder for the files.
    progress : Progress
        Told at every stage.

    Returns
    -------
    Rehearsed
        Results, truth and files.

    Raises
    ------
    KerfwrightError
        Whatever a stage raises.
    """
    job = make_printed_job(order, store)
    office = run_stages(STAGES, job, store, last="hold", progress=progress)
    if office.is_blocked:
        return Rehearsed(run=office, truth_mm={}, files=())
    laid: LayoutResult = office.upstream["layout"]
    files = [*write_prints(office.upstream, store, out), write_quote(office, out)]
    context, scenario = office.context, order.scenario()
    progress("rehearse", 0, 1)
    truth = rehearsal.print_virtually(laid, office.upstream["print"], scenario, context, store)
    progress("rehearse", 1, 1)
    job = office.context.job
    if not job.runs:
        job = _looked_at(truth, laid, office, store, out, progress)
    files += [] if not job.runs else sorted((out / PHOTOS).glob("*.png"))
    run = run_sheet_checked(job, store, job.runs[-1].serial, progress=progress)
    if run.is_blocked:
        return Rehearsed(run=run, truth_mm={}, files=tuple(files))
    files += hand_over_sheet(run, store, out)
    progress("cut", 0, 1)
    nominal = place_contours(run.upstream[OFFICE + "artwork"].parts, laid.layout, run.context.table)
    measured = rehearsal.cut_virtually(
        run.upstream["program"].text, truth, nominal, run.upstream["plan"], scenario, run.context
    )
    progress("cut", 1, 1)
    worst = dict(zip(measured.ids, measured.worst_mm.tolist(), strict=True))
    true = {
        part.name: max(worst[c] for c in part.contours) for part in part_results(run) if part.is_cut
    }
    return Rehearsed(run=run, truth_mm=true, files=tuple(files))


def _looked_at(
    truth: virtual.Truth,
    laid: LayoutResult,
    office: Run,
    store: Store,
    out: Path,
    progress: Progress,
) -> Job:
    """Walk from mark to mark with the virtual camera, and take the pictures in."""
    assert laid.marks is not None  # noqa: S101 - a printed order has marks
    assert laid.furniture is not None  # noqa: S101 - and a label
    how = office.context.job.choices.marks
    assert how is not None  # noqa: S101 - as above
    camera = rehearsal.VirtualCamera(truth)
    progress("walk", 0, 1)
    taken, why = walk(
        camera,
        camera.first_view_mm(),
        laid.marks,
        laid.furniture,
        how,
        office.context,
        progress,
    )
    progress("walk", 1, 1)
    if why:
        raise BlockedError(f"the walk from mark to mark ended early: {why[0].code}")
    _write_photos(taken, out / PHOTOS)
    job, _ = add_sheet(office.context.job, store, photos=taken, serial=1)
    return job


def _write_photos(taken: list[tuple[Photo, bytes]], folder: Path) -> None:
    rows, files = [], []
    for n, (photo, data) in enumerate(taken):
        name = f"{n + 1:02d}.png"
        files.append((folder / name, data))
        rows.append(rehearsal.photo_row(replace(photo, image_sha=""), name))
    files.append((folder / "photos.json", rehearsal.photo_list(rows)))
    write_together(files)
