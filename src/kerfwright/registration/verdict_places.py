"""Places of contours at which deviations are looked at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry import edges
from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.geometry.record import F64, I64

_DIRECTIONS = ((0.0, 4), (0.02, 8), (0.05, 16))  # from which size on, of the longer side
_EVEN = 8  # places in between, of large contours
_ARC_PARTS = 4
_LARGE, _SPACING = 0.05, 0.05  # of the domain's longer side


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """P places, ordered by path: points (P, 2) in the sheet frame [mm] and path of each (P,)."""

    xy: F64
    path: I64

    def starts(self) -> I64:
        """Return the first row of each path."""
        return np.flatnonzero(np.concatenate(([True], self.path[1:] != self.path[:-1])))

    def rows(self, low: int, high: int) -> slice:
        """Return the rows of paths `low` up to, not including, `high`."""
        first, last = np.searchsorted(self.path, (low, high))
        return slice(int(first), int(last))


def places_of(paths: PathSet, length_mm: float) -> Places:
    """Return the outermost places of each path, and of large ones some between.

    What a sheet does changes slowly along a contour and is nearly linear over a small one, so it
    is worst at the outermost places: in 4 directions below 2 % of the sheet (`length_mm`, its
    longer side), in 8 below 5 %, else in 16 and in between as well.
    """
    every = _candidates(paths, _SPACING * length_mm)
    first = every.starts()
    count = np.diff(np.append(first, len(every.path)))
    box = paths.bounds_mm()
    size = np.hypot(box[:, 2] - box[:, 0], box[:, 3] - box[:, 1]) / length_mm
    picked = [first]
    most = _DIRECTIONS[-1][1]
    for k in range(most):
        angle = 2.0 * np.pi * k / most
        least = next(low for low, ways in _DIRECTIONS if k % (most // ways) == 0)
        outermost = _outermost(every, first, (np.cos(angle), np.sin(angle)))
        picked.append(outermost[size >= least])
    between = (first + count * share // _EVEN for share in range(1, _EVEN))
    picked += [rows[size >= _LARGE] for rows in between]
    rows = np.unique(np.concatenate(picked))
    return Places(xy=every.xy[rows], path=every.path[rows])


def _candidates(paths: PathSet, spacing_mm: float) -> Places:
    """Return all vertices, and places along edges at most a spacing apart."""
    e = edges_of(paths)
    parts = np.ceil(edges.length_mm(e.start, e.end, e.bulge) / spacing_mm).astype(np.int64)
    parts = np.maximum(parts, np.where(e.bulge == 0.0, 1, _ARC_PARTS))
    row = np.repeat(np.arange(len(parts)), parts - 1)
    begin = np.cumsum(parts - 1) - (parts - 1)
    share = (np.arange(len(row)) - begin[row] + 1) / parts[row]
    inner = edges.point_at(e.start[row], e.end[row], e.bulge[row], share)
    vertex = np.concatenate((np.arange(len(paths.points)), e.vertex[row]))
    along = np.concatenate((np.zeros(len(paths.points)), share))
    order = np.lexsort((along, vertex))
    points = np.concatenate((paths.points, inner))[order]
    return Places(xy=points, path=paths.path_of_vertex[vertex[order]])


def _outermost(every: Places, first: I64, way: tuple[float, float]) -> I64:
    """Return the row of each path that lies farthest in a direction."""
    reach = every.xy @ np.array(way)
    most = np.maximum.reduceat(reach, first)
    rows = np.flatnonzero(reach == np.repeat(most, np.diff(np.append(first, len(reach)))))
    path = every.path[rows]
    return rows[np.concatenate(([True], path[1:] != path[:-1]))]
