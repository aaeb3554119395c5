"""The time a motion would take if nothing had to be accelerated: for comparison only."""

from __future__ import annotations

import numpy as np

from kerfwright.errors import UsageError
from kerfwright.model.motion import FeedKind, Kind, ToolMotion


def naive_time_s(motion: ToolMotion, *, rapid_mm_s: float | None = None) -> float:
    """Return length over feed, summed over all blocks, and dwells.

    Parameters
    ----------
    motion : ToolMotion
        The motion.
    rapid_mm_s : float, optional
        Speed along rapids; without it they take no time [mm/s].

    Returns
    -------
    float
        Time with unlimited accelerations and axis speeds; true times are longer [s].

    Raises
    ------
    UsageError
        If `rapid_mm_s` is not above 0.
    """
    if rapid_mm_s is not None and not rapid_mm_s > 0.0:
        msg = f"rapid_mm_s is {rapid_mm_s}; give a speed above 0, or None"
        raise UsageError(msg)
    begin = motion.begins()
    move = np.abs(motion.end - begin)
    arc = motion.kind == Kind.ARC
    arm = np.where(arc[:, None], motion.centre - begin[:, :2], 0.0)
    flat = np.hypot(move[:, 0], move[:, 1])
    flat = np.where(arc, np.hypot(arm[:, 0], arm[:, 1]) * np.abs(motion.sweep_rad), flat)
    path = np.hypot(flat, move[:, 2])
    feed = np.where(motion.feed > 0.0, motion.feed, 1.0)
    time = np.where(motion.feed_kind == FeedKind.PATH, path / feed, 0.0)
    time = np.where(motion.feed_kind == FeedKind.ROTARY, move[:, 3] / feed, time)
    rapid = 0.0 if rapid_mm_s is None else path / rapid_mm_s
    time = np.where(motion.kind == Kind.RAPID, rapid, time)
    return float(np.where(motion.kind == Kind.DWELL, motion.dwell_s, time).sum())
