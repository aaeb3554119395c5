"""The program as read, in the table frame: offsets undone, tools known, depths cut out.

Blocks with a number of station the table does not have, and blocks before the first tool call,
have no head: where their tip is cannot be known, and they are never swept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.model.design import Design, Tolerances
from kerfwright.model.motion import Kind, ToolMotion
from kerfwright.model.table import Head, Station, Table
from kerfwright.model.tooling import Blade, Pen, Tool, Wheel
from kerfwright.verify.columns import BLADE_COLUMNS, BOOL, F64, I64
from kerfwright.verify.wanted import FARTHEST_MM

NO_STATION = -1
_STILL_MM = 1e-6  # a block that moves x and y by less goes straight up or down


@dataclass(frozen=True, slots=True, kw_only=True)
class Moves:
    """M blocks in the table frame, tip height over the bed.

    Parameters
    ----------
    begin, end : ndarray of shape (M, 4), float
        x, y of the C axis, height of the tip and blade direction [mm, rad].
    centre : ndarray of shape (M, 2), float
        Centre of arcs, 0 for other blocks [mm].
    sweep : ndarray of shape (M,), float
        Sweep of arcs, 0 for other blocks [rad].
    rapid, aside, turning : ndarray of shape (M,), bool
        Whether it is a rapid, moves x or y, turns C; a pen has no direction to turn.
    station : ndarray of shape (M,), int
        Index into `stations`, `NO_STATION` for none.
    number : ndarray of shape (M,), int
        Number of the station as the program calls it, 0 for none.
    low, high : ndarray of shape (M,), float
        Share of the block at which the tip goes below the top face and comes up again; equal
        where it stays above.
    stroke : ndarray of shape (M,), int
        Stroke each block is part of, -1 for none.
    stations : tuple of Station
        Stations of the table.
    heads : tuple of Head
        Head of each station.
    blades : ndarray of shape (B, 5), float
        Blades; a wheel is a line without width at its lowest point, so is a pen at its axis, and
        the last one, for tools the design does not know.
    blade : ndarray of shape (S,), int
        Blade of each station.
    rolls, draws : ndarray of shape (S + 1,), bool
        Whether each station holds a wheel, or a pen; the last row is for none.
    """

    begin: F64
    end: F64
    centre: F64
    sweep: F64
    rapid: BOOL
    aside: BOOL
    turning: BOOL
    station: I64
    number: I64
    low: F64
    high: F64
    stroke: I64
    stations: tuple[Station, ...]
    heads: tuple[Head, ...]
    blades: F64
    blade: I64
    rolls: BOOL
    draws: BOOL

    def __len__(self) -> int:
        """Return the number of blocks."""
        return len(self.sweep)


def moves_of(motion: ToolMotion, design: Design, table: Table, tolerances: Tolerances) -> Moves:
    """Return a program's blocks in the table frame."""
    stations = table.stations
    heads = tuple(table.head(s.head_id) for s in stations)
    station = _stations(motion.tool, stations)
    begin, end = motion.begins().copy(), motion.end.copy()
    is_arc = motion.kind == Kind.ARC
    centre = np.where(is_arc[:, None], motion.centre, 0.0)
    if motion.offsets_in == "program" or motion.frame == "machine":
        shift = _offsets(heads)[station]
        begin, end = begin - shift, end - shift
        centre = np.where(is_arc[:, None], centre - shift[:, :2], 0.0)
    if table.z_reference == "top":
        begin[:, 2] += design.top_z_mm
        end[:, 2] += design.top_z_mm
    _come_from_rest(begin, end, motion.tool)
    way = np.abs(end - begin)
    aside: BOOL = is_arc | (way[:, :2].max(axis=1, initial=0.0) > _STILL_MM)
    face = design.top_z_mm - tolerances.program_mm
    low, high = _below(begin[:, 2], end[:, 2], face)
    blades, blade = _blades(design, stations)
    draws = _holds(Pen, design, stations)
    return Moves(
        begin=begin,
        end=end,
        centre=centre,
        sweep=motion.sweep_rad,
        rapid=motion.kind == Kind.RAPID,
        aside=aside,
        turning=(way[:, 3] > 0.0) & ~draws[station],
        station=station,
        number=motion.tool,
        low=low,
        high=high,
        stroke=_strokes(low, high, motion.tool, station >= 0),
        stations=stations,
        heads=heads,
        blades=blades,
        blade=blade,
        rolls=_holds(Wheel, design, stations),
        draws=draws,
    )


def is_near(moves: Moves) -> BOOL:
    """Return which blocks lie where a table can be, and turn as much as an axis can."""
    ends = np.concatenate((moves.begin, moves.end, moves.centre), axis=1)
    near: BOOL = np.all(np.abs(ends) <= FARTHEST_MM, axis=1)
    return near


def _come_from_rest(begin: F64, end: F64, tool: I64) -> None:
    """Let a head that is called come from above: each has its own z, and rests at the top."""
    called = np.flatnonzero(tool != np.concatenate(([0], tool[:-1]))[: len(tool)])
    begin[called, 2] = np.maximum(begin[called, 2], end[called, 2])


def _stations(tool: I64, stations: tuple[Station, ...]) -> I64:
    numbers = np.array([s.number for s in stations], np.int64)
    order = np.argsort(numbers)
    if not len(numbers):
        return np.full(len(tool), NO_STATION)
    place = np.minimum(np.searchsorted(numbers[order], tool), len(numbers) - 1)
    index = order[place]
    return np.where(numbers[index] == tool, index, NO_STATION)


def _offsets(heads: tuple[Head, ...]) -> F64:
    """Return what each station's head adds to x, y, z, c; the last row is for none."""
    rows = [(*h.offset_mm.tolist(), h.c_zero_rad) for h in heads]
    return np.array([*rows, (0.0, 0.0, 0.0, 0.0)])


def _blades(design: Design, stations: tuple[Station, ...]) -> tuple[F64, I64]:
    index = {tool.id: i for i, tool in enumerate(design.tools)}
    blades = np.zeros((len(index) + 1, BLADE_COLUMNS))
    blades[-1, -1] = np.inf
    for tool in design.tools:
        if isinstance(tool, Wheel):
            blades[index[tool.id]] = (tool.reference_mm, 0.0, 0.0, 0.0, np.inf)
        if not isinstance(tool, Blade):
            continue
        trail, lead = (np.tan(np.pi / 2.0 - a) for a in (tool.trail_rad, tool.lead_rad))
        blades[index[tool.id]] = (
            tool.reference_mm,
            tool.tip_mm / 2.0,
            trail,
            lead,
            tool.full_width_height_mm,
        )
    own = [index.get(s.tool_id, len(index)) for s in stations]
    return blades, np.array(own, np.int64)


def _holds(kind: type[Tool], design: Design, stations: tuple[Station, ...]) -> BOOL:
    ids = {tool.id for tool in design.tools if isinstance(tool, kind)}
    return np.array([*(s.tool_id in ids for s in stations), False], bool)


def _below(z0: F64, z1: F64, face: float) -> tuple[F64, F64]:
    """Return the share of each block, from and to, in which the tip is below a face."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        cross = np.clip((face - z0) / (z1 - z0), 0.0, 1.0)
    first, second = z0 < face, z1 < face
    low = np.where(first, 0.0, np.where(second, cross, 0.0))
    high = np.where(second, 1.0, np.where(first, cross, 0.0))
    return low, high


def _strokes(low: F64, high: F64, tool: I64, known: BOOL) -> I64:
    """Return the number of the stroke each block is part of.

    A stroke goes on from block to block while the tip stays below the face and the tool the same.
    """
    part = (high > low) & known
    stroke = np.full(len(low), -1, np.int64)
    if not part.any():
        return stroke
    goes_on = part[1:] & part[:-1] & (low[1:] == 0.0) & (high[:-1] == 1.0)
    goes_on &= tool[1:] == tool[:-1]
    begins = part & ~np.concatenate(([False], goes_on))
    stroke[part] = (np.cumsum(begins) - 1)[part]
    return stroke
