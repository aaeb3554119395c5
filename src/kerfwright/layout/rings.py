"""Outlines as polygons that err to the safe side, for the search only.

Solids (parts, keep-outs, holes of the sheet) are drawn *outside* their arcs: tangents where an
arc bends outwards, chords where it bends inwards. The free space of a sheet is drawn inside its
arcs. Tangents touch at the points furthest left, right, up and down, so that boxes stay exact
and round parts fill a row as tightly as square ones.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64

SHRINK_MM = 2e-8
"""What shapes are drawn smaller by while places are searched, so that touching is no crossing."""
_COARSE = 2e-3
_GRID_MM = 1e-9


def ring_of(outline: PathSet, *, is_solid: bool) -> F64:
    """Return the vertices (n, 2) of a polygon on the safe side of one closed path.

    Parameters
    ----------
    outline : PathSet
        One closed path that does not cross itself [mm].
    is_solid : bool
        Whether the inside is taken (a part) or free (a sheet).

    Returns
    -------
    ndarray of shape (n, 2), float
        Counter-clockwise, off the path by at most two thousandths of its size [mm].
    """
    turned = outline.reversed_where() if outline.areas_mm2()[0] < 0.0 else outline
    box = turned.bounds_mm()[0]
    tolerance = max(float(max(box[2] - box[0], box[3] - box[1])) * _COARSE, 1e-3)
    points, after = turned.points, np.roll(turned.points, -1, axis=0)
    out: list[tuple[float, float]] = []
    for p, q, bulge in zip(points.tolist(), after.tolist(), turned.bulges.tolist(), strict=True):
        out.append((p[0], p[1]))
        if bulge != 0.0:
            out += _bend(p, q, bulge, tolerance, is_outside=(bulge > 0.0) == is_solid)
    return without_repeats(np.array(out))


def _bend(
    p: list[float], q: list[float], bulge: float, tolerance: float, *, is_outside: bool
) -> list[tuple[float, float]]:
    """Return the vertices that stand for an arc between its ends."""
    chord_x, chord_y = q[0] - p[0], q[1] - p[1]
    lift = (1.0 - bulge * bulge) / (4.0 * bulge)
    cx = (p[0] + q[0]) / 2.0 - lift * chord_y
    cy = (p[1] + q[1]) / 2.0 + lift * chord_x
    radius = math.hypot(p[0] - cx, p[1] - cy)
    begin, sweep = math.atan2(p[1] - cy, p[0] - cx), 4.0 * math.atan(bulge)
    knots = _knots(begin, sweep, radius, tolerance)
    if not is_outside:
        inner = knots[1:-1]
        return [(cx + radius * math.cos(a), cy + radius * math.sin(a)) for a in inner]
    out = []
    for a, b in pairwise(knots):
        far, middle = radius / math.cos((b - a) / 2.0), (a + b) / 2.0
        out.append((cx + far * math.cos(middle), cy + far * math.sin(middle)))
    return out


def _knots(begin: float, sweep: float, radius: float, tolerance: float) -> list[float]:
    """Return angles along an arc, both ends and each multiple of a right angle among them."""
    low, high = min(begin, begin + sweep), max(begin, begin + sweep)
    quarter = math.pi / 2.0
    first, last = math.ceil(low / quarter + 1e-9), math.floor(high / quarter - 1e-9)
    stops = [low, *(k * quarter for k in range(first, last + 1)), high]
    step = 2.0 * math.acos(max(radius / (radius + tolerance), 0.5))
    knots = [low]
    for a, b in pairwise(stops):
        count = max(math.ceil((b - a) / step), 1)
        knots += [a + (b - a) * k / count for k in range(1, count)] + [b]
    return knots if sweep > 0.0 else knots[::-1]


def without_repeats(points: F64) -> F64:
    """Return vertices on a fine grid, each one different from the one before."""
    on_grid = np.round(points / _GRID_MM) * _GRID_MM
    differs = (np.abs(on_grid - np.roll(on_grid, 1, axis=0)) > _GRID_MM).any(axis=1)
    return np.asarray(on_grid[differs])


def shrunk(ring: F64) -> F64:
    """Return a counter-clockwise ring with every edge moved inwards by `SHRINK_MM`."""
    into, out_of = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    one = np.column_stack((-into[:, 1], into[:, 0])) / np.hypot(*into.T)[:, None]
    two = np.column_stack((-out_of[:, 1], out_of[:, 0])) / np.hypot(*out_of.T)[:, None]
    # at a spike the two normals cancel; its point then moves as far as is still harmless
    share = np.maximum(1.0 + (one * two).sum(axis=1), 0.01)
    return np.asarray(ring + SHRINK_MM * (one + two) / share[:, None])
