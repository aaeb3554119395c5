"""Elliptical arcs: from end points to the centre (SVG 1.1 second edition, F.6.5 and F.6.6)."""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, atan2, cos, hypot, pi, sin, sqrt
from typing import Final

from kerfwright.units import RAD_PER_DEG

Point = tuple[float, float]

_NO_RADIUS: Final = 1e-30  # below, quotients of coordinates would overflow


@dataclass(frozen=True, slots=True)
class Ellipse:
    """``centre + u cos t + v sin t`` from t = `start_rad` over `sweep_rad`, which has a sign."""

    centre: Point
    u: Point
    v: Point
    start_rad: float
    sweep_rad: float


def ellipse_of(
    begin: Point,
    end: Point,
    *,
    radii: Point,
    turn_deg: float,
    large: bool,
    sweep: bool,
) -> Ellipse | None:
    """Return the ellipse an arc runs on, None where it is the straight line to its end.

    Radii that cannot reach both ends are enlarged until they do; a radius of 0 makes a line
    (F.6.6). The caller leaves out arcs whose ends are the same point.
    """
    rx, ry = abs(radii[0]), abs(radii[1])
    if min(rx, ry) < _NO_RADIUS:
        return None
    c, s = cos(turn_deg % 360.0 * RAD_PER_DEG), sin(turn_deg % 360.0 * RAD_PER_DEG)
    dx, dy = (begin[0] - end[0]) / 2.0, (begin[1] - end[1]) / 2.0
    # Half the chord on the unit circle: ends at +(px, py) and -(px, py) about its middle.
    px, py = (c * dx + s * dy) / rx, (c * dy - s * dx) / ry
    reach = hypot(px, py)
    if reach == 0.0:
        return None  # so far below the radii that it has no shape
    if reach > 1.0:
        rx, ry, px, py, reach = rx * reach, ry * reach, px / reach, py / reach, 1.0
    away = sqrt(max(1.0 - reach * reach, 0.0)) / reach
    if large == sweep:
        away = -away
    qx, qy = away * py, -away * px  # centre on the unit circle
    turn = 2.0 * asin(min(reach, 1.0))  # exact for flat arcs, where angles would cancel
    if large:
        turn = 2.0 * pi - turn
    mx, my = (begin[0] + end[0]) / 2.0, (begin[1] + end[1]) / 2.0
    return Ellipse(
        centre=(mx + c * rx * qx - s * ry * qy, my + s * rx * qx + c * ry * qy),
        u=(c * rx, s * rx),
        v=(-s * ry, c * ry),
        start_rad=atan2(py - qy, px - qx),
        sweep_rad=turn if sweep else -turn,
    )
