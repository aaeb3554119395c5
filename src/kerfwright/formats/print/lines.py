"""Lines and arcs as page operators: arcs become cubics of at most 30 degrees.

A cubic whose handles are ``4/3 tan(a/4) r`` long, for an arc of sweep a and radius r, leaves it
by at most ``2/27 sin^6(a/4) / cos^2(a/4) r`` (outwards): at 30 degrees 3.8e-7 r, so that only
radii above about 1 m need shorter pieces to stay within the tolerance. The bound follows from
the cubic's own equation; tests measure it.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from kerfwright.errors import UsageError
from kerfwright.formats.print.numbers import numbers
from kerfwright.geometry import edges
from kerfwright.geometry.paths import Edges, PathSet, edges_of
from kerfwright.geometry.record import F64, I64

LARGEST_SWEEP_RAD: Final = math.radians(30.0)
ARC_TOLERANCE_MM: Final = 4e-4
"""How far a cubic may leave its arc; with rounding below the promised 0.5 um."""


def path_operators(paths: PathSet) -> list[str]:
    """Return the operators that build all paths, one line each; painting them is the caller's.

    Parameters
    ----------
    paths : PathSet
        Paths in the frame of the page's current matrix [mm].

    Raises
    ------
    UsageError
        If a path is a single point: a page has no such thing.
    """
    points = np.flatnonzero(np.diff(paths.starts) == 1)
    if points.size:
        x, y = paths.points[paths.starts[points[0]]]
        msg = (
            f"path {int(points[0])} at {x:.3f}, {y:.3f} is a single point, which a page cannot "
            "show; give a circle of the drill's diameter"
        )
        raise UsageError(msg)
    e = edges_of(paths)
    pieces = _pieces(e)
    ends = np.cumsum(pieces)
    control = _controls(e, pieces)
    rows: list[str] = []
    of_path = np.searchsorted(e.path, np.arange(len(paths) + 1))
    for k in range(len(paths)):
        rows.append(numbers(paths.points[paths.starts[k]]) + " m")
        for i in range(of_path[k], of_path[k + 1]):
            closes = paths.closed[k] and i == of_path[k + 1] - 1
            if e.bulge[i] == 0.0:
                rows += [] if closes else [numbers(e.end[i]) + " l"]
            else:
                rows += [numbers(c) + " c" for c in control[ends[i] - pieces[i] : ends[i]]]
        rows += ["h"] if paths.closed[k] else []
    return rows


def _pieces(e: Edges) -> I64:
    """Return how many cubics each edge takes, shape (E,); 1 for a line, which takes none."""
    sweep = np.abs(edges.sweep_rad(e.bulge))
    count = np.ceil(sweep / LARGEST_SWEEP_RAD - 1e-9)
    radius = np.where(e.bulge == 0.0, 0.0, edges.radius_mm(e.start, e.end, e.bulge))
    # the error grows with the sixth power of the sweep
    quarter = (27.0 / 2.0 * ARC_TOLERANCE_MM / np.maximum(radius, 1e-9)) ** (1.0 / 6.0)
    fine = np.ceil(sweep / (4.0 * np.arcsin(np.minimum(quarter * 0.99, 1.0))))
    return np.maximum(np.maximum(count, fine), 1.0).astype(np.int64)


def _controls(e: Edges, pieces: I64) -> F64:
    """Return two handles and the end of every piece of every edge, shape (sum of pieces, 6)."""
    edge = np.repeat(np.arange(len(pieces)), pieces)
    place = np.arange(len(edge)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    start, end, bulge = e.start[edge], e.end[edge], e.bulge[edge]
    low, high = place / pieces[edge], (place + 1) / pieces[edge]
    a = edges.point_at(start, end, bulge, low)
    b = edges.point_at(start, end, bulge, high)
    sweep = edges.sweep_rad(bulge) / pieces[edge]
    first, _ = edges.heading_rad(start, end, bulge)
    heading = first + sweep * place
    # handle = 4/3 tan(sweep/4) radius, with the radius as half chord over sine of half the sweep
    half = np.where(sweep == 0.0, 1.0, sweep / 2.0)
    handle = np.hypot(*(b - a).T) * (2.0 / 3.0) * np.tan(half / 2.0) / np.sin(half)
    return np.column_stack((a + _along(heading, handle), b - _along(heading + sweep, handle), b))


def _along(heading: F64, length: F64) -> F64:
    return np.column_stack((np.cos(heading), np.sin(heading))) * length[:, None]
