"""How much air goes through a hole, a crack and a porous board."""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.geometry.record import F64, require
from kerfwright.mechanics.air import GAS_J_KG_K, HEAT_RATIO, ROOM_K

CRACK_EXPONENT: Final = 0.65
"""Exponent of flow over pressure for cracks; 0.5 for large openings, 1 for the finest pores.

Form and value as an open airflow library gives them, after Dols and Walton, 2002.
"""
DISCHARGE: Final = 0.62
"""Share of the ideal flow that goes through a sharp hole; 0.60 to 0.63 in ISO 5167 for local
tappings. A thin plate never chokes fully and the share rises towards 0.84 (from memory)."""
AIR_VISCOSITY_PA_S: Final = 1.82e-5
"""Viscosity of air at 20 degrees Celsius."""
_REFERENCE_PA: Final = 1000.0


def orifice_kg_s(
    area_m2: ArrayLike,
    *,
    outside_pa: float,
    inside_pa: ArrayLike,
    discharge: float = DISCHARGE,
    temperature_k: float = ROOM_K,
) -> F64:
    """Return the mass flow through sharp holes, choked where the pressure ratio is low enough.

    ``Cd A p0 / sqrt(R T) sqrt(2 k / (k - 1) (r^(2/k) - r^((k+1)/k)))`` with r = p / p0, held at
    its greatest value below r = 0.528282.

    Parameters
    ----------
    area_m2 : array_like, float
        Open area of each hole [m2].
    outside_pa : float
        Pressure outside [Pa].
    inside_pa : array_like, float
        Pressure behind the hole, from 0 to the pressure outside [Pa].
    discharge : float
        Share of the ideal flow.
    temperature_k : float
        Temperature outside [K].

    Returns
    -------
    ndarray of the broadcast shape, float
        Mass flow [kg/s].

    Raises
    ------
    ModelError
        If a pressure or an area is out of range.

    Notes
    -----
    Isentropic flow of an ideal gas, any textbook of gas dynamics.
    """
    area, inside = np.asarray(area_m2, np.float64), np.asarray(inside_pa, np.float64)
    require(bool((area >= 0.0).all()), "orifice_kg_s: an area is below 0")
    right = bool(((inside >= 0.0) & (inside <= outside_pa)).all())
    require(right, f"orifice_kg_s: inside pressures must lie from 0 to {outside_pa} Pa")
    k = HEAT_RATIO
    choked = (2.0 / (k + 1.0)) ** (k / (k - 1.0))
    ratio = np.maximum(inside / outside_pa, choked)
    shape = 2.0 * k / (k - 1.0) * (ratio ** (2.0 / k) - ratio ** ((k + 1.0) / k))
    speed = outside_pa / sqrt(GAS_J_KG_K * temperature_k)
    return np.asarray(discharge * area * speed * np.sqrt(np.maximum(shape, 0.0)), np.float64)


def crack_kg_s(flow_m3_h: ArrayLike, *, drop_pa: ArrayLike, density_kg_m3: float) -> F64:
    """Return the mass flow of leaks known by their flow at 1 kPa: ``C (dp / 1 kPa)^0.65``.

    Parameters
    ----------
    flow_m3_h : array_like, float
        Free air that leaks at a drop of 1 kPa [m3/h].
    drop_pa : array_like, float
        Pressure drop, 0 or more [Pa].
    density_kg_m3 : float
        Density of the free air [kg/m3].

    Returns
    -------
    ndarray of the broadcast shape, float
        Mass flow [kg/s].
    """
    drop = np.asarray(drop_pa, np.float64)
    require(bool((drop >= 0.0).all()), "crack_kg_s: a pressure drop is below 0")
    at_one = np.asarray(flow_m3_h, np.float64) * density_kg_m3 / 3600.0
    return np.asarray(at_one * (drop / _REFERENCE_PA) ** CRACK_EXPONENT, np.float64)


def porous_m3_s(
    permeability_m2: float,
    area_m2: float,
    thickness_m: float,
    *,
    outside_pa: float,
    inside_pa: float,
) -> float:
    """Return the volume flow through a porous board, counted at the pressure outside [m3/s].

    ``k A (p1^2 - p2^2) / (2 mu L p1)``, Darcy's law for a gas. For fibre board the permeability
    runs from 0.38e-13 to 6.26e-13 m2, so calibrate it by one gauge reading. Slip and inertia of
    the gas are left out.

    Raises
    ------
    ModelError
        If a value is not above 0 or the pressure inside is not below that outside.
    """
    require(min(permeability_m2, area_m2, thickness_m) > 0.0, "porous_m3_s: sizes must be above 0")
    require(0.0 <= inside_pa <= outside_pa, f"inside_pa is {inside_pa}, outside {outside_pa}")
    push = outside_pa**2 - inside_pa**2
    return permeability_m2 * area_m2 * push / (2.0 * AIR_VISCOSITY_PA_S * thickness_m * outside_pa)
