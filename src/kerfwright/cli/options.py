"""Options and arguments several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

JobName = Annotated[str, typer.Argument(metavar="JOB", help="Name of the job.")]
Shop = Annotated[
    Path,
    typer.Option("--shop", envvar="KERFWRIGHT_SHOP", help="Folder that keeps jobs and books."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
Unit = Annotated[
    str, typer.Option("--units", help="Drawing unit: um, mm, cm, m, in or ft.", metavar="UNIT")
]
Out = Annotated[Path, typer.Option("--out", help="Folder the files are written to.")]

Serial = Annotated[
    int | None, typer.Option("--serial", min=1, help="Number of the sheet; else the last one.")
]

SHOP = Path("shop")
