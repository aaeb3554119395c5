"""The legs of a plan in the order they are run: the closed forms between the boundaries.

A piece is left on its way up until that meets the way down that ends at the next boundary. Both
are lists of legs; where they meet is found between two neighbouring ends of legs.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner
from kerfwright.motion.plan import DOWN, UP
from kerfwright.motion.quadrant import (
    CEILING,
    PULL,
    Quadrant,
    acceleration,
    mirrored,
    seconds,
    value,
)
from kerfwright.motion.ramps import ramp_split
from kerfwright.motion.way import MOST_LEGS, fastest

ALL_LEGS: Final = 2 * MOST_LEGS
_SAME: Final = 1e-13  # ways whose y differ by a smaller share are one

L_BEGIN, L_FIRST, L_END, L_LAST, L_KIND, L_BACK, L_TIME = range(7)
"""Columns of legs: begin and end [rad or mm], y or v^2 there, kind (see `quadrant`), 1 for legs of
the way down, time [s]."""


@inner
def straight_legs(
    legs: F64, way: float, first: float, last: float, pull: float, most: float
) -> int:
    """Write the legs of a straight piece: speed up, keep the speed, slow down."""
    up, down, peak = ramp_split(way, first, last, pull, most)
    down_from = max(way - down, up) if peak >= most else up
    n = 0
    for part in range(3):
        begin, end, square, to, kind, back = 0.0, up, first, peak, PULL, 0
        if part == 1:
            begin, end, square, to, kind, back = up, down_from, peak, peak, CEILING, 0
        elif part == 2:
            begin, end, square, to, kind, back = down_from, way, peak, last, PULL, 1
        if end > begin:
            legs[n, L_BEGIN], legs[n, L_END], legs[n, L_KIND] = begin, end, kind
            legs[n, L_FIRST], legs[n, L_LAST], legs[n, L_BACK] = square, to, back
            legs[n, L_TIME] = 2.0 * (end - begin) / (sqrt(square) + sqrt(to))
            n += 1
    return n


@inner
def arc_legs(
    legs: F64, up: F64, down: F64, q: Quadrant, first: float, last: float, radius: float, mode: int
) -> int:
    """Write the legs of a piece of an arc between two values of y; `up`, `down` are scratch."""
    back = mirrored(q)
    n_up = 0 if mode == DOWN else fastest(q, first, up)
    n_down = 0 if mode == UP else fastest(back, last, down)
    meet = 0.0 if mode == DOWN else _meeting(q, back, up, down, n_up, n_down)
    n = 0
    for i in range(n_up + n_down):
        backwards = i >= n_up
        way = back if backwards else q
        row = down[n_up + n_down - 1 - i] if backwards else up[i]
        limit = q.span - meet if backwards else meet
        x0, y0, x1, y1, kind = row[0], row[1], row[2], row[3], int(row[4])
        if x0 >= limit:
            continue
        if x1 > limit:
            x1, y1 = limit, value(way, kind, x0, y0, limit)
        legs[n, L_TIME] = seconds(way, kind, radius, x0, y0, x1, y1)
        legs[n, L_KIND], legs[n, L_BACK] = kind, 1 if backwards else 0
        if backwards:
            x0, y0, x1, y1 = q.span - x1, y1, q.span - x0, y0
        legs[n, L_BEGIN], legs[n, L_FIRST], legs[n, L_END], legs[n, L_LAST] = x0, y0, x1, y1
        n += 1
    return n


@inner
def on_leg(q: Quadrant, leg: F64, x: float) -> tuple[float, float]:
    """Return y and the acceleration along the arc at an offset inside a leg of an arc."""
    kind = int(leg[L_KIND])
    way, at, x0, y0 = q, x, leg[L_BEGIN], leg[L_FIRST]
    if leg[L_BACK] > 0.0:
        way, at, x0, y0 = mirrored(q), q.span - x, q.span - leg[L_END], leg[L_LAST]
    y = value(way, kind, x0, y0, at)
    u = acceleration(way, kind, x0, y0, at)
    return y, -u if leg[L_BACK] > 0.0 else u


@inner
def _meeting(q: Quadrant, back: Quadrant, up: F64, down: F64, n_up: int, n_down: int) -> float:
    """Return the offset up to which the way up is the lower one.

    It is looked for from the end: the two may also be one along a ceiling, before or after.
    """
    i, j, high = n_up - 1, 0, q.span
    while i >= 0 and j < n_down:
        low = max(up[i, 0], q.span - down[j, 2])
        f_high = _gap(q, back, up[i], down[j], high)
        if f_high < -_SAME:
            return high
        if _gap(q, back, up[i], down[j], low) < -_SAME:
            return _crossing(q, back, up[i], down[j], low, high) if f_high > 0.0 else high
        if _gap(q, back, up[i], down[j], 0.5 * (low + high)) < -_SAME:
            return _crossing(q, back, up[i], down[j], 0.5 * (low + high), high)
        i -= 1 if up[i, 0] >= low else 0
        j += 1 if q.span - down[j, 2] >= low else 0
        high = low
    return 0.0 if n_down > 0 else q.span


@inner
def _gap(q: Quadrant, back: Quadrant, up: F64, down: F64, x: float) -> float:
    """Return by which share y on a leg of the way up is above that on a leg of the way down."""
    y = value(q, int(up[4]), up[0], up[1], x)
    other = value(back, int(down[4]), down[0], down[1], q.span - x)
    return (y - other) / max(y, other, 1e-300)


@inner
def _crossing(q: Quadrant, back: Quadrant, up: F64, down: F64, low: float, high: float) -> float:
    """Return where a leg of the way up rises above one of the way down, found as in `quadrant`."""
    f_low, f_high, side = -1.0, 1.0, 0
    for k in range(300):
        if high - low <= 4e-16 * high:
            break
        at = low + (high - low) * (f_low / (f_low - f_high))
        if k % 4 == 3 or not low < at < high:
            at = low + 0.5 * (high - low)
        f = _gap(q, back, up, down, at)
        if f == 0.0:
            return at
        if f < 0.0:
            low = at
            f_high = f_high * 0.5 if side == 1 else f_high
            f_low, side = f, 1
        else:
            high = at
            f_low = f_low * 0.5 if side == 2 else f_low
            f_high, side = f, 2
    return low
