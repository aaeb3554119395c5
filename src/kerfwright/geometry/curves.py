"""Parametric curves that published formats hold: Bezier curves, B-splines, ellipses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import BSpline
from scipy.special import comb

from kerfwright.errors import GeometryError
from kerfwright.geometry._checks import points_of
from kerfwright.geometry.record import F64


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A curve in the plane, smooth between its breaks.

    Parameters
    ----------
    evaluate : callable
        Takes parameters (N,) and returns points and derivatives, two of shape (N, 2) [mm]. At a
        break it may answer for either side.
    breaks : ndarray of shape (B,), float
        Rising parameters: both ends, and every place where the curve may have a corner.
    closed : bool
        Whether the curve ends where it began.

    Raises
    ------
    GeometryError
        If there are fewer than two breaks, or they do not rise.
    """

    evaluate: Callable[[F64], tuple[F64, F64]]
    breaks: F64
    closed: bool = False

    def __post_init__(self) -> None:
        breaks = np.array(self.breaks, dtype=np.float64)
        if breaks.ndim != 1 or len(breaks) < 2 or not (np.diff(breaks) > 0.0).all():
            msg = f"the breaks of a curve must rise and be two at least, not {breaks.tolist()}"
            raise GeometryError(msg)
        if not np.isfinite(breaks).all():
            msg = "the breaks of a curve must be finite"
            raise GeometryError(msg)
        breaks.flags.writeable = False
        object.__setattr__(self, "breaks", breaks)


def bezier_curve(control: ArrayLike, *, closed: bool = False) -> Curve:
    """Return a Bezier curve of any degree, with the parameter from 0 to 1.

    Parameters
    ----------
    control : array_like of shape (n, 2)
        Control points, at least two [mm].
    closed : bool
        Whether the curve ends where it began.

    Raises
    ------
    GeometryError
        If there are fewer than two points or a number is not finite.
    """
    points = points_of(control)
    if len(points) < 2:
        msg = f"a Bezier curve has at least two control points, {len(points)} were given"
        raise GeometryError(msg)
    steps = np.diff(points, axis=0) * (len(points) - 1)

    def evaluate(t: F64) -> tuple[F64, F64]:
        return _bernstein(t, len(points)) @ points, _bernstein(t, len(points) - 1) @ steps

    return Curve(evaluate=evaluate, breaks=np.array([0.0, 1.0]), closed=closed)


def _bernstein(t: F64, count: int) -> F64:
    """Return the Bernstein polynomials of degree ``count - 1``, shape (N, count)."""
    k = np.arange(count)
    u = t[:, None]
    return np.asarray(comb(count - 1, k) * u**k * (1.0 - u) ** (count - 1 - k), dtype=np.float64)


def bspline_curve(
    control: ArrayLike,
    knots: ArrayLike,
    *,
    degree: int,
    weights: ArrayLike | None = None,
    closed: bool = False,
) -> Curve:
    """Return a B-spline, rational when weights are given (NURBS).

    Parameters
    ----------
    control : array_like of shape (n, 2)
        Control points [mm].
    knots : array_like of shape (n + degree + 1,)
        Knots, not falling. The curve runs from ``knots[degree]`` to ``knots[n]``.
    degree : int
        Degree, at least 1.
    weights : array_like of shape (n,), optional
        Weights above 0.
    closed : bool
        Whether the curve ends where it began.

    Raises
    ------
    GeometryError
        If the numbers do not make a spline.
    """
    points = points_of(control)
    t, n = np.asarray(knots, dtype=np.float64), len(points)
    w = np.ones(n) if weights is None else np.asarray(weights, dtype=np.float64)
    _check_spline(n, t, w, degree)
    spline = BSpline(t, np.column_stack((points * w[:, None], w)), degree)
    slope = spline.derivative()

    def evaluate(at: F64) -> tuple[F64, F64]:
        h, d = spline(at), slope(at)
        p = h[:, :2] / h[:, 2:]
        return p, (d[:, :2] - p * d[:, 2:]) / h[:, 2:]

    inside = (t >= t[degree]) & (t <= t[n])
    return Curve(evaluate=evaluate, breaks=np.unique(t[inside]), closed=closed)


def _check_spline(count: int, knots: F64, weights: F64, degree: int) -> None:
    wanted = count + degree + 1
    if degree < 1 or count <= degree or knots.shape != (wanted,) or weights.shape != (count,):
        msg = (
            f"a spline of degree {degree} with {count} control points wants {wanted} knots and "
            f"{count} weights, not {knots.size} and {weights.size}"
        )
        raise GeometryError(msg)
    if not (np.isfinite(knots).all() and (np.diff(knots) >= 0.0).all()):
        msg = "the knots of a spline must be finite and must not fall"
        raise GeometryError(msg)
    if not (knots[degree] < knots[count]):
        msg = "the knots of a spline leave it no length"
        raise GeometryError(msg)
    if not (np.isfinite(weights).all() and (weights > 0.0).all()):
        msg = "the weights of a spline must be finite and above 0"
        raise GeometryError(msg)


def ellipse_curve(
    centre: ArrayLike,
    major: ArrayLike,
    *,
    ratio: float,
    start_rad: float = 0.0,
    end_rad: float = 2.0 * np.pi,
) -> Curve:
    """Return an ellipse or a piece of one: ``centre + cos t major + sin t minor``.

    Parameters
    ----------
    centre : array_like of shape (2,)
        Centre [mm].
    major : array_like of shape (2,)
        Vector from the centre to where t is 0 [mm].
    ratio : float
        Length of the minor vector by that of the major one; the minor vector stands a quarter
        turn counter-clockwise from the major one, clockwise when the ratio is below 0.
    start_rad, end_rad : float
        Parameters at both ends; the end is taken one or more turns on until it lies above the
        start [rad]. One whole turn is a closed curve.

    Raises
    ------
    GeometryError
        If a number is not finite, a vector has no length, or more than one turn is asked for.
    """
    c, u = points_of(centre)[0], points_of(major)[0]
    v = ratio * np.array((-u[1], u[0]))
    if not (np.isfinite([ratio, start_rad, end_rad]).all() and u.any() and v.any()):
        msg = f"an ellipse of axes {u.tolist()} and {v.tolist()} has no shape"
        raise GeometryError(msg)
    sweep = end_rad - start_rad
    if sweep <= 0.0:
        sweep += 2.0 * np.pi * (1.0 + np.floor(-sweep / (2.0 * np.pi)))
    if sweep > 2.0 * np.pi * (1.0 + 1e-12):
        msg = f"an ellipse turns at most once, {sweep:.6g} rad were asked for"
        raise GeometryError(msg)

    def evaluate(t: F64) -> tuple[F64, F64]:
        cos, sin = np.cos(t)[:, None], np.sin(t)[:, None]
        return c + cos * u + sin * v, cos * v - sin * u

    closed = bool(sweep >= 2.0 * np.pi * (1.0 - 1e-12))
    return Curve(evaluate=evaluate, breaks=np.array([start_rad, start_rad + sweep]), closed=closed)
