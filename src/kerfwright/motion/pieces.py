"""Blocks cut into pieces whose fastest motion has a closed form.

A straight block is one piece. An arc is cut where its tangent is parallel to x or y, and where the
speed limit that rules changes between feed, x and y. Between pieces lie boundaries, each with the
greatest square of the speed at which it may be passed.
"""

from __future__ import annotations

from math import acos, asin, atan2, sqrt
from typing import Final, NamedTuple

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.motion.blocks import (
    ARC,
    B_ANGLE,
    B_PLANAR,
    B_PULL,
    B_RADIUS,
    B_SHAPE,
    B_SWEEP,
    B_TOP,
    NO_LIMIT,
    Blocks,
)
from kerfwright.motion.joints import OWN, Joints
from kerfwright.motion.quadrant import CLIMBS, LEVEL, QUARTER, SINKS, Quadrant, greatest

STRAIGHT_PIECE: Final = 0
_SNAP: Final = (
    1e-10  # an arc's begin this close to where its tangent is parallel to an axis is there
)
_SLIVER: Final = 1e-10  # no piece is cut off an arc below it [rad]


BLOCK, SHAPE, RISING = 0, 1, 2
"""Columns of `Pieces.code`: block, STRAIGHT_PIECE or the shape of the ceiling, and the axis (0 x,
1 y) whose share of the speed grows."""

TAU, SPAN, CEILING_Y = 0, 1, 2
"""Columns of `Pieces.number`: where in its quadrant a piece of an arc begins and its angle [rad];
the greatest y, y c^2 or y s^2 of arcs (see `quadrant`), v^2 of straight ones."""


class Pieces(NamedTuple):
    """P pieces and their P + 1 boundaries.

    `code` (P, 3) and `number` (P, 3) as their columns say; `most` (P + 1,) the greatest v^2 at each
    boundary [mm2/s2, rad2/s2] and `held` (P + 1,) by what: OWN, STOP or CORNER.
    """

    code: I64
    number: F64
    most: F64
    held: I64


def pieces_of(blocks: Blocks, joints: Joints, *, speed: F64, acceleration: F64) -> Pieces:
    """Return all pieces of the blocks that move, in order, with their boundaries.

    Parameters
    ----------
    blocks : Blocks
        The blocks as curves.
    joints : Joints
        Joints between those that move.
    speed, acceleration : ndarray of shape (4,), float
        Limits of the axes [mm/s, rad/s, mm/s2, rad/s2].
    """
    return Pieces(
        *_cut_up(
            blocks.code,
            blocks.number,
            joints.blocks,
            joints.speed,
            joints.kind,
            speed,
            acceleration,
        )
    )


@inner
def quadrant_of(code: I64, number: F64, block_number: F64, acceleration: F64, k: int) -> Quadrant:
    """Return piece k, of an arc, in canonical form."""
    rising = code[k, RISING]
    return Quadrant(
        number[k, TAU],
        number[k, SPAN],
        acceleration[rising],
        acceleration[1 - rising],
        block_number[code[k, BLOCK], B_PULL],
        code[k, SHAPE],
        number[k, CEILING_Y],
    )


@inner
def bend(block_number: F64, b: int) -> float:
    """Return y over v^2 of an arc: the square of its share in the plane over the radius [1/mm]."""
    share, radius = float(block_number[b, B_PLANAR]), float(block_number[b, B_RADIUS])
    return share * share / radius


@kernel
def _cut_up(
    block_code: I64,
    block_number: F64,
    moving: I64,
    joint_speed: F64,
    joint_kind: I64,
    speed: F64,
    acceleration: F64,
) -> tuple[I64, F64, F64, I64]:
    size = 0
    for b in moving:
        arc = block_code[b, B_SHAPE] == ARC
        size += 3 * (int(block_number[b, B_SWEEP] / QUARTER) + 2) if arc else 1
    code, number = np.zeros((size, 3), np.int64), np.zeros((size, 3))
    most, held = np.full(size + 1, NO_LIMIT), np.full(size + 1, OWN)
    firsts = np.zeros(len(moving) + 1, np.int64)
    for i in range(len(moving)):
        b, n = moving[i], firsts[i]
        most[n] = joint_speed[i] ** 2
        held[n] = joint_kind[i]
        if block_code[b, B_SHAPE] == ARC:
            firsts[i + 1] = _cut_arc(code, number, block_number, speed, b, n)
        else:
            code[n, BLOCK] = b
            number[n, CEILING_Y] = min(block_number[b, B_TOP] ** 2, NO_LIMIT)
            firsts[i + 1] = n + 1
    n = firsts[-1]
    most[n] = joint_speed[-1] ** 2
    held[n] = joint_kind[-1]
    for k in range(n):
        first = last = number[k, CEILING_Y]
        if code[k, SHAPE] != STRAIGHT_PIECE:
            q = quadrant_of(code, number, block_number, acceleration, k)
            scale = 1.0 / bend(block_number, code[k, BLOCK])
            first, last = greatest(q, 0.0) * scale, greatest(q, q.span) * scale
        if first < most[k]:
            most[k], held[k] = first, OWN
        if last < most[k + 1]:
            most[k + 1], held[k + 1] = last, OWN
    return code[:n].copy(), number[:n].copy(), most[: n + 1].copy(), held[: n + 1].copy()


@inner
def _cut_arc(code: I64, number: F64, block_number: F64, speed: F64, b: int, n: int) -> int:
    """Write the pieces of one arc from row n on; return the next free row."""
    first = int(block_number[b, B_ANGLE] / QUARTER + _SNAP)
    begin = max(block_number[b, B_ANGLE] - first * QUARTER, 0.0)
    begin = 0.0 if begin < _SNAP else begin
    whole = begin + block_number[b, B_SWEEP]
    level = min(bend(block_number, b) * block_number[b, B_TOP] ** 2, NO_LIMIT)
    for turn in range(max(int(np.ceil((whole - _SNAP) / QUARTER)), 1)):
        end = min(whole - turn * QUARTER, QUARTER)
        if whole - (turn + 1) * QUARTER <= _SNAP:
            end = whole - turn * QUARTER
        # A piece that is the whole arc keeps its sweep, which a difference of angles would round.
        width = block_number[b, B_SWEEP] if end == whole else end - begin
        rising = (first + turn) % 2
        rising_y = speed[rising] ** 2 / block_number[b, B_RADIUS]
        falling_y = speed[1 - rising] ** 2 / block_number[b, B_RADIUS]
        climbs_to, sinks_from = _borders(rising_y, falling_y, level)
        low = begin
        for shape in (CLIMBS, LEVEL, SINKS):
            high, top = end, level
            if shape == CLIMBS:
                high, top = climbs_to, falling_y
            elif shape == LEVEL:
                high = sinks_from
            else:
                top = rising_y
            if high > end - _SLIVER:
                high = end
            if high - low > _SLIVER or (low == begin and high == end):
                code[n, BLOCK], code[n, SHAPE], code[n, RISING] = b, shape, rising
                number[n, TAU], number[n, CEILING_Y] = low, top
                number[n, SPAN] = width if low == begin and high == end else high - low
                low = high
                n += 1
        begin = 0.0
    return n


@inner
def _borders(rising_y: float, falling_y: float, level: float) -> tuple[float, float]:
    """Return up to where the speed of the falling axis rules, and from where the rising one's."""
    climbs_to, sinks_from = 0.0, QUARTER * 2.0
    if falling_y < level:
        climbs_to = acos(sqrt(falling_y / level))
    if rising_y < level:
        sinks_from = asin(sqrt(rising_y / level))
    if climbs_to > sinks_from:
        climbs_to = sinks_from = atan2(sqrt(rising_y), sqrt(falling_y))
    return climbs_to, sinks_from
