"""From blocks to the fastest plan."""

from __future__ import annotations

from typing import NamedTuple

from kerfwright.model.motion import ToolMotion
from kerfwright.model.table import Limits
from kerfwright.motion.blocks import Blocks, curves_of
from kerfwright.motion.joints import joints_of
from kerfwright.motion.pieces import Pieces, pieces_of
from kerfwright.motion.plan import Plan, fastest_plan


class Planned(NamedTuple):
    """A motion's blocks as curves, their pieces, and the fastest plan over them."""

    blocks: Blocks
    pieces: Pieces
    plan: Plan


def planned(motion: ToolMotion, limits: Limits, *, corner_tolerance_mm: float | None) -> Planned:
    """Return the fastest plan of a motion.

    Parameters
    ----------
    motion : ToolMotion
        The motion.
    limits : Limits
        What the drives may do.
    corner_tolerance_mm : float or None
        See `joints_of` [mm].
    """
    blocks = curves_of(motion, limits)
    joints = joints_of(motion, blocks, limits, corner_tolerance_mm=corner_tolerance_mm)
    pieces = pieces_of(blocks, joints, speed=limits.speed, acceleration=limits.acceleration)
    return Planned(blocks, pieces, fastest_plan(pieces, blocks, acceleration=limits.acceleration))
