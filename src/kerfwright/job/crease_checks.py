"""Creases that run across a hole, past an outline or over another through cut of their part."""

from __future__ import annotations

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry import edges
from kerfwright.geometry.containment import contains_points
from kerfwright.geometry.distance import nearest_on_paths, pairs_within
from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.job.results import PlacedContours
from kerfwright.model.operation import Process

_TOUCH_MM = 1e-3
_STEPS_PER_TOLERANCE = 2.0
_MOST_PER_EDGE = 20_000


def crossed_creases(placed: PlacedContours) -> list[Finding]:
    """Return a finding for every crease that crosses a through cut of its own part.

    A crease may end on an outline or a slot, and run along a cut; it may not go into the waste
    beyond, nor over an open cut, by more than its own size tolerance. What crosses is found
    where it lies at least two tolerances long in the waste.

    Parameters
    ----------
    placed : PlacedContours
        Contours as they lie on the sheet.
    """
    creases = _rows_of(placed, [o.process is Process.CREASING for o in placed.operations])
    cuts = _rows_of(placed, [o.goes_through for o in placed.operations])
    if not (creases.any() and cuts.any()):
        return []
    rows = np.flatnonzero(creases | cuts)
    near, _ = pairs_within(placed.on_table.select(rows), _TOUCH_MM)
    pairs = rows[near]
    pairs = np.where(creases[pairs[:, :1]], pairs, pairs[:, ::-1])  # the crease first
    own = creases[pairs[:, 0]] & cuts[pairs[:, 1]]
    own &= placed.placement[pairs[:, 0]] == placed.placement[pairs[:, 1]]
    found = (_crossing(placed, int(a), int(b)) for a, b in pairs[own])
    return [f for f in found if f is not None]


def _rows_of(placed: PlacedContours, is_wanted: list[bool]) -> BOOL:
    wanted: BOOL = np.array(is_wanted, np.bool_)[placed.operation]
    return wanted


def _crossing(placed: PlacedContours, crease: int, cut: int) -> Finding | None:
    line, other = placed.on_table.select([crease]), placed.on_table.select([cut])
    operation = placed.operations[placed.operation[crease]]
    limit = operation.tolerance_mm.size_mm
    points = _walk(line, limit / _STEPS_PER_TOLERANCE)
    distance = nearest_on_paths(other, points).distance_mm
    if other.closed[0]:
        beyond = np.where(_in_waste(placed, cut, other, points), distance, 0.0)
        worst = int(np.argmax(beyond))
        is_crossed = beyond[worst] > limit
        measured = float(beyond[worst])
    else:
        worst, measured = int(np.argmin(distance)), 0.0
        is_crossed = _goes_over(line, other, limit)
    if not is_crossed:
        return None
    return Finding(
        code="JOB-151",
        severity=Severity.HOLDS_PART,
        where=Place(
            stage="plan",
            contour=placed.contours[crease],
            xy_mm=(float(points[worst, 0]), float(points[worst, 1])),
            frame="table",
        ),
        measured=measured,
        limit=limit,
        unit="mm",
        params={"operation": operation.id, "other": placed.contours[cut]},
    )


def _walk(path: PathSet, step_mm: float) -> F64:
    """Return points along a path, no further apart than a step, the ends of edges among them."""
    e = edges_of(path)
    count = np.ceil(edges.length_mm(e.start, e.end, e.bulge) / step_mm)
    count = np.clip(count, 1, _MOST_PER_EDGE).astype(np.int64)
    index: I64 = np.repeat(np.arange(len(count)), count)
    begun = np.repeat(np.cumsum(count) - count, count)
    share = (np.arange(len(index)) - begun) / count[index]
    points = edges.point_at(e.start[index], e.end[index], e.bulge[index], share)
    return np.concatenate((points, path.points[-1:]))


def _in_waste(placed: PlacedContours, cut: int, path: PathSet, points: F64) -> BOOL:
    """Return which points lie where no part is; on both sides part: those on the lesser side."""
    inside = contains_points(path, points)
    side = int(placed.part_side[cut])
    if side == 0:
        return inside if np.count_nonzero(inside) * 2 <= len(inside) else ~inside
    part_is_inside = (side > 0) == (path.areas_mm2()[0] > 0.0)
    return ~inside if part_is_inside else inside


def _goes_over(line: PathSet, cut: PathSet, limit_mm: float) -> bool:
    """Return whether two open lines that meet do so away from all their ends."""
    if line.closed[0]:
        return bool((nearest_on_paths(line, cut.points[[0, -1]]).distance_mm > limit_mm).all())
    far = (
        nearest_on_paths(other, one.points[[0, -1]]).distance_mm > limit_mm
        for one, other in ((line, cut), (cut, line))
    )
    return all(bool(each.all()) for each in far)
