"""A plan run through leg by leg: time of each block, time by cause, and points to play back."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.motion.blocks import (
    B_LENGTH,
    B_PLANAR,
    B_PULL,
    B_PULL_CAUSE,
    B_RADIUS,
    B_SWEEP,
    B_TOP_CAUSE,
    Blocks,
)
from kerfwright.motion.causes import Cause
from kerfwright.motion.joints import CORNER
from kerfwright.motion.legs import (
    ALL_LEGS,
    L_BACK,
    L_BEGIN,
    L_END,
    L_FIRST,
    L_KIND,
    L_LAST,
    L_TIME,
    arc_legs,
    on_leg,
    straight_legs,
)
from kerfwright.motion.pieces import (
    BLOCK,
    CEILING_Y,
    SHAPE,
    SPAN,
    STRAIGHT_PIECE,
    Pieces,
    bend,
    quadrant_of,
)
from kerfwright.motion.plan import Plan
from kerfwright.motion.quadrant import CEILING, LEVEL, PULL, QUARTER, Quadrant
from kerfwright.motion.way import MOST_LEGS

POINTS_PER_BLOCK: Final = 4096
"""No block gets more points to play back; long spirals are then sampled more thinly."""

P_WAY, P_SQUARE, P_GAIN = 0, 1, 2
"""Columns of `Run.point`: length from the block's begin [mm, rad], v^2, acceleration along it."""

_STEP_RAD: Final = 0.05
_PIECES_SHOWN: Final = 1024
_N_CAUSES: Final = len(Cause)
_ACCELERATION: Final = int(Cause.ACCELERATION)
_XY_SPEED: Final = int(Cause.XY_SPEED)
_CORNER: Final = int(Cause.CORNER)


class Run(NamedTuple):
    """Times and points of a plan.

    `block_s` (M,) time of each block and `cause_s` (9,) by `Cause` [s]; `point` (G, 3) as its
    columns say; `label` (G, 2) block of each point and what holds the speed from there on.
    """

    block_s: F64
    cause_s: F64
    point: F64
    label: I64


def run_through(
    pieces: Pieces, blocks: Blocks, plan: Plan, *, acceleration: F64, per_leg: int = 0
) -> Run:
    """Return times and points of a plan.

    Parameters
    ----------
    pieces : Pieces
        All pieces with their boundaries.
    blocks : Blocks
        The blocks they belong to.
    plan : Plan
        The plan over them.
    acceleration : ndarray of shape (4,), float
        Limits of the axes [mm/s2, rad/s2].
    per_leg : int, default 0
        Points on every leg; 0 gives what playback needs, at most `POINTS_PER_BLOCK` each.
    """
    block_s, total, point, label = _run_through(
        pieces.code, pieces.number, blocks.code, blocks.number, *plan, acceleration, per_leg
    )
    return Run(block_s, total.sum(axis=1), point, label)


@kernel
def _run_through(
    code: I64,
    number: F64,
    block_code: I64,
    block_number: F64,
    square: F64,
    up: I64,
    down: I64,
    mode: I64,
    acceleration: F64,
    per_leg: int,
) -> tuple[F64, F64, F64, I64]:
    block_s, total = np.zeros(len(block_code)), np.zeros((_N_CAUSES, 2))
    legs = np.zeros((ALL_LEGS, 7))
    scratch = np.zeros((2, MOST_LEGS, 5))
    point, label = np.zeros((2 * len(code) + 64, 3)), np.zeros((2 * len(code) + 64, 2), np.int64)
    size, before, in_block, way, lost = 0, -1, 0, 0.0, 0.0
    for k in range(len(code)):
        b, shape = code[k, BLOCK], code[k, SHAPE]
        if b != before:
            before, in_block, way, lost = b, 0, 0.0, 0.0
        q = quadrant_of(code, number, block_number, acceleration, k)
        per_square, per_length = 1.0, 1.0
        if shape == STRAIGHT_PIECE:
            pull, length = block_number[b, B_PULL], block_number[b, B_LENGTH]
            n_legs = straight_legs(
                legs, length, square[k], square[k + 1], pull, number[k, CEILING_Y]
            )
        else:
            per_square = bend(block_number, b)
            per_length = block_number[b, B_RADIUS] / block_number[b, B_PLANAR]
            first, last = square[k] * per_square, square[k + 1] * per_square
            n_legs = arc_legs(
                legs, scratch[0], scratch[1], q, first, last, block_number[b, B_RADIUS], mode[k]
            )
            length = number[k, SPAN] * per_length
        stride = 1 + int(block_number[b, B_SWEEP] / QUARTER) // _PIECES_SHOWN
        for i in range(n_legs):
            held = down[k + 1] if legs[i, L_BACK] > 0.0 else up[k]
            cause = _cause(int(legs[i, L_KIND]), shape, block_code, b, held)
            block_s[b] += legs[i, L_TIME]
            _add(total, cause, legs[i, L_TIME])
            count = per_leg
            if per_leg == 0:
                count = _needed(legs[i], shape)
                if in_block + count > POINTS_PER_BLOCK - 1 or k % stride > 0:
                    count = 0
            if size + count > len(point):
                point, label = _grown(point, label, count)
            for j in range(count):
                x = _point_on(legs[i], j / count)
                y, gain = _at(q, legs[i], x, shape, block_number, b)
                point[size, P_WAY], point[size, P_SQUARE] = way + x * per_length, y / per_square
                point[size, P_GAIN] = gain
                label[size, 0], label[size, 1] = b, cause
                size += 1
                in_block += 1
        # A spiral has thousands of pieces: what rounding takes from the sum is carried along.
        old, length = way, length - lost
        way = old + length
        lost = (way - old) - length
    return block_s, total, point[:size].copy(), label[:size].copy()


@inner
def _cause(kind: int, shape: int, block_code: I64, b: int, held: int) -> int:
    """Return what holds the speed down on a leg."""
    cause = _ACCELERATION
    if kind == CEILING:
        level = shape in (STRAIGHT_PIECE, LEVEL)
        cause = block_code[b, B_TOP_CAUSE] if level else _XY_SPEED
    elif kind == PULL:
        cause = block_code[b, B_PULL_CAUSE]
    return _CORNER if cause == _ACCELERATION and held == CORNER else cause


@inner
def _add(total: F64, i: int, value: float) -> None:
    """Add to a total and keep what rounding lost beside it (Neumaier)."""
    old = total[i, 0]
    new = old + value
    total[i, 1] += (old - new) + value if old >= value else (value - new) + old
    total[i, 0] = new


@inner
def _needed(leg: F64, shape: int) -> int:
    """Return how many points a leg needs for v^2 to be nearly linear between them."""
    if shape == STRAIGHT_PIECE or (leg[L_KIND] == CEILING and shape == LEVEL):
        return 1
    return 2 + int((leg[L_END] - leg[L_BEGIN]) / _STEP_RAD)


@inner
def _point_on(leg: F64, share: float) -> float:
    """Return the offset of a point on a leg; towards rest, where v^2 bends most, they crowd."""
    if leg[L_FIRST] == 0.0:
        share *= share
    elif leg[L_LAST] == 0.0:
        share *= 2.0 - share
    return float(leg[L_BEGIN] + (leg[L_END] - leg[L_BEGIN]) * share)


@inner
def _grown(point: F64, label: I64, count: int) -> tuple[F64, I64]:
    n = len(point)
    more_points, more_labels = np.zeros((2 * n + count, 3)), np.zeros((2 * n + count, 2), np.int64)
    for i in range(n):  # a slice would pull in the compiler's whole text formatting
        for j in range(3):
            more_points[i, j] = point[i, j]
        for j in range(2):
            more_labels[i, j] = label[i, j]
    return more_points, more_labels


@inner
def _at(
    q: Quadrant, leg: F64, x: float, shape: int, block_number: F64, b: int
) -> tuple[float, float]:
    """Return y or v^2 and the acceleration along the block at an offset inside a leg."""
    if shape == STRAIGHT_PIECE:
        sign = 0.0 if leg[L_KIND] == CEILING else 1.0 - 2.0 * leg[L_BACK]
        gain = sign * block_number[b, B_PULL]
        return leg[L_FIRST] + 2.0 * gain * (x - leg[L_BEGIN]), gain
    y, u = on_leg(q, leg, x)
    return y, u / block_number[b, B_PLANAR]
