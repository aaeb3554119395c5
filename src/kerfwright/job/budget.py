"""What the marks cannot show: errors of head, gantry, motion and printer that a verdict counts."""

from __future__ import annotations

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.job.context import JobContext
from kerfwright.job.results import PlacedContours
from kerfwright.model.job import MarkChoices
from kerfwright.model.verdict import ErrorBudget

REPEATABILITY = "repeatability"
"""Name of the calibration that says how well the gantry comes back to a place."""
ASSUMED_REPEAT_MM = 0.03
"""Taken, and said, for a table whose repeatability nobody measured (common practice, no source)."""


def budget_of(
    placed: PlacedContours, how: MarkChoices, context: JobContext
) -> tuple[ErrorBudget, tuple[Finding, ...]]:
    """Return the error budget of a sheet, and what had to be assumed.

    The head offset counts with the least well known head in use. Motion enters with half of the
    deviation the check of the program accepts: it is an outer limit, taken for two standard
    deviations. A feed step the marks cannot show enters by the size the job states for its printer.
    """
    table, limit = context.table, context.job.choices.tolerances.cut_mm
    kinds = {placed.operations[o].head_kind for o in np.unique(placed.operation).tolist()}
    heads = [head for head in table.heads if head.kind in kinds]
    covs = [head.offset_cov_mm2[:2, :2] for head in heads]
    worst = max(covs, key=lambda cov: float(np.trace(cov)), default=np.zeros((2, 2)))
    known = [c.value for c in table.calibration if c.name == REPEATABILITY and c.unit == "mm"]
    budget = ErrorBudget(
        head_cov_mm2=worst,
        repeat_sd_mm=known[-1] if known else ASSUMED_REPEAT_MM,
        motion_sd_mm={kind.value: limit / 2.0 for kind in kinds},
        other=(("feed step between marks", how.feed_step_sd_mm),),
    )
    return budget, () if known else (_assumed(table.id),)


def _assumed(table_id: str) -> Finding:
    return Finding(
        code="JOB-170",
        severity=Severity.WARN,
        where=Place(stage="fit"),
        measured=ASSUMED_REPEAT_MM,
        unit="mm",
        params={"table": table_id},
    )
