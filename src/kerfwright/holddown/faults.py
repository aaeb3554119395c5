"""What is wrong with the hold, said for each part and for the bed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.holddown.reporting import Work
from kerfwright.model.hold import HoldMode, HoldReport

COLLAPSE = 0.3
"""Share of the closed vacuum below which a bed is said to leak; common practice, no source."""
_WORDS = {HoldMode.NOTHING: "moves", HoldMode.SLIDES: "slides", HoldMode.TIPS: "tips up"}


def find_faults(
    work: Work, report: HoldReport, *, least: float, wanted: float, closed_pa: float
) -> Iterator[Finding]:
    """Yield what is wrong, part by part, then the bed."""
    has_outline = np.isin(np.arange(len(report.placement)), work.bodies.row)
    held_mm2 = np.zeros(len(report.placement))
    held_mm2[work.bodies.row] = work.bodies.held_mm2
    for r in range(len(report.placement)):
        if not has_outline[r]:
            yield _finding(work, report, r, "HLD-131", Severity.NOTE)
        elif report.freed_block[r] < 0:
            yield _finding(
                work, report, r, "HLD-130", Severity.NOTE, float(report.uncut_mm[r]), None, "mm"
            )
        elif report.mode[r] == HoldMode.NOTHING:
            continue
        elif not held_mm2[r] > 0.0:
            yield _finding(work, report, r, "HLD-112", Severity.HOLDS_PART, 0.0, None, "mm2")
        else:
            yield from _margin(work, report, r, least, wanted)
    yield from _leaks(work, report, closed_pa)


def _margin(
    work: Work, report: HoldReport, r: int, least: float, wanted: float
) -> Iterator[Finding]:
    margin = float(report.margin_low[r])
    if margin < least:
        yield _finding(work, report, r, "HLD-110", Severity.HOLDS_PART, margin, least)
    elif margin < wanted:
        yield _finding(work, report, r, "HLD-111", Severity.WARN, margin, wanted)


def _leaks(work: Work, report: HoldReport, closed_pa: float) -> Iterator[Finding]:
    limit = COLLAPSE * closed_pa / 1000.0
    for z, number in enumerate(report.zones):
        kpa = float(report.begin_kpa[0, z])
        if kpa < limit:
            yield Finding(
                code="HLD-140",
                severity=Severity.WARN,
                where=_place(work, None, None),
                measured=kpa,
                limit=limit,
                unit="kPa",
                params={"zone": number},
            )


def _place(work: Work, contour: str | None, xy: tuple[float, float] | None) -> Place:
    at = work.layout.sheet[work.placements[0]] if len(work.placements) else 0
    sheet = work.layout.sheets[int(at)].id
    return Place(stage="holddown", sheet=sheet, contour=contour, xy_mm=xy, frame="table")


def _finding(
    work: Work,
    report: HoldReport,
    r: int,
    code: str,
    severity: Severity,
    measured: float | None = None,
    limit: float | None = None,
    unit: str = "",
) -> Finding:
    loaded = report.at_block[r] >= 0
    x, y = report.worst_xy[r].tolist()
    return Finding(
        code=code,
        severity=severity,
        where=_place(work, report.contour[r], (x, y) if loaded else None),
        measured=measured,
        limit=limit,
        unit=unit,
        params={
            "part": work.parts[int(work.layout.part[report.placement[r]])].id,
            "what": _WORDS[HoldMode(int(report.mode[r]))],
            "load_n": float(np.hypot(*report.load_n[r])),
            "lift_n": float(report.lift_n[r]),
            "hold_n": float(report.hold_n[r]),
            "friction": report.friction_low,
            "typical": float(report.margin_typical[r]),
            "zones": ", ".join(map(str, report.zones)) or "none",
        },
    )
