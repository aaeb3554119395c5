"""Edges under a map that does not keep arcs: replaced by arcs through three of their own points.

The curve wanted is the nominal edge mapped point by point. A stretch of it is taken as the arc
through its two ends and its middle, and halved until its distance to six further points of the
curve is within half the tolerance; for a smooth map the greatest distance lies near those points.
"""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.verify.columns import BOOL, F64, I64

_PROBES = np.array((0.0, 1 / 8, 1 / 4, 3 / 8, 1 / 2, 5 / 8, 3 / 4, 7 / 8, 1.0))
_MOST_HALVINGS = 14
_LONGEST_OVER_FIELD_MM = 20.0
_STEP_SHARE = 1 / 4
"""Longest stretch inside the band of a feed step, as a share of the band."""


def bend_edges(
    start: F64, end: F64, bulge: F64, plane_map: PlaneMap, *, tolerance_mm: float
) -> tuple[I64, F64, F64, F64]:
    """Return the mapped curve of E edges as lines and arcs.

    Parameters
    ----------
    start, end : ndarray of shape (E, 2), float
        Ends of the nominal edges [mm].
    bulge : ndarray of shape (E,), float
        Their bulges.
    plane_map : PlaneMap
        Any map.
    tolerance_mm : float
        Greatest distance between the mapped curve and what is returned [mm].

    Returns
    -------
    tuple of ndarray
        Edge each stretch belongs to (N,), its start and end (N, 2) [mm] and bulge (N,); in order.
    """
    edge = np.arange(len(bulge))
    low, high = np.zeros(len(bulge)), np.ones(len(bulge))
    done: list[tuple[I64, F64, F64, F64, F64]] = []
    for level in range(_MOST_HALVINGS + 1):
        share = low[:, None] + (high - low)[:, None] * _PROBES
        nominal = _points(start[edge], end[edge], bulge[edge], share)
        curve = plane_map.map_points(nominal.reshape(-1, 2)).reshape(nominal.shape)
        bent, error = _through_three(curve)
        split = (error > tolerance_mm / 2.0) | _is_rough(nominal, plane_map)
        split &= level < _MOST_HALVINGS
        keep = ~split
        done.append((edge[keep], low[keep], curve[keep, 0], curve[keep, -1], bent[keep]))
        middle = (low + high) / 2.0
        edge, low, high = (
            np.concatenate((edge[split], edge[split])),
            np.concatenate((low[split], middle[split])),
            np.concatenate((middle[split], high[split])),
        )
        if not len(edge):
            break
    of, at, begin, finish, bent = (np.concatenate(column) for column in zip(*done, strict=True))
    order = np.lexsort((at, of))
    return of[order], begin[order], finish[order], bent[order]


def _points(start: F64, end: F64, bulge: F64, share: F64) -> F64:
    """Return points at shares of the sweep (or length) of each edge, shape (E, S, 2)."""
    half = 2.0 * np.arctan(bulge)[:, None]
    part = half * share
    small = np.abs(half) < 1e-9
    ratio = np.where(small, share, np.sin(part) / np.sin(np.where(small, 1.0, half)))
    along, aside = np.cos(part - half) * ratio, np.sin(part - half) * ratio
    d = (end - start)[:, None, :]
    x = d[..., 0] * along - d[..., 1] * aside
    y = d[..., 0] * aside + d[..., 1] * along
    points: F64 = start[:, None, :] + np.stack((x, y), axis=-1)
    return points


def _through_three(curve: F64) -> tuple[F64, F64]:
    """Return the bulge of the arc through start, middle and end, and its error at the probes."""
    first, last = curve[:, 0], curve[:, -1]
    chord = last - first
    size = np.hypot(chord[:, 0], chord[:, 1])
    safe = np.where(size > 0.0, size, 1.0)
    u = chord / safe[:, None]
    d = curve - first[:, None, :]
    along = d[..., 0] * u[:, None, 0] + d[..., 1] * u[:, None, 1]
    aside = d[..., 1] * u[:, None, 0] - d[..., 0] * u[:, None, 1]
    # The arc leaves the chord to the right for a positive bulge. Through (m, h) seen from the
    # start of a chord c: x^2 + y^2 - c x + 2 k y = 0, with k from the middle point.
    m, h = along[:, 4], aside[:, 4]
    flat = np.abs(h) <= 1e-12 * safe
    k = np.where(flat, 0.0, (safe * m - m * m - h * h) / (2.0 * np.where(flat, 1.0, h)))
    apex = np.sign(h) * np.hypot(safe / 2.0, k)
    far = np.where(h * k > 0.0, apex + k, 1.0)  # centre beyond the chord: no cancellation this way
    rise = np.where(flat, 0.0, np.where(h * k > 0.0, safe * safe / 4.0 / far, apex - k))
    bulge = np.clip(-2.0 * rise / safe, -1.0, 1.0)
    radius = np.hypot(safe / 2.0, k)[:, None]
    power = along**2 + aside**2 - safe[:, None] * along + 2.0 * k[:, None] * aside
    reach = np.hypot(along - safe[:, None] / 2.0, aside + k[:, None]) + radius
    error = np.where(flat[:, None], np.abs(aside), np.abs(power) / reach).max(axis=1)
    outside = np.maximum(-along, along - safe[:, None]).max(axis=1)
    doubtful = (size == 0.0) | (np.abs(bulge) > np.tan(np.pi / 8.0)) & (outside > 0.0)
    return bulge, np.where(doubtful & (size > 0.0), np.inf, error)


def _is_rough(nominal: F64, plane_map: PlaneMap) -> BOOL:
    """Return which stretches are too long for their probes to see what the map does there."""
    ends = nominal[:, -1] - nominal[:, 0]
    length = np.hypot(ends[:, 0], ends[:, 1])
    rough = np.zeros(len(nominal), bool)
    if plane_map.weights.any():
        rough |= length > _LONGEST_OVER_FIELD_MM
    for axis, place, _, _ in plane_map.steps:
        reach = nominal[..., int(axis)]
        inside = (reach.max(axis=1) > place - plane_map.blend_mm / 2.0) & (
            reach.min(axis=1) < place + plane_map.blend_mm / 2.0
        )
        rough |= inside & (length > plane_map.blend_mm * _STEP_SHARE)
    return rough
