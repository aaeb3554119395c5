"""A printed demo order from artwork to measured parts, on the virtual table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from kerfwright import virtual
from kerfwright.errors import BlockedError
from kerfwright.job import rehearsal
from kerfwright.job.context import JobContext
from kerfwright.job.files import write_together
from kerfwright.job.final import part_results
from kerfwright.job.looking import walk
from kerfwright.job.order import DemoOrder, make_printed_job
from kerfwright.job.papers import price_lines, priced
from kerfwright.job.pipeline import Run, run_stages
from kerfwright.job.place import place_contours
from kerfwright.job.progress import Progress
from kerfwright.job.rehearsal import Scenario
from kerfwright.job.results import LayoutResult
from kerfwright.job.sheet_handover import hand_over_sheet, write_prints, write_quote
from kerfwright.job.sheet_stages import OFFICE
from kerfwright.job.sheets import add_sheet, run_sheet_checked
from kerfwright.job.stages import STAGES
from kerfwright.job.store import Store
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
    price : tuple of (str, str)
        What the order costs, line by line, in words.
    """

    run: Run
    truth_mm: Mapping[str, float]
    files: tuple[Path, ...]
    price: tuple[tuple[str, str], ...] = ()


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
    files = [*write_prints(office.upstream, store, out), write_quote(office, out)]
    sheet = rehearse_sheet(office, order.scenario(), store, out / PHOTOS, progress=progress)
    files += sorted((out / PHOTOS).glob("*.png"))
    price = price_lines(priced(job, office.upstream))
    if sheet.run.is_blocked:
        return Rehearsed(run=sheet.run, truth_mm={}, files=tuple(files), price=price)
    files += hand_over_sheet(sheet.run, store, out)
    cut = {part.name: part.contours for part in part_results(sheet.run) if part.is_cut}
    true = {name: max(sheet.truth_mm[c] for c in ids) for name, ids in cut.items()}
    return Rehearsed(run=sheet.run, truth_mm=true, files=tuple(files), price=price)


@dataclass(frozen=True, slots=True, kw_only=True)
class RehearsedSheet:
    """What came of one physical sheet.

    Parameters
    ----------
    run : Run
        Of the sheet.
    truth : Truth
        How it really lies.
    truth_mm : mapping of str to float
        Greatest true deviation of each placed contour that was cut; empty where a finding blocks
        [mm].
    """

    run: Run
    truth: virtual.Truth
    truth_mm: Mapping[str, float]


def rehearse_sheet(
    office: Run,
    scenario: Scenario,
    store: Store,
    photos: Path | None,
    *,
    serial: int = 1,
    progress: Progress,
) -> RehearsedSheet:
    """Print, throw, look at, cut and measure one sheet on the virtual table.

    Parameters
    ----------
    office : Run
        The nominal stages of the job.
    scenario : Scenario
        What happens to the sheet.
    store : Store
        Where the sheet's pictures and results are kept; a sheet that is there is taken up.
    photos : Path or None
        Folder the pictures are also written to.
    serial : int, default 1
        Number of the sheet.
    progress : Progress
        Told at every stage.

    Returns
    -------
    RehearsedSheet
        Results and truth.
    """
    laid: LayoutResult = office.upstream["layout"]
    context = office.context
    progress("rehearse", 0, 1)
    truth = rehearsal.print_virtually(laid, office.upstream["print"], scenario, context, store)
    progress("rehearse", 1, 1)
    job = store.load_job(context.job.id)
    if all(sheet.serial != serial for sheet in job.runs):
        taken = _looked_at(truth, laid, context, progress)
        if photos is not None:
            _write_photos(taken, photos)
        job, _ = add_sheet(job, store, photos=taken, serial=serial)
    run = run_sheet_checked(job, store, serial, progress=progress)
    if run.is_blocked:
        return RehearsedSheet(run=run, truth=truth, truth_mm={})
    progress("cut", 0, 1)
    nominal = place_contours(run.upstream[OFFICE + "artwork"].parts, laid.layout, run.context.table)
    measured = rehearsal.cut_virtually(
        run.upstream["program"].text, truth, nominal, run.upstream["plan"], scenario, run.context
    )
    progress("cut", 1, 1)
    worst = dict(zip(measured.ids, measured.worst_mm.tolist(), strict=True))
    return RehearsedSheet(run=run, truth=truth, truth_mm=worst)


def _looked_at(
    truth: virtual.Truth, laid: LayoutResult, context: JobContext, progress: Progress
) -> list[tuple[Photo, bytes]]:
    """Walk from mark to mark with the virtual camera."""
    assert laid.marks is not None  # noqa: S101 - a printed order has marks
    assert laid.furniture is not None  # noqa: S101 - and a label
    how = context.job.choices.marks
    assert how is not None  # noqa: S101 - as above
    camera = rehearsal.VirtualCamera(truth)
    progress("walk", 0, 1)
    taken, why = walk(
        camera, camera.first_view_mm(), laid.marks, laid.furniture, how, context, progress
    )
    progress("walk", 1, 1)
    if why:
        raise BlockedError(f"the walk from mark to mark ended early: {why[0].code}")
    return taken


def _write_photos(taken: list[tuple[Photo, bytes]], folder: Path) -> None:
    rows, files = [], []
    for n, (photo, data) in enumerate(taken):
        name = f"{n + 1:02d}.png"
        files.append((folder / name, data))
        rows.append(rehearsal.photo_row(replace(photo, image_sha=""), name))
    files.append((folder / "photos.json", rehearsal.photo_list(rows)))
    write_together(files)
