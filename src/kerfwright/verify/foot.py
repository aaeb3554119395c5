"""The nearest place of a contour to a point of the blade, and what lies past corners.

A point of the blade belongs to the nearest piece that the blade is aligned with (within 45
degrees, either way round). Past a corner it may instead belong to the straight continuation of
what ends there: *overrun* along it, and the deviation is then what it is off sideways. The
continuation points the way the blade points, which may be anywhere between the headings in and
out, and a little beyond either.
"""

from __future__ import annotations

from math import atan2, cos, hypot, inf, pi, sin, sqrt
from typing import NamedTuple

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

OVERRUN_MM = 0.5
"""How much farther than its chord a blade may go on past a corner; beyond it is off the contour."""
_ALIGNED = pi / 4.0
_UNALIGNED_MM = 1e4  # put on top of the distance to pieces the blade lies across
_ASKEW = 0.3
_ASKEW_MM = 4.0
"""Where branches meet or cross, the aligned one tells the place: a sine of the angle beyond the
first figure counts as a distance, by its square."""
_ON_CHORD_MM = 1e-3
"""A blade that turns keeps the corner on its chord; strokes end there, but for rounding."""
_SNAP = 5e-6  # rad: a direction that near to the heading at a corner is that heading
_NEARER_MM = 1e-9


class Past(NamedTuple):
    """What counts as going on straight past a corner.

    Parameters
    ----------
    aim : float
        Greatest angle between the blade and the heading at the corner [rad].
    clear : float
        A point that is not farther from the contour than from the continuation, by the overrun
        times `aim` or by so much, stays with the contour: it only happens to lie there. Where the
        blade turns, half the distance is asked for as well [mm].
    """

    aim: float
    clear: float


Look = tuple[float, int, int, int, float, int, float, float]
"""Deviation; piece, kind and corner it is measured to; overrun and slot of the corner it is past;
place and heading of the contour there."""


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
    past_end: Past,
) -> Look:
    """Return what a point of the blade belongs to, among the pieces near[low:high].

    `c` is the blade's direction, `limit` the greatest overrun.
    """
    best, owner, kind, corner = inf, -1, ON_PIECE, -1
    least, place, heading, over, slot = inf, 0.0, 0.0, 0.0, -1
    for j in range(low, high):
        piece = shape.pieces[near[j]]
        # No point of a piece is farther from its start than it is long.
        if hypot(x - piece[X0], y - piece[Y0]) - piece[LENGTH] > least:
            continue
        away, along, head = foot(piece, x, y)
        off = fold(head - c)
        if abs(off) > _ALIGNED:
            away += _UNALIGNED_MM
        if away < best:
            best, owner = away, near[j]
        cost = away + _ASKEW_MM * max(abs(sin(off)) - _ASKEW, 0.0) ** 2
        if cost < least:
            least, place, heading = cost, piece[PLACE] + along, head
    if best >= _UNALIGNED_MM and best < inf:
        best -= _UNALIGNED_MM
    distance, least_off = best, inf
    for j in range(low, high):
        for which in (END_CORNER, START_CORNER):
            k = shape.links[near[j], which]
            if k < 0 or (which == START_CORNER and shape.ends[k, BEFORE] >= 0):
                continue
            reach = hypot(x - shape.corners[k, KX], y - shape.corners[k, KY])
            if reach <= _NEARER_MM or reach > 2.0 * limit:
                continue
            off, past, what, tail, ahead = _past_corner(
                shape.corners[k], shape.ends[k], x, y, c, past_end.aim
            )
            if past <= 0.0 or past > limit or off >= least_off:
                continue
            least_off = off
            piece_of = shape.ends[k, AFTER] if tail else shape.ends[k, BEFORE]
            if piece_of < 0:
                piece_of = shape.ends[k, BEFORE] if tail else shape.ends[k, AFTER]
            if off < best - _NEARER_MM:
                best, owner, kind, corner = off, piece_of, what, k
            clear = max(min(past * past_end.aim, past_end.clear), _NEARER_MM)
            if what == IN_FAN:
                clear = max(clear, distance / 2.0)
            keeps = what == PAST_END or past <= limit - OVERRUN_MM + _ON_CHORD_MM
            if off < distance - clear and keeps:
                over, slot = past, 4 * k + 2 * tail + (what == IN_FAN)
                piece = shape.pieces[piece_of]
                is_end = piece_of == shape.ends[k, BEFORE]
                place = piece[PLACE] + (piece[LENGTH] if is_end else 0.0)
                heading = ahead
    return best, owner, kind, corner, over, slot, place, heading


@inner
def _past_corner(
    corner: F64, ends: I64, x: float, y: float, c: float, aim: float
) -> tuple[float, float, int, int, float]:
    """Return how far a point is off and along a continuation, kind, whether backwards, heading."""
    dx, dy = x - corner[KX], y - corner[KY]
    turn = corner[KTURN]
    first = fold(c - corner[KHEAD])
    for m in (-1.0, 0.0, 1.0):
        way = first + m * pi
        if min(turn, 0.0) + _SNAP < way < max(turn, 0.0) - _SNAP:
            head = corner[KHEAD] + way
            tx, ty = cos(head), sin(head)
            past = dx * tx + dy * ty
            return abs(dx * ty - dy * tx), abs(past), IN_FAN, int(past < 0.0), head
    off_in, off_out = abs(first), abs(fold(c - corner[KHEAD] - turn))
    off, past, tail, head = inf, -1.0, 0, corner[KHEAD]
    if ends[BEFORE] >= 0 and off_in <= aim and off_in <= off_out + _SNAP:
        past = dx * corner[KINX] + dy * corner[KINY]
        off = abs(dx * corner[KINY] - dy * corner[KINX])
    if past <= 0.0 and ends[AFTER] >= 0 and off_out <= aim and off_out <= off_in + _SNAP:
        past, tail, head = -(dx * corner[KOUTX] + dy * corner[KOUTY]), 1, head + turn
        off = abs(dx * corner[KOUTY] - dy * corner[KOUTX])
    return off, past, PAST_END, tail, head
