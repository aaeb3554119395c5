"""Strokes in short slices: what the kernels sweep."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.verify.columns import (
    BOOL,
    F64,
    I64,
    SANGLE,
    SC0,
    SC1,
    SCX,
    SCY,
    SLICE_COLUMNS,
    SR0,
    SR1,
    SSWEEP,
    SX0,
    SX1,
    SY0,
    SY1,
    SZ0,
    SZ1,
)
from kerfwright.verify.moves import Moves, is_near

_LONGEST_MM = 25.0
_LARGEST_TURN = np.pi / 4.0
_MOST_IN_BLOCK, _MOST_IN_ALL = 4096, 4_000_000
"""Bounds for absurd programs; slices then grow longer, and the sweep halves them itself."""
_TINY_RAD = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Slices:
    """N slices, in the order of the program.

    Parameters
    ----------
    at : ndarray of shape (N, 14), float
        Where each goes; columns as in `columns`.
    block, stroke, blade : ndarray of shape (N,), int
        Block, stroke and blade of each.
    length : ndarray of shape (N,), float
        Way of the C axis [mm].
    """

    at: F64
    block: I64
    stroke: I64
    blade: I64
    length: F64

    def __len__(self) -> int:
        """Return the number of slices."""
        return len(self.block)


def slices_of(moves: Moves, is_cutter: BOOL) -> Slices:
    """Return the strokes of a program in slices of at most 25 mm and an eighth of a turn.

    What stations with a cutter do is left out; `is_cutter` has a last entry for no station. A pen
    has no direction: it is taken to point along its way, wherever C is.
    """
    rows = np.flatnonzero((moves.stroke >= 0) & ~is_cutter[moves.station] & is_near(moves))
    arcs = _arcs(moves, rows)
    begin, end = moves.begin[rows], moves.end[rows]
    _point_along(begin, end, arcs, moves.draws[moves.station[rows]])
    low, high = moves.low[rows], moves.high[rows]
    sweep = arcs[:, 3]
    way = np.where(
        sweep == 0.0,
        np.hypot(end[:, 0] - begin[:, 0], end[:, 1] - begin[:, 1]),
        np.maximum(arcs[:, 0], arcs[:, 1]) * np.abs(sweep),
    )
    turn = np.maximum(np.abs(sweep), np.abs(end[:, 3] - begin[:, 3]))
    parts = np.ceil((high - low) * np.maximum(way / _LONGEST_MM, turn / _LARGEST_TURN) - 1e-9)
    most = max(1, min(_MOST_IN_BLOCK, _MOST_IN_ALL // max(len(rows), 1)))
    count = np.clip(parts, 1, most).astype(np.int64)
    of = np.repeat(np.arange(len(rows)), count)
    number = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    share0 = low[of] + (high - low)[of] * (number / count[of])
    share1 = low[of] + (high - low)[of] * ((number + 1) / count[of])
    share1 = np.where(number + 1 == count[of], high[of], share1)
    at = np.zeros((len(of), SLICE_COLUMNS))
    for share, columns in ((share0, (SX0, SY0, SZ0, SC0)), (share1, (SX1, SY1, SZ1, SC1))):
        at[:, columns] = _places(begin[of], end[of], moves.centre[rows][of], arcs[of], share)
    at[:, SCX : SCY + 1] = moves.centre[rows][of]
    at[:, SR0] = arcs[of, 0] + (arcs[of, 1] - arcs[of, 0]) * share0
    at[:, SR1] = arcs[of, 0] + (arcs[of, 1] - arcs[of, 0]) * share1
    at[:, SANGLE] = arcs[of, 2] + sweep[of] * share0
    at[:, SSWEEP] = sweep[of] * (share1 - share0)
    block, length = rows[of], way[of] * (share1 - share0)
    keep = _tells_more(at, moves.stroke[block], length)
    return Slices(
        at=at[keep],
        block=block[keep],
        stroke=moves.stroke[block[keep]],
        blade=moves.blade[moves.station[block[keep]]],
        length=length[keep],
    )


def _point_along(begin: F64, end: F64, arcs: F64, is_pen: BOOL) -> None:
    """Let the blades of some blocks point along their way."""
    way, sweep = end - begin, arcs[:, 3]
    straight = np.arctan2(way[:, 1], way[:, 0])
    heading = np.where(sweep == 0.0, straight, arcs[:, 2] + np.copysign(np.pi / 2.0, sweep))
    begin[is_pen, 3] = heading[is_pen]
    end[is_pen, 3] = (heading + sweep)[is_pen]


def _tells_more(at: F64, stroke: I64, length: F64) -> BOOL:
    """Return which slices are needed: not those straight up or down beside another one.

    The chord only grows on the way down, so that its deep end holds all of it, and there the
    neighbour begins or ends.
    """
    upright = (length == 0.0) & (at[:, SC0] == at[:, SC1])
    same = stroke[1:] == stroke[:-1]
    has_next, has_previous = np.append(same, [False]), np.append([False], same)[: len(stroke)]
    has_next = has_next[: len(stroke)]
    down = upright & (at[:, SZ1] < at[:, SZ0]) & has_next
    dropped_before = np.append([False], down)[: len(stroke)]
    up = upright & (at[:, SZ1] > at[:, SZ0]) & has_previous & ~dropped_before
    needed: BOOL = ~(down | up)
    return needed


def _arcs(moves: Moves, rows: I64) -> F64:
    """Return radius at start and end, angle of the start and sweep of each block, 0 for lines.

    The sweep is corrected by what rounding left between it and the end; the radius runs evenly
    from the one at the start to the one at the end.
    """
    sweep = moves.sweep[rows]
    from_centre = moves.begin[rows, :2] - moves.centre[rows]
    to_centre = moves.end[rows, :2] - moves.centre[rows]
    angle = np.arctan2(from_centre[:, 1], from_centre[:, 0])
    reached = np.arctan2(to_centre[:, 1], to_centre[:, 0])
    miss = np.remainder(reached - angle - sweep + np.pi, 2.0 * np.pi) - np.pi
    sweep = np.where((sweep != 0.0) & (np.abs(miss) < _TINY_RAD), sweep + miss, sweep)
    is_arc = sweep != 0.0
    r0 = np.hypot(from_centre[:, 0], from_centre[:, 1])
    r1 = np.hypot(to_centre[:, 0], to_centre[:, 1])
    return np.where(is_arc[:, None], np.column_stack((r0, r1, angle, sweep)), 0.0)


def _places(begin: F64, end: F64, centre: F64, arcs: F64, share: F64) -> F64:
    out = begin + (end - begin) * share[:, None]
    radius = arcs[:, 0] + (arcs[:, 1] - arcs[:, 0]) * share
    angle = arcs[:, 2] + arcs[:, 3] * share
    bent = arcs[:, 3] != 0.0
    out[bent, 0] = (centre[:, 0] + radius * np.cos(angle))[bent]
    out[bent, 1] = (centre[:, 1] + radius * np.sin(angle))[bent]
    exact = bent & (share == 1.0)
    out[exact, :2] = end[exact, :2]
    return out
