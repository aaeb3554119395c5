"""Joints between blocks: where the tool stops, and how fast it may pass a corner.

Rule (a), the usual one: no axis changes its speed by more than its jump, ``v <= jump_i /
abs(u1_i - u0_i)`` with u the change of axis i per unit of length on either side. Rule (b), asked
for by a corner tolerance d: x, y, z pass as if on a circle that leaves the corner by d,
``v^2 = a d s / (1 - s)`` with s the sine of half the interior angle and a the least acceleration
of the axes that turn (90 degrees, a = 5000 mm/s2, d = 0.05 mm: 24.567 mm/s); C keeps rule (a).

The tool stops at the start and end, at every event, at dwells, where the path doubles back, where
a block that only turns C meets one that goes somewhere, and at a block that moves nothing but
costs the control its time.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.motion import Kind, ToolMotion
from kerfwright.model.table import Limits
from kerfwright.motion.blocks import B_TOP, NO_LIMIT, NO_TURN, STILL, Blocks

OWN: Final = 0
STOP: Final = 1
CORNER: Final = 2


class Joints(NamedTuple):
    """Joints of the N blocks that move.

    `blocks` (N,) their numbers; `speed` (N + 1,) the greatest speed at the joint before each and
    after the last [mm/s, rad/s]; `kind` (N + 1,) STOP, CORNER or OWN.
    """

    blocks: I64
    speed: F64
    kind: I64


def joints_of(
    motion: ToolMotion, blocks: Blocks, limits: Limits, *, corner_tolerance_mm: float | None
) -> Joints:
    """Return the joints between the blocks that move.

    Parameters
    ----------
    motion : ToolMotion
        The motion.
    blocks : Blocks
        Its blocks as curves.
    limits : Limits
        What the drives may do.
    corner_tolerance_mm : float or None
        None for rule (a), a distance for rule (b) [mm].
    """
    moving = np.flatnonzero(blocks.shape != STILL)
    before, after = moving[:-1], moving[1:]
    u0, u1 = blocks.last[before], blocks.first[after]
    stop = _stops(motion, blocks, limits, before, after) | _doubles_back(u0, u1)
    stop |= blocks.turns_only[before] != blocks.turns_only[after]
    speed = _by_jump(u0, u1, limits.jump)
    if corner_tolerance_mm is not None:
        loose = np.concatenate((np.full(3, NO_LIMIT), limits.jump[3:]))
        speed = np.minimum(
            _by_jump(u0, u1, loose), _by_circle(u0, u1, limits.acceleration, corner_tolerance_mm)
        )
    ends = np.minimum(blocks.number[before, B_TOP], blocks.number[after, B_TOP])
    kind = np.where(stop, STOP, np.where(speed < ends, CORNER, OWN))
    edge = np.zeros(1)
    return Joints(
        blocks=moving,
        speed=np.concatenate((edge, np.where(stop, 0.0, np.minimum(speed, ends)), edge)),
        kind=np.concatenate(([STOP], kind, [STOP])).astype(np.int64),
    )


def _stops(motion: ToolMotion, blocks: Blocks, limits: Limits, before: I64, after: I64) -> BOOL:
    """Return whether something between two blocks that move brings the tool to rest."""
    halts = motion.kind == Kind.DWELL
    if limits.block_time_s:
        halts = halts | (blocks.shape == STILL)
    count = np.concatenate(([0], np.cumsum(halts)))
    at_event = np.zeros(len(motion) + 1, np.int64)
    for event in motion.events:
        at_event[event.before_block] += 1
    events = np.cumsum(at_event)
    stops: BOOL = (count[after] > count[before + 1]) | (events[after] > events[before])
    return stops


def _doubles_back(u0: F64, u1: F64) -> BOOL:
    along = np.einsum("ij,ij->i", u0[:, :3], u1[:, :3])
    turns = (np.abs(u0[:, :3]).sum(axis=1) == 0.0) & (u0[:, 3] * u1[:, 3] < 0.0)
    back: BOOL = (along <= NO_TURN - 1.0) | turns
    return back


def _by_jump(u0: F64, u1: F64, jump: F64) -> F64:
    change = np.abs(u1 - u0)
    scale = np.maximum(1.0, np.maximum(np.abs(u0), np.abs(u1)))
    change = np.where(change <= NO_TURN * scale, 0.0, change)
    corner = change > 0.0
    each: F64 = np.where(corner, jump / np.where(corner, change, 1.0), NO_LIMIT)
    return np.asarray(each.min(axis=1))


def _by_circle(u0: F64, u1: F64, acceleration: F64, tolerance_mm: float) -> F64:
    a, b = u0[:, :3], u1[:, :3]
    turning = np.abs(b - a) > NO_TURN
    pull = np.where(turning, acceleration[:3], NO_LIMIT).min(axis=1)
    # sin(theta / 2) of the interior angle is the cosine of half the turn: half the length of a + b.
    half = np.minimum(np.linalg.norm(a + b, axis=1) / 2.0, 1.0)
    gap = (np.linalg.norm(b - a, axis=1) / 2.0) ** 2 / (1.0 + half)  # 1 - half, without cancelling
    sharp = turning.any(axis=1)
    speed = np.sqrt(pull * tolerance_mm * half / np.where(sharp, gap, 1.0))
    return np.where(sharp, speed, NO_LIMIT)
