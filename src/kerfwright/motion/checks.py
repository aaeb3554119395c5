"""What is wrong with a motion as far as its time goes."""

from __future__ import annotations

from typing import Final

import numpy as np

from kerfwright.errors import Finding, ModelError, OutOfResourcesError, Place, Severity
from kerfwright.geometry.record import BOOL
from kerfwright.model.motion import FeedKind, Kind, ToolMotion
from kerfwright.motion.blocks import ARC, B_ANGLE, B_RADIUS, B_SWEEP, STILL, Blocks

MOST_TURNS: Final = 10_000
"""An arc that turns more often than that about its centre is refused, not timed."""

MOST_TURNS_IN_ALL: Final = 1_000_000
"""All arcs of a motion may turn so often together: 4 million pieces of at most a quarter turn."""

ARC_GAP_MM: Final = 0.01
"""An arc may end this far from its stated end: what a text with two decimals would round."""

_WHERE: Final = Place(stage="motion")


def check_turns(motion: ToolMotion) -> None:
    """Refuse arcs that turn about their centre absurdly often.

    Raises
    ------
    ModelError
        If a block's sweep is above `MOST_TURNS` turns.
    OutOfResourcesError
        If all sweeps together are above `MOST_TURNS_IN_ALL` turns.
    """
    turns = np.abs(motion.sweep_rad) / (2.0 * np.pi)
    wild = np.flatnonzero(turns > MOST_TURNS)
    if len(wild):
        b = int(wild[0])
        msg = (
            f"block {b} turns {turns[b]:.6g} times about its centre, at most {MOST_TURNS} can be"
            " timed; check its sweep or split the block"
        )
        raise ModelError(msg)
    if turns.sum() > MOST_TURNS_IN_ALL:
        msg = (
            f"all arcs together turn {turns.sum():.6g} times, at most {MOST_TURNS_IN_ALL} can be"
            " timed at once; time the program in parts"
        )
        raise OutOfResourcesError(msg)


def findings_of(motion: ToolMotion, blocks: Blocks) -> tuple[Finding, ...]:
    """Return findings of blocks whose time cannot mean what was meant.

    Parameters
    ----------
    motion : ToolMotion
        The motion.
    blocks : Blocks
        Its blocks as curves.
    """
    return (*_feeds(motion, blocks), *_arc_ends(motion, blocks))


def bracket_finding(low_s: float, high_s: float, bracket: float, steps: int) -> Finding:
    """Return the finding that the bracket is wider than asked."""
    return Finding(
        code="MOT-110",
        severity=Severity.WARN,
        where=_WHERE,
        measured=100.0 * (high_s - low_s) / high_s,
        limit=100.0 * bracket,
        unit="%",
        params={"low_s": low_s, "high_s": high_s, "steps": steps},
    )


def _feeds(motion: ToolMotion, blocks: Blocks) -> list[Finding]:
    travels = (blocks.shape != STILL) & (motion.kind != Kind.RAPID)
    turning = np.abs(blocks.first[:, 3]) > 0.0
    counts = (motion.feed_kind == FeedKind.PATH) & ~blocks.turns_only
    counts |= (motion.feed_kind == FeedKind.ROTARY) & turning
    return _finding("MOT-120", travels & ~counts, motion, None)


def _arc_ends(motion: ToolMotion, blocks: Blocks) -> list[Finding]:
    arc = np.flatnonzero(blocks.shape == ARC)
    sense = np.sign(motion.sweep_rad[arc])
    angle = sense * (blocks.number[arc, B_ANGLE] + blocks.number[arc, B_SWEEP])
    reach = blocks.number[arc, B_RADIUS, None] * np.column_stack((np.cos(angle), np.sin(angle)))
    gap = np.zeros(len(motion))
    gap[arc] = np.linalg.norm(motion.centre[arc] + reach - motion.end[arc, :2], axis=1)
    return _finding("MOT-130", gap > ARC_GAP_MM, motion, float(gap.max(initial=0.0)))


def _finding(code: str, wrong: BOOL, motion: ToolMotion, measured: float | None) -> list[Finding]:
    rows = np.flatnonzero(wrong)
    if not len(rows):
        return []
    x, y = motion.begins()[rows[0], :2].tolist()
    return [
        Finding(
            code=code,
            severity=Severity.WARN,
            where=Place(stage="motion", xy_mm=(x, y), frame=motion.frame),
            measured=measured,
            limit=None if measured is None else ARC_GAP_MM,
            unit="" if measured is None else "mm",
            params={"count": len(rows), "first": int(rows[0])},
        )
    ]
