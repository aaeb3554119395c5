"""Kernels of the planar friction limit.

A body turns about c at rate w. With r the distance from c and p the pressure, the work of friction
is ``abs(w)`` times ``I(c)``, the integral of ``p r``; its slope gives force and moment of the
friction itself. Per straight edge, at the signed distance h from c and from u1 to u2 along it::

    I = sum (h (u2 r2 - u1 r1) + h^3 L) / 6        L = asinh(u2 / abs(h)) - asinh(u1 / abs(h))
    S = sum n ((u2 r2 - u1 r1) + h^2 L) / 2        slope of I, n the outward normal, t the edge
    K = sum (n h L + t (r2 - r1)) n^T              second slope of I

Lengths are divided by the radius of gyration, forces by mu N, so that all sizes are near 1.
"""

from __future__ import annotations

from math import asinh, hypot, inf, sqrt

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel

_FAR = 1e4  # radii of gyration; beyond it I(c) loses digits and a series in 1 / c is exact enough
_MOST_STEPS = 80
_MOST_HALVINGS = 50


@inner
def _moments(edges: F64, weight: F64) -> tuple[float, float, float, float, float, float]:
    """Return force, centre and second moments xx, yy, xy about the centre."""
    x0, y0 = edges[0, 0], edges[0, 1]
    area = mx = my = 0.0
    for i in range(len(edges)):
        ax, ay, bx, by = edges[i, 0] - x0, edges[i, 1] - y0, edges[i, 2] - x0, edges[i, 3] - y0
        cross = weight[i] * (ax * by - ay * bx)
        area += cross / 2.0
        mx += cross * (ax + bx) / 6.0
        my += cross * (ay + by) / 6.0
    if not area > 0.0:
        return 0.0, x0, y0, 0.0, 0.0, 0.0
    cx, cy = x0 + mx / area, y0 + my / area
    xx = yy = xy = 0.0
    for i in range(len(edges)):
        ax, ay, bx, by = edges[i, 0] - cx, edges[i, 1] - cy, edges[i, 2] - cx, edges[i, 3] - cy
        cross = weight[i] * (ax * by - ay * bx)
        xx += cross * (ax * ax + ax * bx + bx * bx) / 12.0
        yy += cross * (ay * ay + ay * by + by * by) / 12.0
        xy += cross * (2.0 * ax * ay + ax * by + bx * ay + 2.0 * bx * by) / 24.0
    return area, cx, cy, xx, yy, xy


@inner
def _about(edges: F64, weight: F64, cx: float, cy: float, out: F64) -> None:
    """Put I, S (2) and K (xx, xy, yy) about a centre into `out`."""
    for i in range(6):
        out[i] = 0.0
    for i in range(len(edges)):
        if weight[i] == 0.0:
            continue
        ax, ay, bx, by = edges[i, 0] - cx, edges[i, 1] - cy, edges[i, 2] - cx, edges[i, 3] - cy
        tx, ty = bx - ax, by - ay
        long = hypot(tx, ty)
        if long == 0.0:
            continue
        tx, ty = tx / long, ty / long
        nx, ny = ty, -tx
        h = nx * ax + ny * ay
        u1, u2 = tx * ax + ty * ay, tx * bx + ty * by
        r1, r2 = hypot(ax, ay), hypot(bx, by)
        far = abs(h)
        turn = asinh(u2 / far) - asinh(u1 / far) if far > 1e-150 else 0.0
        area = u2 * r2 - u1 * r1
        w = weight[i]
        out[0] += w * (h * area + h * h * h * turn) / 6.0
        side = w * (area + h * h * turn) / 2.0
        out[1] += nx * side
        out[2] += ny * side
        kx, ky = nx * h * turn + tx * (r2 - r1), ny * h * turn + ty * (r2 - r1)
        out[3] += w * kx * nx
        out[4] += w * (kx * ny + ky * nx) / 2.0
        out[5] += w * ky * ny


@inner
def _work(edges: F64, weight: F64, second: F64, w: F64, out: F64) -> None:
    """Put work D, its slope (3) and second slope (vx vx, vx vy, vy vy, vx w, vy w, w w) in `out`.

    `w` is velocity at the centre of pressure (2) and turn; all is divided by the normal force.
    """
    vx, vy, turn = w[0], w[1], w[2]
    v = hypot(vx, vy)
    if v > _FAR * abs(turn):
        ux, uy = vx / v, vy / v
        spread = ux * ux * second[0] + 2.0 * ux * uy * second[2] + uy * uy * second[1]
        out[0] = v + turn * turn * spread / (2.0 * v)
        out[1], out[2], out[3] = ux, uy, turn * spread / v
        out[4], out[5], out[6] = uy * uy / v, -ux * uy / v, ux * ux / v
        out[7], out[8], out[9] = 0.0, 0.0, spread / v
        return
    about = np.zeros(6)
    cx, cy = -vy / turn, vx / turn
    _about(edges, weight, cx, cy, about)
    size, sign = abs(turn), 1.0 if turn > 0.0 else -1.0
    fx, fy = -sign * about[2], sign * about[1]
    out[0] = size * about[0]
    out[1], out[2], out[3] = fx, fy, sign * about[0] + cx * fy - cy * fx
    # turning K by a right angle on both sides swaps its diagonal
    out[4], out[5], out[6] = about[5] / size, -about[4] / size, about[3] / size
    out[7] = -(about[4] * cx + about[5] * cy) / size
    out[8] = (about[3] * cx + about[4] * cy) / size
    out[9] = -(out[7] * vx + out[8] * vy) / turn


@inner
def _basis(load: F64, one: F64, two: F64) -> None:
    """Put two unit vectors at right angles to a unit vector and to each other."""
    least = 0
    for i in range(1, 3):
        if abs(load[i]) < abs(load[least]):
            least = i
    long = sqrt(1.0 - load[least] ** 2)
    for i in range(3):
        one[i] = ((1.0 if i == least else 0.0) - load[least] * load[i]) / long
    two[0] = load[1] * one[2] - load[2] * one[1]
    two[1] = load[2] * one[0] - load[0] * one[2]
    two[2] = load[0] * one[1] - load[1] * one[0]


@inner
def _step(at: F64, one: F64, two: F64) -> tuple[float, float, float]:
    """Return the Newton step along both vectors and the slope along it; downhill always."""
    ga = one[0] * at[1] + one[1] * at[2] + one[2] * at[3]
    gb = two[0] * at[1] + two[1] * at[2] + two[2] * at[3]
    aa, ab, bb = _second(at, one, one), _second(at, one, two), _second(at, two, two)
    det = aa * bb - ab * ab
    if det > 1e-12 * (aa * bb) and aa > 0.0:
        da, db = -(bb * ga - ab * gb) / det, -(aa * gb - ab * ga) / det
        slope = da * ga + db * gb
        if slope < 0.0:
            return da, db, slope
    return -ga, -gb, -(ga * ga + gb * gb)


@inner
def _second(at: F64, p: F64, q: F64) -> float:
    x = at[4] * q[0] + at[5] * q[1] + at[7] * q[2]
    y = at[5] * q[0] + at[6] * q[1] + at[8] * q[2]
    z = at[7] * q[0] + at[8] * q[1] + at[9] * q[2]
    return float(p[0] * x + p[1] * y + p[2] * z)


@inner
def _search(
    edges: F64, weight: F64, second: F64, load: F64, tolerance: float
) -> tuple[float, float]:
    """Return both bounds on the use for a load scaled by the limits of pure sliding."""
    size = sqrt(load[0] ** 2 + load[1] ** 2 + load[2] ** 2)
    if size == 0.0:
        return 0.0, 0.0
    unit, w, new = np.zeros(3), np.zeros(3), np.zeros(3)
    one, two, at, tried = np.zeros(3), np.zeros(3), np.zeros(10), np.zeros(10)
    w[2] = 1.0
    _work(edges, weight, second, w, at)
    # turning about the centre of pressure and sliding against its rest holds a pure moment
    turn_held = at[3] / (1.0 + hypot(at[1], at[2]))
    for i in range(3):
        unit[i] = w[i] = load[i] / size
    _basis(unit, one, two)
    _work(edges, weight, second, w, at)
    low, high = 0.0, inf
    for _ in range(_MOST_STEPS):
        low = max(low, size / at[0])
        along = at[1] * unit[0] + at[2] * unit[1] + at[3] * unit[2]
        if along > 0.0:
            rx, ry = at[1] - along * unit[0], at[2] - along * unit[1]
            rest = hypot(rx, ry) + abs(at[3] - along * unit[2]) / turn_held
            high = min(high, size * (1.0 + rest) / along)
        if high - low <= tolerance * low:
            break
        da, db, slope = _step(at, one, two)
        share, is_lower = 1.0, False
        for _ in range(_MOST_HALVINGS):
            for i in range(3):
                new[i] = w[i] + share * (da * one[i] + db * two[i])
            _work(edges, weight, second, new, tried)
            if tried[0] <= at[0] + 1e-4 * share * slope:
                is_lower = True
                break
            share /= 2.0
        if not is_lower:
            break
        w, new = new, w
        at, tried = tried, at
    return low, max(low, high)  # rounding may cross bounds that meet


@inner
def _scale(edges: F64, weight: F64, cx: float, cy: float, radius: float, normal: float) -> None:
    """Count lengths from the centre in radii of gyration and forces in the normal force."""
    for k in range(len(weight)):
        edges[k, 0], edges[k, 2] = (edges[k, 0] - cx) / radius, (edges[k, 2] - cx) / radius
        edges[k, 1], edges[k, 3] = (edges[k, 1] - cy) / radius, (edges[k, 3] - cy) / radius
        weight[k] *= radius * radius / normal


@kernel
def bracket(
    edges: F64,
    zone: I64,
    starts: I64,
    body: I64,
    pressure: F64,
    load: F64,
    friction: float,
    tolerance: float,
) -> F64:
    """Return low, high, normal force, centre x, y and moment about it for each load, (L, 6)."""
    out = np.zeros((len(body), 6))
    second, scaled = np.zeros(3), np.zeros(3)
    for i in range(len(body)):
        first, count = starts[body[i]], starts[body[i] + 1] - starts[body[i]]
        mine, weight = np.zeros((count, 4)), np.zeros(count)
        for k in range(count):
            weight[k] = pressure[i, zone[first + k]]
            for j in range(4):
                mine[k, j] = edges[first + k, j]
        normal, cx, cy, xx, yy, xy = _moments(mine, weight) if count else (0.0,) * 6
        moment = load[i, 2] - (cx * load[i, 1] - cy * load[i, 0])
        out[i, 2], out[i, 3], out[i, 4], out[i, 5] = normal, cx, cy, moment
        if not (normal > 0.0 and xx + yy > 0.0):
            is_loaded = load[i, 0] != 0.0 or load[i, 1] != 0.0 or load[i, 2] != 0.0
            out[i, 0] = out[i, 1] = inf if is_loaded else 0.0
            continue
        radius = sqrt((xx + yy) / normal)
        _scale(mine, weight, cx, cy, radius, normal)
        second[0], second[1], second[2] = xx / (xx + yy), yy / (xx + yy), xy / (xx + yy)
        held = friction * normal
        scaled[0], scaled[1] = load[i, 0] / held, load[i, 1] / held
        scaled[2] = moment / (radius * held)
        out[i, 0], out[i, 1] = _search(mine, weight, second, scaled, tolerance)
    return out
