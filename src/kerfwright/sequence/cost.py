"""What a way from one cut to the next costs in time, on coordinates counted in whole steps.

Places are counted from the job's own lower left corner in steps of one nanometre, directions in
steps of one nanoradian inside one turn. Counts are exact, so a job that is moved as a whole gives
the very same numbers, ties included, and therefore the same order.

Between two cuts the tool rises, goes over with x, y and C together, and comes down. Two times are
used: `link_s`, with every axis held to the straight line (what a coordinated rapid takes), chooses
the order; `least_s`, in which each axis hurries for itself and may even begin and end at its
allowed jump of speed, is never more than any motion needs and carries the lower bound.

Rest to rest over d with speed v and acceleration a takes d/v + v/a, or 2 sqrt(d/a) when v is not
reached: the trapezoid and the triangle of speed over time.
"""

from __future__ import annotations

from math import hypot, pi, sqrt

import numpy as np

from kerfwright.geometry.record import F64
from kerfwright.kernels import dual, kernel
from kerfwright.model.table import Limits

MM_PER_STEP = 1e-6
RAD_PER_STEP = 1e-9
STEPS_PER_TURN = float(round(2.0 * pi / RAD_PER_STEP))


def travel_law(axes: Limits, *, rise_mm: float) -> F64:
    """Return the numbers `link_s` and `least_s` need, shape (4, 3).

    Rows x, y and c hold speed, acceleration and jump; the last row holds the greatest speed along
    a rapid, the time to rise and come down again, and 0 [mm/s, rad/s, mm/s2, rad/s2, s].

    Parameters
    ----------
    axes : Limits
        What the drives may do.
    rise_mm : float
        Height the tip rises between two cuts [mm].
    """
    law = np.zeros((4, 3))
    for row, axis in enumerate((0, 1, 3)):
        law[row] = axes.speed[axis], axes.acceleration[axis], axes.jump[axis]
    law[:2, 0] = np.minimum(law[:2, 0], axes.rapid_mm_s)
    up = rest_to_rest_s(rise_mm, min(axes.speed[2], axes.rapid_mm_s), axes.acceleration[2])
    law[3, :2] = axes.rapid_mm_s, 2.0 * up
    return law


@dual
def rest_to_rest_s(distance: float, speed: float, acceleration: float) -> float:
    """Return the least time from rest to rest on one axis."""
    if distance * acceleration >= speed * speed:
        return distance / speed + speed / acceleration
    return 2.0 * sqrt(distance / acceleration)


@dual
def jump_to_jump_s(distance: float, speed: float, acceleration: float, jump: float) -> float:
    """Return the least time on one axis that may begin and end at a speed of `jump`."""
    if distance <= 0.0:
        return 0.0
    ends = min(jump, speed)
    ramps = (speed * speed - ends * ends) / acceleration
    if distance >= ramps:
        return 2.0 * (speed - ends) / acceleration + (distance - ramps) / speed
    # 2 (peak - ends) / acceleration without its cancellation
    return 2.0 * distance / (sqrt(ends * ends + acceleration * distance) + ends)


@dual
def reach_within(time_s: float, speed: float, acceleration: float, jump: float) -> float:
    """Return the farthest one axis gets in a time: the inverse of `jump_to_jump_s`."""
    ends = min(jump, speed)
    ramps_s = 2.0 * (speed - ends) / acceleration
    if time_s <= ramps_s:
        return ends * time_s + acceleration * time_s * time_s / 4.0
    return (speed * speed - ends * ends) / acceleration + speed * (time_s - ramps_s)


@dual
def turn_rad(c_from: float, c_to: float) -> float:
    """Return the shorter turn between two directions counted in steps."""
    away = abs(c_to - c_from)
    return min(away, STEPS_PER_TURN - away) * RAD_PER_STEP


@dual
def link_s(dx: float, dy: float, turn: float, law: F64) -> float:
    """Return the time of a way of dx, dy [mm] and a turn [rad], straight, with rise and fall."""
    if dx == 0.0 and dy == 0.0 and turn < 2.0 * RAD_PER_STEP:
        return 0.0
    speed = law[3, 0] / max(hypot(dx, dy), 1e-12)
    acceleration = np.inf
    if dx > 0.0:
        speed, acceleration = min(speed, law[0, 0] / dx), law[0, 1] / dx
    if dy > 0.0:
        speed, acceleration = min(speed, law[1, 0] / dy), min(acceleration, law[1, 1] / dy)
    if turn > 0.0:
        speed, acceleration = min(speed, law[2, 0] / turn), min(acceleration, law[2, 1] / turn)
    return float(law[3, 1] + rest_to_rest_s(1.0, speed, acceleration))


@dual
def over_s(dx: float, dy: float, law: F64) -> float:
    """Return a time no way over dx and dy can beat when it starts and ends at rest."""
    return max(rest_to_rest_s(dx, law[0, 0], law[0, 1]), rest_to_rest_s(dy, law[1, 0], law[1, 1]))


@dual
def least_s(dx: float, dy: float, turn: float, law: F64) -> float:
    """Return a time no motion over dx, dy [mm] and a turn [rad] can beat."""
    return max(
        jump_to_jump_s(dx, law[0, 0], law[0, 1], law[0, 2]),
        jump_to_jump_s(dy, law[1, 0], law[1, 1], law[1, 2]),
        jump_to_jump_s(turn, law[2, 0], law[2, 1], law[2, 2]),
    )


@kernel
def links_s(away: F64, towards: F64, turns: F64, law: F64) -> F64:
    """Return the time of each of L ways between places in steps, shape (L,).

    Parameters
    ----------
    away, towards : ndarray of shape (L, 3)
        Where each way begins and ends [steps].
    turns : ndarray of shape (L,)
        1 where C has to turn along, 0 where another head takes over.
    law : ndarray of shape (4, 3)
        See `travel_law`.
    """
    times = np.zeros(len(away))
    for i in range(len(away)):
        dx = abs(towards[i, 0] - away[i, 0]) * MM_PER_STEP
        dy = abs(towards[i, 1] - away[i, 1]) * MM_PER_STEP
        times[i] = link_s(dx, dy, turns[i] * turn_rad(away[i, 2], towards[i, 2]), law)
    return times
