"""Slow second ways to the same numbers: linear programmes, and another library."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

from kerfwright.model.motion import FeedKind


def programme(most, rows) -> np.ndarray:
    """Greatest sum of x with 0 <= x <= most and, for rows (i, a, j, b, r), a x_i + b x_j <= r."""
    i, a, j, b, right = (np.asarray(column) for column in zip(*rows, strict=True))
    n = np.arange(len(rows))
    matrix = coo_array(
        (np.concatenate((a, b)), (np.concatenate((n, n)), np.concatenate((i, j)))),
        shape=(len(rows), len(most)),
    )
    solved = linprog(
        -np.ones(len(most)), A_ub=matrix.tocsr(), b_ub=right,
        bounds=np.column_stack((np.zeros(len(most)), most)), method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )  # fmt: skip
    assert solved.status == 0, solved.message
    return solved.x


def polyline_squares(motion, limits) -> np.ndarray:
    """Greatest v^2 at every joint of straight blocks of x, y, z, c, by a linear programme."""
    begin = motion.begins()
    length = np.linalg.norm((motion.end - begin)[:, :3], axis=1)
    unit = (motion.end - begin) / length[:, None]
    share = np.maximum(np.abs(unit), 1e-200)
    pull = (limits.acceleration / share).min(axis=1)
    top = np.minimum((limits.speed / share).min(axis=1), motion.feed)
    if limits.block_time_s:
        top = np.minimum(top, length / limits.block_time_s)
    assert (motion.feed_kind == FeedKind.PATH).all()
    most = np.zeros(len(motion) + 1)
    stops = {e.before_block for e in motion.events}
    for k in range(1, len(motion)):
        change = np.abs(unit[k] - unit[k - 1])
        turns = change > 1e-9 * np.maximum(1.0, np.abs(unit[k]))
        joint = min((limits.jump[turns] / change[turns]).min(initial=np.inf), top[k], top[k - 1])
        most[k] = 0.0 if k in stops else joint**2
    rows = []
    for k in range(len(motion)):
        room = 2.0 * pull[k] * length[k]
        rows += [(k, -1.0, k + 1, 1.0, room), (k, 1.0, k + 1, -1.0, room)]
    return programme(most, rows)


def straight_time(length, first, last, pull, top) -> float:
    """Time of a straight block between two v^2, by its three phases."""
    peak = min((first + last) / 2.0 + pull * length, top * top)
    up, down = (peak - first) / (2.0 * pull), (peak - last) / (2.0 * pull)
    v0, v1, v = np.sqrt(first), np.sqrt(last), np.sqrt(peak)
    return (v - v0) / pull + (v - v1) / pull + (length - up - down) / v


def curve_time(first, second, step, limits, top) -> float:
    """Time from rest to rest along one smooth curve, by collocation at the middle of N steps.

    `first`, `second` (N, 4): derivatives by length at the middles. The error falls with the square
    of the step, but for the steps at rest.
    """
    n = len(first)
    share = np.maximum(np.abs(first), 1e-200)
    most = np.full(n + 1, top * top)
    middle = (limits.speed / share).min(axis=1) ** 2
    most[1:-1] = np.minimum(most[1:-1], np.minimum(middle[:-1], middle[1:]))
    most[0] = most[-1] = 0.0
    rows = []
    for k in range(n):
        for axis in range(4):
            # q' (x1 - x0) / (2 h) + q'' (x0 + x1) / 2 within the limit, times 2 h
            p, c = first[k, axis], second[k, axis] * step
            room = 2.0 * step * limits.acceleration[axis]
            if p == 0.0 and c == 0.0:
                continue
            rows += [(k, c - p, k + 1, c + p, room), (k, p - c, k + 1, -c - p, room)]
    v = np.sqrt(programme(most, rows))
    return float((2.0 * step / (v[1:] + v[:-1])).sum())
