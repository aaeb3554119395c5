"""Whether the blade points along the contour, and forwards.

A chord on a curve is tangent to it in one place at most, so the least angle along the chord
counts: between the feet of two points of the chord the contour takes every heading in between.
So it does at a corner, where a stroke that ends there leaves the whole blade past it.
"""

from __future__ import annotations

from math import atan2, cos, hypot, pi, sin

import numpy as np

from kerfwright.kernels import inner, kernel
from kerfwright.verify.chord import chord, pose
from kerfwright.verify.columns import (
    END_CORNER,
    F64,
    I64,
    KHEAD,
    KTURN,
    KX,
    KY,
    SC0,
    SC1,
    SSWEEP,
    START_CORNER,
    Shape,
)
from kerfwright.verify.foot import IN_FAN, OVERRUN_MM, Past, fold, look
from kerfwright.verify.near import REACH_MM

_STEEPEST = 1.4  # rad: beyond it, headings on both sides of the blade say nothing
_POINTS = 9
_TIMES = 8  # parts a slice is looked at in where the blade turns
_MOVES_MM = 1e-3  # a way shorter than that has no direction


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
    past_end: Past,
    least: float,
) -> tuple[F64, F64, F64]:
    """Return, per slice, the worst angle between blade and contour, its place, and to the way.

    `depth` is the full depth of each contour; angles up to `least` are returned as 0.
    """
    worst, place = np.zeros(len(row)), np.zeros((len(row), 2))
    backwards = np.zeros(len(row))
    for i in range(len(row)):
        back, front = chord(blades[blade_of[i]], depth[row[i]])
        count = 2 if at[i, SSWEEP] == 0.0 and at[i, SC0] == at[i, SC1] else _TIMES
        for n in range(count + 1):
            t = n / count
            off = _chord_error(
                shape, near, first[i], last[i], at[i], t, back, front, past_end, least
            )
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
    past_end: Past,
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
            px, py = x + s * ux, y + s * uy
            seen = look(
                shape,
                near,
                low,
                high,
                px,
                py,
                c,
                front - back + OVERRUN_MM,
                past_end,
            )
            off = 0.0 if seen[2] == IN_FAN or seen[0] > REACH_MM else fold(seen[7] - c)
            if abs(off) > least:
                off = _off_the_fan(shape, near, low, high, px, py, c, past_end.clear, off)
            best = min(best, abs(off))
            is_between = n > 0 and off * before < 0.0
            if is_between and max(abs(off), abs(before)) < _STEEPEST:
                best = 0.0
            before = off
            if best <= least:
                return best
    return best


@inner
def _off_the_fan(
    shape: Shape,
    near: I64,
    low: int,
    high: int,
    x: float,
    y: float,
    c: float,
    clear: float,
    off: float,
) -> float:
    """Return the angle by which the blade points out of the turn of a corner it stands at.

    `off` is what it is off the contour's nearest piece, and is returned where no corner is near.
    """
    for j in range(low, high):
        for which in (END_CORNER, START_CORNER):
            k = shape.links[near[j], which]
            if k < 0 or hypot(x - shape.corners[k, KX], y - shape.corners[k, KY]) > clear:
                continue
            before = fold(shape.corners[k, KHEAD] - c)
            after = before + shape.corners[k, KTURN]
            if min(before, after) <= 0.0 <= max(before, after):
                return 0.0
            for edge in (before, fold(after)):
                if abs(edge) < abs(off):
                    off = edge
    return off


@inner
def _way_error(at: F64, middle: float) -> float:
    """Return the angle between blade and way in the middle of a slice; 0 unless it goes back.

    The way is that of the middle of the chord, and it must take the blade back by a length worth
    the name: a blade that turns about a point of its own moves its axis, and a little also its
    middle, sideways without cutting backwards.
    """
    ax, ay = _on_blade(at, 0.0, middle)
    ex, ey = _on_blade(at, 1.0, middle)
    _, _, _, c = pose(at, 0.5)
    if (ex - ax) * cos(c) + (ey - ay) * sin(c) > -_MOVES_MM:
        return 0.0
    bx, by = _on_blade(at, 0.499, middle)
    fx, fy = _on_blade(at, 0.501, middle)
    dx, dy = fx - bx, fy - by
    return abs(atan2(dy * cos(c) - dx * sin(c), dx * cos(c) + dy * sin(c)))


@inner
def _on_blade(at: F64, t: float, s: float) -> tuple[float, float]:
    x, y, _, c = pose(at, t)
    return x + s * cos(c), y + s * sin(c)
