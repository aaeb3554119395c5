"""Axes of an entity's own coordinate system, from its extrusion.

The "arbitrary axis algorithm" of the DXF reference: x is across the world's y axis where the
extrusion is within 1/64 of z, across z elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot, isfinite, sqrt
from typing import Final

Vector = tuple[float, float, float]
Axes = tuple[Vector, Vector, Vector]

WORLD: Final[Axes] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
MIRRORED: Final[Axes] = ((-1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, -1.0))
_NEAR_Z: Final = 1.0 / 64.0


def axes_of(extrusion: Sequence[float]) -> Axes:
    """Return the unit vectors x, y, z of the system that belongs to an extrusion.

    Raises
    ------
    ValueError
        If the extrusion has no direction.
    """
    x, y, z = (float(v) for v in extrusion)
    if x == 0.0 and y == 0.0 and z != 0.0 and isfinite(z):
        return WORLD if z > 0.0 else MIRRORED
    length = sqrt(x * x + y * y + z * z)
    if not (isfinite(length) and length > 0.0):
        msg = f"extrusion ({x:g}, {y:g}, {z:g}) has no direction"
        raise ValueError(msg)
    az = (x / length, y / length, z / length)
    near_z = abs(az[0]) < _NEAR_Z and abs(az[1]) < _NEAR_Z
    ax = _unit((az[2], 0.0, -az[0]) if near_z else (-az[1], az[0], 0.0))
    ay = (
        az[1] * ax[2] - az[2] * ax[1],
        az[2] * ax[0] - az[0] * ax[2],
        az[0] * ax[1] - az[1] * ax[0],
    )
    return ax, ay, az


def _unit(v: Vector) -> Vector:
    length = hypot(*v)
    return v[0] / length, v[1] / length, v[2] / length


def to_world(axes: Axes, x: float, y: float, z: float) -> Vector:
    """Return a point of the entity's system in the world's."""
    (a, b, c), (d, e, f), (g, h, i) = axes
    return a * x + d * y + g * z, b * x + e * y + h * z, c * x + f * y + i * z
