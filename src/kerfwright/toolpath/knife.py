"""Tangential and oscillating knives.

The tracked point of the blade, the middle of its chord at the top face, runs along the contour;
the blade points along the tangent. At the *reference plane* (the bottom face, or the plane of
the tip of a partial cut) the blade covers each contour exactly, corner to corner: it goes down
with its back in one corner and comes up with its front in the next. It lifts at corners that
turn more than the lift angle and turns in the material at others. At the top face the slanted
edges reach further, which may nick a part; then a side is cut backwards or from both its ends.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64, I64
from kerfwright.model.cut import CutChoices, CutOrder, CutSetup
from kerfwright.model.motion import ToolMotion
from kerfwright.model.operation import Operation
from kerfwright.model.tooling import Blade
from kerfwright.toolpath.asked import cuts_asked, pass_pairs
from kerfwright.toolpath.cuts import ENTRY, PASS, PATH, SENSE, make
from kerfwright.toolpath.entries import all_cuts
from kerfwright.toolpath.limits import held
from kerfwright.toolpath.rows import motion_of
from kerfwright.toolpath.work import Work, prepare
from kerfwright.toolpath.writing import AT_C, AT_X, AT_Y, COUNT, IN_C, IN_X, IN_Y, TIME


def choices(
    operation: Operation,
    tool: Blade,
    paths: PathSet,
    *,
    contours: tuple[str, ...],
    part_side: I64 | Sequence[int],
    setup: CutSetup,
) -> CutChoices:
    """Return in which ways each contour may be cut.

    Entries of contours with corners are the corners, at most 24; of smooth ones up to six
    places, in straight stretches where there are any; of open ones their ends. Both directions
    are allowed for a blade ground on both sides, else the one that puts its flat to the part.

    Parameters, return and errors are those of `doors.choices`.
    """
    work = prepare(operation, tool, paths, contours, part_side, setup)
    cuts = all_cuts(*work.geometry, work.allowed, operation.passes, work.chord_mm)
    ends, _ = _made(work, cuts, np.zeros(0, np.int64))
    return CutChoices(
        contours=contours,
        operation=operation.id,
        contour=cuts[:, PATH].astype(np.int64),
        pass_no=cuts[:, PASS].astype(np.int64),
        entry_s=cuts[:, ENTRY],
        reversed=cuts[:, SENSE] < 0.0,
        xyc_in=ends[:, [IN_X, IN_Y, IN_C]],
        xyc_out=ends[:, [AT_X, AT_Y, AT_C]],
        time_s=ends[:, TIME],
        before=pass_pairs(int(work.usable.sum()), operation.passes),
        findings=work.findings(np.ones(len(contours), bool)),
    )


def plan(
    operation: Operation,
    tool: Blade,
    paths: PathSet,
    order: CutOrder,
    *,
    contours: tuple[str, ...],
    part_side: I64 | Sequence[int],
    setup: CutSetup,
) -> ToolMotion:
    """Return the motion of all cuts of an order that belong to an operation.

    Each cut begins with a rapid, lifted over its entry, and ends lifted. Entries are taken to
    the nearest corner, since a fitted contour's corners lie at slightly other fractions.

    Parameters, return and errors are those of `doors.plan`.
    """
    work = prepare(operation, tool, paths, contours, part_side, setup)
    asked, places = cuts_asked(operation, order, contours, passes=operation.passes)
    path = asked[:, PATH].astype(np.int64)
    flat_to_part = work.allowed[path, np.where(asked[:, SENSE] > 0.0, 0, 1)]
    cuts = asked[flat_to_part]
    ends, _ = _made(work, cuts, np.zeros(0, np.int64))
    _, rows = _made(work, cuts, ends[:, COUNT].astype(np.int64))
    is_asked = np.zeros(len(contours), bool)
    is_asked[path] = True
    findings = (*work.findings(is_asked), *_wrong_ways(work, np.unique(path[~flat_to_part])))
    return motion_of(rows, places[flat_to_part], setup, findings)


def _made(work: Work, cuts: F64, counts: I64) -> tuple[F64, F64]:
    return make(cuts, counts, *work.geometry, np.array(work.steps))


def _wrong_ways(work: Work, index: I64) -> tuple[Finding, ...]:
    starts = work.paths.starts
    return tuple(
        held("TLP-130", work.contours[k], work.paths.points[starts[k]])
        for k in index
        if work.usable[k]
    )
