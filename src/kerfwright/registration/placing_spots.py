"""Where a mark may stand: on the sheet, clear of parts, holes and keep-outs, within reach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.containment import contains_points
from kerfwright.geometry.distance import nearest_on_paths
from kerfwright.geometry.paths import PathSet, join_sets
from kerfwright.geometry.record import BOOL, F64
from kerfwright.model.sheet import Sheet

_BAND_MM = 80.0
_AT_EDGE, _INSIDE = 5000, 3000


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What a mark has to keep clear of.

    Parameters
    ----------
    outline : PathSet
        The sheet's edge [mm].
    solids : PathSet
        Parts, holes and keep-outs [mm].
    clear_mm : float
        Least distance of a mark's centre from all of it: its radius and its quiet zone [mm].
    reach : tuple of float or None
        x0, y0, x1, y1 the camera can go to, sheet frame [mm].
    """

    outline: PathSet
    solids: PathSet
    clear_mm: float
    reach: tuple[float, float, float, float] | None

    def is_free(self, xy: F64) -> BOOL:
        """Return whether a mark may stand at each of N points, shape (N,)."""
        free = contains_points(self.outline, xy)
        if self.reach is not None:
            low, high = np.array(self.reach[:2]), np.array(self.reach[2:])
            free &= ((xy >= low) & (xy <= high)).all(axis=1)
        lines = join_sets((self.outline, self.solids))
        free[free] = nearest_on_paths(lines, xy[free]).distance_mm >= self.clear_mm
        for k, (x0, y0, x1, y1) in enumerate(self.solids.bounds_mm().tolist()):
            if not self.solids.closed[k]:
                continue
            x, y = xy[:, 0], xy[:, 1]
            near = np.flatnonzero(free & (x >= x0) & (x <= x1) & (y >= y0) & (y <= y1))
            if near.size:
                free[near] = ~contains_points(self.solids.select([k]), xy[near])
        return free


def make_ground(
    sheet: Sheet,
    parts: PathSet,
    keep_outs: PathSet | None,
    *,
    clear_mm: float,
    reach: tuple[float, float, float, float] | None,
) -> Ground:
    """Return what a mark on a sheet with parts has to keep clear of."""
    more = () if keep_outs is None else (keep_outs,)
    return Ground(
        outline=sheet.outline,
        solids=join_sets((parts, sheet.holes, sheet.keep_outs, *more)),
        clear_mm=clear_mm,
        reach=reach,
    )


def free_spots(ground: Ground, rng: np.random.Generator) -> F64:
    """Return points a mark may stand at, shape (K, 2), crowded along the edge [mm].

    They are drawn, not laid on a grid: no two pairs of them are equally far apart, which is what
    keeps a set of marks unambiguous. Close to the edge they are densest, because waste is often
    no wider there than the margin.
    """
    x0, y0, x1, y1 = ground.outline.box_mm()
    size = np.array((x1 - x0, y1 - y0))
    low, wide = np.array((x0, y0)) + ground.clear_mm, np.maximum(size - 2.0 * ground.clear_mm, 0.0)
    inside = low + wide * rng.random((_INSIDE, 2))
    along = rng.random(_AT_EDGE) * wide.sum() * 2.0
    inset = rng.random(_AT_EDGE) ** 3 * np.minimum(_BAND_MM, wide.min() / 2.0)
    corners = _corners(low, wide)
    spots = np.concatenate((corners, low + _on_edge(along, inset, wide), inside))
    return np.asarray(spots[ground.is_free(spots)])


def _corners(low: F64, wide: F64) -> F64:
    """Return the four corners furthest out."""
    return np.asarray(low + wide * np.array(((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))))


def _on_edge(along: F64, inset: F64, wide: F64) -> F64:
    """Return points at a place along the edge of a box from 0, 0, each set inwards."""
    w, h = wide.tolist()
    side = np.searchsorted(np.cumsum((w, h, w)), along, side="right")
    rest = along - np.array((0.0, w, w + h, w + h + w))[side]
    x = np.choose(side, (rest, w - inset, w - rest, inset))
    y = np.choose(side, (inset, rest, h - inset, h - rest))
    return np.column_stack((np.clip(x, 0.0, w), np.clip(y, 0.0, h)))
