"""Points along a plan: where the tool is at which speed, and what holds it there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.record import F64, I64, Record, frozen_array
from kerfwright.model.motion import ToolMotion
from kerfwright.model.table import Limits
from kerfwright.motion.blocks import Blocks
from kerfwright.motion.causes import Cause
from kerfwright.motion.checks import check_turns
from kerfwright.motion.planning import planned
from kerfwright.motion.run import P_GAIN, P_SQUARE, P_WAY, Run, run_through


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpeedProfile(Record):
    """Speed and acceleration along the path at G points of the fastest plan.

    Parameters
    ----------
    block : ndarray of shape (G,), int
        Block each point belongs to.
    way : ndarray of shape (G,), float
        Length from the block's begin [mm, rad].
    v : ndarray of shape (G,), float
        Speed along the block [mm/s, rad/s].
    a : ndarray of shape (G,), float
        Acceleration along the block just after the point [mm/s2, rad/s2].
    binding : ndarray of shape (G,), int
        What holds the speed from there on, see `Cause`.
    """

    block: I64
    way: F64
    v: F64
    a: F64
    binding: I64

    def __post_init__(self) -> None:
        frozen_array(self, "block", dtype=np.int64, shape=(None,))
        for name in ("way", "v", "a"):
            frozen_array(self, name, dtype=np.float64, shape=(len(self.block),))
        frozen_array(self, "binding", dtype=np.int64, shape=(len(self.block),))


def speed_profile(
    motion: ToolMotion,
    limits: Limits,
    *,
    per_leg: int = 8,
    corner_tolerance_mm: float | None = None,
) -> SpeedProfile:
    """Return exact speeds and accelerations of the fastest plan at many points.

    A leg is a stretch of a block along which one limit rules; most blocks have one to three.

    Parameters
    ----------
    motion : ToolMotion
        The motion.
    limits : Limits
        What the drives may do.
    per_leg : int, default 8
        Points on each leg, its begin included.
    corner_tolerance_mm : float, optional
        As in `time_motion` [mm].
    """
    check_turns(motion)
    blocks, pieces, plan = planned(motion, limits, corner_tolerance_mm=corner_tolerance_mm)
    run = run_through(pieces, blocks, plan, acceleration=limits.acceleration, per_leg=per_leg)
    return SpeedProfile(
        block=run.label[:, 0],
        way=run.point[:, P_WAY],
        v=np.sqrt(run.point[:, P_SQUARE]),
        a=run.point[:, P_GAIN],
        binding=run.label[:, 1],
    )


def playback(blocks: Blocks, run: Run, waits: F64, wait_cause: I64) -> tuple[F64, F64, I64, I64]:
    """Return s, v, block and binding of all points, waits and the end included.

    Parameters
    ----------
    blocks : Blocks
        The blocks as curves.
    run : Run
        The plan run through, with the points playback needs.
    waits : ndarray of shape (M,), float
        Time each block stands still [s].
    wait_cause : ndarray of shape (M,), int
        Why.
    """
    begins = np.concatenate(([0.0], np.cumsum(blocks.length)))
    waiting = np.flatnonzero(waits > 0.0)
    last = len(waits) - 1
    block = np.concatenate((run.label[:, 0], waiting, [last] if last >= 0 else []))
    order = np.argsort(block, kind="stable")
    rest = np.zeros(len(waiting) + (last >= 0))
    way = np.concatenate((run.point[:, P_WAY], rest))
    if last >= 0:
        way[-1] = blocks.length[last]
    v = np.concatenate((np.sqrt(run.point[:, P_SQUARE]), rest))
    end = [int(Cause.ACCELERATION)] if last >= 0 else []
    binding = np.concatenate((run.label[:, 1], wait_cause[waiting], end))
    block = block[order].astype(np.int64)
    return begins[block] + way[order], v[order], block, binding[order].astype(np.int64)
