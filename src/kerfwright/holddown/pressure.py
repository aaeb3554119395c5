"""Vacuum of each zone as kerfs open, from the first cut to the last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from kerfwright.geometry.record import F64, I64
from kerfwright.holddown.figures import Figures
from kerfwright.holddown.pieces import Pieces
from kerfwright.mechanics import PumpCurve, ZoneLeaks, air_pressure_pa, zone_drops_pa
from kerfwright.mechanics.air import SEA_LEVEL_PA
from kerfwright.model.table import Table, Zone


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenKerfs:
    """Open kerf in each of Z zones before each of N pieces and after all, each (N + 1, Z).

    Parameters
    ----------
    closing_mm : ndarray
        Length of kerfs of blades, of which a gap stays open [mm].
    wide_mm, wide_mm2 : ndarray
        Length and area of what cutters have taken out at the bottom face [mm, mm2].
    """

    closing_mm: F64
    wide_mm: F64
    wide_mm2: F64

    def at(self, rows: I64) -> OpenKerfs:
        """Return those of some moments."""
        return OpenKerfs(
            closing_mm=self.closing_mm[rows],
            wide_mm=self.wide_mm[rows],
            wide_mm2=self.wide_mm2[rows],
        )


def open_kerfs(pieces: Pieces, zones: Sequence[Zone]) -> OpenKerfs:
    """Return what is open of all kerfs as they are cut.

    A piece counts where its middle lies; a line that is cut twice counts twice.
    """
    length = np.where(pieces.is_through, pieces.length_mm, 0.0)
    wide = np.where(pieces.kerf_mm > 0.0, length, 0.0)
    every = np.column_stack((length - wide, wide, wide * pieces.kerf_mm))
    out = np.zeros((3, len(pieces) + 1, len(zones)))
    for z, zone in enumerate(zones):
        x0, y0, x1, y1 = zone.box_mm
        inside = (pieces.middle[:, 0] >= x0) & (pieces.middle[:, 0] < x1)
        inside &= (pieces.middle[:, 1] >= y0) & (pieces.middle[:, 1] < y1)
        out[:, 1:, z] = np.cumsum(np.where(inside[:, None], every, 0.0), axis=0).T
    return OpenKerfs(closing_mm=out[0], wide_mm=out[1], wide_mm2=out[2])


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
    kerfs: OpenKerfs,
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
    kerfs : OpenKerfs
        Open kerf at each moment.
    """
    gap, mat = figures.kerf_gap_mm[end], figures.mat_m3_h_m2[end]
    leaks = ZoneLeaks(
        valve_m3_h=np.full(len(open_m2), figures.valve_m3_h[end]),
        steady_m3_h=open_m2 * mat + figures.leak_m3_h[end],
        kerf_mm2=kerfs.closing_mm * gap + kerfs.wide_mm2,
        kerf_mat_m3_h=_mat_mm2(kerfs, gap, mat_mm) * 1e-6 * mat,
    )
    return zone_drops_pa(pump, leaks)[0]


def _mat_mm2(kerfs: OpenKerfs, gap: float, mat_mm: float) -> F64:
    """Return the area of mat that air comes up through below open kerfs [mm2]."""
    beside = 2.0 * mat_mm
    return kerfs.closing_mm * (gap + beside) + kerfs.wide_mm2 + kerfs.wide_mm * beside
