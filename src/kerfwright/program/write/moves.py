"""Blocks as a table of columns that can be cut into pieces."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.motion import Kind, ToolMotion


@dataclass(slots=True, kw_only=True)
class Moves:
    """R moves, each with where it begins and the block it came from.

    Parameters
    ----------
    block : ndarray of shape (R,), int
        Index of the motion's block.
    kind, feed, feed_kind, dwell_s, sweep_rad, tool : ndarray of shape (R,)
        As in `ToolMotion`.
    begin, end : ndarray of shape (R, 4), float
        Both in the table frame, for the station in use [mm, rad].
    centre : ndarray of shape (R, 2), float
        Centres of arcs, NaN for others [mm].
    """

    block: I64
    kind: I64
    begin: F64
    end: F64
    centre: F64
    sweep_rad: F64
    feed: F64
    feed_kind: I64
    dwell_s: F64
    tool: I64

    def __len__(self) -> int:
        """Return the number of moves."""
        return len(self.block)

    def take(self, rows: I64 | BOOL) -> Self:
        """Return some rows, in the order given; a row may be taken more than once."""
        return type(self)(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})


def moves_of(motion: ToolMotion) -> Moves:
    """Return a motion's blocks as moves."""
    return Moves(
        block=np.arange(len(motion)),
        begin=motion.begins(),
        **{
            f.name: getattr(motion, f.name)
            for f in fields(Moves)
            if f.name not in {"block", "begin"}
        },
    )


def cut_arcs(moves: Moves, pieces: I64, *, as_lines: BOOL) -> Moves:
    """Cut arcs into equal pieces; z and c grow evenly along them.

    Parameters
    ----------
    moves : Moves
        Arcs and others.
    pieces : ndarray of shape (R,), int
        Pieces of each row; 1 for rows that stay whole.
    as_lines : ndarray of shape (R,), bool
        Rows whose pieces are chords.
    """
    rows = np.repeat(np.arange(len(moves)), pieces)
    number = np.arange(len(rows)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    out = moves.take(rows)
    count = pieces[rows]
    out.begin = _along(out, number / count, whole=number == 0)
    out.end = _along(moves.take(rows), (number + 1) / count, whole=number + 1 == count, at_end=True)
    lines = as_lines[rows]
    out.kind = np.where(lines, int(Kind.LINE), out.kind)
    out.sweep_rad = np.where(lines, 0.0, out.sweep_rad / count)
    out.centre = np.where(lines[:, None], np.nan, out.centre)
    return out


def _along(moves: Moves, share: F64, *, whole: BOOL, at_end: bool = False) -> F64:
    """Return the places a share of the way along arcs; ends stay exactly what they were."""
    exact = moves.end if at_end else moves.begin
    spoke = moves.begin[:, :2] - moves.centre
    out_spoke = moves.end[:, :2] - moves.centre
    radius = np.linalg.norm(spoke, axis=1)
    radius = radius + share * (np.linalg.norm(out_spoke, axis=1) - radius)
    angle = np.arctan2(spoke[:, 1], spoke[:, 0]) + share * moves.sweep_rad
    places = moves.begin + share[:, None] * (moves.end - moves.begin)
    places[:, 0] = moves.centre[:, 0] + radius * np.cos(angle)
    places[:, 1] = moves.centre[:, 1] + radius * np.sin(angle)
    return np.where(whole[:, None], exact, places)
