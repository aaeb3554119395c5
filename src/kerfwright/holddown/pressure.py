"""Vacuum of each zone as kerfs open, from the first cut to the last."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from kerfwright.geometry.record import F64
from kerfwright.holddown.figures import Figures
from kerfwright.holddown.pieces import Pieces
from kerfwright.mechanics import PumpCurve, ZoneLeaks, air_pressure_pa, zone_drops_pa
from kerfwright.mechanics.air import SEA_LEVEL_PA
from kerfwright.model.table import Table, Zone


def kerf_lengths_mm(pieces: Pieces, zones: Sequence[Zone]) -> F64:
    """Return the length of open kerf in each zone before each piece and after all, (N + 1, Z).

    A piece counts where its middle lies; a line that is cut twice counts twice.
    """
    middle, length = pieces.trace[:, 1], np.where(pieces.is_through, pieces.lengths_mm(), 0.0)
    out = np.zeros((len(pieces) + 1, len(zones)))
    for z, zone in enumerate(zones):
        x0, y0, x1, y1 = zone.box_mm
        inside = (middle[:, 0] >= x0) & (middle[:, 0] < x1)
        inside &= (middle[:, 1] >= y0) & (middle[:, 1] < y1)
        out[1:, z] = np.cumsum(np.where(inside, length, 0.0))
    return out


def open_bed_m2(zones: Sequence[Zone], sheet: Any, open_share: float) -> F64:  # noqa: ANN401 - shapely has no types
    """Return the bed of each zone that neither the sheet nor anything else covers, (Z,) [m2]."""
    boxes = np.array([shapely.box(*z.box_mm) for z in zones], dtype=object)
    free = shapely.area(boxes) - shapely.area(shapely.intersection(boxes, sheet))
    return np.asarray(np.maximum(free, 0.0) * open_share * 1e-6, np.float64)


def pump_of(figures: Figures, table: Table, end: int, altitude_m: float) -> PumpCurve:
    """Return the table's pump at one end of its ranges, in the air of a shop's height [m].

    Its closed vacuum shrinks with the pressure outside.
    """
    outside = float(air_pressure_pa(altitude_m))
    closed = figures.closed_kpa[end] * 1000.0 * outside / SEA_LEVEL_PA
    return PumpCurve(
        kind="blower" if table.pump.kind == "blower" else "displacement",
        closed_pa=min(closed, outside),
        flow_m3_h=figures.flow_m3_h[end],
        outside_pa=outside,
    )


def zone_vacuum_pa(
    pump: PumpCurve,
    figures: Figures,
    mat_mm: float,
    *,
    end: int,
    open_m2: F64,
    kerf_mm: F64,
) -> F64:
    """Return the vacuum of Z zones at T moments, shape (T, Z) [Pa].

    Parameters
    ----------
    pump : PumpCurve
        The source.
    figures : Figures
        Ranges of material and table.
    mat_mm : float
        Thickness of the mat: air spreads as far to both sides below a kerf [mm].
    end : int
        `LOW` or `TYPICAL`.
    open_m2 : ndarray of shape (Z,), float
        Open bed [m2].
    kerf_mm : ndarray of shape (T, Z), float
        Length of open kerf [mm].
    """
    gap, mat = figures.kerf_gap_mm[end], figures.mat_m3_h_m2[end]
    leaks = ZoneLeaks(
        valve_m3_h=np.full(len(open_m2), figures.valve_m3_h[end]),
        steady_m3_h=open_m2 * mat + figures.leak_m3_h[end],
        kerf_mm2=kerf_mm * gap,
        kerf_mat_m3_h=kerf_mm * (gap + 2.0 * mat_mm) * 1e-6 * mat,
    )
    return zone_drops_pa(pump, leaks)[0]
