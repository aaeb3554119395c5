"""Routing: a turning cutter goes round contours, inside, outside or on the line.

The cutter's centre follows the exact offset of the contour. Depth passes go round one after the
other without coming up; with an allowance they leave it on the wall and one lap at full depth
takes it off. Down goes a ramp along the contour, a helix on the lead circle beside it, or a
straight plunge; tabs are crossed raised. A cut is all of this for one contour.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry import edges
from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.geometry.record import F64, I64
from kerfwright.model.cut import CutChoices, CutOrder, CutSetup
from kerfwright.model.motion import ToolMotion
from kerfwright.model.operation import Operation
from kerfwright.model.tooling import Cutter
from kerfwright.toolpath.asked import cuts_asked
from kerfwright.toolpath.cuts import ENTRY, PATH
from kerfwright.toolpath.router_checks import finding, first_point
from kerfwright.toolpath.router_cuts import LEAD_MM, make
from kerfwright.toolpath.router_work import RouterWork, prepare
from kerfwright.toolpath.rows import motion_of
from kerfwright.toolpath.writing import AT_X, AT_Y, COUNT, IN_X, IN_Y, TIME

_MOST_ENTRIES = 6
_CLEAR_OF_TAB = 1.5
"""An entry stays this many widths of a tab from its middle."""


def choices(
    operation: Operation,
    tool: Cutter,
    paths: PathSet,
    *,
    contours: tuple[str, ...],
    part_side: I64 | Sequence[int],
    setup: CutSetup,
) -> CutChoices:
    """Return in which ways each contour may be routed.

    Entries are the middles of the longest edges, away from tabs, at most six; the direction is
    what climb or conventional asks for. Open lines begin at either end.

    Parameters, return and errors are those of `doors.choices`.
    """
    work = prepare(operation, tool, paths, contours, part_side, setup)
    path, entry = _entries(work)
    cuts = _cuts(work, path, entry)
    can = work.can_enter(cuts[:, LEAD_MM])
    cuts, entry = cuts[can], entry[can]
    shut = np.setdiff1d(path, path[can])
    path = path[can]
    ends, _ = _made(work, cuts, np.zeros(0, np.int64))
    back = np.where(paths.closed[path], work.reversed[path], entry > 0.5)
    return CutChoices(
        contours=contours,
        operation=operation.id,
        contour=path,
        pass_no=np.zeros(len(path), np.int64),
        entry_s=entry,
        reversed=back,
        xyc_in=_pose(ends[:, [IN_X, IN_Y]]),
        xyc_out=_pose(ends[:, [AT_X, AT_Y]]),
        time_s=ends[:, TIME],
        findings=(
            *work.said(np.ones(len(contours), bool)),
            *_without_entry(work, operation, shut),
        ),
    )


def plan(
    operation: Operation,
    tool: Cutter,
    paths: PathSet,
    order: CutOrder,
    *,
    contours: tuple[str, ...],
    part_side: I64 | Sequence[int],
    setup: CutSetup,
) -> ToolMotion:
    """Return the motion of all cuts of an order that belong to an operation.

    An entry is taken to the place of the cutter's path nearest to it. Parameters, return and
    errors are those of `doors.plan`.
    """
    work = prepare(operation, tool, paths, contours, part_side, setup)
    asked, places = cuts_asked(operation, order, contours, passes=1)
    is_asked = np.zeros(len(contours), bool)
    is_asked[asked[:, PATH].astype(np.int64)] = True
    can = work.usable[asked[:, PATH].astype(np.int64)]
    path, entry, places = asked[can, PATH].astype(np.int64), asked[can, ENTRY], places[can]
    cuts = _cuts(work, path, entry)
    can = work.can_enter(cuts[:, LEAD_MM])
    shut, path, cuts, places = path[~can], path[can], cuts[can], places[can]
    ends, _ = _made(work, cuts, np.zeros(0, np.int64))
    _, rows = _made(work, cuts, ends[:, COUNT].astype(np.int64))
    findings = (
        *work.said(is_asked),
        *_without_lead(work, operation, path, cuts),
        *_without_entry(work, operation, shut),
    )
    return motion_of(rows, places, setup, findings)


def _made(work: RouterWork, cuts: F64, counts: I64) -> tuple[F64, F64]:
    return make(cuts, counts, work.rough, work.finish, work.manner, work.levels, work.rates)


def _cuts(work: RouterWork, path: I64, entry: F64) -> F64:
    """Return contour, place on the ring and radius of the lead circle of each cut."""
    closed = work.paths.closed[path]
    place = np.where(closed, 0.0, entry)
    place[closed] = work.places(path[closed], entry[closed])
    radius = np.zeros(len(path))
    radius[closed] = work.leads(path[closed], place[closed])
    return np.column_stack((path.astype(np.float64), place, radius))


def _without_entry(work: RouterWork, operation: Operation, path: I64) -> list[Finding]:
    """Return a finding for every contour the cutter cannot go down at."""
    return [
        finding("TLP-212", work.contours[k], first_point(work.paths, k), operation)
        for k in path.tolist()
    ]


def _without_lead(work: RouterWork, operation: Operation, path: I64, cuts: F64) -> list[Finding]:
    """Return a note for every contour whose lead circle has to be smaller than asked for."""
    small = np.flatnonzero((cuts[:, LEAD_MM] < work.lead_mm) & work.paths.closed[path])
    return [
        finding(
            "TLP-205",
            work.contours[path[i]],
            first_point(work.paths, int(path[i])),
            operation,
            measured=float(cuts[i, LEAD_MM]),
            limit=work.lead_mm,
        )
        for i in small.tolist()
    ]


def _entries(work: RouterWork) -> tuple[I64, F64]:
    """Return contour and entry of every way to cut, those of one contour together."""
    path: list[int] = []
    entry: list[float] = []
    for k in np.flatnonzero(work.usable).tolist():
        own = _own_entries(work.paths.select([k]), work.tabs[k])
        path += [k] * len(own)
        entry += own
    return np.array(path, np.int64), np.array(entry, np.float64)


def _own_entries(path: PathSet, tabs: F64) -> list[float]:
    if not path.closed[0]:
        return [0.0, 1.0]
    e = edges_of(path)
    length = edges.length_mm(e.start, e.end, e.bulge)
    begin = np.cumsum(length) - length
    whole = float(length.sum())
    longest = np.argsort(-length, kind="stable")
    middles = ((begin + length / 2.0) / whole)[longest]
    if len(tabs):
        away = np.abs(middles[:, None] - tabs[:, 0])
        away = np.minimum(away, 1.0 - away) * whole
        clear = (away > _CLEAR_OF_TAB * tabs[:, 1]).all(axis=1)
        between = (tabs[:, 0] + np.roll(tabs[:, 0], -1)) / 2.0
        between[-1] = (tabs[-1, 0] + tabs[0, 0] + 1.0) / 2.0 % 1.0
        middles = np.concatenate((middles[clear], between))
    found: list[float] = middles[:_MOST_ENTRIES].tolist()
    return found


def _pose(xy: F64) -> F64:
    return np.column_stack((xy, np.zeros(len(xy))))
