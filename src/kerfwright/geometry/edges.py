"""Closed forms for one kind of edge: a line or arc between two points, by its bulge.

The bulge is ``tan(sweep / 4)``, positive counter-clockwise from start to end, zero for a line
(the convention of DXF polylines). All functions are vectorised over N edges.
"""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.record import F64, I64

_SERIES_BELOW_RAD = 3e-2  # below it the closed forms lose digits by cancellation


def sweep_rad(bulge: F64) -> F64:
    """Return the signed turn of each edge, shape (N,) [rad]."""
    return 4.0 * np.arctan(bulge)


def chord_mm(start: F64, end: F64) -> F64:
    """Return the straight distance between the ends, shape (N,) [mm]."""
    d = end - start
    return np.hypot(d[:, 0], d[:, 1])


def length_mm(start: F64, end: F64, bulge: F64) -> F64:
    """Return the length along each edge, shape (N,) [mm]: chord times half sweep over its sine."""
    half = 2.0 * np.arctan(np.abs(bulge))
    ratio = np.where(half < 1e-6, 1.0 + half * half / 6.0, half / np.sin(np.maximum(half, 1e-6)))
    return chord_mm(start, end) * ratio


def segment_area_mm2(start: F64, end: F64, bulge: F64) -> F64:
    """Return the signed area between chord and arc, shape (N,), positive for positive bulge [mm2].

    ``c^2 (t - sin t) / (8 sin^2(t / 2))`` with sweep t and chord c; a series for small t.
    """
    t = sweep_rad(bulge)
    small = np.abs(t) < _SERIES_BELOW_RAD
    safe = np.where(small, 1.0, t)
    closed = (safe - np.sin(safe)) / (8.0 * np.sin(safe / 2.0) ** 2)
    series = t / 12.0 * (1.0 + t * t / 30.0 * (1.0 + t * t / 28.0))
    return chord_mm(start, end) ** 2 * np.where(small, series, closed)


def centre_mm(start: F64, end: F64, bulge: F64) -> F64:
    """Return the centre of each arc, shape (N, 2) [mm]; NaN for lines."""
    d = end - start
    normal = np.column_stack((-d[:, 1], d[:, 0]))
    with np.errstate(divide="ignore", invalid="ignore"):
        lift = (1.0 - bulge * bulge) / (4.0 * bulge)
        centre = (start + end) / 2.0 + normal * lift[:, None]
    return np.where(bulge[:, None] == 0.0, np.nan, centre)


def radius_mm(start: F64, end: F64, bulge: F64) -> F64:
    """Return the radius of each arc, shape (N,) [mm]; infinity for lines."""
    b = np.abs(bulge)
    with np.errstate(divide="ignore"):
        return np.where(b == 0.0, np.inf, chord_mm(start, end) * (1.0 + b * b) / (4.0 * b))


def heading_rad(start: F64, end: F64, bulge: F64) -> tuple[F64, F64]:
    """Return the direction of travel at start and end of each edge, two of shape (N,) [rad]."""
    d = end - start
    chord = np.arctan2(d[:, 1], d[:, 0])
    half = 2.0 * np.arctan(bulge)
    return chord - half, chord + half


def point_at(start: F64, end: F64, bulge: F64, fraction: F64) -> F64:
    """Return the point at a fraction of each edge's length, shape (N, 2) [mm].

    Uses the chord and the angle at the start, so that it stays exact for nearly straight arcs;
    fractions 0 and 1 give the ends to the last bit.
    """
    t = sweep_rad(bulge)
    half, part = t / 2.0, t * fraction / 2.0
    small = np.abs(half) < 1e-9  # a sine equals its angle to the last bit there
    ratio = np.where(small, fraction, np.sin(part) / np.sin(np.where(small, 1.0, half)))
    turn = part - half
    d = end - start
    cos, sin = np.cos(turn) * ratio, np.sin(turn) * ratio
    turned = np.column_stack((d[:, 0] * cos - d[:, 1] * sin, d[:, 0] * sin + d[:, 1] * cos))
    at_end = (np.asarray(fraction) == 1.0)[..., None]
    return np.asarray(np.where(at_end, end, start + turned), dtype=np.float64)


def bounds_mm(start: F64, end: F64, bulge: F64) -> F64:
    """Return x0, y0, x1, y1 of each edge, shape (N, 4) [mm]; arcs count their quadrant points."""
    low, high = np.minimum(start, end), np.maximum(start, end)
    arcs = np.flatnonzero(bulge != 0.0)
    if arcs.size:
        _grow_by_quadrants(low, high, arcs, start[arcs], end[arcs], bulge[arcs])
    return np.column_stack((low, high))


def _grow_by_quadrants(low: F64, high: F64, arcs: I64, start: F64, end: F64, bulge: F64) -> None:
    begin, _ = heading_rad(start, end, bulge)
    sweep = sweep_rad(bulge)
    for axis in range(2):
        for heading in (0.5 * np.pi * (1 - axis), 0.5 * np.pi * (3 - axis)):
            # the arc turns back where it runs along the other axis; reached by a fraction of the
            # edge, because the centre of a nearly straight arc is too far away to count from
            ahead = np.mod((heading - begin) * np.sign(sweep), 2.0 * np.pi)
            inside = np.flatnonzero(ahead <= np.abs(sweep))
            part = ahead[inside] / np.abs(sweep[inside])
            rows = arcs[inside]
            far = point_at(start[inside], end[inside], bulge[inside], part)[:, axis]
            low[rows, axis] = np.minimum(low[rows, axis], far)
            high[rows, axis] = np.maximum(high[rows, axis], far)
