"""How far the blade strays sideways from a contour, before it is cut.

A point of the blade `reach` ahead of the tracked point stands on the tangent there. Sliding the
point of contact on along the contour while the rest of the tangent shortens brings it onto the
contour by a way of ``sum of (reach - s) |turn|`` over the turns at distances s: no point is
further off. Where the contour is smooth and bends by 1/R at most, it is no further off than from
a circle: ``sqrt(R^2 + reach^2) - R``, which an arc of radius R attains.
"""

from __future__ import annotations

from math import hypot

from kerfwright.geometry.record import F64
from kerfwright.kernels import dual, inner
from kerfwright.toolpath.blade import Step
from kerfwright.toolpath.corners import JOINT
from kerfwright.toolpath.sections import FIRST, LAST, LOOP, MEETS_0, MEETS_1
from kerfwright.toolpath.shapes import (
    BACK,
    FORTH,
    LENGTH,
    SWEEP,
    Contour,
    bend_of,
    end_of,
    following,
    on_edge,
    start_of,
    wrap,
)
from kerfwright.toolpath.steps import step_deviation

_PARTS = 4
"""Parts of an arc over which the bound of what lies ahead is taken as straight."""
_SMOOTH = 1e-9  # rad: a turn that is none


@dual
def chord_deviation(radius: float, reach: float) -> float:
    """Return how far a point of the tangent is off a circle [mm]."""
    return hypot(radius, reach) - radius


@inner
def stepped_deviation(contour: Contour, section: F64, step: Step) -> float:
    """Return a bound for short strokes, and for neighbours that run on over the arc [mm]."""
    edge, first, last = contour.edge, int(section[FIRST]), int(section[LAST])
    bend = abs(bend_of(edge, first))
    worst = (step_deviation(1.0 / bend, step.half, 0.0) + step.tolerance) / 2.0
    past = step.half - min(step.back, step.front)
    if section[LOOP]:
        return worst
    for k, sense, meets in ((first, BACK, section[MEETS_0]), (last, FORTH, section[MEETS_1])):
        if meets == JOINT:
            other = abs(bend_of(edge, following(contour, k, sense)))
            worst = max(worst, past * past * (bend + other) / 2.0)
    return worst


@inner
def deviation_of(
    contour: Contour, section: F64, reach: float, corners: float
) -> tuple[float, float, float]:
    """Return a bound of the deviation of a section that is followed, and x, y of where it is.

    Corners turned in the material count `corners` times: 1 or 0.
    """
    edge = contour.edge
    count = edges_in(edge, section)
    worst, x, y = 0.0, 0.0, 0.0
    for j in range(count):
        k = (int(section[FIRST]) + j) % len(edge)
        for sense in (FORTH, BACK):
            left = count - 1 - j if sense > 0 else j
            left = count if section[LOOP] else left
            off = _on_edge_bound(contour, k, sense, left, reach, corners)
            if off > worst:
                worst = off
                if edge[k, SWEEP] == 0.0:
                    x, y, _ = end_of(edge, k, sense)
                else:
                    x, y, _ = on_edge(edge, k, FORTH, edge[k, LENGTH] / 2.0)
    return worst, x, y


@inner
def joints_of(contour: Contour, section: F64, step: Step) -> float:
    """Return what joints taken for smooth leave the blade's ends off in a section [mm]."""
    edge, off = contour.edge, 0.0
    for j in range(0 if section[LOOP] else 1, edges_in(edge, section)):
        k = (int(section[FIRST]) + j) % len(edge)
        _, _, before = end_of(edge, following(contour, k, BACK), FORTH)
        _, _, ahead = start_of(edge, k, FORTH)
        one = abs(wrap(ahead - before)) * (step.half + abs(step.track) + abs(step.side))
        off += one if one <= step.join else 0.0
    return min(off, step.join)


@inner
def edges_in(edge: F64, section: F64) -> int:
    """Return how many edges a section has."""
    return int(section[LAST] - section[FIRST]) % len(edge) + 1


@inner
def _on_edge_bound(
    contour: Contour, k: int, sense: int, left: int, reach: float, corners: float
) -> float:
    """Return the bound over all places on an edge, looking ahead over `left` more edges."""
    bend = abs(bend_of(contour.edge, k))
    rest, is_smooth, sharpest = _ahead(contour, k, sense, left, reach, corners)
    worst = rest  # nothing turns on a line, so its end is the worst place
    if bend > 0.0:
        worst = _on_arc(contour, k, sense, left, reach, corners, rest)
    sharpest = max(sharpest, bend)
    if is_smooth and 0.0 < sharpest * reach <= 1.0:
        worst = min(worst, chord_deviation(1.0 / sharpest, reach))
    if rest == 0.0 and bend > 0.0:
        worst = min(worst, chord_deviation(1.0 / bend, reach))
    return worst


@inner
def _on_arc(
    contour: Contour,
    k: int,
    sense: int,
    left: int,
    reach: float,
    corners: float,
    rest: float,
) -> float:
    """Return the most that the arc itself and what lies ahead of it add up to."""
    edge = contour.edge
    own, bend = min(reach, edge[k, LENGTH]), abs(bend_of(edge, k))
    worst, before = 0.0, rest
    for part in range(_PARTS):
        x0, x1 = own * part / _PARTS, own * (part + 1) / _PARTS
        after, _, _ = _ahead(contour, k, sense, left, reach - x1, corners)
        worst = max(worst, _peak(bend, reach, x0, x1, before, after))
        before = after
    return worst


@inner
def _peak(bend: float, reach: float, x0: float, x1: float, before: float, after: float) -> float:
    """Return the maximum over x, the length of arc ahead, between x0 and x1.

    The arc gives ``bend (reach x - x^2 / 2)``; what lies beyond it falls from `before` to
    `after` and stays below the straight line between them, being convex.
    """
    slope = (after - before) / (x1 - x0)
    x = min(max(reach + slope / bend, x0), x1)
    return bend * (reach * x - x * x / 2.0) + before + slope * (x - x0)


@inner
def _ahead(
    contour: Contour, k: int, sense: int, left: int, reach: float, corners: float
) -> tuple[float, bool, float]:
    """Return the bound from the end of an edge on, whether it is smooth, and the most bend."""
    edge = contour.edge
    total, is_smooth, sharpest, gone = 0.0, True, 0.0, 0.0
    for _ in range(left):
        lever = reach - gone
        if lever <= 0.0:
            break
        _, _, before = end_of(edge, k, sense)
        k = following(contour, k, sense)
        _, _, heading = start_of(edge, k, sense)
        turn = abs(wrap(heading - before)) * corners
        is_smooth = is_smooth and turn <= _SMOOTH
        own, bend = min(edge[k, LENGTH], lever), abs(bend_of(edge, k))
        total += turn * lever + bend * (lever * own - own * own / 2.0)
        sharpest = max(sharpest, bend)
        gone += edge[k, LENGTH]
    return total, is_smooth, sharpest
