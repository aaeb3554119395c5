"""Stretches of contours added up: what is covered, where the greatest gap is, what is cut twice."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.kernels import kernel
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
    past = _wraps(row, low, high, length, closed)
    return (
        np.concatenate((row, row[past])),
        np.concatenate((begin, np.zeros(past.sum()))),
        np.concatenate((np.minimum(end, whole), (end - whole)[past])),
    )


def _wraps(row: I64, low: F64, high: F64, length: F64, closed: BOOL) -> BOOL:
    """Return which stretches pass the start of a closed contour."""
    whole = length[row]
    turns = np.floor(low / np.where(whole > 0.0, whole, 1.0))
    begin = low - turns * whole
    past: BOOL = closed[row] & (begin + np.minimum(high - low, whole) > whole)
    return past


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


def repeats(
    merged: Merged, *, whole: F64, allowed: I64, chord: F64, length: F64, closed: BOOL
) -> F64:
    """Return, per contour, the longest stretch cut by more strokes than allowed, 0 for none.

    Strokes that have only a little in common are no repeat: less than a chord of the blade, or
    than half of the shortest of them.

    Parameters
    ----------
    merged : Merged
        What each stroke covers of each contour.
    whole : ndarray of shape (E,), float
        Length of the stroke each stretch belongs to [mm].
    allowed : ndarray of shape (E,), int
        How often it may be cut; where strokes that differ meet, the greatest of them.
    chord, length : ndarray of shape (K,), float
        Chord of the blade and length of each contour [mm].
    closed : ndarray of shape (K,), bool
        Whether places wrap around.
    """
    entry = np.arange(len(merged.row))
    past = _wraps(merged.row, merged.low, merged.high, length, closed)
    row, low, high = _inside(merged.row, merged.low, merged.high, length, closed)
    entry = np.concatenate((entry, entry[past]))
    order = np.lexsort((low, row))
    entry = entry[order]
    return _most_often(
        row[order], low[order], high[order], whole[entry], allowed[entry], chord, len(length)
    )


@kernel
def _most_often(
    row: I64, low: F64, high: F64, whole: F64, allowed: I64, chord: F64, rows: int
) -> F64:
    out = np.zeros(rows)
    active = np.zeros(len(row), np.int64)
    i = 0
    while i < len(row):
        k, count, run, least = row[i], 0, 0.0, np.inf
        at = low[i]
        while True:
            while i < len(row) and row[i] == k and low[i] <= at:
                active[count] = i
                i, count = i + 1, count + 1
            begins = low[i] if i < len(row) and row[i] == k else np.inf
            if count == 0 and begins == np.inf:
                break
            until, most, shortest = begins, 0, np.inf
            for j in active[:count]:
                until = min(until, high[j])
                most, shortest = max(most, allowed[j]), min(shortest, whole[j])
            if count > most:
                run, least = run + until - at, min(least, shortest)
                if run > chord[k] and run > least / 2.0:
                    out[k] = max(out[k], run)
            else:
                run, least = 0.0, np.inf
            at = until
            left = 0
            for j in active[:count]:
                if high[j] > at:
                    active[left] = j
                    left += 1
            count = left
    return out
