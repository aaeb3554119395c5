"""Motion of the tool, block by block, and its time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from typing import Literal

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.record import F64, I64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows, require_word


class Kind(IntEnum):
    """What a block is."""

    RAPID = 0
    LINE = 1
    ARC = 2
    DWELL = 3


class FeedKind(IntEnum):
    """What a block's feed counts: distance of x, y, z, or the turn of C alone."""

    NONE = 0
    PATH = 1
    ROTARY = 2


class Role(IntEnum):
    """Why a block is there; a program as read says only `UNKNOWN`."""

    UNKNOWN = 0
    LINK = 1
    PLUNGE = 2
    LEAD = 3
    CUT = 4
    TURN = 5
    LIFT = 6


class EventCode(StrEnum):
    """Things that happen between blocks, with a value each."""

    TOOL = "tool"
    """Value: station number; 0 puts the tool away."""
    OSCILLATION = "oscillation"
    """Value: strokes per second; 0 is off."""
    SPINDLE = "spindle"
    """Value: revolutions per second, 0 is off."""
    VACUUM = "vacuum"
    """Value: zone number, positive opens, negative closes."""
    PAUSE = "pause"
    """Value: 0; the control waits for the operator."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happens before a block.

    Parameters
    ----------
    before_block : int
        Index of the block it stands before; the number of blocks means after the last.
    code : EventCode
        What happens.
    value : float
        Its value, see `EventCode`.
    """

    before_block: int
    code: EventCode
    value: float

    def __post_init__(self) -> None:
        require_finite(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ToolMotion(Record):
    """M blocks; each goes from where the last one ended to its own end.

    Positions are those of the tool's C axis (x, y), the tip (z) and the blade direction (c,
    unwrapped), in the order x, y, z, c. In the table frame z = 0 is the bed.

    Parameters
    ----------
    frame : {'table', 'machine'}
        Frame of all positions. As read from a program the frame is 'table' with `offsets_in`
        telling whether head offsets are still in the numbers.
    start : ndarray of shape (4,), float
        Where the first block begins [mm, rad].
    kind : ndarray of shape (M,), int
        `Kind` of each block.
    end : ndarray of shape (M, 4), float
        Where each block ends [mm, rad].
    centre : ndarray of shape (M, 2), float
        Centre of arcs, NaN for other blocks [mm].
    sweep_rad : ndarray of shape (M,), float
        Signed turn of arcs about their centre, 0 for other blocks [rad].
    feed : ndarray of shape (M,), float
        Feed as `feed_kind` says; 0 where it says NONE [mm/s, rad/s].
    feed_kind : ndarray of shape (M,), int
        `FeedKind` of each block.
    dwell_s : ndarray of shape (M,), float
        Length of dwells, 0 for other blocks [s].
    role : ndarray of shape (M,), int
        `Role` of each block.
    cut : ndarray of shape (M,), int
        Index of the cut in the order each block belongs to, -1 for none or as read.
    tool : ndarray of shape (M,), int
        Station number in use, 0 for none.
    events : tuple of Event
        What happens between blocks, in order.
    text_sha : str
        SHA-256 of the program text it was read from; empty when planned.
    offsets_in : {'program', 'control'}
        Who applies head offsets: 'program' means the numbers hold them.
    findings : tuple of Finding
        What making it found.
    """

    frame: Literal["table", "machine"] = "table"
    start: F64
    kind: I64
    end: F64
    centre: F64
    sweep_rad: F64
    feed: F64
    feed_kind: I64
    dwell_s: F64
    role: I64
    cut: I64
    tool: I64
    events: tuple[Event, ...] = ()
    text_sha: str = ""
    offsets_in: Literal["program", "control"] = "control"
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        frozen_array(self, "start", dtype=np.float64, shape=(4,))
        frozen_array(self, "kind", dtype=np.int64, shape=(None,))
        n = len(self.kind)
        frozen_array(self, "end", dtype=np.float64, shape=(n, 4))
        frozen_array(self, "centre", dtype=np.float64, shape=(n, 2), finite=False)
        for name in ("sweep_rad", "feed", "dwell_s"):
            frozen_array(self, name, dtype=np.float64, shape=(n,))
        for name in ("feed_kind", "role", "cut", "tool"):
            frozen_array(self, name, dtype=np.int64, shape=(n,))
        self._check_words()
        arc = self.kind == Kind.ARC
        has_centre = ~arc | np.isfinite(self.centre).all(axis=1)
        require_rows(self, "centre", has_centre, "a point, because the block is an arc")
        require_rows(self, "sweep_rad", arc == (self.sweep_rad != 0.0), "0 for all but arcs")
        dwells = (self.dwell_s == 0.0) | ((self.kind == Kind.DWELL) & (self.dwell_s > 0.0))
        require_rows(self, "dwell_s", dwells, "0 or more, and 0 for all but dwells")
        fed = np.where(self.feed_kind == FeedKind.NONE, self.feed == 0.0, self.feed > 0.0)
        require_rows(self, "feed", fed, "above 0, or 0 where the block has no feed")
        places = [e.before_block for e in self.events]
        require(places == sorted(places), f"ToolMotion.events stand before {places}, must not fall")
        require(
            not places or (places[0] >= 0 and places[-1] <= n),
            f"ToolMotion.events stand before {places}, must be from 0 to {n}",
        )

    def _check_words(self) -> None:
        require_word("ToolMotion.frame", self.frame, ("table", "machine"))
        require_word("ToolMotion.offsets_in", self.offsets_in, ("program", "control"))
        for name, words in (("kind", Kind), ("feed_kind", FeedKind), ("role", Role)):
            known = np.isin(getattr(self, name), tuple(words))
            require_rows(self, name, known, f"from 0 to {max(words)}")

    def __len__(self) -> int:
        """Return the number of blocks."""
        return len(self.kind)

    def begins(self) -> F64:
        """Return where each block begins, shape (M, 4) [mm, rad]."""
        return np.concatenate((self.start[None, :], self.end))[:-1]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TimedMotion(Record):
    """When the tool is where.

    Parameters
    ----------
    motion : ToolMotion
        The motion timed.
    s : ndarray of shape (G,), float
        Path length from the start at each grid point; C-only blocks count turn [mm, rad].
    v : ndarray of shape (G,), float
        Speed along s at each grid point; v^2 is linear in s between points, exactly on straight
        blocks and nearly on arcs [mm/s, rad/s].
    block : ndarray of shape (G,), int
        Block each grid point belongs to.
    binding : ndarray of shape (G,), int
        What holds the speed down from there on: 0 feed, 1 acceleration of x or y, 2 their speed,
        3 speed or acceleration of z, 4 of c, 5 acceleration of x or y from or to a joint passed at
        reduced speed (corner), 6 dwell, 7 least time of a block, 8 speed of rapids.
    time_low_s, time_high_s : float
        Bracket of the whole time: no motion within the limits is faster than the first, and the
        second is the time of the plan [s].
    by_cause : mapping of str to float
        Seconds per cause: ``feed, acceleration, xy_speed, z, c, corner, dwell, block_time, rapid``;
        they add up to `time_high_s` [s].
    by_cut : ndarray of shape (N,), float
        Seconds spent in the blocks of each cut [s].
    block_s : ndarray of shape (M,), float
        Seconds of each block [s].
    findings : tuple of Finding
        What timing it found.
    """

    motion: ToolMotion
    s: F64
    v: F64
    block: I64
    binding: I64
    time_low_s: float
    time_high_s: float
    by_cause: Mapping[str, float]
    by_cut: F64
    block_s: F64 = field(default_factory=lambda: np.zeros(0))
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        frozen_array(self, "s", dtype=np.float64, shape=(None,))
        frozen_array(self, "v", dtype=np.float64, shape=(len(self.s),))
        frozen_array(self, "block", dtype=np.int64, shape=(len(self.s),))
        frozen_array(self, "binding", dtype=np.int64, shape=(len(self.s),))
        frozen_array(self, "by_cut", dtype=np.float64, shape=(None,))
        frozen_array(self, "block_s", dtype=np.float64, shape=(len(self.motion),))
        blocks = len(self.motion)
        known = (self.block >= 0) & (self.block < blocks)
        require_rows(self, "block", known, f"from 0 to {blocks - 1}")
        require_finite(self)
        low, high = self.time_low_s, self.time_high_s
        require(
            0.0 <= low <= high,
            f"TimedMotion: the bracket from {low} to {high} s is empty or begins below 0",
        )
