"""The demo: one whole order, every stage shown, ending with what was checked."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from kerfwright.cli.bars import bars
from kerfwright.cli.jobs import show_all
from kerfwright.cli.options import AsJson, Out
from kerfwright.errors import UsageError

if TYPE_CHECKING:
    from kerfwright.job.pipeline import Run
    from kerfwright.job.rehearsed import Rehearsed

_SAYS = {
    "drawing": "reading the customer's artwork in a limited process",
    "artwork": "joining loose lines, sorting them by the shop's rules into parts",
    "layout": "laying parts and marks on the sheet",
    "print": "writing the print files, with cut lines as layers and without",
    "plan": "choosing entries, ordering cuts, moving the blade",
    "time": "timing the motion on this table's drives",
    "hold": "checking that the vacuum holds each part once it is free",
    "rehearse": "printing and throwing the sheet on the virtual table",
    "walk": "photographing mark after mark from the first one",
    "look": "finding the marks in the pictures, telling them apart, reading the label",
    "fit": "working out how the sheet lies and stretched, and which parts will land",
    "program": "writing the program and its air cut",
    "verify": "reading the program back and sweeping the blade over the design",
    "cut": "cutting on the virtual table and measuring what was cut",
}
ORDER_WORDS = ("boards", "film", "base", "carton", "plain")

Order = Annotated[
    str,
    typer.Option(
        "--order",
        help="boards, film (printed), base (routed), carton (creased) or plain (a drawing).",
    ),
]


def demo(out: Out = Path("demo-out"), order: Order = "boards", as_json: AsJson = False) -> int:
    """Run the whole job on a demo order and write its files."""
    if order not in ORDER_WORDS:
        raise UsageError(f"there is no demo order {order!r}; take {', '.join(ORDER_WORDS)}")
    if order in {"boards", "film"}:
        return _printed(order, out, as_json=as_json)
    return _drawn(order, out, as_json=as_json)


def _drawn(order: str, out: Path, *, as_json: bool) -> int:
    from kerfwright.job.handover import hand_over_all
    from kerfwright.job.order import DRAWN_ORDERS, make_drawn_job
    from kerfwright.job.steps import run_all_checked
    from kerfwright.job.store import FolderStore

    store = FolderStore(out / "shop")
    job = make_drawn_job(DRAWN_ORDERS[order], store)
    if not as_json:
        typer.echo(f"{DRAWN_ORDERS[order].title}.")
    with bars(quiet=as_json) as progress:
        runs = run_all_checked(job, store, progress=_Teller(quiet=as_json, shown=progress))
    blocked = any(run.is_blocked for run in runs)
    files = [] if blocked else [str(path) for path in hand_over_all(runs, out)]
    show_all(runs, files, as_json=as_json)
    if not as_json:
        _closing(runs[-1])
    return 1 if blocked else 0


def _printed(order: str, out: Path, *, as_json: bool) -> int:
    from kerfwright.job.order import ORDERS
    from kerfwright.job.rehearsed import rehearse
    from kerfwright.job.store import FolderStore

    chosen = ORDERS[order]
    if not as_json:
        typer.echo(f"{chosen.title}.")
    with bars(quiet=as_json) as progress:
        teller = _Teller(quiet=as_json, shown=progress)
        done = rehearse(chosen, FolderStore(out / "shop"), out, progress=teller)
    _show_rehearsed(done, as_json=as_json)
    return 1 if done.run.is_blocked else 0


def _show_rehearsed(done: Rehearsed, *, as_json: bool) -> None:
    from rich.console import Console

    from kerfwright.cli import render
    from kerfwright.job.handover import CAUTIONS
    from kerfwright.job.sheet_handover import sheet_summary

    summary = dict(sheet_summary(done.run)) | {"files": list(map(str, done.files))}
    summary["truth_mm"] = dict(done.truth_mm)
    summary["price"] = dict(done.price)
    if as_json:
        render.print_json(summary)
        return
    console = Console(highlight=False)
    sections = (
        ("look", "Look", render.look_rows),
        ("plan", "Plan of this sheet", render.plan_rows),
        ("hold", "Hold-down", render.hold_rows),
        ("verify", "Check of the program as read back", render.verify_rows),
    )
    for key, title, rows in sections:
        if key in summary:
            render.print_rows(console, title, rows(summary))
    if "parts" in summary:
        render.print_parts(console, summary, done.truth_mm)
    render.print_findings(console, done.run.findings)
    if done.price:
        render.print_rows(console, "Price, an estimate", done.price)
    for file in done.files:
        console.print(f"written: {file}")
    for caution in CAUTIONS if done.files else ():
        console.print(f"caution: {caution}", style="bold")
    _closing(done.run)


class _Teller:
    """Says in one line what each stage does and how long it took, then passes progress on."""

    def __init__(self, *, quiet: bool, shown: object) -> None:
        self._quiet, self._shown = quiet, shown
        self._began: dict[str, float] = {}

    def __call__(self, stage: str, done: int, of: int) -> None:
        if callable(self._shown):
            self._shown(stage, done, of)
        if stage not in _SAYS or self._quiet:
            return
        if done == 0 and stage not in self._began:
            self._began[stage] = time.perf_counter()
        elif done == of == 1 and stage in self._began:
            took = time.perf_counter() - self._began.pop(stage)
            typer.echo(f"{stage:<8} {took:6.2f} s  {_SAYS[stage]}")


def _closing(run: Run) -> None:
    if "verify" not in run.reached:
        typer.echo("The order stops here: a finding blocks.")
        return
    found = run.upstream["verify"].verification
    plan = run.upstream["plan"]
    cut, held = len(plan.placed.contours), len(plan.held)
    checked = len(found.contour)
    typer.echo(
        f"Checked from the program's own text: {checked} contours of {cut + held}, every one for "
        "presence, place, depth, direction, side and what it cuts into; travel heights, reach and "
        f"limits of each axis; the air cut. {held} contours are held back with their parts."
    )
