"""Where the tracked point is when an end of the blade stands over the end of a span."""

from __future__ import annotations

from math import acos, asin, atan2, cos, hypot, inf, pi, sin, tau

from kerfwright.kernels import inner
from kerfwright.toolpath.shapes import (
    LENGTH,
    SNAP,
    SWEEP,
    Contour,
    Run,
    bend_of,
    following,
    locate,
    on_edge,
    wrap,
)

_LEVEL = 1e-12  # mm: a point that near to the normal lies on it
_UPRIGHT = 1e-9  # a heading that much across the first one never gets any further


@inner
def stand(run: Run, sigma: float, sense: int, reach: float) -> tuple[float, float]:
    """Return the distance, and the heading, at which an end of the blade stands over a place.

    With sense +1 it is the end `reach` behind the tracked point, with -1 the one `reach` ahead;
    below 0 it lies on the other side. It then is on the normal of the run at the place.
    """
    s = run.s + run.sense * sigma
    ahead = run.length - sigma if sense > 0 else sigma
    if reach > _LEVEL:
        way, heading = _enter(run.contour, s, run.sense * sense, ahead, reach)
    elif reach < -_LEVEL and run.length - ahead > SNAP:
        way, heading = _enter(run.contour, s, -run.sense * sense, run.length - ahead, -reach)
        way, heading = -way, heading + pi
    else:
        k, t = locate(run.contour, s, run.sense * sense)
        _, _, heading = on_edge(run.contour.edge, k, run.sense * sense, t)
        way = reach
    return sigma + sense * way, heading if sense > 0 else heading + pi


@inner
def _enter(
    contour: Contour, s: float, sense: int, length: float, back: float
) -> tuple[float, float]:
    """Return the first distance, and the heading there, at which the blade's back is in place.

    The point `back` behind the tracked point then lies on the normal of the contour at `s`.
    Exact for lines, arcs and turns. After `length` the contour goes on straight.
    """
    edge = contour.edge
    k, t = locate(contour, s, sense)
    x0, y0, along = on_edge(edge, k, sense, t)
    if edge[k, SWEEP] == 0.0 and back <= min(edge[k, LENGTH] - t, length):
        return back, along
    reach, heading, walked = 0.0, along, 0.0
    for _ in range(2 * len(edge) + 2):
        x, y, ahead = on_edge(edge, k, sense, t)
        reach = (x - x0) * cos(along) + (y - y0) * sin(along)
        if reach - back * cos(ahead - along) >= -_LEVEL:
            return walked, along + _tilt(heading - along, ahead - along, reach / back)
        step = min(edge[k, LENGTH] - t, length - walked)
        bend = sense * bend_of(edge, k)
        found = _distance(bend, ahead - along, reach, back)
        if found <= step:
            return walked + found, ahead + bend * found
        x, y, heading = on_edge(edge, k, sense, t + step)
        reach = (x - x0) * cos(along) + (y - y0) * sin(along)
        walked += step
        if length - walked <= SNAP:
            break
        k, t = following(contour, k, sense), 0.0
    gain = cos(heading - along)
    missing = back * gain - reach
    return length + (missing / gain if gain > _UPRIGHT else 0.0), heading


@inner
def _tilt(before: float, after: float, share: float) -> float:
    """Return the turn out of the first heading at which the back comes into place in a corner."""
    tilt = acos(min(max(share, -1.0), 1.0))
    low, high = abs(wrap(before)), abs(wrap(after))
    tilt = min(max(tilt, min(low, high)), max(low, high))
    return tilt if wrap(after) > 0.0 else -tilt


@inner
def _distance(bend: float, turn: float, reach: float, back: float) -> float:
    """Return how far into an edge the back comes into place; infinite when it never does.

    With the heading `turn` off the first one, a line gains ``cos(turn)`` per millimetre. On an
    arc of signed radius r the condition is ``q + hypot(r, back) sin(b - atan2(back, r)) = 0``
    with b the turn there and ``q = reach - r sin(turn)``.
    """
    if bend == 0.0:
        gain = cos(turn)
        return (back * gain - reach) / gain if gain > _UPRIGHT else inf
    radius = 1.0 / bend
    level = -(reach - radius * sin(turn)) / hypot(radius, back)
    if abs(level) > 1.0:
        return inf
    phase, lift = atan2(back, radius), asin(level)
    sign = 1.0 if bend > 0.0 else -1.0
    first = (sign * (phase + lift - turn)) % tau
    second = (sign * (phase + pi - lift - turn)) % tau
    return min(first, second) * abs(radius)
