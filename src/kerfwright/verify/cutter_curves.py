"""Lines and arcs against one another, in closed form: where they meet, how near they come.

A curve is a row of piece columns, see `columns`. A place on it is the way along from its start.
"""

from __future__ import annotations

from math import atan2, cos, hypot, inf, pi, sin, sqrt

import numpy as np

from kerfwright.kernels import inner
from kerfwright.verify.columns import (
    CX,
    CY,
    F64,
    HEAD,
    LENGTH,
    PLACE,
    RADIUS,
    SWEEP,
    UX,
    UY,
    X0,
    X1,
    Y0,
    Y1,
)
from kerfwright.verify.foot import foot

MOST_MEETS = 16
"""Room for the places of one curve at which it crosses the border of another one's sausage."""


@inner
def point_at(piece: F64, place: float) -> tuple[float, float]:
    """Return the point of a curve at a place."""
    if piece[RADIUS] == 0.0:
        return piece[X0] + place * piece[UX], piece[Y0] + place * piece[UY]
    half = piece[SWEEP] * place / piece[LENGTH] / 2.0
    chord = 2.0 * piece[RADIUS] * sin(half)
    co, si = cos(half), sin(half)
    x = piece[X0] + chord * (piece[UX] * co - piece[UY] * si)
    return x, piece[Y0] + chord * (piece[UX] * si + piece[UY] * co)


@inner
def part_of(piece: F64, low: float, high: float) -> F64:
    """Return the stretch of a curve between two places."""
    out = piece.copy()
    out[X0], out[Y0] = point_at(piece, low)
    out[X1], out[Y1] = point_at(piece, high)
    out[LENGTH] = high - low
    out[PLACE] = piece[PLACE] + low
    if piece[RADIUS] != 0.0:
        out[SWEEP] = piece[SWEEP] * (high - low) / piece[LENGTH]
        turn = piece[SWEEP] * low / piece[LENGTH]
        out[HEAD] = piece[HEAD] + turn
        out[UX] = piece[UX] * cos(turn) - piece[UY] * sin(turn)
        out[UY] = piece[UX] * sin(turn) + piece[UY] * cos(turn)
    return out


@inner
def meet_line(piece: F64, x: float, y: float, ux: float, uy: float, out: F64, count: int) -> int:
    """Add the places at which a curve meets the line through a point; return how many there are."""
    dx, dy = piece[X0] - x, piece[Y0] - y
    off = dx * uy - dy * ux
    if piece[RADIUS] == 0.0:
        slope = piece[UX] * uy - piece[UY] * ux
        if abs(slope) > 1e-12:
            count = _add(-off / slope, piece, out, count)
        return count
    # Off the line, seen from the centre; the normal (uy, -ux) times the radius reaches it twice.
    dx, dy = piece[CX] - x, piece[CY] - y
    off = dx * uy - dy * ux
    size = abs(piece[RADIUS])
    if abs(off) > size:
        return count
    run = sqrt(max((size - off) * (size + off), 0.0))
    for sign in (-1.0, 1.0):
        px, py = -off * uy + sign * run * ux, off * ux + sign * run * uy
        count = _add_angle(atan2(py, px), piece, out, count)
    return count


@inner
def meet_circle(piece: F64, x: float, y: float, radius: float, out: F64, count: int) -> int:
    """Add the places at which a curve meets a circle; return how many there are."""
    if radius <= 0.0:
        return count
    if piece[RADIUS] == 0.0:
        dx, dy = x - piece[X0], y - piece[Y0]
        along = dx * piece[UX] + dy * piece[UY]
        off = abs(dx * piece[UY] - dy * piece[UX])
        if off <= radius:
            run = sqrt((radius - off) * (radius + off))
            count = _add(along - run, piece, out, count)
            count = _add(along + run, piece, out, count)
        return count
    dx, dy = x - piece[CX], y - piece[CY]
    apart, size = hypot(dx, dy), abs(piece[RADIUS])
    if apart < 1e-12 or apart > size + radius or apart < abs(size - radius):
        return count
    cosine = ((size - radius) * (size + radius) + apart * apart) / (2.0 * apart * size)
    turn = np.arccos(min(max(cosine, -1.0), 1.0))
    middle = atan2(dy, dx)
    count = _add_angle(middle - turn, piece, out, count)
    return _add_angle(middle + turn, piece, out, count)


@inner
def nearest(one: F64, two: F64) -> tuple[float, float]:
    """Return the least distance of two curves, and the place on the first where it is."""
    best, place = inf, 0.0
    for n in range(2):
        own, other = (one, two) if n == 0 else (two, one)
        for end in range(2):
            x, y = (own[X0], own[Y0]) if end == 0 else (own[X1], own[Y1])
            d, along, _ = foot(other, x, y)
            if d < best:
                best, place = d, (end * one[LENGTH] if n == 0 else along)
    meets = np.zeros(MOST_MEETS)
    count = _critical(one, two, meets)
    for n in range(count):
        x, y = point_at(one, meets[n])
        d, _, _ = foot(two, x, y)
        if d < best:
            best, place = d, meets[n]
    return best, place


@inner
def is_far(one: F64, two: F64, reach: float) -> bool:
    """Return whether two curves are surely farther apart than a reach.

    No point of a curve is farther from the middle of its chord than half its length.
    """
    ax = (one[X0] + one[X1] - two[X0] - two[X1]) / 2.0
    ay = (one[Y0] + one[Y1] - two[Y0] - two[Y1]) / 2.0
    most = (one[LENGTH] + two[LENGTH]) / 2.0 + reach
    return bool(ax * ax + ay * ay > most * most)


@inner
def crossings(one: F64, two: F64, out: F64, count: int) -> int:
    """Add the places of the first curve at which it meets the second; return how many."""
    before = count
    if two[RADIUS] == 0.0:
        count = meet_line(one, two[X0], two[Y0], two[UX], two[UY], out, count)
    else:
        count = meet_circle(one, two[CX], two[CY], abs(two[RADIUS]), out, count)
    kept = before
    for n in range(before, count):
        x, y = point_at(one, out[n])
        d, _, _ = foot(two, x, y)
        if d < 1e-7:
            out[kept] = out[n]
            kept += 1
    return kept


@inner
def _critical(one: F64, two: F64, out: F64) -> int:
    """Note places inside both curves where their distance can be least: crossings, common normals.

    Of a common normal the places on either side of the centre are both noted.
    """
    count = crossings(one, two, out, 0)
    if two[RADIUS] != 0.0:
        if one[RADIUS] == 0.0:
            along = (two[CX] - one[X0]) * one[UX] + (two[CY] - one[Y0]) * one[UY]
            return _add(along, one, out, count)
        middle = atan2(two[CY] - one[CY], two[CX] - one[CX])
        count = _add_angle(middle, one, out, count)
        return _add_angle(middle + pi, one, out, count)
    if one[RADIUS] != 0.0:
        normal = atan2(-two[UX], two[UY])
        count = _add_angle(normal, one, out, count)
        return _add_angle(normal + pi, one, out, count)
    return count


@inner
def _add(place: float, piece: F64, out: F64, count: int) -> int:
    if 0.0 < place < piece[LENGTH] and count < len(out):
        out[count] = place
        count += 1
    return count


@inner
def _add_angle(angle: float, piece: F64, out: F64, count: int) -> int:
    """Add the place of an arc that lies at an angle seen from its centre, if it does."""
    sign = 1.0 if piece[SWEEP] > 0.0 else -1.0
    start = atan2(-sign * piece[UX], sign * piece[UY])
    ahead = (sign * (angle - start)) % (2.0 * pi)
    return _add(ahead * abs(piece[RADIUS]), piece, out, count)


def ends_of(pieces: F64) -> tuple[tuple[F64, F64], tuple[F64, F64]]:
    """Return x and y of the direction of curves, each at start and end."""
    co, si = np.cos(pieces[:, SWEEP]), np.sin(pieces[:, SWEEP])
    ux, uy = pieces[:, UX], pieces[:, UY]
    return (ux, ux * co - uy * si), (uy, ux * si + uy * co)
