"""A map of the plane that is not known exactly: a weighted mixture of maps with Student errors.

Each node says: with this weight the map is this one, and its quadratic coefficients (those of
1, u, v, u^2, u v, v^2 for each axis, with u, v counted from a centre in units of a length) are off
by a multivariate Student error of a given shape and degrees of freedom. A mixture is what is left
when several models explain the same marks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from kerfwright.errors import GeometryError
from kerfwright.geometry._checks import points_of
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import F64, Record, frozen_array, require

COEFFICIENTS = 12
_LEAST_DOF = 2.0  # at and below it a Student error has no variance
_ROUNDS = 80
_LIGHT = 0.2  # share of the chance to fail that nodes left out of a band may use up


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MapNode(Record):
    """One map of a mixture and how far it may be off.

    Parameters
    ----------
    weight : float
        Its share of the mixture.
    map : PlaneMap
        The map.
    factor : ndarray of shape (12, 12), float
        Scale matrix of the coefficients is ``factor @ factor.T``; rows are the coefficients of
        1, u, v, u^2, u v, v^2 of x' and then of y' [mm].
    dof : float
        Degrees of freedom of the Student error, above 2.
    model : str
        Name of the model the node belongs to.
    """

    weight: float
    map: PlaneMap
    factor: F64
    dof: float
    model: str = ""

    def __post_init__(self) -> None:
        frozen_array(self, "factor", dtype=np.float64, shape=(COEFFICIENTS, COEFFICIENTS))
        require(0.0 < self.weight <= 1.0, f"MapNode.weight is {self.weight}, must be in 0..1")
        wide = np.isfinite(self.dof) and self.dof > _LEAST_DOF
        require(wide, f"MapNode.dof is {self.dof}, must be finite and above {_LEAST_DOF:.0f}")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UncertainMap(Record):
    """A mixture of maps with Student errors.

    Parameters
    ----------
    nodes : tuple of MapNode
        The mixture; weights add up to 1.
    centre : ndarray of shape (2,), float
        Where u and v are 0, in the frame the maps take [mm].
    length_mm : float
        Length u and v are counted in [mm].
    domain : tuple of float
        x0, y0, x1, y1 inside which what is said holds; outside it is extrapolation [mm].
    """

    nodes: tuple[MapNode, ...]
    centre: F64 = field(default_factory=lambda: np.zeros(2))
    length_mm: float = 1.0
    domain: tuple[float, float, float, float]

    def __post_init__(self) -> None:
        frozen_array(self, "centre", dtype=np.float64, shape=(2,))
        require(len(self.nodes) > 0, "UncertainMap.nodes is empty, least is 1")
        total = sum(n.weight for n in self.nodes)
        require(abs(total - 1.0) < 1e-9, f"UncertainMap weights add up to {total}, must be 1")
        wide = np.isfinite(self.length_mm) and self.length_mm > 0.0
        require(wide, f"UncertainMap.length_mm is {self.length_mm}, must be finite and above 0")
        require(np.isfinite(self.domain).all(), f"UncertainMap.domain {self.domain} is not finite")
        d = self.domain
        require(d[0] < d[2] and d[1] < d[3], f"UncertainMap.domain {d} is empty")
        blends = {n.map.blend_mm for n in self.nodes if len(n.map.steps)}
        require(len(blends) < 2, f"UncertainMap.nodes blend steps over {sorted(blends)} mm")

    def mean_map(self) -> PlaneMap:
        """Return the mean of the mixture, itself a plane map.

        Raises
        ------
        ModelError
            If the nodes cancel, so that their mean is singular.
        """
        maps = [(n.weight, n.map) for n in self.nodes]
        steps = [m.steps * (1.0, 1.0, w, w) for w, m in maps]
        blend = next((m.blend_mm for _, m in maps if len(m.steps)), maps[0][1].blend_mm)
        return PlaneMap(
            affine=np.sum([w * m.affine for w, m in maps], axis=0),
            bow=np.sum([w * m.bow for w, m in maps], axis=0),
            steps=np.concatenate(steps),
            blend_mm=blend,
            centres=np.concatenate([m.centres for _, m in maps]),
            weights=np.concatenate([w * m.weights for w, m in maps]),
            domain=self.domain,
        )

    def map(self, xy: ArrayLike) -> F64:
        """Return the mean images of N points, shape (N, 2) [mm].

        Raises
        ------
        GeometryError
            If `xy` is not of shape (N, 2) or (2,), or a number is not finite.
        """
        return self.mean_map().map_points(xy)

    def basis(self, xy: ArrayLike) -> F64:
        """Return 1, u, v, u^2, u v, v^2 at N points, shape (N, 6) [1]."""
        return quadratic_basis((points_of(xy) - self.centre) / self.length_mm)

    def sd(self, xy: ArrayLike) -> F64:
        """Return the standard deviation of the images of N points along x and y, (N, 2) [mm].

        Raises
        ------
        GeometryError
            If `xy` is not of shape (N, 2) or (2,), or a number is not finite.
        """
        var = self.covariance(xy)
        return np.sqrt(np.column_stack((var[:, 0, 0], var[:, 1, 1])))

    def covariance(self, xy: ArrayLike) -> F64:
        """Return the covariance of the images of N points, shape (N, 2, 2) [mm2].

        Raises
        ------
        GeometryError
            If `xy` is not of shape (N, 2) or (2,), or a number is not finite.
        """
        p = points_of(xy)
        mean, basis = self.map(p), self.basis(p)
        total = np.zeros((len(p), 2, 2))
        for node in self.nodes:
            off = node.map.map_points(p) - mean
            spread = node.dof / (node.dof - 2.0) * _scales(basis, node.factor)
            total += node.weight * (spread + off[:, :, None] * off[:, None, :])
        return total

    def interval(self, xy: ArrayLike, level: float) -> tuple[F64, F64]:
        """Return low and high ends that hold the true image, for each point and axis alone.

        Exact quantiles of the Student mixture, found to 1e-9 of the spread.

        Parameters
        ----------
        xy : array_like of shape (N, 2)
            Points [mm].
        level : float
            Chance that the true coordinate lies between, in 0..1.

        Returns
        -------
        tuple of two ndarray of shape (N, 2)
            Lower and upper ends, in the frame of the images [mm].

        Raises
        ------
        GeometryError
            If a point is not finite, or `level` is not between 0 and 1.
        """
        p = points_of(xy)
        tail = (1.0 - _level(level)) / 2.0
        basis = self.basis(p)
        at = np.stack([n.map.map_points(p) for n in self.nodes])
        scale = np.stack([_axis_scales(basis, n.factor) for n in self.nodes])
        weight = np.array([n.weight for n in self.nodes])
        dof = np.array([n.dof for n in self.nodes])
        low = mixture_quantile(weight, at, scale, dof, tail)
        return low, mixture_quantile(weight, at, scale, dof, 1.0 - tail)

    def simultaneous_band(self, xy: ArrayLike, level: float) -> F64:
        """Return radii that hold the true images of all points of the plane at once, (N,) [mm].

        Parameters
        ----------
        xy : array_like of shape (N, 2)
            Points [mm].
        level : float
            Chance that no point of the domain lies farther from its mean image than its radius.

        Raises
        ------
        GeometryError
            If a point is not finite, or `level` is not between 0 and 1.

        Notes
        -----
        Scheffe's bound for each node: an error of rank r and f degrees of freedom stays
        within sqrt(r F(r, f)) scales everywhere at once; the radius is the largest over the
        nodes, each counted from the mean. Light nodes that together weigh less than a fifth of
        ``1 - level`` are left out and the others get what they leave. Wider than needed, never
        narrower.
        """
        p = points_of(xy)
        fail = 1.0 - _level(level)
        order = sorted(self.nodes, key=lambda n: n.weight)
        spent, kept = 0.0, len(order)
        while kept > 1 and spent + order[-kept].weight <= _LIGHT * fail:
            spent += order[-kept].weight
            kept -= 1
        share = (fail - spent) / (1.0 - spent)
        mean, basis = self.map(p), self.basis(p)
        radius = np.zeros(len(p))
        for node in order[-kept:]:
            off = np.hypot(*(node.map.map_points(p) - mean).T)
            rank = max(int(np.linalg.matrix_rank(node.factor)), 1)
            reach = np.sqrt(rank * special.fdtri(rank, node.dof, 1.0 - share))
            widest = np.linalg.eigvalsh(_scales(basis, node.factor))[:, -1]
            radius = np.maximum(radius, off + reach * np.sqrt(np.maximum(widest, 0.0)))
        return radius


def quadratic_basis(uv: F64) -> F64:
    """Return 1, u, v, u^2, u v, v^2 at N points, shape (N, 6) [1]."""
    u, v = uv[:, 0], uv[:, 1]
    return np.column_stack((np.ones(len(uv)), u, v, u * u, u * v, v * v))


def mixture_quantile(weight: F64, at: F64, scale: F64, dof: F64, level: float) -> F64:
    """Return the quantile of mixtures of Student errors.

    Parameters
    ----------
    weight, dof : ndarray of shape (J,), float
        Weight and degrees of freedom of each of J nodes; the weights add up to 1.
    at, scale : ndarray of shape (J, ...), float
        Middle and scale of each node for every quantity asked.
    level : float
        Chance below the quantile, in 0..1.

    Returns
    -------
    ndarray of shape (...), float
        The quantiles, found to 1e-9 of the widest scale.
    """
    shape = (-1,) + (1,) * (at.ndim - 1)
    ends = at + scale * special.stdtrit(dof, level).reshape(shape)
    low, high = ends.min(axis=0), ends.max(axis=0)  # each node's own quantile brackets theirs

    def excess(x: F64) -> tuple[F64, F64]:
        z = (x - at) / np.where(scale > 0.0, scale, 1e-300)
        f = dof.reshape(shape)
        below = np.tensordot(weight, special.stdtr(f, z), 1) - level
        return below, np.tensordot(weight, _student_density(z, f) / np.maximum(scale, 1e-300), 1)

    return _root(excess, low, high, 1e-9 * scale.max(axis=0))


def _root(excess: Callable[[F64], tuple[F64, F64]], low: F64, high: F64, grain: F64) -> F64:
    """Find where a rising function is 0, by Newton steps kept inside a shrinking bracket."""
    x = 0.5 * (low + high)
    for _ in range(_ROUNDS):
        if (high - low <= grain).all():
            break
        value, slope = excess(x)
        low, high = np.where(value <= 0.0, x, low), np.where(value >= 0.0, x, high)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            step = value / slope
            tried = x - step
        inside = (tried > low) & (tried < high)
        settled = inside & (np.abs(step) <= 0.25 * grain)
        low, high = np.where(settled, tried, low), np.where(settled, tried, high)
        x = np.where(inside, tried, 0.5 * (low + high))
    return np.asarray(0.5 * (low + high), dtype=np.float64)


def _student_density(z: F64, dof: F64) -> F64:
    log_norm = special.gammaln((dof + 1.0) / 2.0) - special.gammaln(dof / 2.0)
    log_norm = log_norm - 0.5 * np.log(dof * np.pi)
    return np.asarray(np.exp(log_norm - 0.5 * (dof + 1.0) * np.log1p(z * z / dof)))


def _axis_scales(basis: F64, factor: F64) -> F64:
    half = COEFFICIENTS // 2
    along_x, along_y = basis @ factor[:half], basis @ factor[half:]
    return np.column_stack((np.linalg.norm(along_x, axis=1), np.linalg.norm(along_y, axis=1)))


def _scales(basis: F64, factor: F64) -> F64:
    """Return the scale matrix of the images of N points, shape (N, 2, 2) [mm2]."""
    half = COEFFICIENTS // 2
    both = np.stack((basis @ factor[:half], basis @ factor[half:]), axis=1)
    return np.asarray(both @ both.transpose(0, 2, 1), dtype=np.float64)


def _level(level: float) -> float:
    if not 0.0 < level < 1.0:
        raise GeometryError(f"level is {level}, must be above 0 and below 1, as 0.95")
    return level
