"""Vacuum of the zones of a bed: one pump, a valve per zone, leaks behind each valve.

Every flow grows with its pressure drop, so the network has one answer, found by safe root finding
inside root finding. Valves, open bed and the zone's own leaks follow ``C dp^0.65``; a kerf is a
slit (flow by the root of the drop, incompressible) in a row with the strip of mat below it.
Incompressible flow is too large by under 10 % up to 30 kPa and by more above, on the safe side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.record import F64, Record, frozen_array, require
from kerfwright.mechanics._zone_network import solve_zones
from kerfwright.mechanics.leaks import DISCHARGE
from kerfwright.mechanics.pumps import PumpCurve


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ZoneLeaks(Record):
    """What lets air into Z zones at T moments; flows are free air at a drop of 1 kPa.

    Parameters
    ----------
    valve_m3_h : ndarray of shape (Z,), float
        Flow of each open valve with its hose, above 0 [m3/h].
    steady_m3_h : ndarray of shape (Z,), float
        Leaks that do not change: open bed and the zone's own [m3/h].
    kerf_mm2 : ndarray of shape (T, Z), float
        Open area of all kerfs: length times gap [mm2].
    kerf_mat_m3_h : ndarray of shape (T, Z), float
        Flow of the strip of mat below the kerfs [m3/h].
    """

    valve_m3_h: F64
    steady_m3_h: F64
    kerf_mm2: F64
    kerf_mat_m3_h: F64

    def __post_init__(self) -> None:
        frozen_array(self, "valve_m3_h", dtype=np.float64, shape=(None,))
        zones = len(self.valve_m3_h)
        frozen_array(self, "steady_m3_h", dtype=np.float64, shape=(zones,))
        frozen_array(self, "kerf_mm2", dtype=np.float64, shape=(None, zones))
        frozen_array(self, "kerf_mat_m3_h", dtype=np.float64, shape=self.kerf_mm2.shape)
        require(bool((self.valve_m3_h > 0.0).all()), "ZoneLeaks.valve_m3_h must be above 0")
        for name in ("steady_m3_h", "kerf_mm2", "kerf_mat_m3_h"):
            require(
                bool((getattr(self, name) >= 0.0).all()), f"ZoneLeaks.{name} must not be below 0"
            )


def zone_drops_pa(pump: PumpCurve, leaks: ZoneLeaks) -> tuple[F64, F64]:
    """Return the vacuum of each zone at each moment.

    Parameters
    ----------
    pump : PumpCurve
        The source.
    leaks : ZoneLeaks
        What lets air in.

    Returns
    -------
    drop_pa : ndarray of shape (T, Z), float
        Vacuum below the sheet [Pa].
    imbalance_kg_s : ndarray of shape (T,), float
        What the pump draws less what comes in; above 0 at the closed vacuum it is what the relief
        valve lets in, elsewhere rounding [kg/s].
    """
    density = pump.density_kg_m3
    free = density / 3600.0
    slit = DISCHARGE * np.sqrt(2.0 * density) * 1e-6  # mm2 and Pa to kg/s
    out = solve_zones(
        pump.flow_m3_h * free,
        pump.closed_pa,
        pump.closed_pa if pump.kind == "blower" else pump.outside_pa,
        leaks.valve_m3_h * free,
        leaks.steady_m3_h * free,
        leaks.kerf_mm2 * slit,
        leaks.kerf_mat_m3_h * free,
    )
    return out[:, :-1], out[:, -1]
