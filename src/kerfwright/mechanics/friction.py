"""How much of its friction a flat part uses when it is pushed and turned, between two bounds.

A part pressed on a bed resists a sideways force and a turning moment together. Coulomb friction
with a given pressure obeys the rules of limit analysis: any way of moving gives an upper bound on
the load that is held, any admissible field of friction a lower one. The way of moving is sought by
Newton steps on a convex function; all integrals over the polygon are closed forms over its edges,
exact for pressure that is uniform in each piece. *Use* is load over what is held: 1 slips.

Goyal, Ruina and Papadopoulos, Wear 143 (1991) 307-352, from memory, describe the limit surface.
The usual ellipsoid promises up to 7 % too much hold on a disc and is not used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.record import F64, I64, Record, frozen_array, require
from kerfwright.mechanics._limit_surface import bracket


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrictionUse(Record):
    """Bounds on the use of friction for L loads.

    Parameters
    ----------
    low, high : ndarray of shape (L,), float
        Bounds on load over what friction holds; infinite where nothing presses a loaded part down.
    normal_n : ndarray of shape (L,), float
        Force that presses the part down [N].
    centre : ndarray of shape (L, 2), float
        Where it acts [mm].
    moment_nmm : ndarray of shape (L,), float
        The load's moment about that centre [N mm].
    """

    low: F64
    high: F64
    normal_n: F64
    centre: F64
    moment_nmm: F64

    def __post_init__(self) -> None:
        frozen_array(self, "low", dtype=np.float64, shape=(None,), finite=False)
        n = len(self.low)
        frozen_array(self, "high", dtype=np.float64, shape=(n,), finite=False)
        frozen_array(self, "normal_n", dtype=np.float64, shape=(n,))
        frozen_array(self, "centre", dtype=np.float64, shape=(n, 2))
        frozen_array(self, "moment_nmm", dtype=np.float64, shape=(n,))


def friction_use(
    edges: F64,
    zone: I64,
    starts: I64,
    *,
    body: I64,
    pressure_mpa: F64,
    load: F64,
    friction: float,
    tolerance: float = 1e-6,
) -> FrictionUse:
    """Return how much of its friction each load uses.

    Parameters
    ----------
    edges : ndarray of shape (E, 4), float
        x, y of begin and end of the straight edges of all bodies' pieces, outlines
        counter-clockwise and holes clockwise [mm].
    zone : ndarray of shape (E,), int
        Column of `pressure_mpa` that presses on the piece an edge belongs to.
    starts : ndarray of shape (B + 1,), int
        Row of each body's first edge.
    body : ndarray of shape (L,), int
        Body each load acts on.
    pressure_mpa : ndarray of shape (L, Z), float
        Pressure in each zone while the load acts, 0 or more [N/mm2].
    load : ndarray of shape (L, 3), float
        Force along x and y, and moment about the origin of the frame [N, N mm].
    friction : float
        Coefficient of friction, above 0.
    tolerance : float
        Relative gap between the bounds at which the search ends.

    Returns
    -------
    FrictionUse
        Bounds; how far they are apart is for the caller to look at.

    Raises
    ------
    ModelError
        If shapes do not agree, a pressure is below 0, or the friction is not above 0.
    """
    loads, edge_count = len(body), len(edges)
    require(friction > 0.0, f"friction is {friction}, must be above 0")
    require(edges.shape == (edge_count, 4), f"edges have shape {edges.shape}, wanted (E, 4)")
    require(zone.shape == (edge_count,), f"{zone.shape} zones were given for {edge_count} edges")
    require(load.shape == (loads, 3), f"loads have shape {load.shape}, wanted ({loads}, 3)")
    shape = pressure_mpa.shape
    require(len(shape) == 2 and shape[0] == loads, f"pressures have shape {shape}")
    require(bool((pressure_mpa >= 0.0).all()), "a pressure is below 0; nothing presses the part up")
    in_range = (zone >= 0).all() and (zone < shape[1]).all() and (body >= 0).all()
    require(bool(in_range and (body < len(starts) - 1).all()), "a zone or a body is not there")
    out = bracket(
        np.asarray(edges, np.float64),
        np.asarray(zone, np.int64),
        np.asarray(starts, np.int64),
        np.asarray(body, np.int64),
        np.asarray(pressure_mpa, np.float64),
        np.asarray(load, np.float64),
        float(friction),
        float(tolerance),
    )
    return FrictionUse(
        low=out[:, 0],
        high=out[:, 1],
        normal_n=out[:, 2],
        centre=out[:, 3:5],
        moment_nmm=out[:, 5],
    )
