"""What a creasing wheel or a pen cannot do, as findings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import BOOL, F64
from kerfwright.model.cut import CutSetup
from kerfwright.model.operation import Operation, Process
from kerfwright.model.tooling import Pen, Wheel
from kerfwright.toolpath.blade import full_depth_z_mm
from kerfwright.toolpath.limits import OFF, OFF_X, OFF_Y, held
from kerfwright.toolpath.sections import LOOP, SPAN, Sections
from kerfwright.toolpath.shapes import X0, Y0, Shapes
from kerfwright.toolpath.wheel import least_radius_mm, sideways_mm

Said = tuple[int, Finding]
"""Contour and finding."""


def impossible(operation: Operation, tool: Wheel | Pen, setup: CutSetup) -> Iterator[Finding]:
    """Yield why nothing of an operation can be rolled or drawn."""
    tip = full_depth_z_mm(operation, setup)
    depth = setup.top_z_mm - tip
    if operation.head_kind not in tool.fits:
        yield _blocks("TLP-301", operation, tool, params={"head": operation.head_kind.value})
    if operation.side != "on":
        yield _blocks("TLP-302", operation, tool, params={"side": operation.side})
    if operation.process is Process.CREASING and tip <= setup.bottom_z_mm:
        thick = setup.top_z_mm - setup.bottom_z_mm
        yield _blocks("TLP-303", operation, tool, measured=depth, limit=thick)
    if depth > tool.free_length_mm:
        yield _blocks("TLP-304", operation, tool, measured=depth, limit=tool.free_length_mm)


def without_length(shapes: Shapes, points: F64, contours: tuple[str, ...]) -> Iterator[Said]:
    """Yield contours that are points, or leftovers no longer than noise; `points` are firsts."""
    for k in np.flatnonzero(np.diff(shapes.first) == 0).tolist():
        yield k, held("TLP-308", contours[k], points[k])


def too_tight(
    judged: F64, wheel: Wheel, depth_mm: float, join_mm: float, contours: tuple[str, ...]
) -> Iterator[Said]:
    """Yield contours that bend more than a wheel can roll; `judged` as of `limits.judge`."""
    limit = sideways_mm(wheel)
    for k in np.flatnonzero(judged[:, OFF] > limit + join_mm).tolist():
        radius = round(least_radius_mm(wheel, depth_mm), 1)
        params: dict[str, str | float | int] = {"radius": radius, "tool": wheel.id}
        where, off = judged[k, [OFF_X, OFF_Y]], judged[k, OFF]
        yield k, held("TLP-305", contours[k], where, measured=off, limit=limit, params=params)


def short_for_leads(
    sections: Sections, shapes: Shapes, setup: CutSetup, contours: tuple[str, ...]
) -> Iterator[Said]:
    """Yield contours with a line shorter than both its leads; a closed one cannot be rolled."""
    inside = max(setup.lead_in_mm, 0.0) + max(setup.lead_out_mm, 0.0)
    on_loop = abs(setup.lead_in_mm) + abs(setup.lead_out_mm)
    for k, contour in enumerate(contours):
        own = sections.rows[sections.first[k] : sections.first[k + 1]]
        if not len(own):
            continue
        is_loop = bool(own[0, LOOP])
        shortest, limit = float(own[:, SPAN].min()), on_loop if is_loop else inside
        if shortest < limit:
            code, severity = (
                ("TLP-307", Severity.HOLDS_PART) if is_loop else ("TLP-306", Severity.WARN)
            )
            where = shapes.edge[shapes.first[k], [X0, Y0]]
            yield k, held(code, contour, where, severity, measured=shortest, limit=limit)


def kept_back(found: tuple[Said, ...], count: int) -> BOOL:
    """Return which of so many contours a finding holds back, shape (count,)."""
    out = np.zeros(count, np.bool_)
    out[[k for k, f in found if f.severity is Severity.HOLDS_PART]] = True
    return out


def _blocks(
    code: str,
    operation: Operation,
    tool: Wheel | Pen,
    *,
    measured: float | None = None,
    limit: float | None = None,
    params: Mapping[str, str] | None = None,
) -> Finding:
    return Finding(
        code=code,
        severity=Severity.BLOCKS,
        where=Place(stage="toolpath", frame="table"),
        measured=measured,
        limit=limit,
        unit="" if measured is None else "mm",
        params={"operation": operation.id, "tool": tool.id, **(params or {})},
    )
