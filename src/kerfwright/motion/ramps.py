"""One axis from one speed to another over a distance, in closed form."""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.geometry.record import F64, require
from kerfwright.kernels import inner


def rest_to_rest_s(distance: ArrayLike, speed: ArrayLike, acceleration: ArrayLike) -> F64:
    """Return the least time of a move from rest to rest.

    ``L / v + v / a`` where the speed is reached (trapezoid), ``2 sqrt(L / a)`` where it is not
    (triangle). The arguments are broadcast against each other.

    Parameters
    ----------
    distance : array_like, float
        Length of the move, its sign does not matter [mm, rad].
    speed : array_like, float
        Greatest speed, above 0 [mm/s, rad/s].
    acceleration : array_like, float
        Greatest acceleration and deceleration, above 0 [mm/s2, rad/s2].

    Returns
    -------
    ndarray of the broadcast shape, float
        Time of each move [s].

    Raises
    ------
    ModelError
        If a speed or acceleration is not above 0, or anything is NaN.
    """
    way, v, a = (
        np.abs(np.asarray(distance, np.float64)),
        np.asarray(speed),
        np.asarray(acceleration),
    )
    require(bool((v > 0.0).all()), "rest_to_rest_s: speeds must be above 0")
    require(bool((a > 0.0).all()), "rest_to_rest_s: accelerations must be above 0")
    require(not bool(np.isnan(way).any()), "rest_to_rest_s: a distance is not a number")
    peak = np.minimum(v, np.sqrt(way * a))
    moving = peak > 0.0
    return np.where(moving, way / np.where(moving, peak, 1.0) + peak / a, 0.0)


@inner
def ramp_split(
    way: float, first: float, last: float, pull: float, most: float
) -> tuple[float, float, float]:
    """Return ways of speeding up and slowing down and the peak of v^2 of the fastest move.

    `first` and `last` are v^2 at the ends, `most` the greatest v^2. Ends that no acceleration of
    at most `pull` connects are allowed: the way that is too short then comes out negative by
    rounding at most, and is 0.
    """
    gain = (last - first) / (2.0 * pull)
    up = min(max(0.5 * (way + gain), 0.0), way)
    down = way - up
    peak = max(first + 2.0 * pull * up, last)
    if peak > most:
        peak = most
        up = max(most - first, 0.0) / (2.0 * pull)
        down = max(most - last, 0.0) / (2.0 * pull)
    return up, down, peak


@inner
def ramp_s(way: float, first: float, last: float, pull: float, most: float) -> float:
    """Return the least time over `way` when v^2 is at most `first`, `last` at the ends.

    Where the two differ by more than `pull` can make up for, the greater is lowered: the result
    bounds from below the time of every move that begins and ends no faster.
    """
    if way <= 0.0:
        return 0.0
    first, last = min(first, most), min(last, most)
    first, last = min(first, last + 2.0 * pull * way), min(last, first + 2.0 * pull * way)
    up, down, peak = ramp_split(way, first, last, pull, most)
    v0, v1, top = sqrt(first), sqrt(last), sqrt(peak)
    time = max(way - up - down, 0.0) / top if peak >= most else 0.0
    if up > 0.0:
        time += 2.0 * up / (v0 + top)
    if down > 0.0:
        time += 2.0 * down / (v1 + top)
    return time
