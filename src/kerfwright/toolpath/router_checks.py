"""What a cutter cannot do, or not well, as findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry import edges
from kerfwright.geometry.distance import nearest_on_paths
from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.geometry.record import F64
from kerfwright.model.cut import CutSetup
from kerfwright.model.operation import Operation
from kerfwright.model.tooling import Cutter

_SEVERITY = {"TLP-203": Severity.WARN, "TLP-205": Severity.NOTE}
_STEPS = 8
"""Each edge is looked at in so many places, its ends among them."""
_CORNER_SHARE = 2.0
"""More left than so many radii is no corner left round but a bay the cutter does not get into."""


def blocking(
    operation: Operation, cutter: Cutter, setup: CutSetup, tip_z_mm: float
) -> Iterator[Finding]:
    """Yield why nothing of an operation can be routed with a cutter."""
    depth = setup.top_z_mm - tip_z_mm
    if operation.head_kind not in cutter.fits:
        yield _blocks("TLP-210", operation, cutter)
    if depth <= 0.0:
        yield _blocks("TLP-105", operation, cutter, measured=tip_z_mm, limit=setup.top_z_mm)
    elif depth > cutter.length_mm:
        yield _blocks("TLP-207", operation, cutter, measured=depth, limit=cutter.length_mm)
    if operation.routing and operation.routing.entry == "plunge" and not cutter.plunges:
        yield _blocks("TLP-208", operation, cutter)
    if setup.spindle_hz <= 0.0:
        yield _blocks("TLP-211", operation, cutter)


def left_by_cutter(
    operation: Operation,
    paths: PathSet,
    rings: Sequence[PathSet | None],
    contours: tuple[str, ...],
    radius_mm: float,
) -> Iterator[tuple[int, Finding]]:
    """Yield what stays in corners too tight for the cutter, beyond the size tolerance."""
    if operation.side == "on":
        return
    limit = operation.tolerance_mm.size_mm
    for k, ring in enumerate(rings):
        if ring is None:
            continue
        points = _looked_at(paths.select([k]))
        left = nearest_on_paths(ring, points).distance_mm - radius_mm
        worst = int(np.argmax(left))
        if left[worst] <= limit:
            continue
        code = "TLP-202" if left[worst] > _CORNER_SHARE * radius_mm else "TLP-203"
        measured = float(left[worst])
        yield (
            k,
            finding(code, contours[k], points[worst], operation, measured=measured, limit=limit),
        )


def _looked_at(path: PathSet) -> F64:
    e = edges_of(path)
    share = [np.full(len(e.bulge), i / _STEPS) for i in range(_STEPS)]
    return np.concatenate([edges.point_at(e.start, e.end, e.bulge, s) for s in share])


def first_point(paths: PathSet, k: int) -> F64:
    """Return the first vertex of a path, shape (2,) [mm]."""
    point: F64 = paths.points[paths.starts[k]]
    return point


def finding(
    code: str,
    contour: str,
    xy: F64,
    operation: Operation,
    *,
    measured: float | None = None,
    limit: float | None = None,
) -> Finding:
    """Return a finding about one contour; it holds the part unless the code is a mild one."""
    return Finding(
        code=code,
        severity=_SEVERITY.get(code, Severity.HOLDS_PART),
        where=Place(
            stage="toolpath", contour=contour, xy_mm=(float(xy[0]), float(xy[1])), frame="table"
        ),
        measured=measured,
        limit=limit,
        unit="" if measured is None and limit is None else "mm",
        params={"operation": operation.id},
    )


def _blocks(
    code: str,
    operation: Operation,
    cutter: Cutter,
    *,
    measured: float | None = None,
    limit: float | None = None,
) -> Finding:
    return Finding(
        code=code,
        severity=Severity.BLOCKS,
        where=Place(stage="toolpath", frame="table"),
        measured=measured,
        limit=limit,
        unit="" if measured is None else "mm",
        params={
            "operation": operation.id,
            "cutter": cutter.id,
            "head": operation.head_kind.value,
        },
    )
