"""The fastest plan: greatest speed at every boundary, by one pass forwards and one backwards.

Forwards, each boundary gets the lower of its own limit and of what full acceleration reaches from
the one before; backwards the same with full deceleration. Both ways of a piece grow with the speed
they begin at, so the result is the greatest speed at every boundary at once, and no motion within
the limits is faster anywhere.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.motion.blocks import B_LENGTH, B_PULL, Blocks
from kerfwright.motion.pieces import BLOCK, SHAPE, STRAIGHT_PIECE, Pieces, bend, quadrant_of
from kerfwright.motion.quadrant import LEVEL, Quadrant, ceiling_at, mirrored
from kerfwright.motion.way import MOST_LEGS, fastest, starts_on_ceiling

BOTH: Final = 0
UP: Final = 1
DOWN: Final = 2
_SAME: Final = 1e-12


class Plan(NamedTuple):
    """The greatest speed at P + 1 boundaries, and how P pieces are run.

    `square` (P + 1,) v^2 at each boundary [mm2/s2, rad2/s2]; `up`, `down` (P + 1,) what held the
    speed (OWN, STOP, CORNER) where the way up to it began and where the way down from it ends;
    `mode` (P,) whether a piece only speeds up (UP), only slows down (DOWN) or may do both.
    """

    square: F64
    up: I64
    down: I64
    mode: I64


def fastest_plan(pieces: Pieces, blocks: Blocks, *, acceleration: F64) -> Plan:
    """Return the fastest plan over all pieces, from rest to rest.

    Parameters
    ----------
    pieces : Pieces
        All pieces with their boundaries.
    blocks : Blocks
        The blocks they belong to.
    acceleration : ndarray of shape (4,), float
        Limits of the axes [mm/s2, rad/s2].
    """
    return Plan(*_two_passes(*pieces, blocks.number, acceleration))


@kernel
def _two_passes(
    code: I64, number: F64, most: F64, held: I64, block_number: F64, acceleration: F64
) -> tuple[F64, I64, I64, I64]:
    n = len(code)
    square, up, down, mode = most.copy(), held.copy(), held.copy(), np.full(n, BOTH)
    legs = np.zeros((MOST_LEGS, 5))
    for turn in range(2 * n):
        forwards = turn < n
        k = turn if forwards else 2 * n - 1 - turn
        begin, end = (k, k + 1) if forwards else (k + 1, k)
        b = code[k, BLOCK]
        if code[k, SHAPE] == STRAIGHT_PIECE:
            got = square[begin] + 2.0 * block_number[b, B_PULL] * block_number[b, B_LENGTH]
        else:
            scale = bend(block_number, b)
            q = quadrant_of(code, number, block_number, acceleration, k)
            q = q if forwards else mirrored(q)
            got = _reach(q, square[begin] * scale, legs) / scale
        if got >= square[end]:
            continue
        # Along a ceiling both ways may meet it in the same speed but for rounding: then both count.
        clear = got < square[end] * (1.0 - _SAME)
        square[end] = got
        if forwards and clear:
            up[end], mode[k] = up[begin], UP
        elif clear:
            down[end], mode[k] = down[begin], DOWN
            if k > 0 and mode[k - 1] == UP:
                mode[k - 1] = BOTH
    return square, up, down, mode


@inner
def _reach(q: Quadrant, y: float, legs: F64) -> float:
    """Return y at the end of the fastest way through a piece of an arc."""
    if q.shape == LEVEL and starts_on_ceiling(q, y):
        return q.ceiling
    n = fastest(q, y, legs)
    return min(float(legs[n - 1, 3]), ceiling_at(q, q.span))
