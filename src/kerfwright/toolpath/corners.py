"""What is at the vertices of a contour."""

from __future__ import annotations

from math import pi, sin

from kerfwright.kernels import inner
from kerfwright.toolpath.blade import Step
from kerfwright.toolpath.shapes import (
    BACK,
    FORTH,
    LENGTH,
    Contour,
    bend_of,
    end_of,
    following,
    start_of,
    wrap,
)

SMOOTH, JOINT, WASTE, PART = range(4)
"""What is at a vertex: nothing, the end of a tight arc, or a corner past which waste or part
lies."""

_TURN_BACK = 1e-6  # rad: a turn that near to half a turn is decided by curvature


@inner
def corner_at(contour: Contour, k: int, side: int, step: Step) -> tuple[int, float]:
    """Return what is at the start of an edge, and how steeply an overcut gets into the part there.

    `side` is where the part lies: +1 left of the drawn direction, -1 right, 0 on both sides. Both
    ends of an open path count as part. Past a corner that turns by less than a right angle the
    blade goes into the part by the sine of the turn per millimetre, else straight into it; an
    arc there may turn away further by as much as the blade is wide.
    """
    if k == 0 and not contour.closed:
        return PART, 1.0
    edge = contour.edge
    before = following(contour, k, BACK)
    turn = wrap(start_of(edge, k, FORTH)[2] - end_of(edge, before, FORTH)[2])
    shorter = min(edge[before, LENGTH], edge[k, LENGTH])
    # Between lines shorter than the blade lifting gains nothing: put down, it spans them all.
    limit = step.lift_angle if shorter < 2.0 * step.half else step.blunt_angle
    if abs(turn) <= limit:
        return SMOOTH, 1.0
    bend = max(abs(bend_of(edge, k)), abs(bend_of(edge, before)))
    steep = sin(min(abs(turn) + 2.0 * step.half * bend, pi / 2.0))
    if abs(turn) > pi - _TURN_BACK:
        # In a cusp the curvatures say on which side the sliver lies; a line that doubles back
        # on itself does not tell, so the part is taken to be ahead.
        turn = -(bend_of(edge, k) + bend_of(edge, before))
    return (WASTE, 1.0) if turn * side > 0.0 else (PART, steep)
