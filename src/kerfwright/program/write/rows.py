"""What is left to write once numbers are rounded: changes and feeds per row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.dialect import Dialect
from kerfwright.model.motion import FeedKind, Kind
from kerfwright.program.write.axes import Axes
from kerfwright.program.write.moves import Moves
from kerfwright.program.write.refuse import ProgramRefusedError, blocking
from kerfwright.units import DEG_PER_RAD, S_PER_MIN

FEED_DECIMALS, INVERSE_DECIMALS, DWELL_DECIMALS = 3, 6, 4
GREATEST_FEED = 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """R rows, none of which rounds to nothing.

    Parameters
    ----------
    block : ndarray of shape (R,), int
        Block of the motion.
    kind : ndarray of shape (R,), int
        `Kind`.
    is_ccw : ndarray of shape (R,), bool
        Whether an arc is G3.
    begin, end : ndarray of shape (R, 4), int
        Counts of X, Y, Z, C.
    centre : ndarray of shape (R, 2), int
        Counts of I, J.
    feed : ndarray of shape (R,), float
        F as written; 0 for rows without.
    is_inverse : ndarray of shape (R,), bool
        Whether F is inverse time.
    dwell_s : ndarray of shape (R,), float
        P of dwells [s].
    """

    block: I64
    kind: I64
    is_ccw: BOOL
    begin: I64
    end: I64
    centre: I64
    feed: F64
    is_inverse: BOOL
    dwell_s: F64

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.block)


def rows_of(moves: Moves, centres: I64, axes: Axes, dialect: Dialect) -> Rows:
    """Round moves to counts, leave out what rounds to nothing, and find each feed."""
    begin, end = axes.counts(moves.begin, moves.tool), axes.counts(moves.end, moves.tool)
    is_arc = moves.kind == Kind.ARC
    dwells = (moves.kind == Kind.DWELL) & (np.round(moves.dwell_s, DWELL_DECIMALS) > 0.0)
    moved = (begin != end).any(axis=1) & (moves.kind != Kind.DWELL)
    keep = moved | is_arc | dwells
    moves, begin, end = moves.take(keep), begin[keep], end[keep]
    feed, is_inverse = _feeds(moves, begin=begin, end=end, dialect=dialect)
    return Rows(
        block=moves.block,
        kind=moves.kind,
        is_ccw=moves.sweep_rad * axes.handedness > 0.0,
        begin=begin,
        end=end,
        centre=centres[keep],
        feed=feed,
        is_inverse=is_inverse,
        dwell_s=moves.dwell_s,
    )


def _feeds(moves: Moves, *, begin: I64, end: I64, dialect: Dialect) -> tuple[F64, BOOL]:
    """Return F per minute for each row, and whether it is inverse time.

    What F counts follows from the axes that move as written. Where that differs from what the
    plan's feed counts, the block shall take as long as planned.
    """
    fed = np.isin(moves.kind, (Kind.LINE, Kind.ARC))
    along = fed & ((begin[:, :3] != end[:, :3]).any(axis=1) | (moves.kind == Kind.ARC))
    turns = fed & ~along
    length = _lengths(moves)
    turn = np.abs(moves.end[:, 3] - moves.begin[:, 3])
    is_path = moves.feed_kind == FeedKind.PATH
    time = np.where(is_path, length, turn) / np.where(moves.feed > 0.0, moves.feed, 1.0)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):  # refused below
        per_second = np.where(is_path, moves.feed, length / time)
        rate = np.where(is_path, turn / time, moves.feed) * DEG_PER_RAD
    is_inverse = turns & (dialect.c_feed == "inverse_time")
    written_deg = np.abs(end[:, 3] - begin[:, 3]) * 10.0**-dialect.decimals_deg
    rate = np.where(is_inverse, rate / np.where(turns, written_deg, 1.0), rate)
    feed = np.where(along, per_second, np.where(turns, rate, 0.0)) * S_PER_MIN
    decimals = np.where(is_inverse, INVERSE_DECIMALS, FEED_DECIMALS)
    _refuse_odd(moves, feed, least=10.0**-decimals, fed=fed)
    return feed, is_inverse


def _lengths(moves: Moves) -> F64:
    """Return the length of each way of x, y, z [mm]."""
    way = moves.end[:, :3] - moves.begin[:, :3]
    radius = np.linalg.norm(moves.begin[:, :2] - moves.centre, axis=1)
    flat = np.where(
        moves.kind == Kind.ARC, radius * np.abs(moves.sweep_rad), np.hypot(way[:, 0], way[:, 1])
    )
    return np.hypot(flat, way[:, 2])


def _refuse_odd(moves: Moves, feed: F64, *, least: F64, fed: BOOL) -> None:
    """Refuse feeds that round to nothing or that no control can read."""
    odd = np.flatnonzero(fed & ~((feed >= least) & (feed <= GREATEST_FEED)))
    if len(odd):
        row = odd[0]
        high = feed[row] > GREATEST_FEED
        finding = blocking(
            "PRG-208",
            measured=float(feed[row]),
            limit=GREATEST_FEED if high else float(least[row]),
            unit="per minute",
            xy_mm=(float(moves.end[row, 0]), float(moves.end[row, 1])),
            block=int(moves.block[row]),
        )
        raise ProgramRefusedError(finding)
