"""Which stretch of its contour each slice covers, at three levels of depth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.kernels import inner, kernel
from kerfwright.verify.case import Case
from kerfwright.verify.chord import chord, pose, speed
from kerfwright.verify.columns import (
    BREF,
    F64,
    I64,
    SZ0,
    SZ1,
    Shape,
)
from kerfwright.verify.foot import OVERRUN_MM, Past, look
from kerfwright.verify.near import REACH_MM
from kerfwright.verify.spans import covered

ANY, REFERENCE, DEEP = 1, 2, 4
"""Levels a stretch is covered at: at all, at the reference plane, at full depth. Flags."""
_STRETCH = 1.5  # a foot on the inside of a bend runs ahead of the blade, but not more than that
_LEEWAY_MM = 0.05
_PARTS = 256.0
_MOST_SPANS = 64

Foot = tuple[float, float, float, bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretches:
    """E stretches of contours that slices cover.

    Parameters
    ----------
    entry : ndarray of shape (E,), int
        Entry of the list of slices given.
    low, high : ndarray of shape (E,), float
        Places along the contour; on a closed one they may lie outside of it [mm].
    flags : ndarray of shape (E,), int
        Levels.
    advance : ndarray of shape (N,), float
        How far each slice goes along its contour, negative against its drawn direction [mm].
    """

    entry: I64
    low: F64
    high: F64
    flags: I64
    advance: F64


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """Length of each contour covered at one level, and the middle of its greatest gap.

    Parameters
    ----------
    length, gap : ndarray of shape (K,), float
        Length covered, and place [mm].
    """

    length: F64
    gap: F64


def levels_of(case: Case, views: I64, stretches: Stretches) -> dict[int, Level]:
    """Return what is covered at each level by the slices of some views."""
    row = case.views.row[views][stretches.entry]
    shape, out = case.wanted.shape, {}
    for level in (ANY, REFERENCE, DEEP):
        keep = (stretches.flags & level) > 0
        length, gap = covered(
            row[keep],
            stretches.low[keep],
            stretches.high[keep],
            length=shape.length,
            closed=shape.closed,
        )
        out[level] = Level(length=length, gap=gap)
    return out


def stretches_of(
    shape: Shape,
    near: I64,
    first: I64,
    last: I64,
    row: I64,
    at: F64,
    blade_of: I64,
    blades: F64,
    reference_z: F64,
    reached_z: F64,
    deep_z: F64,
    past_end: Past,
) -> Stretches:
    """Return what N slices cover, each of its own contour."""
    found, advance = _cover(
        shape,
        near,
        first,
        last,
        row,
        at,
        blade_of,
        blades,
        reference_z,
        reached_z,
        deep_z,
        past_end,
    )
    return Stretches(
        entry=found[:, 0].astype(np.int64),
        low=found[:, 1],
        high=found[:, 2],
        flags=found[:, 3].astype(np.int64),
        advance=advance,
    )


@kernel
def _cover(
    shape: Shape,
    near: I64,
    first: I64,
    last: I64,
    row: I64,
    at: F64,
    blade_of: I64,
    blades: F64,
    reference_z: F64,
    reached_z: F64,
    deep_z: F64,
    past_end: Past,
) -> tuple[F64, F64]:
    """Return entry, low, high and flags of each stretch, and how far each slice goes."""
    out, count = np.zeros((2 * len(row) + _MOST_SPANS, 4)), 0
    advance = np.zeros(len(row))
    spans = np.zeros((_MOST_SPANS, 2))
    shares = np.zeros((4, 2))
    for i in range(len(row)):
        k, one, blade = row[i], at[i], blades[blade_of[i]]
        period = shape.length[k] if shape.closed[k] else 0.0
        shares[0, 0], shares[0, 1] = 0.0, 1.0
        shares[1, 0], shares[1, 1] = _shares(one[SZ0], one[SZ1], reached_z[k])
        shares[2, 0], shares[2, 1] = _shares(one[SZ0], one[SZ1], deep_z[k])
        shares[3, 0], shares[3, 1] = -1.0, -1.0
        flags = 0
        for n in range(3):
            begun, ended = shares[n, 0], shares[n, 1]
            flags |= 1 << n
            if begun == shares[n + 1, 0] and ended == shares[n + 1, 1]:
                continue  # the next level is covered by the same
            found = 0
            if begun >= 0.0:
                found = _spans(
                    shape, near, first[i], last[i], one, blade, reference_z[k], begun, ended,
                    period, past_end, spans,
                )  # fmt: skip
            if count + found > len(out):
                out = _grown(out)
            for j in range(found):
                out[count, 0], out[count, 1], out[count, 2] = i, spans[j, 0], spans[j, 1]
                out[count, 3] = flags
                count += 1
            flags = 0
        here = _foot(shape, near, first[i], last[i], one, 0.0, blade[BREF], OVERRUN_MM, past_end)
        there = _foot(shape, near, first[i], last[i], one, 1.0, blade[BREF], OVERRUN_MM, past_end)
        advance[i] = _unwrapped(there, here, period) - here
    return out[:count], advance


@inner
def _grown(out: F64) -> F64:
    more = np.zeros((2 * len(out), out.shape[1]))
    for i in range(len(out)):
        for j in range(out.shape[1]):
            more[i, j] = out[i, j]
    return more


@inner
def _shares(z0: float, z1: float, level: float) -> tuple[float, float]:
    """Return the shares between which the tip is at or below a level, -1 for never."""
    if z0 <= level and z1 <= level:
        return 0.0, 1.0
    if z0 > level and z1 > level:
        return -1.0, -1.0
    cross = (level - z0) / (z1 - z0)
    return (0.0, cross) if z0 <= level else (cross, 1.0)


@inner
def _spans(
    shape: Shape,
    near: I64,
    low: int,
    high: int,
    at: F64,
    blade: F64,
    reference_z: float,
    begun: float,
    ended: float,
    period: float,
    past_end: Past,
    out: F64,
) -> int:
    """Write what the chord at the reference plane covers between two shares; return how many.

    One span, unless the feet of the chord jump along the contour faster than the chord moves:
    then the slice is halved, and what still jumps when it is short covers nothing.
    """
    parts, done, count = 1.0, 0.0, 0
    while done < parts and count < len(out):
        one = begun + (ended - begun) * done / parts
        two = begun + (ended - begun) * (done + 1.0) / parts
        is_one = _span(
            shape, near, low, high, at, blade, reference_z, one, two, period, past_end,
            out[count],
        )  # fmt: skip
        if not is_one and parts < _PARTS:
            parts, done = 2.0 * parts, 2.0 * done
            continue
        count += int(is_one)
        done += 1.0
        while parts > 1.0 and done % 2.0 == 0.0 and done < parts:
            parts, done = parts / 2.0, done / 2.0
    return count


@inner
def _span(
    shape: Shape,
    near: I64,
    low: int,
    high: int,
    at: F64,
    blade: F64,
    reference_z: float,
    begun: float,
    ended: float,
    period: float,
    past_end: Past,
    out: F64,
) -> bool:
    origin, least, most = 0.0, 0.0, 0.0
    widest = 0.0
    for n in range(2):
        t = ended if n else begun
        _, _, z, _ = pose(at, t)
        back, front = chord(blade, reference_z - z)
        widest = max(widest, front - back)
        for side in range(2):
            s = front if side else back
            limit = front - back + OVERRUN_MM
            place = _foot(shape, near, low, high, at, t, s, limit, past_end)
            if place == np.inf:
                return False
            if n == 0 and side == 0:
                origin = least = most = place
            place = _unwrapped(place, origin, period)
            least, most = min(least, place), max(most, place)
    way = speed(at, max(abs(blade[BREF]), widest), 0.0) * (ended - begun)
    out[0], out[1] = least, most
    return most - least <= _STRETCH * (way + widest) + _LEEWAY_MM


@inner
def _foot(
    shape: Shape,
    near: I64,
    low: int,
    high: int,
    at: F64,
    t: float,
    s: float,
    limit: float,
    past_end: Past,
) -> float:
    """Return the place opposite a point of the blade; infinite where nothing is in reach."""
    x, y, _, c = pose(at, t)
    ux, uy = np.cos(c), np.sin(c)
    seen = look(shape, near, low, high, x + s * ux, y + s * uy, c, limit, past_end)
    return np.inf if seen[0] > REACH_MM else seen[6]


@inner
def _unwrapped(place: float, origin: float, period: float) -> float:
    """Return a place counted on past the start of a closed contour, nearest to another place.

    `period` is the length of a closed contour, 0 of an open one.
    """
    if period <= 0.0 or place == np.inf:
        return place
    return place - period * round((place - origin) / period)
