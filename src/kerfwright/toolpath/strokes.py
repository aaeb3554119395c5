"""One stroke: the blade goes down, follows, comes up."""

from __future__ import annotations

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner
from kerfwright.toolpath.blade import Step
from kerfwright.toolpath.entering import stand
from kerfwright.toolpath.shapes import (
    BACK,
    FORTH,
    LENGTH,
    SWEEP,
    Run,
    bend_of,
    following,
    locate,
    most_edges,
    on_edge,
    pose_at,
    wrap,
)
from kerfwright.toolpath.writing import AT_C, Out, cut_arc, cut_line, lift, put_down, turn_in


@inner
def follow(out: Out, run: Run, begin: float, end: float, under: float, step: Step) -> None:
    """Cut a run between two distances in one stroke, covering it exactly at the reference plane.

    Where that is shorter than the chord the blade only goes down, reaching `under` back.
    """
    first, heading = stand(run, begin, FORTH, step.back)
    last, turned = stand(run, end, BACK, step.front)
    if last < first - step.noise:
        first = begin + step.back - under
        x, y, heading = pose_at(run, first)
    else:
        x, y, _ = pose_at(run, first)
    put_down(out, x, y, heading, step)
    if last > first + step.noise:
        _go(out, run, first, last, step)
        x, y, _ = pose_at(run, last)
        _turn_to(out, x, y, turned, step)
    lift(out, step)


@inner
def _go(out: Out, run: Run, first: float, last: float, step: Step) -> None:
    """Move the tracked point along a run, and straight on where it leaves it."""
    edge, length = run.contour.edge, run.length
    k, t = locate(run.contour, run.s, run.sense)
    if first < 0.0 and edge[k, SWEEP] != 0.0:
        x, y, heading = pose_at(run, 0.0)
        cut_line(out, x, y, heading, step)
    begun = 0.0  # distance at which the rest of this edge begins
    goal = min(last, length)
    for _ in range(most_edges(run)):
        left = begun + edge[k, LENGTH] - t
        here, there = max(first, begun), min(goal, left)
        is_last = left >= goal - step.noise
        goes_on = is_last and last > length + step.noise and edge[k, SWEEP] == 0.0
        if goes_on:
            x, y, heading = on_edge(edge, k, run.sense, t + here - begun)
            _turn_to(out, x, y, heading, step)
        elif there - here > step.noise:
            _cut(out, edge, k, run.sense, t + here - begun, t + there - begun, step)
        if is_last:
            break
        begun, t, k = left, 0.0, following(run.contour, k, run.sense)
    if last > length + step.noise:
        x, y, heading = pose_at(run, last)
        cut_line(out, x, y, heading, step)


@inner
def _cut(out: Out, edge: F64, k: int, sense: int, here: float, there: float, step: Step) -> None:
    """Cut a piece of an edge, after turning to it."""
    x, y, heading = on_edge(edge, k, sense, here)
    _turn_to(out, x, y, heading, step)
    x, y, heading = on_edge(edge, k, sense, there)
    if edge[k, SWEEP] == 0.0:
        cut_line(out, x, y, heading, step)
    else:
        cut_arc(out, x, y, heading, sense * bend_of(edge, k) * (there - here), step)


@inner
def _turn_to(out: Out, x: float, y: float, heading: float, step: Step) -> None:
    """Turn in the material unless the joint is smooth."""
    turn = wrap(heading - out.at[AT_C])
    if abs(turn) * (step.half + abs(step.track) + abs(step.side)) > step.join:
        turn_in(out, x, y, turn, step)
