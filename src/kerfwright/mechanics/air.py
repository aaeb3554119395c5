"""The air outside: pressure by height, density by pressure and temperature."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.geometry.record import F64, require

SEA_LEVEL_PA: Final = 101_325.0
"""Standard pressure at height 0, ISO 2533."""
GAS_J_KG_K: Final = 287.05287
"""Specific gas constant of air in ISO 2533, from memory."""
ROOM_K: Final = 293.15
"""Temperature of a workshop, 20 degrees Celsius; common practice, no source."""
HEAT_RATIO: Final = 1.4
"""Ratio of specific heats of air in ISO 2533, from memory."""
_EARTH_M: Final = 6_356_766.0
_TOP_M: Final = 11_000.0


def air_pressure_pa(height_m: ArrayLike) -> F64:
    """Return the standard air pressure at geometrical heights.

    ``p = 101325 (1 - 0.0065 H / 288.15)^5.25588`` with ``H = 6356766 z / (6356766 + z)``.

    Parameters
    ----------
    height_m : array_like, float
        Geometrical height above sea level, from -2000 to 11000 m.

    Returns
    -------
    ndarray of the same shape, float
        Pressure [Pa].

    Raises
    ------
    ModelError
        If a height is outside the range.

    Notes
    -----
    ISO 2533, table 5. Weather moves the true pressure by up to about 3 %.
    """
    z = np.asarray(height_m, dtype=np.float64)
    inside = bool(((z >= -2000.0) & (z <= _TOP_M)).all())
    require(
        inside, f"height_m is {z.tolist()}, the standard atmosphere is taken from -2000 to 11000"
    )
    h = _EARTH_M * z / (_EARTH_M + z)
    return np.asarray(SEA_LEVEL_PA * (1.0 - 0.0065 * h / 288.15) ** 5.25588, dtype=np.float64)


def air_density_kg_m3(pressure_pa: float, temperature_k: float = ROOM_K) -> float:
    """Return the density of dry air as an ideal gas [kg/m3]."""
    require(pressure_pa > 0.0, f"pressure_pa is {pressure_pa}, must be above 0")
    require(temperature_k > 0.0, f"temperature_k is {temperature_k}, must be above 0")
    return pressure_pa / (GAS_J_KG_K * temperature_k)
