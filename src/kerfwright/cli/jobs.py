"""Commands on one job: new, check, plan, verify, handover."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from kerfwright.cli.bars import bars
from kerfwright.cli.options import SHOP, AsJson, JobName, Out, Serial, Shop, Unit
from kerfwright.errors import UsageError

if TYPE_CHECKING:
    from kerfwright.job.pipeline import Run
    from kerfwright.job.progress import Progress
    from kerfwright.job.store import FolderStore
    from kerfwright.model.job import Job

_SIZE = re.compile(r"(\d+(?:\.\d+)?)\s*[xX*]\s*(\d+(?:\.\d+)?)")


def new(
    job: JobName,
    artwork: Annotated[
        Path, typer.Option("--artwork", help="The customer's drawing (DXF, SVG) or page (PDF).")
    ],
    table: Annotated[str, typer.Option(help="Table of the shop's book.")] = "pier-2616",
    material: Annotated[str, typer.Option(help="Material of the shop's book.")] = "pvc-foam-3",
    sheet: Annotated[str, typer.Option(help="Width x height [mm].")] = "2440x1220",
    thickness: Annotated[
        float | None, typer.Option(help="Measured thickness [mm]; else the book's middle.")
    ] = None,
    margin: Annotated[float, typer.Option(help="Border kept free [mm].")] = 10.0,
    units: Unit = "",
    scale: Annotated[float | None, typer.Option(help="Factor on the drawing.")] = None,
    every_line: Annotated[
        str, typer.Option(help="Operation for lines that no rule names.", metavar="OPERATION")
    ] = "",
    rules: Annotated[
        Path | None, typer.Option(help="Rule table as TOML instead of the house rules.")
    ] = None,
    pages: Annotated[str, typer.Option(help="Pages of a PDF file, as 1-3,5.")] = "1",
    quantity: Annotated[int, typer.Option(min=1, help="How often each part is wanted.")] = 1,
    nest: Annotated[bool, typer.Option("--nest", help="Lay the parts out anew.")] = False,
    spacing: Annotated[float, typer.Option(help="Least gap between nested parts [mm].")] = 8.0,
    marks: Annotated[
        int | None, typer.Option(min=0, help="Print registration marks: how many; 0 decides.")
    ] = None,
    shop: Shop = SHOP,
    as_json: AsJson = False,
) -> int:
    """Take a drawing in and start a job."""
    from kerfwright.job.steps import NewJob, make_job, read_rules
    from kerfwright.job.store import FolderStore
    from kerfwright.model.job import MarkChoices

    made = make_job(
        NewJob(
            job_id=job,
            file=artwork,
            table_id=table,
            material_id=material,
            sheet_mm=_sheet_mm(sheet),
            thickness_mm=thickness,
            margin_mm=margin,
            unit=units,
            scale=scale,
            every_line=every_line,
            rules=None if rules is None else read_rules(rules, material),
            pages=_pages(pages),
            quantity=quantity,
            nest=nest,
            spacing_mm=spacing,
            marks=None if marks is None else MarkChoices(count=marks or None),
        ),
        FolderStore(shop),
    )
    if as_json:
        from kerfwright.cli.render import print_json

        print_json({"job": made.id, "version": made.version, "shop": str(shop)})
    else:
        typer.echo(f"job {made.id} is in {shop}; next: kerfwright check {made.id}")
    return 0


def _sheet_mm(text: str) -> tuple[float, float]:
    size = _SIZE.fullmatch(text.strip())
    if size is None:
        raise UsageError(f"--sheet {text!r} is not width x height in mm; write 2440x1220")
    return float(size[1]), float(size[2])


def _pages(text: str) -> tuple[int, ...]:
    pages: list[int] = []
    for word in text.split(","):
        first, dash, last = word.strip().partition("-")
        if not first.isdigit() or (dash and not last.isdigit()):
            raise UsageError(f"--pages {text!r} is no list of pages; write 1-3,5")
        pages += range(int(first), int(last or first) + 1)
    if not pages or min(pages) < 1:
        raise UsageError(f"--pages {text!r} names no page; the first page is 1")
    return tuple(dict.fromkeys(pages))


def check(job: JobName, units: Unit = "", shop: Shop = SHOP, as_json: AsJson = False) -> int:
    """Read the drawing, sort its lines, and say what is wrong with it."""
    return _run(job, shop, units=units, as_json=as_json, last="layout")


def plan(
    job: JobName,
    serial: Serial = None,
    units: Unit = "",
    shop: Shop = SHOP,
    as_json: AsJson = False,
) -> int:
    """Plan motion and time, and write the program's text: of a sheet looked at, or nominal."""
    if serial is not None:
        return _run_sheet(job, shop, serial, as_json=as_json, last="program")
    return _run(job, shop, units=units, as_json=as_json, last="program")


def verify(
    job: JobName,
    program: Annotated[
        Path | None, typer.Option(help="Check this program file against the job instead.")
    ] = None,
    serial: Serial = None,
    units: Unit = "",
    shop: Shop = SHOP,
    as_json: AsJson = False,
) -> int:
    """Read the program back and compare it with the design."""
    if program is not None:
        return _verify_file(job, program, shop, serial=serial, as_json=as_json)
    if serial is not None:
        return _run_sheet(job, shop, serial, as_json=as_json, last="verify")
    return _run(job, shop, units=units, as_json=as_json, last="verify")


def handover(
    job: JobName,
    out: Out = Path("handover"),
    serial: Serial = None,
    units: Unit = "",
    shop: Shop = SHOP,
    as_json: AsJson = False,
) -> int:
    """Write program.nc, its air cut and summary.json, with ticket and fit for a sheet looked at."""
    if serial is not None:
        return _run_sheet(job, shop, serial, as_json=as_json, last="verify", out=out)

    def write(runs: Sequence[Run]) -> list[str]:
        from kerfwright.job.handover import hand_over_all

        return [str(path) for path in hand_over_all(runs, out)]

    return _run(job, shop, units=units, as_json=as_json, last="verify", then=write)


def _run(
    job_id: str,
    shop: Path,
    *,
    units: str,
    as_json: bool,
    last: str,
    then: Callable[[Sequence[Run]], list[str]] | None = None,
) -> int:
    from kerfwright.job.steps import answer_unit
    from kerfwright.job.store import FolderStore

    store = FolderStore(shop)
    job = store.load_job(job_id)
    if units:
        job = answer_unit(job, store, units)
    with bars(quiet=as_json) as progress:
        runs = _brought(job, store, last, progress)
    blocked = any(run.is_blocked for run in runs)
    files = then(runs) if then is not None and not blocked else []
    show_all(runs, files, as_json=as_json)
    return 1 if blocked else 0


def _run_sheet(
    job_id: str, shop: Path, serial: int, *, as_json: bool, last: str, out: Path | None = None
) -> int:
    from kerfwright.job.sheet_handover import hand_over_sheet
    from kerfwright.job.sheets import run_sheet, run_sheet_checked
    from kerfwright.job.store import FolderStore

    store = FolderStore(shop)
    job = store.load_job(job_id)
    with bars(quiet=as_json) as progress:
        if last == "verify":
            run = run_sheet_checked(job, store, serial, progress=progress)
        else:
            run = run_sheet(job, store, serial, last=last, progress=progress)
    files = [] if out is None or run.is_blocked else hand_over_sheet(run, store, out)
    show(run, [str(path) for path in files], as_json=as_json)
    return 1 if run.is_blocked else 0


def _brought(job: Job, store: FolderStore, last: str, progress: Progress) -> tuple[Run, ...]:
    """Return a run per set-up of the job."""
    from kerfwright.job.steps import run_all_checked, run_every_setup

    if last == "verify":
        return run_all_checked(job, store, progress=progress)
    return run_every_setup(job, store, last, progress=progress)


def show_all(runs: Sequence[Run], files: list[str], *, as_json: bool) -> None:
    """Print a run per set-up; the files after the last one."""
    from kerfwright.cli import render
    from kerfwright.job.sheet_handover import sheet_summary

    if as_json and len(runs) > 1:
        rows = [dict(sheet_summary(run)) for run in runs]
        render.print_json({"setups": rows, "files": files})
        return
    for run in runs:
        if len(runs) > 1:
            typer.echo(f"set-up {run.context.setup}, on the {run.context.table.bed_surface}:")
        show(run, files if run is runs[-1] else [], as_json=as_json)


def show(run: Run, files: list[str], *, as_json: bool) -> None:
    """Print a run: as JSON, or as tables and findings."""
    from rich.console import Console

    from kerfwright.cli import render
    from kerfwright.job.sheet_handover import sheet_summary

    summary = dict(sheet_summary(run)) | {"files": files}
    if as_json:
        render.print_json(summary)
        return
    console = Console(highlight=False)
    sections = (
        ("artwork", "Artwork", render.artwork_rows),
        ("plan", "Plan", render.plan_rows),
        ("verify", "Check of the program as read back", render.verify_rows),
    )
    for key, title, rows in sections:
        if key in summary:
            render.print_rows(console, title, rows(summary))
    if "parts" in summary:
        render.print_parts(console, summary)
    render.print_findings(console, run.findings)
    for file in files:
        console.print(f"written: {file}")
    if files:
        for caution in summary["cautions"]:
            console.print(f"caution: {caution}", style="bold")


def _verify_file(job_id: str, file: Path, shop: Path, *, serial: int | None, as_json: bool) -> int:
    from rich.console import Console

    from kerfwright.cli import render
    from kerfwright.job.handover import finding_row
    from kerfwright.job.steps import verify_file
    from kerfwright.job.store import FolderStore

    store = FolderStore(shop)
    with bars(quiet=as_json) as progress:
        found = verify_file(store.load_job(job_id), store, file, serial=serial, progress=progress)
    if as_json:
        rows = [finding_row(f) for f in found.findings]
        render.print_json({"file": str(file), "passed": found.passed, "findings": rows})
    else:
        console = Console(highlight=False)
        console.print(f"{file}: {'passed' if found.passed else 'did not pass'} its check")
        render.print_findings(console, found.findings)
    return 0 if found.passed else 1
