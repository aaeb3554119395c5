"""Which places of a curve lie within a distance of other curves, as exact stretches.

The border of what lies within a distance of a line or arc is made of lines and circles. Where a
curve meets them it is cut into stretches, each of which lies wholly inside or wholly outside;
its middle tells which.
"""

from __future__ import annotations

import numpy as np

from kerfwright.kernels import inner, kernel
from kerfwright.verify.columns import (
    CX,
    CY,
    F64,
    I64,
    LENGTH,
    RADIUS,
    SWEEP,
    UX,
    UY,
    X0,
    X1,
    Y0,
    Y1,
)
from kerfwright.verify.cutter_curves import (
    MOST_MEETS,
    is_far,
    meet_circle,
    meet_line,
    part_of,
    point_at,
)
from kerfwright.verify.foot import foot

_END_MM = 1e-9
_FINE_MM = 5e-4  # where the radius changes along a way, it is cut into parts that differ by less
_MOST_PARTS = 400
_ROOM = 64
CAPPED = True
"""A way counts past its ends as well, as far as it reaches."""


@inner
def radius_at(profile: F64, first: int, last: int, height: float) -> float:
    """Return the radius a cutter sweeps at a height above its tip; -1 below the tip."""
    if height < 0.0:
        return -1.0
    radius = float(profile[first, 0])
    for i in range(first + 1, last):
        r0, h0, r1, h1 = profile[i - 1, 0], profile[i - 1, 1], profile[i, 0], profile[i, 1]
        if height >= h1:
            radius = float(r1)
        elif height > h0:
            return float(r0 + (r1 - r0) * (height - h0) / (h1 - h0))
    return radius


@inner
def add_covered(
    curve: F64,
    way: F64,
    reach: float,
    out: F64,
    count: int,
) -> int:
    """Add the stretches of a curve within reach of a way; return how many there are."""
    return add_beside(curve, way, reach, CAPPED, CAPPED, 0.0, 0.0, out, count)


@inner
def add_beside(
    curve: F64,
    way: F64,
    reach: float,
    cap0: bool,
    cap1: bool,
    goes_x: float,
    goes_y: float,
    out: F64,
    count: int,
) -> int:
    """Add the stretches of a curve within reach of a way; return how many there are.

    Without its cap, what lies past an end of the way is not within reach. Of the cap at its end
    only the fan up to a direction is taken, in which it goes on from there; 0, 0 for all of it.
    """
    fan = cap1 and (goes_x != 0.0 or goes_y != 0.0)
    cuts = np.zeros(MOST_MEETS + 2)
    n = _borders(curve, way, reach, cap0, cap1, cuts)
    if fan:
        n = meet_line(curve, way[X1], way[Y1], -goes_y, goes_x, cuts, n)
    cuts[n], cuts[n + 1] = 0.0, curve[LENGTH]
    n += 2
    cuts[:n].sort()
    for i in range(n - 1):
        low, high = cuts[i], cuts[i + 1]
        if high - low <= _END_MM:
            continue
        x, y = point_at(curve, (low + high) / 2.0)
        d, along, _ = foot(way, x, y)
        if d > reach:
            continue
        if (not cap0 and along <= _END_MM) or (not cap1 and along >= way[LENGTH] - _END_MM):
            continue
        if fan and along >= way[LENGTH] - _END_MM:
            ahead = (x - way[X1]) * goes_x + (y - way[Y1]) * goes_y
            if ahead > 0.0:
                continue
        if count == len(out):
            count = merge(out, count)
        if count < len(out):
            out[count, 0], out[count, 1] = low, high
            count += 1
    return count


@inner
def merge(out: F64, count: int) -> int:
    """Sort stretches and join those that touch; return how many are left."""
    if count < 2:
        return count
    order = np.argsort(out[:count, 0])
    own = out[:count].copy()
    kept = 0
    out[0] = own[order[0]]
    for i in range(1, count):
        low, high = own[order[i], 0], own[order[i], 1]
        if low <= out[kept, 1] + _END_MM:
            out[kept, 1] = max(out[kept, 1], high)
        else:
            kept += 1
            out[kept, 0], out[kept, 1] = low, high
    return kept + 1


@kernel
def near_stretches(curves: F64, first: I64, near: I64, pieces: F64, reach: F64) -> tuple[I64, F64]:
    """Return the stretches of each curve that lie within its reach of any of the pieces near it.

    Curve i looks at ``pieces[near[first[i]:first[i + 1]]]``. Returned are the number of the curve
    and the places from and to, in order.
    """
    own, found, total = np.zeros(16, np.int64), np.zeros((16, 2)), 0
    room = np.zeros((_ROOM, 2))
    for i in range(len(curves)):
        count = 0
        for j in range(first[i], first[i + 1]):
            count = add_covered(curves[i], pieces[near[j]], reach[i], room, count)
        count = merge(room, count)
        own, found, total = _keep(i, room, count, own, found, total)
    return own[:total], found[:total]


@kernel
def swept_stretches(
    curves: F64,
    first: I64,
    near: I64,
    ways: F64,
    heights: F64,
    tool: I64,
    profile: F64,
    knots: I64,
    goes: F64,
    limit: F64,
    slack: F64,
    is_on: np.ndarray,
    top_z: float,
    loose: bool,
) -> tuple[I64, F64]:
    """Return the stretches of each curve that cutters sweep with their tip at or below a limit.

    `heights` are those of the tip at both ends of each way, and that with which the way after goes
    on from there, `goes` the direction in which it does. `slack` is added to the radius; a curve
    that `is_on` is swept by the axis alone. Where `loose`, a way counts only beside itself: past an
    end not at all, save in the fan that opens where another goes on below the limit in a new
    direction.
    """
    own, found, total = np.zeros(16, np.int64), np.zeros((16, 2)), 0
    room = np.zeros((_ROOM, 2))
    for i in range(len(curves)):
        count = 0
        for j in range(first[i], first[i + 1]):
            w = near[j]
            z0, z1, depth = heights[w, 0], heights[w, 1], limit[i]
            if (z0 > depth and z1 > depth) or (loose and ways[w, LENGTH] == 0.0):
                continue
            widest = 0.0 if is_on[i] else profile[knots[tool[w] + 1] - 1, 0]
            if is_far(curves[i], ways[w], widest + slack[i]):
                continue
            a, b = below(z0, z1, depth)
            cap1 = not loose or (b == 1.0 and heights[w, 2] <= depth)
            low, high = knots[tool[w]], knots[tool[w] + 1]
            za, zb = z0 + (z1 - z0) * a, z0 + (z1 - z0) * b
            ra = radius_at(profile, low, high, top_z - za)
            rb = radius_at(profile, low, high, top_z - zb)
            parts = 1 if is_on[i] else int(min(np.ceil(abs(ra - rb) / _FINE_MM), _MOST_PARTS))
            parts = max(parts, 1)
            for k in range(parts):
                s0, s1 = a + (b - a) * k / parts, a + (b - a) * (k + 1) / parts
                z = max(z0 + (z1 - z0) * s0, z0 + (z1 - z0) * s1)
                size = 0.0 if is_on[i] else radius_at(profile, low, high, top_z - z)
                if size < 0.0:
                    continue
                way = ways[w]
                if s0 > 0.0 or s1 < 1.0:
                    way = part_of(way, s0 * way[LENGTH], s1 * way[LENGTH])
                gx, gy = (goes[w, 0], goes[w, 1]) if loose else (0.0, 0.0)
                last_cap = cap1 if k == parts - 1 else not loose
                count = add_beside(
                    curves[i], way, size + slack[i], not loose, last_cap, gx, gy, room, count
                )
        count = merge(room, count)
        own, found, total = _keep(i, room, count, own, found, total)
    return own[:total], found[:total]


@inner
def below(z0: float, z1: float, limit: float) -> tuple[float, float]:
    """Return the shares between which a height that runs evenly is at or below a limit."""
    if z0 <= limit and z1 <= limit:
        return 0.0, 1.0
    cross = min(max((limit - z0) / (z1 - z0), 0.0), 1.0)
    if z0 <= limit:
        return 0.0, cross
    return cross, 1.0


@inner
def _borders(curve: F64, way: F64, reach: float, cap0: bool, cap1: bool, out: F64) -> int:
    n = 0
    ex, ey = way[UX], way[UY]
    if way[RADIUS] == 0.0:
        for side in (-reach, reach):
            x, y = way[X0] - side * way[UY], way[Y0] + side * way[UX]
            n = meet_line(curve, x, y, way[UX], way[UY], out, n)
    else:
        size = abs(way[RADIUS])
        n = meet_circle(curve, way[CX], way[CY], size + reach, out, n)
        n = meet_circle(curve, way[CX], way[CY], abs(size - reach), out, n)
        co, si = np.cos(way[SWEEP]), np.sin(way[SWEEP])
        ex, ey = way[UX] * co - way[UY] * si, way[UX] * si + way[UY] * co
    if cap0:
        n = meet_circle(curve, way[X0], way[Y0], reach, out, n)
    else:
        n = meet_line(curve, way[X0], way[Y0], -way[UY], way[UX], out, n)
    if cap1:
        n = meet_circle(curve, way[X1], way[Y1], reach, out, n)
    return meet_line(curve, way[X1], way[Y1], -ey, ex, out, n)


@inner
def _keep(i: int, room: F64, count: int, own: I64, found: F64, total: int) -> tuple[I64, F64, int]:
    while total + count > len(own):
        own = np.concatenate((own, np.zeros(len(own), np.int64)))
        found = np.concatenate((found, np.zeros((len(found), 2))))
    own[total : total + count] = i
    found[total : total + count] = room[:count]
    return own, found, total + count


@kernel
def tips_over(
    pieces: F64,
    place: F64,
    own: I64,
    first: I64,
    near: I64,
    ways: F64,
    heights: F64,
    tool: I64,
    profile: F64,
    knots: I64,
    is_on: np.ndarray,
    top_z: float,
    slack: float,
) -> F64:
    """Return the lowest tip that sweeps each place of a curve, but for a slack; infinite for none.

    Place n lies on ``pieces[n]``, which looks at ``near[first[own[n]]:first[own[n] + 1]]``.
    """
    out = np.full(len(place), np.inf)
    for n in range(len(place)):
        x, y = point_at(pieces[n], place[n])
        for j in range(first[own[n]], first[own[n] + 1]):
            w = near[j]
            d, along, _ = foot(ways[w], x, y)
            share = along / max(ways[w, LENGTH], 1e-300)
            z = heights[w, 0] + (heights[w, 1] - heights[w, 0]) * share
            if ways[w, LENGTH] == 0.0:
                z = min(heights[w, 0], heights[w, 1])
            size = 0.0
            if not is_on[n]:
                size = radius_at(profile, knots[tool[w]], knots[tool[w] + 1], top_z - z)
            if d <= size + slack:
                out[n] = min(out[n], z)
    return out
