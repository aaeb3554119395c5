"""Creasing wheels and pens: tools without width that follow a line.

The lowest point runs exactly along the line. A wheel points along the tangent, lifts at corners
above the lift angle and is set down anew, and rolls to its depth and up again over its leads; of
several passes each goes deeper by the same share. A pen has no direction: it goes round corners
without lifting, and C stays at 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.cut import CutChoices, CutOrder, CutSetup
from kerfwright.model.motion import FeedKind, Kind, ToolMotion
from kerfwright.model.operation import Operation
from kerfwright.model.tooling import Pen, Wheel
from kerfwright.toolpath.asked import cuts_asked, pass_pairs
from kerfwright.toolpath.blade import Step, full_depth_z_mm
from kerfwright.toolpath.cuts import ENTRY, PASS, PATH, SENSE, make
from kerfwright.toolpath.entries import all_cuts
from kerfwright.toolpath.leads import Leads, with_leads
from kerfwright.toolpath.limits import judge
from kerfwright.toolpath.line_checks import (
    Said,
    impossible,
    kept_back,
    short_for_leads,
    too_tight,
    without_length,
)
from kerfwright.toolpath.rows import motion_of
from kerfwright.toolpath.sections import LOOP, Sections, sections_of
from kerfwright.toolpath.shapes import Shapes, shapes_of
from kerfwright.toolpath.wheel import pen_steps, wheel_steps
from kerfwright.toolpath.work import check_paths
from kerfwright.toolpath.writing import (
    COUNT,
    CUT,
    CX,
    CY,
    FEED,
    FEED_KIND,
    KIND,
    TURNED,
    C,
    X,
    Y,
    Z,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Work:
    """One operation on K contours, prepared.

    Parameters
    ----------
    shapes, sections : Shapes, Sections
        Contours as the kernels want them.
    steps : tuple of Step
        The passes.
    leads : Leads or None
        How a wheel gets to its depth; None for a pen.
    found : tuple
        Contour and finding; contour -1 where a finding is about all of them.
    allowed : ndarray of shape (K, 2), bool
        Whether a contour may be followed along and against its drawn direction.
    """

    shapes: Shapes
    sections: Sections
    steps: tuple[Step, ...]
    leads: Leads | None
    found: tuple[Said, ...]
    allowed: BOOL

    def findings(self, asked: BOOL) -> tuple[Finding, ...]:
        """Return what is wrong with the contours asked for, and with all."""
        return tuple(f for k, f in self.found if k < 0 or asked[k])

    @property
    def geometry(self) -> tuple[F64, I64, BOOL, F64, I64]:
        """Contours and sections in the order the kernels take them."""
        return (*self.shapes, *self.sections)


def choices(
    operation: Operation,
    tool: Wheel | Pen,
    paths: PathSet,
    *,
    contours: tuple[str, ...],
    part_side: I64 | Sequence[int],
    setup: CutSetup,
) -> CutChoices:
    """Return in which ways each contour may be creased or drawn, both directions always.

    Parameters, return and errors are those of `doors.choices`.
    """
    work = _prepare(operation, tool, paths, contours, part_side, setup)
    cuts = all_cuts(*work.geometry, work.allowed, operation.passes, 2.0 * work.steps[-1].half)
    rows = _rows(work, cuts)
    first = np.flatnonzero(np.diff(rows[:, CUT], prepend=-1.0))
    last = np.append(first[1:], len(rows))[: len(first)] - 1
    seconds = np.bincount(
        rows[:, CUT].astype(np.int64), weights=_seconds(rows, setup), minlength=len(cuts)
    )
    usable = int(work.allowed.any(axis=1).sum())
    return CutChoices(
        contours=contours,
        operation=operation.id,
        contour=cuts[:, PATH].astype(np.int64),
        pass_no=cuts[:, PASS].astype(np.int64),
        entry_s=cuts[:, ENTRY],
        reversed=cuts[:, SENSE] < 0.0,
        xyc_in=rows[first][:, [X, Y, C]],
        xyc_out=rows[last][:, [X, Y, C]],
        time_s=seconds.astype(np.float64),
        before=pass_pairs(usable, operation.passes),
        findings=work.findings(np.ones(len(contours), bool)),
    )


def plan(
    operation: Operation,
    tool: Wheel | Pen,
    paths: PathSet,
    order: CutOrder,
    *,
    contours: tuple[str, ...],
    part_side: I64 | Sequence[int],
    setup: CutSetup,
) -> ToolMotion:
    """Return the motion of all cuts of an order that belong to an operation.

    Parameters, return and errors are those of `doors.plan`.
    """
    work = _prepare(operation, tool, paths, contours, part_side, setup)
    asked, places = cuts_asked(operation, order, contours, passes=operation.passes)
    path = asked[:, PATH].astype(np.int64)
    usable = work.allowed[path].any(axis=1)
    is_asked = np.zeros(len(contours), bool)
    is_asked[path] = True
    rows = _rows(work, asked[usable])
    return motion_of(rows, places[usable], setup, work.findings(is_asked))


def _prepare(
    operation: Operation,
    tool: Wheel | Pen,
    paths: PathSet,
    contours: tuple[str, ...],
    part_side: I64 | Sequence[int],
    setup: CutSetup,
) -> _Work:
    sides = np.asarray(part_side, dtype=np.int64)
    check_paths(paths, contours, sides)
    wheel, pen = (tool, None) if isinstance(tool, Wheel) else (None, tool)
    steps = wheel_steps(operation, wheel, setup) if wheel else ()
    steps = pen_steps(operation, pen, setup) if pen else steps
    shapes = shapes_of(paths, noise_mm=steps[-1].noise)
    # A wheel never cuts an arc by short strokes, as a blade would: it rolls it or leaves it.
    sections = sections_of(shapes, sides, steps[-1]._replace(half=0.0))
    blocking = [(-1, f) for f in impossible(operation, tool, setup)]
    found = [*without_length(shapes, paths.points[paths.starts[:-1]], contours)]
    if wheel and not blocking:
        senses = np.ones(len(contours), np.int64)
        judged = judge(senses, *shapes, *sections, steps[-1])
        depth = setup.top_z_mm - full_depth_z_mm(operation, setup)
        found += too_tight(judged, wheel, depth, steps[-1].join, contours)
        found += short_for_leads(sections, shapes, setup, contours)
    said = tuple(blocking or found)
    usable = ~kept_back(said, len(contours)) & (not blocking)
    leads = _leads(wheel, setup, steps[-1].noise) if wheel else None
    return _Work(shapes, sections, steps, leads, said, np.column_stack((usable, usable)))


def _leads(wheel: Wheel, setup: CutSetup, noise_mm: float) -> Leads:
    ways = [w if abs(w) > noise_mm else 0.0 for w in (setup.lead_in_mm, setup.lead_out_mm)]
    rates = (setup.feed_mm_s, setup.plunge_mm_s)
    return Leads(*map(float, (*ways, setup.top_z_mm, *rates, wheel.reference_mm)))


def _rows(work: _Work, cuts: F64) -> F64:
    """Return the rows of all cuts, one after the other."""
    steps = np.array(work.steps)
    ends, _ = make(cuts, np.zeros(0, np.int64), *work.geometry, steps)
    _, rows = make(cuts, ends[:, COUNT].astype(np.int64), *work.geometry, steps)
    if work.leads is None:
        rows[:, C] = 0.0
        return rows
    loop = work.sections.rows[work.sections.first[cuts[:, PATH].astype(np.int64)], LOOP] > 0.0
    return with_leads(rows, loop, work.leads)


def _seconds(rows: F64, setup: CutSetup) -> F64:
    """Return the time each block takes at feed, the way to the first one left out [s]."""
    before = np.roll(rows, 1, axis=0)
    dx, dy, dz, dc = (rows[:, [X, Y, Z, C]] - before[:, [X, Y, Z, C]]).T
    way = np.hypot(dx, dy)
    is_arc, is_rapid = rows[:, KIND] == Kind.ARC, rows[:, KIND] == Kind.RAPID
    radius = np.hypot(rows[:, X] - rows[:, CX], rows[:, Y] - rows[:, CY])
    way = np.where(is_arc, radius * np.abs(rows[:, TURNED]), way)
    rapid = np.maximum(
        np.maximum(way / setup.feed_mm_s, np.abs(dz) / setup.plunge_mm_s),
        np.abs(dc) / setup.turn_rad_s,
    )
    feed = np.where(is_rapid, 1.0, rows[:, FEED])
    alone = rows[:, FEED_KIND] == FeedKind.ROTARY
    seconds = np.where(alone, np.abs(dc), np.hypot(way, dz)) / feed
    seconds = np.where(is_rapid, rapid, seconds)
    return np.where(np.diff(rows[:, CUT], prepend=-1.0) != 0.0, 0.0, seconds)
