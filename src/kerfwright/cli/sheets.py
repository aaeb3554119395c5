"""Commands on printed sheets: layout, look, fit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from kerfwright.cli.bars import bars
from kerfwright.cli.options import SHOP, AsJson, JobName, Out, Serial, Shop
from kerfwright.errors import UsageError

if TYPE_CHECKING:
    from kerfwright.job.pipeline import Run
    from kerfwright.job.store import FolderStore
    from kerfwright.model.marks import Photo
    from kerfwright.model.run import Release

Photos = Annotated[
    Path | None,
    typer.Option(help="Folder with pictures and photos.json: file, x_mm, y_mm, px_per_mm."),
]
BedPicture = Annotated[
    Path | None,
    typer.Option(help="Picture of the whole bed: says where to send the camera for each mark."),
]
BedPoints = Annotated[
    Path | None,
    typer.Option(help="Known points of that picture, a JSON list: x_px, y_px, x_mm, y_mm."),
]


def layout(
    job: JobName,
    out: Out = Path("print"),
    shop: Shop = SHOP,
    as_json: AsJson = False,
) -> int:
    """Lay parts and marks on the sheet, and write the print files."""
    from kerfwright.cli.jobs import show
    from kerfwright.job.sheet_handover import write_prints
    from kerfwright.job.steps import run_to
    from kerfwright.job.store import FolderStore

    store = FolderStore(shop)
    with bars(quiet=as_json) as progress:
        run = run_to(store.load_job(job), store, "print", progress=progress)
    files = [] if run.is_blocked else write_prints(run.upstream, store, out)
    show(run, [str(path) for path in files], as_json=as_json)
    return 1 if run.is_blocked else 0


def look(
    job: JobName,
    photos: Photos = None,
    bed_picture: BedPicture = None,
    bed_points: BedPoints = None,
    serial: Serial = None,
    caliper: Annotated[float | None, typer.Option(help="Measured thickness [mm].")] = None,
    zones: Annotated[str, typer.Option(help="Vacuum zones that are on, as 1,2.")] = "",
    end: Annotated[
        bool, typer.Option("--end", help="Look at two marks again: did the sheet stay?")
    ] = False,
    shop: Shop = SHOP,
    as_json: AsJson = False,
) -> int:
    """Take a sheet's pictures in: which marks are which, which sheet it is.

    Before that, a picture of the whole bed may say where the marks roughly lie.
    """
    from kerfwright.job.sheets import add_sheet, read_photos, run_sheet
    from kerfwright.job.store import FolderStore

    store = FolderStore(shop)
    if photos is None:
        return _bed(job, store, bed_picture, bed_points, as_json=as_json)
    if bed_picture is not None or bed_points is not None:
        raise UsageError("give --photos, or --bed-picture with --bed-points; not both at once")
    taken = read_photos(photos)
    if end:
        return _end(job, store, serial, taken, as_json=as_json)
    made, number = add_sheet(
        store.load_job(job),
        store,
        photos=taken,
        serial=serial,
        caliper_mm=caliper,
        zones=_zones(zones),
    )
    with bars(quiet=as_json) as progress:
        run = run_sheet(made, store, number, last="look", progress=progress)
    return _shown(run, as_json=as_json)


def _bed(
    job: str, store: FolderStore, picture: Path | None, points: Path | None, *, as_json: bool
) -> int:
    """Say where each mark roughly lies; the camera finds them there by itself or by hand."""
    from rich.console import Console

    from kerfwright.cli import render
    from kerfwright.job.bed_picture import look_at_bed
    from kerfwright.job.handover import finding_row

    if picture is None or points is None:
        raise UsageError("give --photos, or --bed-picture with --bed-points")
    with bars(quiet=as_json) as progress:
        guess = look_at_bed(store.load_job(job), store, picture, points, progress=progress)
    places = [] if guess.is_blocked else guess.places_mm.tolist()
    rows = [
        {"mark": n, "x_mm": round(x, 1), "y_mm": round(y, 1), "seen": n in guess.seen}
        for n, (x, y) in enumerate(places)
    ]
    if as_json:
        found = [finding_row(f) for f in guess.findings]
        render.print_json({"marks": rows, "findings": found})
        return 1 if guess.is_blocked else 0
    console = Console(highlight=False)
    render.print_rows(
        console,
        "Marks on the bed, roughly",
        [
            (f"mark {r['mark']}", f"x {r['x_mm']}, y {r['y_mm']} mm" + _not_seen(r["seen"]))
            for r in rows
        ],
    )
    render.print_findings(console, guess.findings)
    return 1 if guess.is_blocked else 0


def _not_seen(seen: object) -> str:
    return "" if seen else " (reckoned from the others)"


def _end(
    job: str,
    store: FolderStore,
    serial: int | None,
    taken: list[tuple[Photo, bytes]],
    *,
    as_json: bool,
) -> int:
    from rich.console import Console

    from kerfwright.cli import render
    from kerfwright.job.handover import finding_row
    from kerfwright.job.sheets import end_look

    made = store.load_job(job)
    _, found = end_look(made, store, _serial(made.runs, serial, job), taken)
    if as_json:
        render.print_json({"stayed": not found, "findings": [finding_row(f) for f in found]})
    else:
        console = Console(highlight=False)
        console.print("The sheet stayed." if not found else "The sheet did not stay.")
        render.print_findings(console, found)
    return 1 if found else 0


def fit(
    job: JobName,
    serial: Serial = None,
    let_go: Annotated[
        str, typer.Option("--release", help="Contours in doubt to cut all the same, as c3@1,c7@1.")
    ] = "",
    reason: Annotated[
        str, typer.Option(help="Why: measured_by_hand, customer_accepts, spare_part, test_cut.")
    ] = "",
    initials: Annotated[str, typer.Option(help="Who says so; goes on the ticket.")] = "",
    shop: Shop = SHOP,
    as_json: AsJson = False,
) -> int:
    """Work out how a sheet lies and stretched, and which parts will land in tolerance."""
    from kerfwright.job.sheets import release, run_sheet
    from kerfwright.job.store import FolderStore

    store = FolderStore(shop)
    made = store.load_job(job)
    number = _serial(made.runs, serial, job)
    if let_go.strip():
        run = run_sheet(made, store, number, last="fit")
        made = release(store.load_job(job), store, number, _released(run, let_go, reason, initials))
    with bars(quiet=as_json) as progress:
        run = run_sheet(made, store, number, last="fit", progress=progress)
    return _shown(run, as_json=as_json)


def _serial(runs: tuple[object, ...], serial: int | None, job: str) -> int:
    if serial is not None:
        return serial
    if not runs:
        raise UsageError(f"job {job} has no sheet yet; take its pictures in with look first")
    return int(runs[-1].serial)  # type: ignore[attr-defined] # a SheetRun, a heavy import here


def _released(run: Run, text: str, reason: str, initials: str) -> list[Release]:
    """Return what is released; only contours whose verdict is in doubt may be."""
    from kerfwright.model.run import RELEASE_REASONS, Release
    from kerfwright.model.verdict import VerdictState

    if reason not in RELEASE_REASONS or not initials.strip():
        raise UsageError(
            f"a release needs --reason, one of {', '.join(RELEASE_REASONS)}, and --initials"
        )
    states = {v.contour: v.state for v in run.upstream["fit"].verdicts}
    given = [word.strip() for word in text.split(",")]
    for contour in given:
        if contour not in states:
            raise UsageError(f"--release names {contour!r}, which is no contour of this sheet")
        if states[contour] is not VerdictState.CHECK:
            raise UsageError(
                f"contour {contour} is {states[contour].value}; only one whose verdict is check "
                "may be released"
            )
    return [Release(contour=c, reason=reason, initials=initials) for c in given]


def _zones(text: str) -> tuple[int, ...]:
    if not text.strip():
        return ()
    words = [word.strip() for word in text.split(",")]
    if not all(word.isdigit() for word in words):
        raise UsageError(f"--zones {text!r} is no list of zone numbers; write 1,2")
    return tuple(sorted({int(word) for word in words}))


def _shown(run: object, *, as_json: bool) -> int:
    from rich.console import Console

    from kerfwright.cli import render
    from kerfwright.job.pipeline import Run
    from kerfwright.job.sheet_handover import sheet_summary

    assert isinstance(run, Run)  # noqa: S101 - typed late, so that help starts quickly
    summary = sheet_summary(run)
    if as_json:
        render.print_json(summary)
        return 1 if run.is_blocked else 0
    console = Console(highlight=False)
    if "look" in summary:
        render.print_rows(console, "Look", render.look_rows(summary))
    if "parts" in summary:
        render.print_parts(console, summary)
    render.print_findings(console, run.findings)
    return 1 if run.is_blocked else 0
