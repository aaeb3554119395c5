"""Values of a spline made sound, or refused with a reason; its spans made fit to be followed.

Some programs write a chain of Bezier curves as one spline with every knot repeated degree + 1
times, so that each joint has two control points. Where the two are one point, one of them goes;
where they are not, the spline is torn and is no line.

The same programs write straight lines with all control points at their ends, and spans that stay
on one point. There a spline has no direction; the shape is a line, or nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kerfwright.errors import GeometryError

F64 = NDArray[np.float64]
BOOL = NDArray[np.bool_]
Evaluate = Callable[[F64], tuple[F64, F64]]

MOST_DEGREE: Final = 11
NO_LENGTH_MM: Final = 1e-9
_SAME: Final = 1e-9  # distance of two points that are one, as a share of the spline's size


def sound_spline(control: F64, weights: F64, knots: F64, degree: int) -> tuple[F64, F64, F64]:
    """Return control points, weights and knots of a curve in one piece.

    Numbers that are not finite pass; they are refused where all numbers are.

    Raises
    ------
    ValueError
        If the values describe no curve; the text says why.
    """
    if reason := _fault(control, weights, knots, degree):
        raise ValueError(reason)
    return _joined(control, weights, knots, degree)


def _fault(p: F64, w: F64, k: F64, degree: int) -> str:
    if not 1 <= degree <= MOST_DEGREE:
        return f"degree {degree} outside 1 to {MOST_DEGREE}"
    if len(p) <= degree or len(k) != len(p) + degree + 1 or len(w) != len(p):
        return f"{len(p)} control points, {len(k)} knots, {len(w)} weights at degree {degree}"
    if np.isfinite(k).all() and (np.diff(k) < 0.0).any():
        return "knots that run backwards"
    if k[degree] >= k[len(p)]:
        return "knots that leave no curve"
    if (w <= 0.0).any():
        return f"a weight of {w.min():g}"
    return ""


def _joined(p: F64, w: F64, k: F64, degree: int) -> tuple[F64, F64, F64]:
    """Remove the second of two control points at every joint that has two."""
    inner = k[degree + 1 : len(p)]
    values, first, counts = np.unique(inner, return_index=True, return_counts=True)
    inside = (values > k[degree]) & (values < k[len(p)])
    joints = first[inside & (counts > degree)] + degree + 1
    if (counts[inside] > degree + 1).any():
        msg = f"a knot repeated more than {degree + 1} times"
        raise ValueError(msg)
    with np.errstate(invalid="ignore", over="ignore"):
        size = np.ptp(p, axis=0).max()
        gaps = np.abs(p[joints] - p[joints - 1]).max(axis=1, initial=0.0)
    if (gaps > _SAME * size).any():
        msg = f"knots that tear the curve, by {gaps.max():g} units"
        raise ValueError(msg)
    factor = np.ones(len(w))  # pieces of a rational curve may differ by a factor in their weights
    factor[joints] = w[joints - 1] / w[joints]
    w = w * np.cumprod(factor)
    return np.delete(p, joints, axis=0), np.delete(w, joints), np.delete(k, joints)


def tidy_spans(evaluate: Evaluate, control: F64, knots: F64, degree: int) -> tuple[Evaluate, F64]:
    """Return a spline without the spans in which it stands still, straight ones as plain lines.

    Parameters
    ----------
    evaluate : callable
        Points and derivatives by parameter.
    control : ndarray of shape (N, 2)
        Control points [mm].
    knots : ndarray of shape (N + degree + 1,)
        Knots.
    degree : int
        Degree.

    Returns
    -------
    evaluate : callable
        The same curve, by a parameter that begins at 0 and leaves out what was skipped.
    breaks : ndarray of shape (B,)
        Ends of its spans.

    Raises
    ------
    GeometryError
        If the spline stands still all along.
    """
    first = np.arange(degree, len(control))
    first = first[knots[first + 1] > knots[first]]
    ruling = control[first[:, None] + np.arange(-degree, 1)]  # control points of each span
    moves = np.ptp(ruling, axis=1).max(axis=1) > NO_LENGTH_MM
    if not moves.any():
        raise GeometryError("a spline without length")
    first, ruling = first[moves], ruling[moves]
    low, width = knots[first], knots[first + 1] - knots[first]
    straight, begin = _runs_straight(ruling), evaluate(low)[0]
    step = evaluate(knots[first + 1])[0] - begin
    breaks = np.concatenate(([0.0], np.cumsum(width)))

    def tidied(t: F64) -> tuple[F64, F64]:
        k = np.clip(np.searchsorted(breaks, t, side="right") - 1, 0, len(low) - 1)
        share = np.clip((t - breaks[k]) / width[k], 0.0, 1.0)
        points, slopes = evaluate(low[k] + share * width[k])
        line = straight[k][:, None]
        return (
            np.where(line, begin[k] + share[:, None] * step[k], points),
            np.where(line, step[k] / width[k, None], slopes),
        )

    return tidied, breaks


def _runs_straight(ruling: F64) -> BOOL:
    """Return which spans run along a line without turning back, by their control points."""
    whole = ruling[:, -1] - ruling[:, 0]
    length = np.hypot(whole[:, 0], whole[:, 1])
    u = whole / np.maximum(length, NO_LENGTH_MM)[:, None]
    away = ruling - ruling[:, :1]
    along = away[:, :, 0] * u[:, None, 0] + away[:, :, 1] * u[:, None, 1]
    aside = np.abs(away[:, :, 0] * u[:, None, 1] - away[:, :, 1] * u[:, None, 0]).max(axis=1)
    onward = np.diff(along, axis=1).min(axis=1) >= -NO_LENGTH_MM
    straight: BOOL = (aside <= NO_LENGTH_MM) & onward & (length > NO_LENGTH_MM)
    return straight
