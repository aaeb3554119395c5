"""Short lifted straight strokes, for arcs too tight for the blade to follow.

A stroke lies across the arc: its middle runs a deviation inside the arc, its ends stand as far
outside, so ``(half stroke)^2 = 4 radius deviation`` exactly. That is half of what a blade
deviates that follows the arc with the middle of its chord, but each stroke needs a plunge.
"""

from __future__ import annotations

from math import atan, ceil, cos, sin, sqrt

from kerfwright.kernels import dual, inner
from kerfwright.toolpath.blade import Step
from kerfwright.toolpath.shapes import Run, bend_of, locate, on_edge
from kerfwright.toolpath.writing import Out, cut_line, lift, put_down

_LEAST_ADVANCE = 1 / 8
"""Least advance of a stroke as a share of the chord at the top; below it the plunges would be so
many that the arc is better followed. Common practice, no source."""
_HALVINGS = 50
_WHOLE = 1e-9  # a share of a stroke that is rounding


@dual
def step_deviation(radius: float, half: float, move: float) -> float:
    """Return how far a stroke that moves so far is off the arc, inside and outside [mm]."""
    return (half + move / 2.0) ** 2 / (4.0 * radius)


@dual
def widest_move(radius: float, half: float, tolerance: float) -> float:
    """Return a move that deviates halfway between what is possible and what is allowed."""
    deviation = (step_deviation(radius, half, 0.0) + tolerance) / 2.0
    return 2.0 * (2.0 * sqrt(radius * deviation) - half)


@inner
def step_angles(radius: float, move: float, step: Step) -> tuple[float, float]:
    """Return the angles a stroke covers before and after its middle, at the reference plane."""
    inside = radius - step_deviation(radius, step.half, move)
    return atan((move / 2.0 + step.back) / inside), atan((move / 2.0 + step.front) / inside)


@inner
def can_step(radius: float, sweep: float, step: Step) -> bool:
    """Whether strokes keep the tolerance on an arc, and are not too many."""
    if step_deviation(radius, step.half, 0.0) >= min(step.tolerance, radius / 2.0):
        return False
    before, after = step_angles(radius, 0.0, step)
    if before + after > abs(sweep):
        return False
    before, after = step_angles(radius, widest_move(radius, step.half, step.tolerance), step)
    return (before + after) * radius >= _LEAST_ADVANCE * 2.0 * step.half


@inner
def _even_move(radius: float, angle: float, widest: float, step: Step) -> float:
    """Return the least move whose stroke covers an angle, by halving."""
    low, high = 0.0, widest
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        before, after = step_angles(radius, middle, step)
        if before + after < angle:
            low = middle
        else:
            high = middle
    return high


@inner
def step_along(out: Out, run: Run, begin: float, end: float, step: Step) -> None:
    """Cut a piece of one arc by strokes that cover it exactly at the reference plane."""
    edge, sense = run.contour.edge, run.sense
    k, t = locate(run.contour, run.s + sense * begin, sense)
    x, y, heading = on_edge(edge, k, sense, t)
    bend = sense * bend_of(edge, k)
    radius, sign = 1.0 / abs(bend), 1.0 if bend > 0.0 else -1.0
    cx, cy = x - sin(heading) / bend, y + cos(heading) / bend
    widest = widest_move(radius, step.half, step.tolerance)
    before, after = step_angles(radius, widest, step)
    angle = (end - begin) / radius
    count = max(1, ceil(angle / (before + after) - _WHOLE))
    move = _even_move(radius, angle / count, widest, step)
    before, after = step_angles(radius, move, step)
    inside = radius - step_deviation(radius, step.half, move)
    for j in range(count):
        share = j / (count - 1) if count > 1 else 0.5
        ahead = heading + sign * (before + share * (angle - after - before))
        u, v = cos(ahead), sin(ahead)
        x, y = cx + sign * inside * v, cy - sign * inside * u
        put_down(out, x - u * move / 2.0, y - v * move / 2.0, ahead, step)
        if move > step.noise:
            cut_line(out, x + u * move / 2.0, y + v * move / 2.0, ahead, step)
        lift(out, step)
