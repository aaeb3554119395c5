"""Checks of arguments that every question to geometry shares."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import GeometryError
from kerfwright.geometry.record import F64


def points_of(xy: ArrayLike) -> F64:
    """Return points as floats of shape (N, 2); a single point (2,) becomes one row.

    Raises
    ------
    GeometryError
        If the shape is another, or a number is not finite.
    """
    p = np.atleast_2d(np.asarray(xy, dtype=np.float64))
    if p.size == 0:
        return p.reshape(0, 2)
    if p.ndim != 2 or p.shape[1] != 2:
        msg = f"points have shape {p.shape}, wanted (N, 2): one row per point, x and y"
        raise GeometryError(msg)
    if not np.isfinite(p).all():
        row = int(np.argwhere(~np.isfinite(p))[0][0])
        msg = f"point {row} is {p[row].tolist()}; only finite numbers are allowed"
        raise GeometryError(msg)
    return p


def require_positive(name: str, value: float) -> None:
    """Raise `GeometryError` unless a number is finite and above 0."""
    if not (math.isfinite(value) and value > 0.0):
        msg = f"{name} is {value}, must be finite and above 0"
        raise GeometryError(msg)
