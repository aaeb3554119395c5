"""The motion as short pieces: where the blade is in the stock, pulls, and cuts through."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kerfwright.errors import ModelError, UnknownNameError
from kerfwright.geometry.record import BOOL, F64, I64, Record
from kerfwright.model.motion import Kind, ToolMotion
from kerfwright.model.operation import HeadKind
from kerfwright.model.table import Table
from kerfwright.model.tooling import Blade

STEP_MM = 20.0
"""Greatest length of a piece; loads are looked at at its ends, between which they are linear."""
STEP_RAD = np.pi / 12.0
"""Greatest turn of a piece of an arc."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces(Record):
    """N pieces of the motion in the order they are done, table frame.

    Parameters
    ----------
    begin, end : ndarray of shape (N, 2), float
        Where the blade's front edge meets the bottom face [mm].
    along_begin, along_end : ndarray of shape (N, 2), float
        Direction in which it pulls; 0 where it does not move sideways.
    depth_mm : ndarray of shape (N,), float
        Depth of the tip below the top face; mat cut below the sheet counts as stock [mm].
    lifts : ndarray of shape (N,), bool
        Whether the blade pulls upwards: drawn up, or oscillating.
    is_through : ndarray of shape (N,), bool
        Whether the tip is at the bottom face or below it all along.
    trace : ndarray of shape (N, 3, 2), float
        Begin, middle and end of what is cut at the bottom face [mm].
    block : ndarray of shape (N,), int
        Block of the motion.
    """

    begin: F64
    end: F64
    along_begin: F64
    along_end: F64
    depth_mm: F64
    lifts: BOOL
    is_through: BOOL
    trace: F64
    block: I64

    def __len__(self) -> int:
        """Return the number of pieces."""
        return len(self.block)

    def lengths_mm(self) -> F64:
        """Return the length of what each piece cuts at the bottom face, (N,) [mm]."""
        legs = np.diff(self.trace, axis=1)
        return np.asarray(np.hypot(legs[:, :, 0], legs[:, :, 1]).sum(axis=1), np.float64)


def cut_pieces(
    motion: ToolMotion,
    table: Table,
    *,
    blades: Mapping[int, Blade],
    bottom_z_mm: float,
    top_z_mm: float,
    through_mm: float,
) -> Pieces:
    """Return the pieces in which a blade is below the top face.

    Raises
    ------
    ModelError
        If the motion is not in the table frame, or head offsets are still in its numbers.
    UnknownNameError
        If a station in use has no blade, or the table has no such station.
    """
    if motion.frame != "table" or motion.offsets_in != "control":
        msg = f"hold-down wants the table frame without head offsets, not {motion.frame} with "
        raise ModelError(msg + f"offsets in the {motion.offsets_in}; take the planned motion")
    begins = motion.begins()
    low = np.minimum(begins[:, 2], motion.end[:, 2])
    rows = np.flatnonzero((low < top_z_mm) & (motion.kind != Kind.DWELL) & (motion.tool > 0))
    block, first, last = _split(motion, begins, rows)
    at = [_state(motion, begins, block, share) for share in (first, (first + last) / 2.0, last)]
    chord, oscillates = _chords(motion, table, blades, block, at, bottom_z_mm)
    tip = np.minimum(at[0][:, 2], at[2][:, 2])
    return Pieces(
        begin=_ahead(at[0], chord[0][:, 1]),
        end=_ahead(at[2], chord[2][:, 1]),
        along_begin=_along(motion, begins, block, at[0]),
        along_end=_along(motion, begins, block, at[2]),
        depth_mm=np.maximum(top_z_mm - tip, 0.0),
        lifts=oscillates | (at[2][:, 2] > at[0][:, 2]),
        is_through=np.maximum(at[0][:, 2], at[2][:, 2]) <= bottom_z_mm + through_mm,
        trace=np.stack(
            (
                _ahead(at[0], chord[0][:, 0]),
                _ahead(at[1], chord[1].mean(axis=1)),
                _ahead(at[2], chord[2][:, 1]),
            ),
            axis=1,
        ),
        block=block,
    )


def _split(motion: ToolMotion, begins: F64, rows: I64) -> tuple[I64, F64, F64]:
    """Return the block of each piece and the shares of it where it begins and ends."""
    way = motion.end[rows, :2] - begins[rows, :2]
    radius = np.where(motion.kind[rows] == Kind.ARC, _radius(motion, begins, rows), 0.0)
    sweep = np.abs(motion.sweep_rad[rows])
    length = np.where(sweep > 0.0, radius * sweep, np.hypot(way[:, 0], way[:, 1]))
    count = np.maximum(np.ceil(np.maximum(length / STEP_MM, sweep / STEP_RAD)), 1).astype(np.int64)
    block = np.repeat(rows, count)
    place = np.arange(len(block)) - np.repeat(np.cumsum(count) - count, count)
    size = np.repeat(count, count)
    return block, place / size, (place + 1) / size


def _radius(motion: ToolMotion, begins: F64, rows: I64) -> F64:
    arm = begins[rows, :2] - motion.centre[rows]
    return np.asarray(np.hypot(arm[:, 0], arm[:, 1]), np.float64)


def _state(motion: ToolMotion, begins: F64, block: I64, share: F64) -> F64:
    """Return x, y, z, c at a share of each block; arcs turn about their centre."""
    a, b = begins[block], motion.end[block]
    out = a + (b - a) * share[:, None]
    out[share == 1.0] = b[share == 1.0]
    arcs = np.flatnonzero((motion.kind[block] == Kind.ARC) & (share < 1.0))
    centre, turn = motion.centre[block[arcs]], motion.sweep_rad[block[arcs]] * share[arcs]
    arm = a[arcs, :2] - centre
    cos, sin = np.cos(turn), np.sin(turn)
    out[arcs, 0] = centre[:, 0] + arm[:, 0] * cos - arm[:, 1] * sin
    out[arcs, 1] = centre[:, 1] + arm[:, 0] * sin + arm[:, 1] * cos
    return out


def _along(motion: ToolMotion, begins: F64, block: I64, at: F64) -> F64:
    """Return the direction of travel, 0 for blocks that stay over one point."""
    way = motion.end[block, :2] - begins[block, :2]
    arcs = motion.kind[block] == Kind.ARC
    arm = np.where(arcs[:, None], at[:, :2] - motion.centre[block], 0.0)
    around = np.column_stack((-arm[:, 1], arm[:, 0])) * np.sign(motion.sweep_rad[block])[:, None]
    way = np.where(arcs[:, None], around, way)
    size = np.hypot(way[:, 0], way[:, 1])
    return np.asarray(way / np.where(size > 0.0, size, 1.0)[:, None], np.float64)


def _chords(
    motion: ToolMotion,
    table: Table,
    blades: Mapping[int, Blade],
    block: I64,
    at: list[F64],
    bottom_z_mm: float,
) -> tuple[list[F64], BOOL]:
    """Return back and front of the blade at the bottom face, (N, 2) thrice, and what oscillates."""
    chord = [np.zeros((len(block), 2)) for _ in at]
    oscillates = np.zeros(len(block), bool)
    kinds = {h.id: h.kind for h in table.heads}
    tool = motion.tool[block]
    for number in np.unique(tool).tolist():
        if number not in blades:
            msg = f"no blade was given for station {number}; given: {sorted(blades)}"
            raise UnknownNameError(msg)
        rows = tool == number
        oscillates[rows] = kinds[table.station(number).head_id] is HeadKind.OSCILLATING_KNIFE
        tip, heel = np.array(blades[number].chord_mm(0.0)), blades[number].full_width_height_mm
        grow = np.zeros(2)
        if np.isfinite(heel) and heel > 0.0:
            grow = (np.array(blades[number].chord_mm(heel)) - tip) / heel
        for out, state in zip(chord, at, strict=True):
            height = np.clip(bottom_z_mm - state[rows, 2], 0.0, heel)
            out[rows] = tip + grow * height[:, None]
    return chord, oscillates


def _ahead(at: F64, distance: F64) -> F64:
    turn = np.column_stack((np.cos(at[:, 3]), np.sin(at[:, 3])))
    return np.asarray(at[:, :2] + turn * distance[:, None], np.float64)
