"""The program as read against the design: the front door of the room."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from kerfwright.errors import Finding, Severity
from kerfwright.errors.messages import sentence_of
from kerfwright.model.design import Design, Tolerances
from kerfwright.model.motion import ToolMotion
from kerfwright.model.table import Table
from kerfwright.model.verification import Verification
from kerfwright.verify.case import Case, prepare
from kerfwright.verify.columns import BREF, F64, SC0, SX0, SY0
from kerfwright.verify.cutter_judging import Cutting, judge_cutting
from kerfwright.verify.judging import judge_contours, uncut_of
from kerfwright.verify.limits import check_keep_outs, check_limits, check_surface
from kerfwright.verify.measures import STEPS, Measures, measure
from kerfwright.verify.running import check_running, check_tools
from kerfwright.verify.saying import finding
from kerfwright.verify.travel import check_travel
from kerfwright.verify.wheel_checks import check_wheels

Progress = Callable[[int, int], None]

_LIMIT_CODES = frozenset(
    {"VER-122", "VER-123", "VER-222", "VER-160", "VER-161", "VER-162", "VER-163"}
)
_HIT_CODES = frozenset({"VER-131", "VER-133", "VER-151", "VER-152", "VER-153", "VER-154"})


def check_program(
    motion: ToolMotion,
    design: Design,
    table: Table,
    tolerances: Tolerances,
    *,
    progress: Progress | None = None,
) -> Verification:
    """Check a program against the design, as it will run on the table.

    Everything is measured from the motion alone: which contour a cut belongs to follows from
    where it is. Head offsets are undone where the program holds them. Blocks run by stations with
    a cutter are measured as the disc it sweeps, all others as a blade, which a wheel and a pen are
    without width; all are held to the same limits of table, travel and keep-outs.

    Parameters
    ----------
    motion : ToolMotion
        The program as read.
    design : Design
        Contours wanted, and the maps onto the sheet.
    table : Table
        Table it runs on.
    tolerances : Tolerances
        What is accepted [mm, rad].
    progress : callable, optional
        Called with steps done and steps in all; what it raises stops the check.

    Returns
    -------
    Verification
        Measures contour by contour and findings; a bad program is a finding, never an exception.
        Worst deviations are exact within 0.5 um or a sixtieth of ``tolerances.cut_mm``, for routed
        contours within 0.5 um. An axis that is farther over a part than it can belong to its
        contour (radius, twice the lead and 3 mm) counts as so far; of an inside corner too tight
        for the cutter at most 3 mm of material are told.
    """
    tell = _Counter(progress, STEPS + 3)
    # Numbers of any size may be read; what overflows is beyond every limit and found there.
    with np.errstate(all="ignore"):
        case = prepare(motion, design, table, tolerances)
        tell()
        measures = measure(case, tell)
        cutting = judge_cutting(case.cutting, motion)
        tell()
        strays = _strays(case)
        found = [
            *check_tools(case),
            *judge_contours(measures, case),
            *_stray_findings(case, strays),
            *cutting.findings,
            *check_wheels(case),
            *check_running(case),
            *check_travel(case),
            *check_keep_outs(case),
            *check_limits(case),
            *check_surface(case),
        ]
        tell()
        return _verification(case, measures, cutting, strays, found)


class _Counter:
    """Tells the progress of a fixed number of steps."""

    def __init__(self, progress: Progress | None, steps: int) -> None:
        self._progress, self._steps, self._done = progress, steps, 0

    def __call__(self) -> None:
        self._done += 1
        if self._progress is not None:
            self._progress(self._done, self._steps)


def _strays(case: Case) -> F64:
    """Return x, y of the tip where each stroke that leaves all contours first does so."""
    slices = case.slices
    index = np.flatnonzero(case.assignment.stray)
    first = index[np.unique(slices.stroke[index], return_index=True)[1]]
    at, ahead = slices.at[first], case.moves.blades[slices.blade[first], BREF]
    c = at[:, SC0]
    return np.column_stack((at[:, SX0] + ahead * np.cos(c), at[:, SY0] + ahead * np.sin(c)))


def _stray_findings(case: Case, strays: F64) -> list[Finding]:
    if not len(strays):
        return []
    index = np.flatnonzero(case.assignment.stray)
    length = np.bincount(case.slices.stroke[index], weights=case.slices.length[index])
    longest = length.max()
    return [
        finding("VER-150", xy=strays[0], measured=longest, limit=0.0, unit="mm", count=len(strays))
    ]


def _verification(
    case: Case, measures: Measures, cutting: Cutting, strays: F64, found: list[Finding]
) -> Verification:
    grave = {Severity.BLOCKS, Severity.HOLDS_PART}
    routed = case.cutting.routed.is_routed
    return Verification(
        program_sha=case.motion.text_sha,
        passed=not any(f.severity in grave for f in found),
        contour=case.design.contours,
        worst_mm=np.where(routed, cutting.worst, measures.deviation.value),
        worst_xy=np.where(routed[:, None], cutting.worst_xy, measures.deviation.xy),
        uncut_mm=np.where(routed, cutting.uncut, uncut_of(measures, case)),
        overcut_part_mm=np.where(routed, cutting.gouge, measures.overcut.part),
        overcut_waste_mm=np.where(routed, 0.0, measures.overcut.waste),
        strays=tuple((x, y) for x, y in np.vstack((strays, cutting.strays)).tolist()),
        limit_violations=tuple(sentence_of(f) for f in found if f.code in _LIMIT_CODES),
        collisions=tuple(sentence_of(f) for f in found if f.code in _HIT_CODES),
        findings=tuple(found),
    )
