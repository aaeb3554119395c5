"""Where the blade is at a share of a slice, and how it moves."""

from __future__ import annotations

from math import cos, hypot, sin

from kerfwright.kernels import inner
from kerfwright.verify.columns import (
    BHALF,
    BHEEL,
    BLEAD,
    BREF,
    BTRAIL,
    F64,
    SANGLE,
    SC0,
    SC1,
    SCX,
    SCY,
    SR0,
    SR1,
    SSWEEP,
    SX0,
    SX1,
    SY0,
    SY1,
    SZ0,
    SZ1,
)


@inner
def pose(at: F64, t: float) -> tuple[float, float, float, float]:
    """Return x, y of the C axis, tip height and blade direction."""
    z = at[SZ0] + (at[SZ1] - at[SZ0]) * t
    c = at[SC0] + (at[SC1] - at[SC0]) * t
    if at[SSWEEP] == 0.0:
        return at[SX0] + (at[SX1] - at[SX0]) * t, at[SY0] + (at[SY1] - at[SY0]) * t, z, c
    radius = at[SR0] + (at[SR1] - at[SR0]) * t
    angle = at[SANGLE] + at[SSWEEP] * t
    return at[SCX] + radius * cos(angle), at[SCY] + radius * sin(angle), z, c


@inner
def chord(blade: F64, height: float) -> tuple[float, float]:
    """Return back and front of the blade at a height above its tip, along its direction."""
    h = min(max(height, 0.0), blade[BHEEL])
    return blade[BREF] - blade[BHALF] - h * blade[BTRAIL], blade[BREF] + blade[BHALF] + h * blade[
        BLEAD
    ]


@inner
def chord_rate(blade: F64, at: F64, height: float) -> tuple[float, float]:
    """Return how back and front move along the blade as it goes down, per whole slice."""
    sink = at[SZ0] - at[SZ1]
    if sink == 0.0 or height > blade[BHEEL]:
        return 0.0, 0.0
    return -blade[BTRAIL] * sink, blade[BLEAD] * sink


@inner
def motion_at(at: F64, t: float, s: float, rate: float) -> tuple[float, float, float, float]:
    """Return velocity and acceleration of the point `s` ahead of the axis, per whole slice."""
    turn = at[SC1] - at[SC0]
    c = at[SC0] + turn * t
    ux, uy = cos(c), sin(c)
    vx, vy = rate * ux - s * turn * uy, rate * uy + s * turn * ux
    ax = -s * turn * turn * ux - 2.0 * rate * turn * uy
    ay = -s * turn * turn * uy + 2.0 * rate * turn * ux
    if at[SSWEEP] == 0.0:
        return vx + at[SX1] - at[SX0], vy + at[SY1] - at[SY0], ax, ay
    radius, grow = at[SR0] + (at[SR1] - at[SR0]) * t, at[SR1] - at[SR0]
    angle, sweep = at[SANGLE] + at[SSWEEP] * t, at[SSWEEP]
    ex, ey = cos(angle), sin(angle)
    vx, vy = vx + grow * ex - radius * sweep * ey, vy + grow * ey + radius * sweep * ex
    ax += -radius * sweep * sweep * ex - 2.0 * grow * sweep * ey
    ay += -radius * sweep * sweep * ey + 2.0 * grow * sweep * ex
    return vx, vy, ax, ay


@inner
def speed(at: F64, reach: float, rate: float) -> float:
    """Return the greatest way any point within `reach` of the axis goes in a whole slice."""
    turn = abs(at[SC1] - at[SC0])
    way = hypot(at[SX1] - at[SX0], at[SY1] - at[SY0])
    if at[SSWEEP] != 0.0:
        way = max(at[SR0], at[SR1]) * abs(at[SSWEEP]) + abs(at[SR1] - at[SR0])
    most: float = way + reach * turn + abs(rate)
    return most
