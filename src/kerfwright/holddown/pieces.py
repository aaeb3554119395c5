"""The motion as short pieces: where the tool is in the stock, pulls, and cuts through."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kerfwright.errors import ModelError
from kerfwright.geometry.record import BOOL, F64, I64, Record
from kerfwright.holddown.chips import chip_areas_mm2
from kerfwright.holddown.tool_kinds import By, bottom_radii, kinds, loads, walls
from kerfwright.model.motion import Kind, ToolMotion
from kerfwright.model.operation import HeadKind
from kerfwright.model.table import Table
from kerfwright.model.tooling import Blade, Tool, Wheel

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
        Where the blade's front edge meets the bottom face, the wheel the top one, or where the
        axis of a cutter is [mm].
    along_begin, along_end : ndarray of shape (N, 2), float
        Direction in which it pulls; 0 where it does not move sideways.
    by : ndarray of shape (N,), int
        `By` of each.
    size : ndarray of shape (N,), float
        What its force grows with: depth of a blade's tip below the top face, mat below the sheet
        counted as stock [mm]; area of chip of a cutter [mm2]; 1 for a wheel.
    lifts : ndarray of shape (N,), bool
        Whether it pulls upwards: a blade drawn up or oscillating, a cutter that turns.
    is_through : ndarray of shape (N,), bool
        Whether the tip is at the bottom face or below it all along.
    reach_mm : ndarray of shape (N,), float
        How far from the line between begin and end it touches: radius of a cutter, else 0 [mm].
    kerf_mm : ndarray of shape (N,), float
        Width a cutter leaves open at the bottom face; 0 for others, whose kerfs close [mm].
    length_mm : ndarray of shape (N,), float
        Length of what each piece cuts at the bottom face [mm].
    middle : ndarray of shape (N, 2), float
        Middle of it [mm].
    trace : ndarray of shape (T, 3, 2), float
        Begin, middle and end of what is cut at the bottom face; two walls of a cutter [mm].
    trace_piece : ndarray of shape (T,), int
        Piece of each, not falling.
    block : ndarray of shape (N,), int
        Block of the motion.
    """

    begin: F64
    end: F64
    along_begin: F64
    along_end: F64
    by: I64
    size: F64
    lifts: BOOL
    is_through: BOOL
    reach_mm: F64
    kerf_mm: F64
    length_mm: F64
    middle: F64
    trace: F64
    trace_piece: I64
    block: I64

    def __len__(self) -> int:
        """Return the number of pieces."""
        return len(self.block)


def cut_pieces(
    motion: ToolMotion,
    table: Table,
    *,
    tools: Mapping[int, Tool],
    bottom_z_mm: float,
    top_z_mm: float,
    through_mm: float,
) -> Pieces:
    """Return the pieces in which a tool is below the top face and loads the stock.

    Raises
    ------
    ModelError
        If the motion is not in the table frame, or head offsets are still in its numbers.
    UnknownNameError
        If a station in use has no tool, or the table has no such station.
    """
    if motion.frame != "table" or motion.offsets_in != "control":
        msg = f"hold-down wants the table frame without head offsets, not {motion.frame} with "
        raise ModelError(msg + f"offsets in the {motion.offsets_in}; take the planned motion")
    begins = motion.begins()
    low = np.minimum(begins[:, 2], motion.end[:, 2])
    rows = np.flatnonzero((low < top_z_mm) & (motion.kind != Kind.DWELL) & (motion.tool > 0))
    rows = rows[loads(motion.tool[rows], tools)]
    block, first, last = _split(motion, begins, rows)
    at = [_state(motion, begins, block, share) for share in (first, (first + last) / 2.0, last)]
    chord, oscillates = _chords(motion, table, tools, block, at, bottom_z_mm)
    along = [_along(motion, begins, block, state) for state in at]
    tip = np.minimum(at[0][:, 2], at[2][:, 2])
    depth = np.maximum(top_z_mm - tip, 0.0)
    by, reach = kinds(motion.tool[block], tools)
    begin, end = _ahead(at[0], chord[0][:, 1]), _ahead(at[2], chord[2][:, 1])
    middle = _ahead(at[1], chord[1].mean(axis=1))
    trace = np.stack((_ahead(at[0], chord[0][:, 0]), middle, end), axis=1)
    radius = bottom_radii(motion.tool[block], tools, at, bottom_z_mm)
    sides, side_piece = walls(trace, np.stack(along, axis=1), radius, by)
    size = np.where(by == By.WHEEL, (depth > 0.0) * 1.0, depth)
    cutters = np.flatnonzero(by == By.CUTTER)
    size[cutters] = chip_areas_mm2(
        motion,
        tools,
        block=block[cutters],
        begin=begin[cutters],
        end=end[cutters],
        moves=np.abs(along[1][cutters]).sum(axis=1) > 0.0,
        depth_mm=depth[cutters],
        radius_mm=reach[cutters],
    )
    lifts = np.where(by == By.BLADE, oscillates | (at[2][:, 2] > at[0][:, 2]), by == By.CUTTER)
    legs = np.diff(trace, axis=1)
    return Pieces(
        begin=begin,
        end=end,
        along_begin=along[0],
        along_end=along[2],
        by=by,
        size=size,
        lifts=lifts,
        is_through=(np.maximum(at[0][:, 2], at[2][:, 2]) <= bottom_z_mm + through_mm)
        & (by != By.WHEEL),
        reach_mm=reach,
        kerf_mm=np.where(by == By.CUTTER, 2.0 * radius[:, 1], 0.0),
        length_mm=np.hypot(legs[:, :, 0], legs[:, :, 1]).sum(axis=1),
        middle=middle,
        trace=sides,
        trace_piece=side_piece,
        block=block,
    )


def kinds_of(pieces: Pieces) -> frozenset[By]:
    """Return the kinds of tool in use; blades where nothing is cut."""
    return frozenset(By(k) for k in np.unique(pieces.by).tolist()) or frozenset({By.BLADE})


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
    tools: Mapping[int, Tool],
    block: I64,
    at: list[F64],
    bottom_z_mm: float,
) -> tuple[list[F64], BOOL]:
    """Return back and front of the tool at the bottom face, (N, 2) thrice, and what oscillates.

    A wheel touches at its lowest point; a cutter is taken at its axis.
    """
    chord = [np.zeros((len(block), 2)) for _ in at]
    oscillates = np.zeros(len(block), bool)
    kinds = {h.id: h.kind for h in table.heads}
    stations = motion.tool[block]
    for number in np.unique(stations).tolist():
        tool, rows = tools[number], stations == number
        head = kinds[table.station(number).head_id]
        if isinstance(tool, Wheel):
            for out in chord:
                out[rows] = tool.reference_mm
        if not isinstance(tool, Blade):
            continue
        oscillates[rows] = head is HeadKind.OSCILLATING_KNIFE
        tip, heel = np.array(tool.chord_mm(0.0)), tool.full_width_height_mm
        grow = np.zeros(2)
        if np.isfinite(heel) and heel > 0.0:
            grow = (np.array(tool.chord_mm(heel)) - tip) / heel
        for out, state in zip(chord, at, strict=True):
            height = np.clip(bottom_z_mm - state[rows, 2], 0.0, heel)
            out[rows] = tip + grow * height[:, None]
    return chord, oscillates


def _ahead(at: F64, distance: F64) -> F64:
    turn = np.column_stack((np.cos(at[:, 3]), np.sin(at[:, 3])))
    return np.asarray(at[:, :2] + turn * distance[:, None], np.float64)
