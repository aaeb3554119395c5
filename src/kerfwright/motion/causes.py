"""What holds a motion back, as numbers for arrays and as words for people."""

from __future__ import annotations

from enum import IntEnum


class Cause(IntEnum):
    """Why the tool is not faster at a place; numbers of `TimedMotion.binding`."""

    FEED = 0
    """The programmed feed."""
    ACCELERATION = 1
    """Acceleration of x or y, on the way from or to a stop or round a bend."""
    XY_SPEED = 2
    """Greatest speed of x or y."""
    Z = 3
    """Speed or acceleration of z."""
    C = 4
    """Speed or acceleration of C."""
    CORNER = 5
    """Acceleration of x or y on the way from or to a joint that is passed at a reduced speed."""
    DWELL = 6
    """A dwell."""
    BLOCK_TIME = 7
    """The least time the control needs for a block."""
    RAPID = 8
    """Greatest speed along a rapid."""


N_CAUSES = len(Cause)
AXIS_SPEED = (Cause.XY_SPEED, Cause.XY_SPEED, Cause.Z, Cause.C)
AXIS_PULL = (Cause.ACCELERATION, Cause.ACCELERATION, Cause.Z, Cause.C)
