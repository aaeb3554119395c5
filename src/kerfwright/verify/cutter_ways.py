"""What cutters do in the stock: lines and arcs of their axis, with the height of the tip."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.model.design import Design
from kerfwright.model.operation import HeadKind
from kerfwright.model.tooling import Cutter
from kerfwright.verify.columns import BOOL, F64, I64, UX, UY, X0, X1, Y0, Y1
from kerfwright.verify.moves import Moves, is_near
from kerfwright.verify.wanted import pieces_between

UNKNOWN = -1
_HALF_TURN = np.pi / 2.0
"""Arcs are cut into parts of at most so much: their boxes stay small, and their bulge below 1."""
_SPIRAL_MM = 5e-4  # how far a part of an arc of uneven radius may be off the true one
_MOST_PARTS = 256
_JOINT_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """W ways in the stock, in the order of the program.

    Parameters
    ----------
    pieces : ndarray of shape (W, 14), float
        Lines and arcs of the axis, columns as in `columns`; straight up or down has no length.
    heights : ndarray of shape (W, 3), float
        Tip at start and end; tip at the start of the way that goes on from there, infinite where
        none does [mm].
    goes : ndarray of shape (W, 2), float
        Direction in which the way after begins, 0, 0 where none does.
    tool : ndarray of shape (W,), int
        Index into `Design.tools`, `UNKNOWN` for a tool the design does not name.
    block, stroke : ndarray of shape (W,), int
        Block and stroke of each.
    """

    pieces: F64
    heights: F64
    goes: F64
    tool: I64
    block: I64
    stroke: I64

    def __len__(self) -> int:
        """Return the number of ways."""
        return len(self.block)

    def tips(self) -> F64:
        """Return the lowest tip of each way [mm]."""
        lowest: F64 = np.minimum(self.heights[:, 0], self.heights[:, 1])
        return lowest


def cutter_stations(moves: Moves, design: Design) -> BOOL:
    """Return which stations hold a cutter; the last entry is for blocks without a station."""
    cutters = {t.id for t in design.tools if isinstance(t, Cutter)}
    pairs = zip(moves.stations, moves.heads, strict=True)
    held = [s.tool_id in cutters or h.kind is HeadKind.ROUTER_SPINDLE for s, h in pairs]
    return np.array([*held, False], bool)


def ways_of(moves: Moves, design: Design) -> Ways:
    """Return what the cutters of a program do in the stock."""
    is_cutter = cutter_stations(moves, design)[moves.station]
    rows = np.flatnonzero((moves.stroke >= 0) & is_cutter & is_near(moves))
    begin, end, sweep, of = _parts(moves, rows)
    chord = np.hypot(*(end - begin)[:, :2].T)
    sweep = np.where(chord > 0.0, sweep, 0.0)
    pieces = pieces_between(begin[:, :2], end[:, :2], np.tan(sweep / 4.0), chord, flat_mm=1e-7)
    block = rows[of]
    index = {t.id: i for i, t in enumerate(design.tools) if isinstance(t, Cutter)}
    held = [index.get(s.tool_id, UNKNOWN) for s in moves.stations]
    heights = np.column_stack((begin[:, 2], end[:, 2]))
    joints, goes = _joints(pieces, heights, moves.stroke[block])
    return Ways(
        pieces=pieces,
        heights=np.hstack((heights, joints)),
        goes=goes,
        tool=np.array([*held, UNKNOWN], np.int64)[moves.station[block]],
        block=block,
        stroke=moves.stroke[block],
    )


def _parts(moves: Moves, rows: I64) -> tuple[F64, F64, F64, I64]:
    """Return start, end, sweep and row of the parts of blocks that lie in the stock."""
    spoke0 = moves.begin[rows, :2] - moves.centre[rows]
    spoke1 = moves.end[rows, :2] - moves.centre[rows]
    sweep, low, high = moves.sweep[rows], moves.low[rows], moves.high[rows]
    r0, r1 = np.hypot(*spoke0.T), np.hypot(*spoke1.T)
    angle = np.arctan2(spoke0[:, 1], spoke0[:, 0])
    miss = np.arctan2(spoke1[:, 1], spoke1[:, 0]) - angle - sweep
    sweep = np.where(sweep == 0.0, 0.0, sweep + np.remainder(miss + np.pi, 2.0 * np.pi) - np.pi)
    uneven = np.where(sweep == 0.0, 0.0, np.abs(r1 - r0) / _SPIRAL_MM)
    count = np.maximum(np.abs(sweep) * (high - low) / _HALF_TURN, uneven)
    count = np.clip(np.ceil(count - 1e-9), 1, _MOST_PARTS).astype(np.int64)
    of = np.repeat(np.arange(len(rows)), count)
    number = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    width = (high - low)[of]
    share0 = low[of] + width * (number / count[of])
    share1 = low[of] + width * ((number + 1) / count[of])
    ends = []
    for share in (share0, share1):
        at = moves.begin[rows[of]] + (moves.end - moves.begin)[rows[of]] * share[:, None]
        radius, turned = r0[of] + (r1 - r0)[of] * share, angle[of] + sweep[of] * share
        bent = (sweep[of] != 0.0) & (share > 0.0) & (share < 1.0)
        rim = moves.centre[rows[of]] + (radius * (np.cos(turned), np.sin(turned))).T
        at[bent, :2] = rim[bent]
        at[share == 1.0] = moves.end[rows[of]][share == 1.0]
        ends.append(at)
    return ends[0], ends[1], sweep[of] * (share1 - share0), of


def _joints(pieces: F64, heights: F64, stroke: I64) -> tuple[F64, F64]:
    """Return the height at which the next way goes on from the end of each, and where to.

    Ways straight up or down are looked through: what counts is how the axis goes on sideways.
    """
    out = np.full((len(stroke), 1), np.inf)
    aside = np.flatnonzero(np.hypot(*(pieces[:, X0 : Y0 + 1] - pieces[:, X1 : Y1 + 1]).T) > 0.0)
    one, two = aside[:-1], aside[1:]
    gap = np.abs(pieces[one, X1 : Y1 + 1] - pieces[two, X0 : Y0 + 1]).max(axis=1, initial=0.0)
    joined = (stroke[one] == stroke[two]) & (gap <= _JOINT_MM)
    one, two = one[joined], two[joined]
    out[one, 0] = heights[two, 0]
    goes = np.zeros((len(stroke), 2))
    goes[one] = pieces[two][:, UX : UY + 1]
    return out, goes
