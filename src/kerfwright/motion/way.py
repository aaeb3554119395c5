"""The fastest way up through a quadrant: which limit rules where.

The fastest way up follows whichever of the three allows least, and the order in which they take
over is fixed (each statement follows from the derivatives where two are equal):

- FALL gives way to RISE or PULL for good: what it allows only grows.
- PULL gives way to RISE where ``pull s + y c - rise`` becomes positive; along PULL that is concave.
- RISE gives way to PULL for good; along RISE the acceleration first falls, then grows.
- A ceiling on y is met once. A level one (feed) and a falling one (greatest speed of the rising
  axis, y s^2) are then kept to the end; a rising one (of the falling axis, y c^2) is left for good
  where an axis could not follow it.

The way down to the end of a piece is the way up in the mirrored quadrant. Of the bounds that
`greatest` takes, the way up never crosses ``(rise + pull s) / c`` from below, nor ``rise c + fall
s`` before tan(tau) = fall / rise; the way down never crosses ``(fall + pull c) / s``, nor ``rise c
+ fall s`` beyond. So the lower of the two ways keeps every limit everywhere.
"""

from __future__ import annotations

from math import acos, atan, cos, sin, sqrt
from typing import Final

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner
from kerfwright.motion.quadrant import (
    CEILING,
    CLIMBS,
    FALL,
    LEVEL,
    PULL,
    RISE,
    Quadrant,
    ceiling_at,
    value,
)

END: Final = -1
MOST_LEGS: Final = 12
_CLEAR: Final = 1e-9  # so far from where a leg begins, residuals are above their noise [rad]
_NO_LEG: Final = 1e-13  # shorter shares of a piece are run through but not written down

# Events on a leg, in the order they are looked for.
_SLOPE, _D, _G, _NOT_E, _E, _TOP = 0, 1, 2, 3, 4, 5
_N_EVENTS: Final = 6


@inner
def _residual(q: Quadrant, what: int, kind: int, x0: float, y0: float, x: float) -> float:
    """Return a number that turns positive where an event happens on a leg that passes y0 at x0."""
    y = value(q, kind, x0, y0, x)
    if what == _TOP:
        return y - ceiling_at(q, x)
    s, c = sin(q.tau + x), cos(q.tau + x)
    if what == _D:
        return y - q.rise * c + q.fall * s
    if what == _G:
        return q.fall + y * s - q.pull * c
    if what == _SLOPE:
        return s * y - 3.0 * q.pull * c
    e = q.pull * s + c * y - q.rise
    return e if what == _E else -e


@inner
def _root(
    q: Quadrant, what: int, kind: int, y0: float, low: float, high: float, f_high: float
) -> float:
    """Return where a residual, `f_high` > 0 at `high`, turns positive on a leg from y0 at `low`.

    Regula falsi with the Illinois weight, and a halving every fourth time. A leg may begin at the
    event itself, and the residual's sign is noise there; so one looks a little way in first, and
    where the residual is not negative anywhere before that the answer is `low`.
    """
    first, side = low, 0
    at = low + _CLEAR
    f_low = 1.0
    if at < high:
        f = _residual(q, what, kind, first, y0, at)
        if f < 0.0:
            low, f_low = at, f
        elif what == _SLOPE:
            return low
        else:
            high, f_high = at, f
    if f_low > 0.0:
        f_low = _residual(q, what, kind, first, y0, low)
        if f_low >= 0.0:
            return low
    for k in range(300):
        if high - low <= 4e-16 * high:
            break
        at = low + (high - low) * (f_low / (f_low - f_high))
        if k % 4 == 3 or not low < at < high:
            at = low + 0.5 * (high - low)
        f = _residual(q, what, kind, first, y0, at)
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
    return low if what == _TOP else high


@inner
def _pick(q: Quadrant, x: float, y: float) -> int:
    """Return the kind of leg that allows the least acceleration at a state."""
    s, c = sin(q.tau + x), cos(q.tau + x)
    over_pull = q.pull * s + c * y - q.rise >= 0.0
    if over_pull and y - q.rise * c + q.fall * s >= 0.0:
        return RISE
    return PULL if q.fall + y * s - q.pull * c >= 0.0 and not over_pull else FALL


@inner
def _leave(q: Quadrant, x: float, kind: int) -> float:
    """Return how far a climbing ceiling can be followed: by the limit `kind`, by both for CEILING.

    Following it takes ``u = K s / c^3`` and of the rising axis ``K / c^3``, K being the ceiling;
    the first meets the limit where t = tan(tau) solves ``t^3 + t = pull / K``.
    """
    stop = q.span
    if kind != PULL:
        share = (q.ceiling / q.rise) ** (1.0 / 3.0)
        stop = min(stop, max(acos(min(share, 1.0)) - q.tau, x))
    if kind != RISE:
        g = q.pull / q.ceiling
        w = (0.5 * g + sqrt(0.25 * g * g + 1.0 / 27.0)) ** (1.0 / 3.0)
        t = w - 1.0 / (3.0 * w)
        t -= (t * t * t + t - g) / (3.0 * t * t + 1.0)
        stop = min(stop, max(atan(t) - q.tau, x))
    return stop


@inner
def _can_happen(kind: int, what: int, after_rise: float) -> bool:
    if what == _TOP:
        return True
    if kind == FALL:
        return what in (_D, _G)
    if kind == RISE:
        return what == _NOT_E
    return after_rise == 0.0 and what in (_SLOPE, _E)


@inner
def _leg(
    q: Quadrant, kind: int, x: float, y: float, after_rise: float, left: float
) -> tuple[float, int]:
    """Return where a leg ends and what takes over.

    `after_rise` and `left` are 1 once a RISE leg was run and the ceiling is out of reach, else 0;
    floats, because the compiler makes a version of its own for every whole number it sees.
    """
    end, top, follows = q.span, q.span, END
    for what in range(_N_EVENTS):
        if not _can_happen(kind, what, after_rise):
            continue
        high = end
        if what == _E:
            high = top  # of a concave residual the part up to its greatest
        elif what == _TOP:
            if left > 0.0:
                continue
            if q.shape == CLIMBS and kind != FALL:
                # Beyond where an axis could not follow the ceiling, the leg may be under it again.
                high = min(end, _leave(q, x, kind))
        f_high = _residual(q, what, kind, x, y, high)
        if f_high <= 0.0:
            continue
        at = _root(q, what, kind, y, x, high, f_high)
        if what == _SLOPE:
            top = at
        else:
            end = at
            follows = CEILING if what == _TOP else (RISE if what in (_D, _E) else PULL)
    return end, follows


@inner
def starts_on_ceiling(q: Quadrant, y: float) -> bool:
    """Return whether a piece begins at its ceiling and can follow it."""
    if y < ceiling_at(q, 0.0) * (1.0 - 1e-14):
        return False
    # A level ceiling can be kept from the start only if the rising axis need not slow down.
    return q.shape != LEVEL or y * cos(q.tau) <= q.rise * (1.0 + 1e-14)


@inner
def fastest(q: Quadrant, y: float, legs: F64) -> int:
    """Write the legs of the fastest way through a piece from y at its begin; return their number.

    Row k of `legs` gets x0, y0, x1, y1 and the kind. `y` must not be above `greatest`. No more than
    FALL, PULL, RISE, PULL follow one another, before and after a climbing ceiling: nine legs.
    """
    x, n, after_rise, left = 0.0, 0, 0.0, 0.0
    follows = CEILING if starts_on_ceiling(q, y) else END
    for _ in range(MOST_LEGS):
        if x >= q.span:
            return n
        if follows == CEILING:
            kind, follows, end = CEILING, END, q.span
            if q.shape == CLIMBS:
                end, left = _leave(q, x, kind), 1.0
        else:
            kind = _pick(q, x, y) if follows == END else follows
            end, follows = _leg(q, kind, x, y, after_rise, left)
            after_rise = 1.0 if kind == RISE else after_rise
        y_end = value(q, kind, x, y, end)
        if end > x + _NO_LEG * q.span or (end >= q.span and (n == 0 or end > x)):
            legs[n, 0], legs[n, 1], legs[n, 2], legs[n, 3], legs[n, 4] = x, y, end, y_end, kind
            n += 1
        x, y = end, y_end
    return n
