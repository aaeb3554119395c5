"""Blocks as curves: length, directions at both ends, and what one number can say of their limits.

Along a block the tool runs at a speed v per unit of *its* length: of x, y, z together, or of C
where nothing else moves. A *straight* block moves all axes in fixed proportion; an *arc* turns x
and y about a centre while z and C keep their proportion; a *still* block moves nothing.

An arc is looked at in the plane: `planar` is the part of its length that lies in x, y, and
`angle_rad` where it begins, turned so that travel is counter-clockwise whatever its sense.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.motion import FeedKind, Kind, ToolMotion
from kerfwright.model.table import Limits
from kerfwright.motion.causes import AXIS_PULL, AXIS_SPEED, Cause

STILL: Final = 0
STRAIGHT: Final = 1
ARC: Final = 2

NO_LENGTH: Final = 1e-9
"""A move below it is none: a millionth of a micrometre, which no drive resolves [mm, rad]."""

NO_TURN: Final = 1e-9
"""Directions that differ by less are the same: rounding, no corner and no arc [rad]."""

NO_LIMIT: Final = 1e30
"""Stands for an absent limit, so that no kernel multiplies zero by infinity."""


B_SHAPE, B_PULL_CAUSE, B_TOP_CAUSE = 0, 1, 2
"""Columns of `Blocks.code`: STILL, STRAIGHT or ARC; what limits `B_PULL` and `B_TOP`."""

B_LENGTH, B_PULL, B_TOP, B_RADIUS, B_PLANAR, B_ANGLE, B_SWEEP = range(7)
"""Columns of `Blocks.number`: length [mm, rad]; greatest acceleration along the block that the axes
in fixed proportion allow, of arcs in the plane [mm/s2, rad/s2]; greatest speed along it [mm/s,
rad/s]; of arcs the radius [mm], the share of the length in the plane, the angle they begin at and
the angle turned, both in the picture that turns to the left [rad]."""


class Blocks(NamedTuple):
    """M blocks as curves.

    `code` (M, 3) and `number` (M, 7) as their columns say; `turns_only` (M,) whether C alone moves;
    `first` and `last` (M, 4) the change of x, y, z, c per unit of length at both ends.
    """

    code: I64
    number: F64
    turns_only: BOOL
    first: F64
    last: F64

    @property
    def shape(self) -> I64:
        """STILL, STRAIGHT or ARC, shape (M,)."""
        return self.code[:, B_SHAPE]

    @property
    def length(self) -> F64:
        """Length of each block, shape (M,) [mm, rad]."""
        return self.number[:, B_LENGTH]


def curves_of(motion: ToolMotion, limits: Limits) -> Blocks:
    """Return the blocks of a motion as curves with their limits.

    Parameters
    ----------
    motion : ToolMotion
        The motion.
    limits : Limits
        What the drives may do.

    Returns
    -------
    Blocks
        One entry per block.
    """
    begin = motion.begins()
    move = motion.end - begin
    moves = motion.kind != Kind.DWELL
    arc = motion.kind == Kind.ARC
    radius, angle = _circles(motion, begin, arc)
    sweep = np.where(arc, np.abs(motion.sweep_rad), 0.0)
    arc = arc & (radius * sweep >= NO_LENGTH) & (sweep >= NO_TURN)
    flat = np.where(arc, radius * sweep, np.where(moves, np.hypot(move[:, 0], move[:, 1]), 0.0))
    path = np.where(moves, np.hypot(flat, move[:, 2]), 0.0)
    turn = np.where(moves, np.abs(move[:, 3]), 0.0)
    turns_only = (path < NO_LENGTH) & (turn >= NO_LENGTH)
    length = np.where(turns_only, turn, np.where(path >= NO_LENGTH, path, 0.0))
    shape = np.where(length == 0.0, STILL, np.where(arc, ARC, STRAIGHT))
    safe = np.where(length > 0.0, length, 1.0)
    planar = np.where(shape == ARC, flat / safe, 1.0)
    first, last = _directions(move / safe[:, None], planar, angle, sweep, motion.sweep_rad, shape)
    first[turns_only, :3] = last[turns_only, :3] = 0.0
    pull, pull_cause = _pull(first, shape, limits)
    top, top_cause = _top(motion, first, length, shape, limits)
    number = np.column_stack((length, pull * planar, top, radius, planar, angle, sweep))
    return Blocks(
        code=np.column_stack((shape, pull_cause, top_cause)).astype(np.int64),
        number=np.ascontiguousarray(number),
        turns_only=turns_only,
        first=first,
        last=last,
    )


def _circles(motion: ToolMotion, begin: F64, arc: BOOL) -> tuple[F64, F64]:
    """Return radius and the angle an arc begins at, mirrored so that it turns to the left.

    Rounded text leaves both ends of an arc at slightly different distances from the centre; the
    mean of the two is the radius.
    """
    centre = np.where(arc[:, None], motion.centre, begin[:, :2])
    arm = begin[:, :2] - centre
    reach = motion.end[:, :2] - centre
    radius = (np.hypot(arm[:, 0], arm[:, 1]) + np.hypot(reach[:, 0], reach[:, 1])) / 2.0
    sense = np.where(motion.sweep_rad < 0.0, -1.0, 1.0)
    angle = np.mod(sense * np.arctan2(arm[:, 1], arm[:, 0]), 2.0 * np.pi)
    return np.where(arc, radius, 0.0), np.where(arc, angle, 0.0)


def _directions(
    ratio: F64, planar: F64, angle: F64, sweep: F64, signed: F64, shape: I64
) -> tuple[F64, F64]:
    first, last = ratio.copy(), ratio.copy()
    first[shape == STILL] = last[shape == STILL] = 0.0
    arc = shape == ARC
    sense = np.where(signed[arc] < 0.0, -1.0, 1.0)
    for rows, at in ((first, angle[arc]), (last, angle[arc] + sweep[arc])):
        # In the mirrored picture the tangent is (-sin, cos); mirroring back flips its y.
        rows[arc, 0] = -np.sin(at) * planar[arc]
        rows[arc, 1] = sense * np.cos(at) * planar[arc]
    return first, last


def _pull(ratio: F64, shape: I64, limits: Limits) -> tuple[F64, I64]:
    share = np.abs(ratio)
    share[shape == ARC, :2] = 0.0
    each = _per_share(limits.acceleration, share)
    axis = np.argmin(each, axis=1)
    return each[np.arange(len(each)), axis], np.array(AXIS_PULL, np.int64)[axis]


def _top(
    motion: ToolMotion, ratio: F64, length: F64, shape: I64, limits: Limits
) -> tuple[F64, I64]:
    share = np.abs(ratio)
    turn = _per_share(motion.feed, share[:, 3])
    path = np.hypot(np.hypot(share[:, 0], share[:, 1]), share[:, 2]) > 0.0
    share[shape == ARC, :2] = 0.0
    axes = _per_share(limits.speed, share)
    rapid = motion.kind == Kind.RAPID
    feed = np.where((motion.feed_kind == FeedKind.PATH) & path, motion.feed, NO_LIMIT)
    feed = np.where(motion.feed_kind == FeedKind.ROTARY, turn, feed)
    fast = np.where(rapid & path, limits.rapid_mm_s, NO_LIMIT)
    control = length / limits.block_time_s if limits.block_time_s else np.full_like(feed, NO_LIMIT)
    feed = np.where(rapid, NO_LIMIT, feed)
    each = np.column_stack((feed, fast, axes, np.where(length > 0.0, control, NO_LIMIT)))
    causes = np.array((Cause.FEED, Cause.RAPID, *AXIS_SPEED, Cause.BLOCK_TIME), np.int64)
    held = np.argmin(each, axis=1)
    return each[np.arange(len(each)), held], causes[held]


def _per_share(limit: F64, share: F64) -> F64:
    moving = share > 0.0
    return np.where(moving, np.minimum(limit / np.where(moving, share, 1.0), NO_LIMIT), NO_LIMIT)
