"""What a vacuum source draws at a vacuum, and the vacuum one plenum settles at."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from kerfwright.geometry.record import F64, require
from kerfwright.mechanics.air import ROOM_K, air_density_kg_m3


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpCurve:
    """A vacuum source as two figures.

    A *blower* draws free air that falls in a straight line from its free flow at no vacuum to
    nothing at its closed vacuum. A *displacement* pump draws the same volume at its inlet whatever
    the vacuum, up to its closed vacuum, which a relief valve keeps.

    Parameters
    ----------
    kind : {'blower', 'displacement'}
        Which of the two.
    closed_pa : float
        Vacuum with nothing open [Pa].
    flow_m3_h : float
        Free flow [m3/h].
    outside_pa : float
        Air pressure outside [Pa].
    temperature_k : float
        Temperature of the air [K].

    Raises
    ------
    ModelError
        If a figure is not above 0, or the closed vacuum is above the pressure outside.
    """

    kind: Literal["blower", "displacement"]
    closed_pa: float
    flow_m3_h: float
    outside_pa: float
    temperature_k: float = ROOM_K

    def __post_init__(self) -> None:
        require(self.kind in ("blower", "displacement"), f"pump kind {self.kind} is not known")
        require(self.flow_m3_h > 0.0, f"flow_m3_h is {self.flow_m3_h}, must be above 0")
        inside = 0.0 < self.closed_pa <= self.outside_pa
        require(
            inside, f"closed_pa is {self.closed_pa}, must be above 0, at most {self.outside_pa}"
        )

    @property
    def density_kg_m3(self) -> float:
        """Density of the air outside [kg/m3]."""
        return air_density_kg_m3(self.outside_pa, self.temperature_k)

    def mass_kg_s(self, drop_pa: float) -> float:
        """Return what it draws at a vacuum, without the relief valve [kg/s]."""
        free = self.flow_m3_h / 3600.0 * self.density_kg_m3
        if self.kind == "blower":
            return free * (1.0 - drop_pa / self.closed_pa)
        return free * (1.0 - drop_pa / self.outside_pa)


def plenum_pressure_pa(
    pump: PumpCurve, leaks: Callable[[float], F64], *, imbalance: float = 1e-12
) -> tuple[float, float]:
    """Return the vacuum at which a pump draws what any number of leaks let in.

    What the pump draws falls with the vacuum and every leak grows with it, so there is one answer;
    it is found by halving.

    Parameters
    ----------
    pump : PumpCurve
        The source.
    leaks : callable
        Gives the mass flow of each leak at a pressure inside [Pa -> kg/s].
    imbalance : float
        Imbalance allowed [kg/s].

    Returns
    -------
    drop_pa : float
        Vacuum; the closed vacuum where the relief valve is open [Pa].
    imbalance_kg_s : float
        What the pump draws less what leaks in; above 0 is what the relief valve lets in [kg/s].
    """

    def balance(drop_pa: float) -> float:
        return pump.mass_kg_s(drop_pa) - float(np.sum(leaks(pump.outside_pa - drop_pa)))

    low, high = 0.0, pump.closed_pa
    at_closed = balance(high)
    if at_closed >= 0.0:
        return high, at_closed
    middle, left = high, at_closed
    while abs(left) > imbalance and low < (low + high) / 2.0 < high:
        middle = (low + high) / 2.0
        left = balance(middle)
        low, high = (middle, high) if left > 0.0 else (low, middle)
    return middle, left
