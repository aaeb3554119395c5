"""Every placement that two marks suggest, and how many marks it explains."""

from __future__ import annotations

from math import atan2, floor, hypot, pi
from typing import Final

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel

A, B, X, Y, VOTES, MISFIT, TRIED = range(7)
"""Columns of a placement: x' = A x - B y + X, y' = B x + A y + Y; marks explained; mean square;
how many placements were tried."""
_COLUMNS: Final = 7
_CELLS: Final = 256


@kernel
def best_placement(
    found: F64, nominal: F64, tolerance: float, low: float, high: float, turn: F64,
    other: F64, apart: float, makers: int,
) -> F64:  # fmt: skip
    """Return the placement that explains most marks, of those that lie apart from another one.

    Every pair of found marks is laid on every pair of nominal ones whose distance it may have; of
    equals the one with the least misfit, then the first, wins.

    Parameters
    ----------
    found, nominal : ndarray of shape (M, 2) and (N, 2), float
        Marks as seen, and as they should be [mm].
    tolerance : float
        How far a mark may lie from where a placement has it [mm].
    low, high : float
        Least and greatest scale.
    turn : ndarray of shape (2,), float
        Middle and half width of the turns tried; a half width of pi tries all [rad].
    other : ndarray of shape (7,), float
        The placement to stay away from.
    apart : float
        Placements that differ by less at every nominal mark are the same; below 0 for none [mm].
    makers : int
        Only pairs of so many nominal marks, the first ones, suggest placements.
    """
    best = np.zeros(_COLUMNS)
    origin, cell, head, link = _grid(found, tolerance)
    length2 = _lengths2(found)
    stamp = np.full(len(found), -1)
    tried = 0
    for i in range(makers):
        for j in range(i + 1, makers):
            nx, ny = nominal[j, 0] - nominal[i, 0], nominal[j, 1] - nominal[i, 1]
            length = hypot(nx, ny)
            if length <= tolerance:
                continue
            least2 = max(low * length - tolerance, 1e-6) ** 2
            most2 = (high * length + tolerance) ** 2
            for a in range(len(found)):
                for b in range(len(found)):
                    if length2[a, b] < least2 or length2[a, b] > most2:
                        continue
                    fx, fy = found[b, 0] - found[a, 0], found[b, 1] - found[a, 1]
                    one = _placement(found, nominal, a, i, nx, ny, fx, fy, low, high)
                    if _turned(one, turn) or (apart >= 0.0 and _same(one, other, nominal, apart)):
                        continue
                    tried += 1
                    _vote(one, found, nominal, tolerance, best[VOTES], origin, cell, head, link,
                          stamp, tried)  # fmt: skip
                    if _beats(one, best):
                        best = one
    best[TRIED] = tried
    return best


@inner
def _lengths2(found: F64) -> F64:
    out = np.zeros((len(found), len(found)))
    for a in range(len(found)):
        for b in range(len(found)):
            out[a, b] = (found[a, 0] - found[b, 0]) ** 2 + (found[a, 1] - found[b, 1]) ** 2
    return out


@inner
def _grid(found: F64, tolerance: float) -> tuple[F64, float, I64, I64]:
    """Sort the found marks into square cells: first mark of each cell, next one of each mark.

    A cell without a mark in it or beside it holds -2, so that most places cost one look.
    """
    origin = np.zeros(2)
    extent = tolerance
    for axis in range(2):
        low, high = 1e300, -1e300
        for m in range(len(found)):
            low, high = min(low, found[m, axis]), max(high, found[m, axis])
        origin[axis], extent = low, max(extent, high - low)
    cell = max(tolerance, extent / (_CELLS - 5.0))
    for axis in range(2):
        origin[axis] -= 2.0 * cell
    head = np.full((_CELLS, _CELLS), -2)
    link = np.full(len(found), -1)
    where = np.zeros((len(found), 2), np.int64)
    for m in range(len(found)):
        where[m, 0] = int((found[m, 0] - origin[0]) / cell)
        where[m, 1] = int((found[m, 1] - origin[1]) / cell)
        for i in range(where[m, 0] - 1, where[m, 0] + 2):
            for j in range(where[m, 1] - 1, where[m, 1] + 2):
                head[i, j] = -1
    for m in range(len(found) - 1, -1, -1):
        link[m] = head[where[m, 0], where[m, 1]]
        head[where[m, 0], where[m, 1]] = m
    return origin, cell, head, link


@inner
def _placement(
    found: F64,
    nominal: F64,
    a: int,
    i: int,
    nx: float,
    ny: float,
    fx: float,
    fy: float,
    low: float,
    high: float,
) -> F64:
    """Lay one pair on the other, scale kept to what it may be, middles on one another."""
    square = nx * nx + ny * ny
    c, s = (fx * nx + fy * ny) / square, (fy * nx - fx * ny) / square
    size = hypot(c, s)
    scale = min(max(size, low), high) / size
    c, s = c * scale, s * scale
    out = np.zeros(_COLUMNS)
    mx, my = nominal[i, 0] + nx / 2.0, nominal[i, 1] + ny / 2.0
    out[A], out[B] = c, s
    out[X] = found[a, 0] + fx / 2.0 - (c * mx - s * my)
    out[Y] = found[a, 1] + fy / 2.0 - (s * mx + c * my)
    return out


@inner
def _turned(one: F64, turn: F64) -> bool:
    """Return whether a placement is turned by more than is tried."""
    if turn[1] >= pi:
        return False
    off = atan2(one[B], one[A]) - turn[0]
    away = abs(off - 2.0 * pi * floor(off / (2.0 * pi) + 0.5))
    return bool(away > turn[1])


@inner
def _vote(
    one: F64, found: F64, nominal: F64, tolerance: float, enough: float,
    origin: F64, cell: float, head: I64, link: I64, stamp: I64, tried: int,
) -> None:  # fmt: skip
    """Count the marks a placement explains; stop where it cannot come to `enough` any more."""
    total, votes = 0.0, 0
    for k in range(len(nominal)):
        if votes + len(nominal) - k < enough:
            break
        x = one[A] * nominal[k, 0] - one[B] * nominal[k, 1] + one[X]
        y = one[B] * nominal[k, 0] + one[A] * nominal[k, 1] + one[Y]
        ci, cj = floor((x - origin[0]) / cell), floor((y - origin[1]) / cell)
        if min(ci, cj) < 1 or max(ci, cj) > _CELLS - 2 or head[ci, cj] == -2:
            continue
        nearest, which = tolerance, -1
        for i in range(ci - 1, ci + 2):
            for j in range(cj - 1, cj + 2):
                m = head[i, j]
                while m >= 0:
                    away = hypot(found[m, 0] - x, found[m, 1] - y)
                    if away <= nearest and stamp[m] != tried:
                        nearest, which = away, m
                    m = link[m]
        if which >= 0:
            stamp[which] = tried
            votes += 1
            total += nearest * nearest
    one[VOTES] = votes
    one[MISFIT] = total / max(votes, 1)


@inner
def _beats(one: F64, other: F64) -> bool:
    votes: float = one[VOTES] - other[VOTES]
    misfit: float = one[MISFIT] - other[MISFIT]
    return votes > 0.0 or (votes == 0.0 and misfit < 0.0)


@inner
def _same(one: F64, other: F64, nominal: F64, apart: float) -> bool:
    for k in range(len(nominal)):
        x, y = nominal[k, 0], nominal[k, 1]
        dx = (one[A] - other[A]) * x - (one[B] - other[B]) * y + one[X] - other[X]
        dy = (one[B] - other[B]) * x + (one[A] - other[A]) * y + one[Y] - other[Y]
        if hypot(dx, dy) > apart:
            return False
    return True
