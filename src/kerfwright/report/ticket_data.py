"""What a job ticket says of one physical sheet."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.record import BOOL, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows
from kerfwright.report.ticket_lines import (
    CheckLine,
    FileLine,
    HoldLine,
    OperationLine,
    OverrideLine,
    PartLine,
    TimeLine,
    ToolLine,
)
from kerfwright.report.ticket_pictures import ErrorMap, SheetPicture

_SUM_TOLERANCE_S = 0.05
"""Half of the last digit shown: below it a sum that is off cannot be seen."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TicketData(Record):
    """Everything a ticket shows.

    Parameters
    ----------
    job_id, sheet_id, serial, title : str
        Which order, which nominal sheet, which physical one, and what people call it.
    table, material : str
        Names of the table and of the material.
    thickness_mm : float
        Nominal thickness [mm].
    caliper_mm : float or None
        Thickness measured on this sheet; None where it was not measured [mm].
    tools : tuple of ToolLine
        Stations used.
    zones_on : tuple of int
        Vacuum zones that are on from the first picture to the last cut.
    operations : tuple of OperationLine
        Cuts by operation, in their order.
    times : tuple of TimeLine
        Time by cause; `high_s` of all add up to `time_high_s`.
    time_low_s, time_high_s : float
        Bracket of the whole time [s].
    picture : SheetPicture
        How the sheet lies.
    error_map : ErrorMap or None
        Expected deviation over the sheet.
    parts : tuple of PartLine
        Verdicts.
    holds : tuple of HoldLine
        Hold margins.
    findings : tuple of Finding
        What was found, shown in its own words.
    files : tuple of FileLine
        Files handed over.
    checks : tuple of CheckLine
        What was checked.
    overrides : tuple of OverrideLine
        What a person allowed.
    label : ndarray of shape (n, n), bool
        Square code of the sheet's label, true where dark, row 0 uppermost; (0, 0) for none.
    label_text : str
        What the code says.
    made_on : str
        Day or time the ticket was made, as it shall be shown; empty for none.
    """

    job_id: str
    sheet_id: str
    serial: str
    title: str
    table: str
    material: str
    thickness_mm: float
    caliper_mm: float | None = None
    tools: tuple[ToolLine, ...] = ()
    zones_on: tuple[int, ...] = ()
    operations: tuple[OperationLine, ...] = ()
    times: tuple[TimeLine, ...] = ()
    time_low_s: float
    time_high_s: float
    picture: SheetPicture
    error_map: ErrorMap | None = None
    parts: tuple[PartLine, ...]
    holds: tuple[HoldLine, ...] = ()
    findings: tuple[Finding, ...] = ()
    files: tuple[FileLine, ...] = ()
    checks: tuple[CheckLine, ...] = ()
    overrides: tuple[OverrideLine, ...] = ()
    label: BOOL = field(default_factory=lambda: np.zeros((0, 0), bool))
    label_text: str = ""
    made_on: str = ""

    def __post_init__(self) -> None:
        require_finite(self)
        frozen_array(self, "label", dtype=np.bool_, shape=(None, None))
        rows, columns = self.label.shape
        require(rows == columns, f"TicketData.label has shape {self.label.shape}, must be square")
        known = (self.picture.part >= 0) & (self.picture.part < len(self.parts))
        require_rows(self.picture, "part", known, f"a row of the {len(self.parts)} parts")
        low, high = self.time_low_s, self.time_high_s
        require(0.0 <= low <= high, f"TicketData: time from {low} to {high} s")
        total = sum(t.high_s for t in self.times)
        require(
            not self.times or abs(total - high) <= _SUM_TOLERANCE_S,
            f"TicketData.times add up to {total} s, time_high_s is {high} s",
        )
