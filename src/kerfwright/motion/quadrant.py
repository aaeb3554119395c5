"""The fastest motion along part of a circle, in closed form.

Everything is written for a quadrant in which the tool turns from tau = 0, where the tangent lies
along one axis, to tau = pi/2, where it lies along the other. Of the two axes the *rising* one has
the share sin(tau) of the speed and the *falling* one the share cos(tau). With y = v^2 / R (the
centripetal acceleration) and u the acceleration along the arc, the axes' own accelerations are::

    rising   u sin(tau) + y cos(tau)        falling   u cos(tau) - y sin(tau)

Each must stay within its limit, and abs(u) within what z and C allow. Along the arc
``dy/dtau = 2 u``, and when one axis is kept at its limit its own speed obeys the law of constant
acceleration, so y is known in closed form: with s, c for sine and cosine, 0 for where it began ::

    RISE   rising axis at its limit    y s^2 = y0 s0^2 + 2 rise (c0 - c)
    FALL   falling axis at its limit   y c^2 = y0 c0^2 + 2 fall (s - s0)
    PULL   z or C at its limit         y = y0 + 2 pull (tau - tau0)

Travelled backwards a piece is the same problem in the mirrored quadrant. Every state from which
some u is possible obeys `greatest`; above it lies no motion.
"""

from __future__ import annotations

from math import cos, sin, sqrt
from typing import Final, NamedTuple

import numpy as np

from kerfwright.kernels import inner

LEVEL: Final = 1
CLIMBS: Final = 2
SINKS: Final = 3

CEILING: Final = 0
RISE: Final = 1
FALL: Final = 2
PULL: Final = 3

_BLURRED: Final = 1e-7  # below it the share of the rising axis blurs what y0 says of it
QUARTER: Final = np.pi / 2.0


class Quadrant(NamedTuple):
    """Part of a quadrant and its limits.

    `tau` where it begins and `span` its angle [rad]; `rise`, `fall`, `pull` limits of acceleration
    [mm/s2]; the ceiling's `shape` LEVEL, CLIMBS or SINKS and `ceiling` the greatest y, y c^2 or
    y s^2 [mm/s2].
    """

    tau: float
    span: float
    rise: float
    fall: float
    pull: float
    shape: int
    ceiling: float


@inner
def mirrored(q: Quadrant) -> Quadrant:
    """Return the same piece travelled from its end to its begin."""
    shape = q.shape if q.shape == LEVEL else CLIMBS + SINKS - q.shape
    tau = max(QUARTER - (q.tau + q.span), 0.0)
    return Quadrant(tau, q.span, q.fall, q.rise, q.pull, shape, q.ceiling)


@inner
def ceiling_at(q: Quadrant, x: float) -> float:
    """Return the greatest y that the ceiling allows at offset x."""
    if q.shape == LEVEL:
        return q.ceiling
    share = cos(q.tau + x) if q.shape == CLIMBS else sin(q.tau + x)
    return q.ceiling / max(share * share, 1e-300)


@inner
def greatest(q: Quadrant, x: float) -> float:
    """Return the greatest y at offset x for which some acceleration keeps all limits."""
    s, c = sin(q.tau + x), max(cos(q.tau + x), 0.0)
    y = min(q.rise * c + q.fall * s, ceiling_at(q, x))
    y = min(y, (q.rise + q.pull * s) / max(c, 1e-300))
    return min(y, (q.fall + q.pull * c) / max(s, 1e-300))


@inner
def value(q: Quadrant, kind: int, x0: float, y0: float, x: float) -> float:
    """Return y at offset x on the leg of a kind that passes y0 at x0 <= x."""
    if x <= x0:
        return y0
    if kind == PULL:
        return y0 + 2.0 * q.pull * (x - x0)
    if kind == CEILING:
        return ceiling_at(q, x)
    # Differences of cosines and sines as products, which keep their digits on tiny arcs.
    half = 0.5 * (x - x0)
    middle = q.tau + x0 + half
    if kind == RISE:
        s0, s = sin(q.tau + x0), sin(q.tau + x)
        return (s0 * s0 * y0 + 4.0 * q.rise * sin(half) * sin(middle)) / (s * s)
    c0, c = cos(q.tau + x0), cos(q.tau + x)
    return (c0 * c0 * y0 + 4.0 * q.fall * sin(half) * cos(middle)) / max(c * c, 1e-300)


@inner
def acceleration(q: Quadrant, kind: int, x0: float, y0: float, x: float) -> float:
    """Return the acceleration along the arc at offset x on a leg that passes y0 at x0 [mm/s2]."""
    if kind == PULL:
        return q.pull
    s, c = sin(q.tau + x), max(cos(q.tau + x), 1e-300)
    if kind == RISE:
        # (rise - y c) / sin(tau) without the difference of two nearly equal numbers; next to where
        # the share of the rising axis vanishes its second part is lost in the rounding of y0.
        half = 0.5 * (x - x0)
        s0, gap = sin(q.tau + x0), 2.0 * sin(half) * sin(q.tau + x0 + half)
        rest = s0 * s0 * (q.rise - c * y0) if s0 > _BLURRED else 0.0
        return (q.rise * gap * gap + rest) / max(s * s * s, 1e-300)
    y = value(q, kind, x0, y0, x)
    if kind == FALL:
        return (q.fall + y * s) / c
    if q.shape == CLIMBS:
        return y * s / c
    return -y * c / s if q.shape == SINKS else 0.0


@inner
def seconds(
    q: Quadrant, kind: int, radius: float, x0: float, y0: float, x1: float, y1: float
) -> float:
    """Return the time of a leg: way of the axis kept at its limit over its mean speed [s]."""
    half = 0.5 * (x1 - x0)
    if half <= 0.0:
        return 0.0
    middle = q.tau + x0 + half
    way, v0, v1 = 2.0 * half, sqrt(y0), sqrt(y1)
    if kind == RISE or (kind == CEILING and q.shape == SINKS):
        way, v0, v1 = 2.0 * sin(half) * sin(middle), v0 * sin(q.tau + x0), v1 * sin(q.tau + x1)
    elif kind == FALL or (kind == CEILING and q.shape == CLIMBS):
        way, v0, v1 = 2.0 * sin(half) * cos(middle), v0 * cos(q.tau + x0), v1 * cos(q.tau + x1)
    return 2.0 * sqrt(radius) * way / (v0 + v1)
