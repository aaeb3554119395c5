"""Stretches of contours added up: what is covered, where the greatest gap is, what is cut twice."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.kernels import inner, kernel
from kerfwright.verify.columns import BOOL, F64, I64


class Merged(NamedTuple):
    """Stretches of contours, each by one stroke; sorted by contour and stroke.

    Parameters
    ----------
    row, stroke : ndarray of shape (E,), int
        Contour and stroke.
    low, high : ndarray of shape (E,), float
        Ends; on a closed contour a stretch begins in 0..length and may end beyond [mm].
    """

    row: I64
    stroke: I64
    low: F64
    high: F64


def covered(row: I64, low: F64, high: F64, *, length: F64, closed: BOOL) -> tuple[F64, F64]:
    """Return the length covered of each of K contours and the middle of its greatest gap.

    Parameters
    ----------
    row : ndarray of shape (E,), int
        Contour of each stretch.
    low, high : ndarray of shape (E,), float
        Its ends [mm].
    length : ndarray of shape (K,), float
        Length of each contour [mm].
    closed : ndarray of shape (K,), bool
        Whether places wrap around.
    """
    row, low, high = _inside(row, low, high, length, closed)
    order = np.lexsort((low, row))
    return _add_up(row[order], low[order], high[order], length, closed)


def _inside(row: I64, low: F64, high: F64, length: F64, closed: BOOL) -> tuple[I64, F64, F64]:
    """Return stretches cut to their contours; those that pass the start of a closed one in two."""
    whole, wraps = length[row], closed[row]
    size = np.minimum(high - low, whole)
    turns = np.floor(low / np.where(whole > 0.0, whole, 1.0))
    begin = np.where(wraps, low - turns * whole, np.clip(low, 0.0, whole))
    end = np.where(wraps, begin + size, np.clip(high, 0.0, whole))
    past = wraps & (end > whole)
    return (
        np.concatenate((row, row[past])),
        np.concatenate((begin, np.zeros(past.sum()))),
        np.concatenate((np.minimum(end, whole), (end - whole)[past])),
    )


@kernel
def _add_up(row: I64, low: F64, high: F64, length: F64, closed: BOOL) -> tuple[F64, F64]:
    total, gap_at = np.zeros(len(length)), length / 2.0
    i = 0
    for k in range(len(length)):
        widest, reached, first = 0.0, 0.0, 0.0
        is_first = True
        while i < len(row) and row[i] == k:
            if is_first:
                first, is_first = low[i], False
                widest, gap_at[k] = low[i], low[i] / 2.0
                reached = low[i]
            if low[i] - reached > widest:
                widest, gap_at[k] = low[i] - reached, (low[i] + reached) / 2.0
            total[k] += max(high[i] - max(low[i], reached), 0.0)
            reached = max(reached, high[i])
            i += 1
        if is_first:
            continue
        rest = length[k] - reached
        if closed[k]:
            if first + rest > widest:
                middle = reached + (first + rest) / 2.0
                gap_at[k] = middle - length[k] if middle > length[k] else middle
        elif rest > widest:
            gap_at[k] = reached + rest / 2.0
    return total, gap_at


def merge_by_stroke(
    row: I64, stroke: I64, low: F64, high: F64, *, length: F64, closed: BOOL
) -> Merged:
    """Return what each stroke covers of each contour, in as few stretches as possible."""
    wraps = closed[row] & (length[row] > 0.0)
    whole = np.where(wraps, length[row], 1.0)
    shift = np.where(wraps, np.floor(low / whole) * whole, 0.0)
    low, high = low - shift, high - shift
    order = np.lexsort((low, stroke, row))
    return Merged(*_merge(row[order], stroke[order], low[order], high[order], length, closed))


@kernel
def _merge(
    row: I64, stroke: I64, low: F64, high: F64, length: F64, closed: BOOL
) -> tuple[I64, I64, F64, F64]:
    rows, strokes = np.zeros(len(row), np.int64), np.zeros(len(row), np.int64)
    lows, highs = np.zeros(len(row)), np.zeros(len(row))
    n, group = 0, 0
    for i in range(len(row) + 1):
        is_new = i == len(row) or i == 0 or row[i] != row[i - 1] or stroke[i] != stroke[i - 1]
        if is_new and n > group:
            k = rows[group]
            if closed[k] and n - group > 1 and highs[n - 1] >= lows[group] + length[k]:
                highs[n - 1] = max(highs[n - 1], highs[group] + length[k])
                lows[group], highs[group] = lows[n - 1], highs[n - 1]
                n -= 1
            for j in range(group, n):
                if closed[k] and highs[j] - lows[j] > length[k]:
                    highs[j] = lows[j] + length[k]
            group = n
        if i == len(row):
            break
        if not is_new and low[i] <= highs[n - 1]:
            highs[n - 1] = max(highs[n - 1], high[i])
            continue
        rows[n], strokes[n], lows[n], highs[n] = row[i], stroke[i], low[i], high[i]
        n += 1
    return rows[:n], strokes[:n], lows[:n], highs[:n]


@kernel
def repeats(
    row: I64,
    stroke: I64,
    low: F64,
    high: F64,
    chord: F64,
    allowed: I64,
    length: F64,
    closed: BOOL,
) -> F64:
    """Return, per contour, the longest stretch cut again by more strokes than allowed, 0 for none.

    Stretches are sorted by contour and stroke. Two strokes are a repeat when they have more in
    common than half of the shorter one and than a chord of the blade. `allowed` is how often each
    stretch may be cut.
    """
    out = np.zeros(len(length))
    begin = 0
    while begin < len(row):
        k, end = row[begin], begin
        period = length[k] if closed[k] else 0.0
        while end < len(row) and row[end] == k:
            end += 1
        one = begin
        while one < end:
            after, size = _stroke_end(row, stroke, low, high, one)
            count, longest, other = 1, 0.0, begin
            while other < end:
                next_other, other_size = _stroke_end(row, stroke, low, high, other)
                common = 0.0
                for i in range(one, after):
                    for j in range(other, next_other):
                        if one != other:
                            common += _common(low, high, i, j, period)
                if common > min(size, other_size) / 2.0 and common > chord[k]:
                    count += 1
                    longest = max(longest, common)
                other = next_other
            if count > allowed[one] and longest > out[k]:
                out[k] = longest
            one = after
        begin = end
    return out


@inner
def _stroke_end(row: I64, stroke: I64, low: F64, high: F64, i: int) -> tuple[int, float]:
    """Return where the stretches of a stroke end that begin at i, and their length in all."""
    j, size = i, 0.0
    while j < len(row) and row[j] == row[i] and stroke[j] == stroke[i]:
        size += high[j] - low[j]
        j += 1
    return j, size


@inner
def _common(low: F64, high: F64, i: int, j: int, period: float) -> float:
    """Return the length two stretches have in common, on a closed contour whole turns apart too."""
    common: float = max(min(high[i], high[j]) - max(low[i], low[j]), 0.0)
    if period > 0.0:
        common += max(min(high[i], high[j] + period) - max(low[i], low[j] + period), 0.0)
        common += max(min(high[i], high[j] - period) - max(low[i], low[j] - period), 0.0)
    return common
