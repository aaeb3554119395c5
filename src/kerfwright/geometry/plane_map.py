"""A map of the plane: affine, bow, feed steps and a smooth field, in that order, added up.

``p' = A p + t + bow(p) + steps(p) + field(p)``, each term a function of the source point p.
Arcs stay arcs only under a similarity; anything else needs a fit to the mapped curve.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import GeometryError
from kerfwright.geometry._checks import points_of
from kerfwright.geometry.record import F64, Record, frozen_array, require

_EVERYWHERE = (-1e6, -1e6, 1e6, 1e6)
_BLOCK = 1 << 16


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaneMap(Record):
    """Maps points of one frame to another; knows nothing of uncertainty.

    Parameters
    ----------
    affine : ndarray of shape (2, 3), float
        Linear part and shift [1, mm].
    bow : ndarray of shape (2, 3), float
        Coefficients of x^2, x y, y^2 for each axis; an arc of curvature k along x has
        ``[[0, -k, 0], [k / 2, 0, 0]]`` [1/mm].
    steps : ndarray of shape (S, 4), float
        Feed steps: axis (0 for x, 1 for y), place along it, jump in x, jump in y [1, mm].
    blend_mm : float
        Width over which a step is blended by a cubic, centred on its place [mm].
    centres : ndarray of shape (Q, 2), float
        Centres of the smooth field [mm].
    weights : ndarray of shape (Q, 2), float
        Weight of ``r^2 ln r^2`` at each centre, for x and y [1/mm].
    domain : tuple of float
        x0, y0, x1, y1 inside which the map was determined [mm].
    """

    affine: F64
    bow: F64 = field(default_factory=lambda: np.zeros((2, 3)))
    steps: F64 = field(default_factory=lambda: np.zeros((0, 4)))
    blend_mm: float = 1.0
    centres: F64 = field(default_factory=lambda: np.zeros((0, 2)))
    weights: F64 = field(default_factory=lambda: np.zeros((0, 2)))
    domain: tuple[float, float, float, float] = _EVERYWHERE

    def __post_init__(self) -> None:
        frozen_array(self, "affine", dtype=np.float64, shape=(2, 3))
        frozen_array(self, "bow", dtype=np.float64, shape=(2, 3))
        frozen_array(self, "steps", dtype=np.float64, shape=(None, 4))
        frozen_array(self, "centres", dtype=np.float64, shape=(None, 2))
        frozen_array(self, "weights", dtype=np.float64, shape=(len(self.centres), 2))
        require(np.linalg.det(self.affine[:, :2]) != 0.0, "PlaneMap.affine must not be singular")
        wide = np.isfinite(self.blend_mm) and self.blend_mm > 0.0
        require(wide, f"PlaneMap.blend_mm is {self.blend_mm}, must be finite and above 0")
        require(np.isin(self.steps[:, 0], (0.0, 1.0)).all(), "a step's axis is 0 or 1")
        d = self.domain
        require(d[0] < d[2] and d[1] < d[3], f"PlaneMap.domain {d} is empty")

    @property
    def is_similarity(self) -> bool:
        """Whether arcs stay arcs: no bow, step or field, and equal scale in every direction."""
        a = self.affine[:, :2]
        scale2 = abs(float(np.linalg.det(a)))
        is_even = np.abs(a @ a.T - scale2 * np.eye(2)).max() <= 1e-12 * scale2
        return self.is_affine and bool(is_even)

    @property
    def is_affine(self) -> bool:
        """Whether lines stay lines: no bow, step or field."""
        return not (self.bow.any() or self.steps[:, 2:].any() or self.weights.any())

    def map_points(self, xy: ArrayLike) -> F64:
        """Return the images of N points, shape (N, 2) [mm].

        Raises
        ------
        GeometryError
            If `xy` is not of shape (N, 2) or (2,), or a number is not finite.
        """
        p = points_of(xy)
        out = p @ self.affine[:, :2].T + self.affine[:, 2]
        if self.bow.any():
            out += _quadratic(p) @ self.bow.T
        for axis, place, dx, dy in self.steps:
            u = np.clip((p[:, int(axis)] - place) / self.blend_mm + 0.5, 0.0, 1.0)
            out += (u * u * (3.0 - 2.0 * u))[:, None] * np.array((dx, dy))
        for rows in _blocks(len(p), len(self.centres)):
            out[rows] += _field(p[rows], self.centres) @ self.weights
        return out

    def jacobian(self, xy: ArrayLike) -> F64:
        """Return the derivative of the map at N points, shape (N, 2, 2), rows x', y' [1].

        Raises
        ------
        GeometryError
            If `xy` is not of shape (N, 2) or (2,), or a number is not finite.
        """
        p = points_of(xy)
        out = np.broadcast_to(self.affine[:, :2], (len(p), 2, 2)).copy()
        if self.bow.any():
            across = self.bow[:, 1]
            out[:, :, 0] += 2.0 * p[:, :1] * self.bow[:, 0] + p[:, 1:] * across
            out[:, :, 1] += 2.0 * p[:, 1:] * self.bow[:, 2] + p[:, :1] * across
        for axis, place, dx, dy in self.steps:
            u = np.clip((p[:, int(axis)] - place) / self.blend_mm + 0.5, 0.0, 1.0)
            out[:, :, int(axis)] += (6.0 * u * (1.0 - u) / self.blend_mm)[:, None] * (dx, dy)
        for rows in _blocks(len(p), len(self.centres)):
            by_x, by_y = _field_slope(p[rows], self.centres)
            out[rows, :, 0] += by_x @ self.weights
            out[rows, :, 1] += by_y @ self.weights
        return out

    def inverse_similarity(self) -> PlaneMap:
        """Return the map back, for a similarity only.

        Raises
        ------
        GeometryError
            If the map is not a similarity.
        """
        if not self.is_similarity:
            msg = "only a similarity is turned round in closed form; solve for the point instead"
            raise GeometryError(msg)
        back = np.linalg.inv(self.affine[:, :2])
        return PlaneMap(affine=np.column_stack((back, -back @ self.affine[:, 2])))


def rigid_map(x_mm: float, y_mm: float, turn_rad: float) -> PlaneMap:
    """Return the map that turns about the origin by `turn_rad`, then moves by (x, y) [mm]."""
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    return PlaneMap(affine=np.array([[cos, -sin, x_mm], [sin, cos, y_mm]]))


def _blocks(points: int, centres: int) -> Iterator[slice]:
    """Yield runs of points small enough that points times centres fit in a processor's cache."""
    if centres:
        size = max(_BLOCK // centres, 1)
        yield from (slice(i, i + size) for i in range(0, points, size))


def _quadratic(p: F64) -> F64:
    x, y = p[:, 0], p[:, 1]
    return np.column_stack((x * x, x * y, y * y))


def _away(p: F64, centres: F64) -> tuple[F64, F64, F64]:
    """Return x, y and squared distance from each centre, three of shape (N, Q)."""
    dx = p[:, :1] - centres[:, 0]
    dy = p[:, 1:] - centres[:, 1]
    return dx, dy, dx * dx + dy * dy


def _field(p: F64, centres: F64) -> F64:
    _, _, r2 = _away(p, centres)
    return np.asarray(r2 * np.log(np.where(r2 > 0.0, r2, 1.0)), dtype=np.float64)


def _field_slope(p: F64, centres: F64) -> tuple[F64, F64]:
    dx, dy, r2 = _away(p, centres)
    factor = 2.0 * (np.log(np.where(r2 > 0.0, r2, 1.0)) + 1.0)
    return factor * dx, factor * dy
