"""The air cut: the same way above the sheet, with nothing running."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright.errors import ModelError
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.motion import Event, EventCode, FeedKind, Kind, ToolMotion

_RUNNING = frozenset({EventCode.OSCILLATION, EventCode.SPINDLE})


def air_cut(motion: ToolMotion, *, travel_z_mm: float) -> ToolMotion:
    """Return the motion with the tip kept at or above a height, and nothing switched on.

    x, y and c stay as they are. Blocks that moved z alone vanish; the events before them move to
    the next block that is left. Events of oscillation and spindle are left out; tool changes,
    vacuum and pauses stay. A block that moved z and c and now turns c alone takes as long as
    before.

    Parameters
    ----------
    motion : ToolMotion
        The motion to be tried, z up.
    travel_z_mm : float
        Least height of the tip in the motion's own frame [mm].

    Returns
    -------
    ToolMotion
        With an empty `text_sha`: it is no longer what was read.

    Raises
    ------
    ModelError
        If the height is not finite.
    """
    if not np.isfinite(travel_z_mm):
        msg = f"the travel height of an air cut is {travel_z_mm} mm; give a finite height"
        raise ModelError(msg)
    start, end = motion.start.copy(), motion.end.copy()
    start[2] = max(start[2], travel_z_mm)
    end[:, 2] = np.maximum(end[:, 2], travel_z_mm)
    begin = np.concatenate((start[None, :], end))[:-1]
    keep = (begin != end).any(axis=1) | np.isin(motion.kind, (Kind.ARC, Kind.DWELL))
    feed, feed_kind = _feeds(motion, begin=begin, end=end)
    columns = ("kind", "centre", "sweep_rad", "dwell_s", "role", "cut", "tool")
    return replace(
        motion,
        start=start,
        end=end[keep],
        feed=feed[keep],
        feed_kind=feed_kind[keep],
        events=_events(motion, keep),
        text_sha="",
        **{name: getattr(motion, name)[keep] for name in columns},
    )


def _feeds(motion: ToolMotion, *, begin: F64, end: F64) -> tuple[F64, I64]:
    """Turn the path feed of a block that now only turns into the rate that takes as long."""
    feed, feed_kind = motion.feed.copy(), motion.feed_kind.copy()
    was = motion.end - motion.begins()
    still = (begin[:, :3] == end[:, :3]).all(axis=1) & (motion.kind == Kind.LINE)
    rows = np.flatnonzero(still & (feed_kind == FeedKind.PATH) & (was[:, 3] != 0.0))
    length = np.linalg.norm(was[rows, :3], axis=1)
    rows, length = rows[length > 0.0], length[length > 0.0]
    feed[rows] *= np.abs(was[rows, 3]) / length
    feed_kind[rows] = FeedKind.ROTARY
    return feed, feed_kind


def _events(motion: ToolMotion, keep: BOOL) -> tuple[Event, ...]:
    place = np.concatenate(([0], np.cumsum(keep)))
    return tuple(
        Event(before_block=int(place[e.before_block]), code=e.code, value=e.value)
        for e in motion.events
        if e.code not in _RUNNING
    )
