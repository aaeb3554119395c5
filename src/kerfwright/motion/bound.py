"""A lower bound of the time, from what every axis alone would need.

It shares the limits and the boundaries with the plan but none of its reasoning about which limit
rules where. An arc is cut into small steps. Whatever the motion, over one step

- each axis changes half the square of its speed by no more than its limit times its way (work and
  energy), whichever direction the step is run through;
- at each point y is at most what leaves some acceleration possible;
- the time is at least what x, y or the path alone need between the speeds so found.

Each statement holds for every motion within the limits, so the sum is proved to be a lower bound;
rounding aside. Straight pieces get the same speeds and times as in the plan, so that without arcs
both ends of the bracket are the same number.
"""

from __future__ import annotations

from math import cos, sin, sqrt

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.motion.blocks import B_LENGTH, B_PULL, B_RADIUS, Blocks
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
from kerfwright.motion.quadrant import CLIMBS, LEVEL, QUARTER, SINKS, Quadrant
from kerfwright.motion.ramps import ramp_s


def steps_of(pieces: Pieces, per_quarter: I64) -> I64:
    """Return into how many steps each piece is cut, shape (P,).

    Parameters
    ----------
    pieces : Pieces
        All pieces.
    per_quarter : ndarray of shape (M,), int
        Steps in a quarter turn, for each block.
    """
    share = pieces.number[:, SPAN] / QUARTER * per_quarter[pieces.code[:, BLOCK]]
    steps = np.maximum(np.ceil(share - 1e-9), 1.0).astype(np.int64)
    return np.where(pieces.code[:, SHAPE] == STRAIGHT_PIECE, 1, steps)


def least_block_s(pieces: Pieces, blocks: Blocks, steps: I64, *, acceleration: F64) -> F64:
    """Return a time per block, shape (M,), that no motion within the limits undercuts in total [s].

    Parameters
    ----------
    pieces : Pieces
        All pieces with their boundaries.
    blocks : Blocks
        The blocks they belong to.
    steps : ndarray of shape (P,), int
        Into how many steps each piece is cut.
    acceleration : ndarray of shape (4,), float
        Limits of the axes [mm/s2, rad/s2].
    """
    return _least_block_s(
        pieces.code, pieces.number, pieces.most, steps, blocks.number, acceleration
    )


@kernel
def _least_block_s(
    code: I64, number: F64, most: F64, steps: I64, block_number: F64, acceleration: F64
) -> F64:
    n, total = len(code), 0
    for k in range(n):
        total += steps[k]
    square = np.zeros(total + 1)
    square[0] = most[0]
    at = 0
    for k in range(n):
        b = code[k, BLOCK]
        if code[k, SHAPE] == STRAIGHT_PIECE:
            end = square[at] + 2.0 * block_number[b, B_PULL] * block_number[b, B_LENGTH]
            square[at + 1] = end
        else:
            q = quadrant_of(code, number, block_number, acceleration, k)
            _forwards(q, square[at : at + steps[k] + 1], bend(block_number, b))
        at += steps[k]
        square[at] = min(square[at], most[k + 1])
    block_s = np.zeros(len(block_number))
    for k in range(n - 1, -1, -1):
        b = code[k, BLOCK]
        at -= steps[k]
        if code[k, SHAPE] == STRAIGHT_PIECE:
            way, pull = block_number[b, B_LENGTH], block_number[b, B_PULL]
            square[at] = min(square[at], square[at + 1] + 2.0 * pull * way)
            block_s[b] += ramp_s(way, square[at], square[at + 1], pull, number[k, CEILING_Y])
        else:
            q = quadrant_of(code, number, block_number, acceleration, k)
            part = square[at : at + steps[k] + 1]
            block_s[b] += _backwards(q, part, bend(block_number, b), block_number[b, B_RADIUS])
    return block_s


@inner
def _forwards(q: Quadrant, square: F64, scale: float) -> None:
    """Lower v^2 along a piece of an arc to what can be reached from its begin."""
    steps = len(square) - 1
    half = 0.5 * q.span / steps
    half_s, half_c = sin(half), cos(half)
    y = square[0] * scale
    s0, c0 = sin(q.tau), cos(q.tau)
    for i in range(1, steps + 1):
        # Ways of the axes as products: differences of cosines lose their digits on flat arcs.
        s, c = s0 * half_c + c0 * half_s, c0 * half_c - s0 * half_s
        s1, c1 = s * half_c + c * half_s, c * half_c - s * half_s
        rising, falling = 2.0 * half_s * s, 2.0 * half_s * max(c, 0.0)
        y = min(_after(q, y, s0, s1, c0, c1, rising, falling, 2.0 * half), _allowed(q, s1, c1))
        square[i] = y / scale
        s0, c0 = s1, c1


@inner
def _backwards(q: Quadrant, square: F64, scale: float, radius: float) -> float:
    """Lower v^2 to what can be brought down to its end; return the least time of the piece."""
    steps = len(square) - 1
    half, time = 0.5 * q.span / steps, 0.0
    back = Quadrant(0.0, q.span, q.fall, q.rise, q.pull, q.shape, q.ceiling)
    half_s, half_c = sin(half), cos(half)
    s1, c1 = sin(q.tau + q.span), cos(q.tau + q.span)
    y1 = square[steps] * scale
    for i in range(steps - 1, -1, -1):
        s, c = s1 * half_c - c1 * half_s, c1 * half_c + s1 * half_s
        s0, c0 = s * half_c - c * half_s, c * half_c + s * half_s
        rising, falling = 2.0 * half_s * max(s, 0.0), 2.0 * half_s * c
        y0 = _after(back, y1, c1, c0, s1, s0, falling, rising, 2.0 * half)
        y0 = min(y0, square[i] * scale)
        square[i] = y0 / scale
        path = _least_s(q, LEVEL, 2.0 * half, y0, y1, q.pull)
        rise = _least_s(q, SINKS, rising, s0 * s0 * y0, s1 * s1 * y1, q.rise)
        fall = _least_s(q, CLIMBS, falling, c0 * c0 * y0, c1 * c1 * y1, q.fall)
        # With y for v^2 the unit of length is the radius, and that of time its square root.
        time += max(path, rise, fall) * sqrt(radius)
        s1, c1, y1 = s0, c0, y0
    return time


@inner
def _after(
    q: Quadrant,
    y: float,
    s0: float,
    s1: float,
    c0: float,
    c1: float,
    rising: float,
    falling: float,
    step: float,
) -> float:
    """Return the greatest y after a step that each axis alone could reach over its way."""
    end = y + 2.0 * q.pull * step
    end = min(end, (s0 * s0 * y + 2.0 * q.rise * rising) / max(s1 * s1, 1e-300))
    return min(end, (c0 * c0 * y + 2.0 * q.fall * falling) / max(c1 * c1, 1e-300))


@inner
def _allowed(q: Quadrant, s: float, c: float) -> float:
    """Return the greatest y at a point: as `greatest`, from sine and cosine at hand."""
    c = max(c, 0.0)
    y = min(q.rise * c + q.fall * s, (q.rise + q.pull * s) / max(c, 1e-300))
    y = min(y, (q.fall + q.pull * c) / max(s, 1e-300))
    if q.shape == LEVEL:
        return min(y, q.ceiling)
    share = c if q.shape == CLIMBS else s
    return min(y, q.ceiling / max(share * share, 1e-300))


@inner
def _least_s(q: Quadrant, who: int, way: float, first: float, last: float, pull: float) -> float:
    """Return what the path (LEVEL), the rising (SINKS) or the falling axis (CLIMBS) needs alone."""
    return ramp_s(way, first, last, pull, q.ceiling if q.shape == who else 1e300)
