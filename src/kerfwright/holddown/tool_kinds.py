"""What kinds of tools do to the stock: which load it, how wide they are, what walls they leave."""

from __future__ import annotations

from collections.abc import Mapping
from enum import IntEnum

import numpy as np

from kerfwright.errors import UnknownNameError
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.tooling import Blade, Cutter, Tool, Wheel

_ON_FACE_MM = 1e-6


class By(IntEnum):
    """What kind of tool a piece is done by; a pen loads nothing and makes none."""

    BLADE = 0
    CUTTER = 1
    WHEEL = 2


def loads(stations: I64, tools: Mapping[int, Tool]) -> BOOL:
    """Return which blocks are of a tool that loads the stock; refuse stations without one."""
    wanted = np.ones(len(stations), np.bool_)
    for number in np.unique(stations).tolist():
        if number not in tools:
            msg = f"no tool was given for station {number}; given: {sorted(tools)}"
            raise UnknownNameError(msg)
        wanted[stations == number] = isinstance(tools[number], Blade | Cutter | Wheel)
    return wanted


def kinds(stations: I64, tools: Mapping[int, Tool]) -> tuple[I64, F64]:
    """Return kind and reach of the tool of each piece."""
    by, reach = np.full(len(stations), int(By.BLADE)), np.zeros(len(stations))
    for number in np.unique(stations).tolist():
        tool, rows = tools[number], stations == number
        if isinstance(tool, Cutter):
            by[rows], reach[rows] = By.CUTTER, tool.radius_mm
        elif isinstance(tool, Wheel):
            by[rows] = By.WHEEL
    return by, reach


def bottom_radii(
    stations: I64, tools: Mapping[int, Tool], at: list[F64], bottom_z_mm: float
) -> F64:
    """Return the radius a cutter sweeps at the bottom face, (N, 3): begin, middle, end [mm]."""
    out = np.zeros((len(stations), 3))
    for number in np.unique(stations).tolist():
        tool = tools[number]
        if isinstance(tool, Cutter):
            rows = np.flatnonzero(stations == number)
            radius, height = tool.profile_mm.T
            for column, state in enumerate(at):
                above = bottom_z_mm - state[rows, 2]
                swept = np.interp(above, height, radius)
                out[rows, column] = np.where(above >= -_ON_FACE_MM, swept, 0.0)
    return out


def walls(trace: F64, along: F64, radius: F64, by: I64) -> tuple[F64, I64]:
    """Return what is cut at the bottom face: the trace of a blade, both walls of a cutter."""
    aside = np.stack((-along[:, :, 1], along[:, :, 0]), axis=2) * radius[:, :, None]
    is_cutter = by == By.CUTTER
    piece = np.concatenate((np.arange(len(by)), np.flatnonzero(is_cutter)))
    every = np.concatenate(
        (np.where(is_cutter[:, None, None], trace + aside, trace), (trace - aside)[is_cutter])
    )
    order = np.argsort(piece, kind="stable")
    return every[order], piece[order]
