"""The demo: one whole order, every stage shown, ending with what was checked."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from kerfwright.cli.bars import bars
from kerfwright.cli.jobs import show
from kerfwright.cli.options import AsJson, Out

if TYPE_CHECKING:
    from kerfwright.job.pipeline import Run

_SAYS = {
    "drawing": "reading the customer's drawing in a limited process",
    "artwork": "joining loose lines, sorting them by the shop's rules into parts",
    "layout": "laying the parts on the sheet as drawn",
    "plan": "choosing entries, ordering cuts, moving the blade",
    "time": "timing the motion on this table's drives",
    "program": "writing the program and its air cut",
    "verify": "reading the program back and sweeping the blade over the design",
}


def demo(out: Out = Path("demo-out"), as_json: AsJson = False) -> int:
    """Run the whole job on the demo order and write its files."""
    from kerfwright.job.handover import hand_over
    from kerfwright.job.order import make_demo_job
    from kerfwright.job.steps import run_checked
    from kerfwright.job.store import FolderStore

    store = FolderStore(out / "shop")
    job = make_demo_job(store)
    if not as_json:
        typer.echo("Boards for a harbour festival in 3 mm PVC foam, cut with the knife.")
    with bars(quiet=as_json) as progress:
        teller = _Teller(quiet=as_json, shown=progress)
        run = run_checked(job, store, progress=teller)
    files = [str(path) for path in hand_over(run, out)] if not run.is_blocked else []
    show(run, files, as_json=as_json)
    if not as_json:
        _closing(run)
    return 1 if run.is_blocked else 0


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
        "presence, place, depth, blade direction, side and overcut; travel heights, reach and "
        f"limits of each axis; the air cut. {held} contours are held back with their parts."
    )
