"""The nearest place of a contour to a point of the blade, and what lies past corners.

A point of the blade belongs to the nearest piece that the blade is aligned with (within 45
degrees, either way round). Past a corner it may instead belong to the straight continuation of
what ends there: *overrun* along it, and the deviation is then what it is off sideways. The
continuation points the way the blade points, which may be anywhere between the headings in and
out, and a little beyond either.
"""

from __future__ import annotations

from math import atan2, cos, hypot, inf, pi, sin, sqrt

from kerfwright.kernels import inner
from kerfwright.verify.columns import (
    AFTER,
    BEFORE,
    END_CORNER,
    F64,
    HEAD,
    I64,
    KHEAD,
    KINX,
    KINY,
    KOUTX,
    KOUTY,
    KTURN,
    KX,
    KY,
    LENGTH,
    PLACE,
    RADIUS,
    START_CORNER,
    SWEEP,
    UX,
    UY,
    X0,
    X1,
    Y0,
    Y1,
    Shape,
)

ON_PIECE, PAST_END, IN_FAN = range(3)
"""What a point belongs to: a piece, the straight continuation of one, or a turn at a corner."""

_ALIGNED = pi / 4.0
_UNALIGNED_MM = 1e4  # put on top of the distance to pieces the blade lies across
_BETTER_ALIGNED_MM = 1e-3  # where branches cross, the aligned one tells the place
_SNAP = 5e-6  # rad: a direction that near to the heading at a corner is that heading
_NEARER_MM = 1e-9

Look = tuple[float, int, int, float, int, float, float]
"""Deviation, piece, what it belongs to, overrun, slot of the corner, place, heading there."""


@inner
def fold(angle: float) -> float:
    """Return an angle modulo half a turn, in -pi/2..pi/2."""
    return angle - pi * round(angle / pi)


@inner
def foot(piece: F64, x: float, y: float) -> tuple[float, float, float]:
    """Return the distance to a piece, the way along it to the nearest point, the heading there."""
    dx, dy = x - piece[X0], y - piece[Y0]
    if piece[RADIUS] == 0.0:
        along = min(max(dx * piece[UX] + dy * piece[UY], 0.0), piece[LENGTH])
        return hypot(dx - along * piece[UX], dy - along * piece[UY]), along, piece[HEAD]
    sign = 1.0 if piece[SWEEP] > 0.0 else -1.0
    size = sign * piece[RADIUS]
    outx, outy = sign * piece[UY], -sign * piece[UX]
    lift = dx * outx + dy * outy
    angle = sign * atan2(outx * dy - outy * dx, size + lift)
    if angle < 0.0:
        angle += 2.0 * pi
    if angle <= sign * piece[SWEEP]:
        # Not |q - centre| - radius, which loses all digits when the radius is large.
        square = dx * dx + dy * dy
        reach = hypot(size + lift, outx * dy - outy * dx)
        off = abs(square + 2.0 * size * lift) / (reach + size)
        return off, angle * size, piece[HEAD] + sign * angle
    ex, ey = x - piece[X1], y - piece[Y1]
    if dx * dx + dy * dy <= ex * ex + ey * ey:
        return sqrt(dx * dx + dy * dy), 0.0, piece[HEAD]
    return sqrt(ex * ex + ey * ey), piece[LENGTH], piece[HEAD] + piece[SWEEP]


@inner
def look(
    shape: Shape,
    near: I64,
    low: int,
    high: int,
    x: float,
    y: float,
    c: float,
    limit: float,
    aim: float,
) -> Look:
    """Return what a point of the blade belongs to, among the pieces near[low:high].

    `c` is the blade's direction, `limit` the greatest overrun, `aim` how far the blade may point
    away from a continuation.
    """
    best, owner, kind, over, slot = inf, -1, ON_PIECE, 0.0, -1
    least, place, heading = inf, 0.0, 0.0
    for j in range(low, high):
        piece = shape.pieces[near[j]]
        # No point of a piece is farther from its start than it is long.
        if hypot(x - piece[X0], y - piece[Y0]) - piece[LENGTH] > best + 2.0 * _BETTER_ALIGNED_MM:
            continue
        distance, along, head = foot(piece, x, y)
        off = fold(head - c)
        if abs(off) > _ALIGNED:
            distance += _UNALIGNED_MM
        if distance < best:
            best, owner = distance, near[j]
        cost = distance + _BETTER_ALIGNED_MM * sin(off) ** 2
        if cost < least:
            least, place, heading = cost, piece[PLACE] + along, head
    if best >= _UNALIGNED_MM and best < inf:
        best -= _UNALIGNED_MM
    for j in range(low, high):
        for which in (END_CORNER, START_CORNER):
            k = shape.links[near[j], which]
            if k < 0 or (which == START_CORNER and shape.ends[k, BEFORE] >= 0):
                continue
            reach = hypot(x - shape.corners[k, KX], y - shape.corners[k, KY])
            if reach <= _NEARER_MM or reach > 2.0 * limit:
                continue
            off, past, what, tail = _past_corner(shape.corners[k], shape.ends[k], x, y, c, aim)
            if 0.0 < past <= limit and off < best - _NEARER_MM:
                best, kind, over, slot = off, what, past, 4 * k + 2 * tail + (what == IN_FAN)
                owner = shape.ends[k, AFTER] if tail else shape.ends[k, BEFORE]
                if owner < 0:
                    owner = shape.ends[k, BEFORE] if tail else shape.ends[k, AFTER]
                piece = shape.pieces[owner]
                is_end = owner == shape.ends[k, BEFORE]
                place = piece[PLACE] + (piece[LENGTH] if is_end else 0.0)
                heading = c
                if what == PAST_END:
                    heading = piece[HEAD] + (piece[SWEEP] if is_end else 0.0)
    return best, owner, kind, over, slot, place, heading


@inner
def _past_corner(
    corner: F64, ends: I64, x: float, y: float, c: float, aim: float
) -> tuple[float, float, int, int]:
    """Return how far a point is off and along a continuation, which kind, and whether backwards."""
    dx, dy = x - corner[KX], y - corner[KY]
    turn = corner[KTURN]
    first = fold(c - corner[KHEAD])
    for m in (-1.0, 0.0, 1.0):
        way = first + m * pi
        if min(turn, 0.0) + _SNAP < way < max(turn, 0.0) - _SNAP:
            tx, ty = cos(corner[KHEAD] + way), sin(corner[KHEAD] + way)
            past = dx * tx + dy * ty
            return abs(dx * ty - dy * tx), abs(past), IN_FAN, int(past < 0.0)
    off_in, off_out = abs(first), abs(fold(c - corner[KHEAD] - turn))
    off, past, tail = inf, -1.0, 0
    if ends[BEFORE] >= 0 and off_in <= aim and off_in <= off_out + _SNAP:
        past = dx * corner[KINX] + dy * corner[KINY]
        off = abs(dx * corner[KINY] - dy * corner[KINX])
    if past <= 0.0 and ends[AFTER] >= 0 and off_out <= aim and off_out <= off_in + _SNAP:
        past, tail = -(dx * corner[KOUTX] + dy * corner[KOUTY]), 1
        off = abs(dx * corner[KOUTY] - dy * corner[KOUTX])
    return off, past, PAST_END, tail
