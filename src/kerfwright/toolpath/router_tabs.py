"""Where holding tabs stand: evenly, and on the straightest run near each even place."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kerfwright.geometry import edges
from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.geometry.record import F64
from kerfwright.model.routing import Tabs

_TRIED = 33
"""Places tried about each even place."""
_PHASES = 8
"""Where the first even place lies is tried so often on the way to the next."""
_ASIDE = 0.35
"""How far a tab may move from its even place, as a share of the way from tab to tab."""
_CURVE_COST = 4.0
"""A tab on a curve is worth moving it by so many shares of its width per radian it turns."""


def place_tabs(
    paths: PathSet, tabs: Tabs | None, radius_mm: float, has_ring: Sequence[bool]
) -> list[F64 | None]:
    """Return middle and width of the tabs of each contour.

    A tab is the length asked for where it is narrowest, on the line of the cutter's centre, so
    the cutter is up for a length that is greater by its diameter.

    Parameters
    ----------
    paths : PathSet
        K contours [mm].
    tabs : Tabs or None
        Tabs wanted; None for none.
    radius_mm : float
        Radius of the cutter [mm].
    has_ring : sequence of bool
        Which contours are routed.

    Returns
    -------
    list of (ndarray of shape (T, 2), float) or None
        Middle as a share of the contour's length from its drawn start, width along the cutter's
        path [mm]; None where the tabs do not fit.
    """
    nothing = np.zeros((0, 2))
    if tabs is None:
        return [nothing] * len(paths)
    return [
        _tabs_of(paths.select([k]), tabs, radius_mm) if has_ring[k] and paths.closed[k] else nothing
        for k in range(len(paths))
    ]


def _tabs_of(path: PathSet, tabs: Tabs, radius_mm: float) -> F64 | None:
    whole = float(path.lengths_mm()[0])
    count, width = tabs.count_for(whole), tabs.length_mm + 2.0 * radius_mm
    pitch = whole / count
    if 2.0 * width > pitch:  # as much cut as left standing, or the piece hangs in one bridge
        return None
    shift = np.linspace(-_ASIDE, _ASIDE, _TRIED) * pitch
    phase = np.arange(_PHASES) / _PHASES * pitch
    even = phase[:, None] + np.arange(count) * pitch
    places = even[:, :, None] + shift
    turn = _turn_over(path, places, 1.5 * width)
    cost = turn * _CURVE_COST * width + np.abs(shift)
    least = cost.min(axis=2).sum(axis=1)
    own = int(np.argmin(least > least.min() + 1e-6 * pitch))
    middle = even[own] + shift[np.argmin(cost[own], axis=1)]
    gaps = np.diff(middle, append=middle[0] + whole)
    if (gaps <= 1.2 * width).any():
        return None
    return np.column_stack((middle / whole % 1.0, np.full(count, width)))


def _turn_over(path: PathSet, places: F64, width: float) -> F64:
    """Return how much a closed path turns within a width about each place, corners included."""
    e = edges_of(path)
    knots = np.concatenate(([0.0], np.cumsum(edges.length_mm(e.start, e.end, e.bulge))))
    first, last = edges.heading_rad(e.start, e.end, e.bulge)
    bend = np.concatenate(([0.0], np.cumsum(np.abs(edges.sweep_rad(e.bulge)))))
    corner = np.abs(np.angle(np.exp(1j * (first - np.roll(last, 1)))))  # at the edge's begin
    step = np.concatenate(([0.0], np.cumsum(corner)))
    whole = knots[-1]

    def turned_at(s: F64) -> F64:
        laps = np.floor(s / whole)
        rest = s - laps * whole
        passed = step[np.searchsorted(knots[:-1], rest, side="right")]
        at: F64 = laps * (bend[-1] + step[-1]) + np.interp(rest, knots, bend) + passed
        return at

    return turned_at(places + width / 2.0) - turned_at(places - width / 2.0)
