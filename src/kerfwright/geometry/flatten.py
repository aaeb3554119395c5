"""Arcs as chords, for pictures and for libraries that know no arcs."""

from __future__ import annotations

import numpy as np

from kerfwright.errors import OutOfResourcesError
from kerfwright.geometry import edges
from kerfwright.geometry._checks import require_positive
from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.geometry.record import F64


def flatten(paths: PathSet, *, tolerance_mm: float, max_points: int = 20_000_000) -> PathSet:
    """Return the paths with every arc replaced by equal chords that rise at most `tolerance_mm`.

    The vertices of the source stay, to the last bit, and the others lie on the arcs; so chords
    lie inside what bends outwards: areas and distances are off by up to the tolerance.

    Parameters
    ----------
    paths : PathSet
        K paths [mm].
    tolerance_mm : float
        Greatest distance between an arc and its chords [mm].
    max_points : int
        Vertices allowed in the result.

    Returns
    -------
    PathSet
        The same K paths in the same order, all bulges 0 [mm].

    Raises
    ------
    GeometryError
        If `tolerance_mm` is not above 0.
    OutOfResourcesError
        If more than `max_points` vertices would be needed.
    """
    require_positive("tolerance_mm", tolerance_mm)
    e = edges_of(paths)
    count = _chords(e.start, e.end, e.bulge, tolerance_mm)
    chords = np.ones(len(paths.points))
    chords[e.vertex] = count
    if chords.sum() > max_points:
        need = f"{chords.sum():.3g} chords are needed for {tolerance_mm} mm"
        msg = f"{need}, limit {max_points}; allow more error"
        raise OutOfResourcesError(msg)
    parts = chords.astype(np.int64)
    source = np.repeat(np.arange(len(parts)), parts)
    begin = np.concatenate(([0], np.cumsum(parts)))
    place = (np.arange(len(source)) - begin[source]) / parts[source]
    points = paths.points[source]
    edge = np.full(len(parts), -1)
    edge[e.vertex] = np.arange(len(e.vertex))
    between = np.flatnonzero(place > 0.0)
    i = edge[source[between]]
    points[between] = edges.point_at(e.start[i], e.end[i], e.bulge[i], place[between])
    return PathSet(
        points=points,
        bulges=np.zeros(len(points)),
        starts=begin[paths.starts],
        closed=paths.closed,
    )


def _chords(start: F64, end: F64, bulge: F64, tolerance_mm: float) -> F64:
    """Return into how many chords each edge goes: a chord of angle t rises 2 r sin(t / 4)^2."""
    radius = edges.radius_mm(start, end, bulge)
    rise = np.minimum(tolerance_mm / (2.0 * radius), 0.5)
    step = 4.0 * np.arcsin(np.sqrt(rise))
    is_arc = (bulge != 0.0) & (radius > 0.0) & np.isfinite(radius)
    ratio = np.divide(np.abs(edges.sweep_rad(bulge)), step, out=np.ones(len(step)), where=is_arc)
    return np.maximum(np.ceil(ratio * (1.0 - 1e-12)), 1.0)
