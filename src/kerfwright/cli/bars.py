"""Progress bars on standard error, one line per stage; silent where nobody watches."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kerfwright.job.progress import Progress


@contextmanager
def bars(*, quiet: bool) -> Iterator[Progress]:
    """Yield a progress that draws bars; on a pipe or when quiet it draws nothing."""
    from kerfwright.job.progress import silent

    if quiet or not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description:<18}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        tasks: dict[str, int] = {}

        def report(stage: str, done: int, of: int) -> None:
            if stage not in tasks:
                tasks[stage] = shown.add_task(stage, total=of)
            shown.update(tasks[stage], completed=done, total=of)  # type: ignore[arg-type]

        yield report
