"""Which cuts the head that does them cannot do: C, reach, lowest tip.

Such cuts are left out of the motion, each with a finding that holds its part. What else belongs
to the part is not known here; whoever asked has to plan again without it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.cut import CutOrder
from kerfwright.model.motion import Kind
from kerfwright.sequence.stations import Stations
from kerfwright.sequence.strokes import Bodies
from kerfwright.units import DEG_PER_RAD

TURN_RAD = 2.0 * np.pi
_SLACK_RAD = 1e-9
_SLACK_MM = 1e-9


def whole_turns(bodies: Bodies, own: Stations) -> tuple[F64, F64]:
    """Return the least and greatest number of turns that keep each cut inside its C limits.

    Where no number does, the least is above the greatest.
    """
    c_low, c_high = _c_range(bodies)
    least = np.ceil((own.c_limits_rad[:, 0] - c_low - _SLACK_RAD) / TURN_RAD)
    most = np.floor((own.c_limits_rad[:, 1] - c_high + _SLACK_RAD) / TURN_RAD)
    return least, most


def cannot_cut(bodies: Bodies, own: Stations, order: CutOrder) -> tuple[BOOL, list[Finding]]:
    """Return which cuts have to be left out, shape (N,), and why."""
    if not len(bodies):
        return np.zeros(0, bool), []
    least, most = whole_turns(bodies, own)
    turns, box = least > most, axis_boxes(bodies)
    outside = np.column_stack((own.reach_mm[:, :2] - box[:, :2], box[:, 2:] - own.reach_mm[:, 2:]))
    far = (outside > _SLACK_MM).any(axis=1)
    tip = np.minimum.reduceat(bodies.blocks["end"][:, 2], bodies.first[:-1])
    deep = tip < own.z_travel_mm[:, 0] - _SLACK_MM
    findings = [
        *_turn_findings(np.flatnonzero(turns), bodies, own, order),
        *_reach_findings(np.flatnonzero(far), outside, box, bodies, own, order),
        *_depth_findings(np.flatnonzero(deep), tip, bodies, own, order),
    ]
    return turns | far | deep, findings


def axis_boxes(bodies: Bodies) -> F64:
    """Return x0, y0, x1, y1 of the tool's axis in each cut, shape (N, 4), exact for arcs [mm]."""
    low = bodies.blocks["end"][:, :2].copy()
    high = low.copy()
    _grow_by_quadrants(low, high, bodies)
    first = bodies.first[:-1]
    return np.column_stack(
        (np.minimum.reduceat(low, first, axis=0), np.maximum.reduceat(high, first, axis=0))
    )


def _grow_by_quadrants(low: F64, high: F64, bodies: Bodies) -> None:
    arcs = np.flatnonzero(bodies.blocks["kind"] == Kind.ARC)
    centre, sweep = bodies.blocks["centre"][arcs], bodies.blocks["sweep_rad"][arcs]
    spoke = bodies.begins()[arcs, :2] - centre
    radius, begin = np.hypot(spoke[:, 0], spoke[:, 1]), np.arctan2(spoke[:, 1], spoke[:, 0])
    for quarter, (x, y) in enumerate(((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))):
        ahead = np.mod((quarter * np.pi / 2.0 - begin) * np.sign(sweep), TURN_RAD)
        swept = ahead <= np.abs(sweep)
        rows = arcs[swept]
        point = centre[swept] + radius[swept, None] * np.array((x, y))
        low[rows], high[rows] = np.minimum(low[rows], point), np.maximum(high[rows], point)


def _c_range(bodies: Bodies) -> tuple[F64, F64]:
    c, first = bodies.blocks["end"][:, 3], bodies.first[:-1]
    return np.minimum.reduceat(c, first), np.maximum.reduceat(c, first)


def _turn_findings(rows: I64, bodies: Bodies, own: Stations, order: CutOrder) -> Iterator[Finding]:
    low, high = _c_range(bodies)
    for i in rows.tolist():
        limits = own.c_limits_rad[i] * DEG_PER_RAD
        yield _finding(
            "SEQ-110",
            order,
            bodies,
            i,
            measured=float(high[i] - low[i]) * DEG_PER_RAD,
            limit=float(limits[1] - limits[0]),
            unit="deg",
            params={
                "head": own.heads[own.head[i]].id,
                "from_deg": float(low[i]) * DEG_PER_RAD,
                "low_deg": float(limits[0]),
                "high_deg": float(limits[1]),
            },
        )


def _reach_findings(
    rows: I64, outside: F64, box: F64, bodies: Bodies, own: Stations, order: CutOrder
) -> Iterator[Finding]:
    for i in rows.tolist():
        side = int(np.argmax(outside[i]))
        yield _finding(
            "SEQ-120",
            order,
            bodies,
            i,
            measured=float(box[i, side]),
            limit=float(own.reach_mm[i, side]),
            unit="mm",
            params={"head": own.heads[own.head[i]].id, "axis": "xyxy"[side]},
        )


def _depth_findings(
    rows: I64, tip: F64, bodies: Bodies, own: Stations, order: CutOrder
) -> Iterator[Finding]:
    for i in rows.tolist():
        yield _finding(
            "SEQ-121",
            order,
            bodies,
            i,
            measured=float(tip[i]),
            limit=float(own.z_travel_mm[i, 0]),
            unit="mm",
            params={"head": own.heads[own.head[i]].id},
        )


def _finding(
    code: str,
    order: CutOrder,
    bodies: Bodies,
    i: int,
    *,
    measured: float,
    limit: float,
    unit: str,
    params: dict[str, str | float | int],
) -> Finding:
    k, (x, y) = int(bodies.cut[i]), bodies.entry[i, :2].tolist()
    return Finding(
        code=code,
        severity=Severity.HOLDS_PART,
        where=Place(stage="sequence", contour=order.contour[k], xy_mm=(x, y), frame="table"),
        measured=measured,
        limit=limit,
        unit=unit,
        params={"operation": order.operation[k], **params},
    )
