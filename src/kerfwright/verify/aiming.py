"""Whether the blade points along the contour, and forwards.

A chord on a curve is tangent to it in one place at most, so the least angle along the chord
counts: between the feet of two points of the chord the contour takes every heading in between.
"""

from __future__ import annotations

from math import atan2, cos, hypot, pi, sin

import numpy as np

from kerfwright.kernels import inner, kernel
from kerfwright.verify.chord import chord, pose
from kerfwright.verify.columns import F64, I64, Shape
from kerfwright.verify.foot import IN_FAN, fold, look
from kerfwright.verify.near import REACH_MM

_STEEPEST = 1.4  # rad: beyond it, headings on both sides of the blade say nothing
_POINTS = 5
_MOVES_MM = 1e-3  # a way shorter than that has no direction worth the name


@kernel
def aim_errors(
    shape: Shape,
    near: I64,
    first: I64,
    last: I64,
    row: I64,
    at: F64,
    blade_of: I64,
    blades: F64,
    depth: F64,
    aim: float,
    least: float,
) -> tuple[F64, F64, F64]:
    """Return, per slice, the worst angle between blade and contour, its place, and to the way.

    `depth` is the full depth of each contour; angles up to `least` are returned as 0.
    """
    worst, place = np.zeros(len(row)), np.zeros((len(row), 2))
    backwards = np.zeros(len(row))
    for i in range(len(row)):
        back, front = chord(blades[blade_of[i]], depth[row[i]])
        for n in range(3):
            t = 0.5 * n
            off = _chord_error(shape, near, first[i], last[i], at[i], t, back, front, aim, least)
            if off > least and off > worst[i]:
                worst[i] = off
                x, y, _, c = pose(at[i], t)
                middle = (back + front) / 2.0
                place[i, 0], place[i, 1] = x + middle * cos(c), y + middle * sin(c)
        backwards[i] = _way_error(at[i], (back + front) / 2.0)
    return worst, place, backwards


@inner
def _chord_error(
    shape: Shape,
    near: I64,
    low: int,
    high: int,
    at: F64,
    t: float,
    back: float,
    front: float,
    aim: float,
    least: float,
) -> float:
    x, y, _, c = pose(at, t)
    ux, uy = cos(c), sin(c)
    best, before = pi, 0.0
    # Both ends first: on a curve they are enough.
    for round_ in range(2):
        count = 2 if round_ == 0 else _POINTS
        for n in range(count):
            s = back + (front - back) * n / (count - 1)
            seen = look(
                shape, near, low, high, x + s * ux, y + s * uy, c, front - back + REACH_MM, aim
            )
            off = 0.0 if seen[2] == IN_FAN or seen[0] > REACH_MM else fold(seen[6] - c)
            best = min(best, abs(off))
            is_between = n > 0 and off * before < 0.0
            if is_between and max(abs(off), abs(before)) < _STEEPEST:
                best = 0.0
            before = off
            if best <= least:
                return best
    return best


@inner
def _way_error(at: F64, middle: float) -> float:
    """Return the angle between blade and way in the middle of a slice; 0 where it stays.

    The way is that of the middle of the chord: a blade that turns about a point of its own moves
    its axis sideways without cutting backwards.
    """
    ax, ay = _on_blade(at, 0.0, middle)
    ex, ey = _on_blade(at, 1.0, middle)
    if hypot(ex - ax, ey - ay) < _MOVES_MM:
        return 0.0
    bx, by = _on_blade(at, 0.499, middle)
    fx, fy = _on_blade(at, 0.501, middle)
    _, _, _, c = pose(at, 0.5)
    dx, dy = fx - bx, fy - by
    return abs(atan2(dy * cos(c) - dx * sin(c), dx * cos(c) + dy * sin(c)))


@inner
def _on_blade(at: F64, t: float, s: float) -> tuple[float, float]:
    x, y, _, c = pose(at, t)
    return x + s * cos(c), y + s * sin(c)
