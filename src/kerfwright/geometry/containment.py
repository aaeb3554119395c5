"""Which closed path lies around which: inside tests and the forest of nested paths.

A point is *inside* a closed path when the path winds around it (winding number not 0); so both
lobes of a figure of eight are inside.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import GeometryError
from kerfwright.geometry._box_tree import build_nodes, spread_order
from kerfwright.geometry._checks import points_of, require_positive
from kerfwright.geometry._containment import find_parents, wind
from kerfwright.geometry._packed import pack
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import BOOL, F64, I64


def winding_numbers(path: PathSet, xy: ArrayLike) -> I64:
    """Return how often a closed path winds around each point, counter-clockwise positive.

    Exact for arcs: no chords stand in for them. Within rounding of the path itself either side
    may be said.

    Parameters
    ----------
    path : PathSet
        One closed path [mm].
    xy : array_like of shape (N, 2)
        Points [mm].

    Returns
    -------
    ndarray of shape (N,), int
        Winding numbers.

    Raises
    ------
    GeometryError
        If the set does not hold exactly one path, the path is open, or `xy` is not (N, 2).
    """
    if len(path) != 1 or not path.closed[0]:
        msg = f"one closed path is wanted, {len(path)} paths were given, or an open one"
        raise GeometryError(msg)
    packed = pack(path)
    return wind(packed.edges, packed.trees(), points_of(xy))


def contains_points(path: PathSet, xy: ArrayLike) -> BOOL:
    """Return whether each point lies inside a closed path, shape (N,); exact for arcs.

    Parameters
    ----------
    path : PathSet
        One closed path [mm].
    xy : array_like of shape (N, 2)
        Points [mm]. Within rounding of the path itself either answer may come.

    Raises
    ------
    GeometryError
        If the set does not hold exactly one path, the path is open, or `xy` is not (N, 2).
    """
    return np.asarray(winding_numbers(path, xy) != 0, dtype=np.bool_)


def containment_forest(paths: PathSet, *, tolerance_mm: float) -> I64:
    """Return the smallest closed path that contains each path, -1 where none does.

    Path P *contains* path Q when

    - P is closed and larger than Q,
    - no point of Q lies outside P by more than `tolerance_mm`; so Q may touch P from inside, run
      along it, or cross it by less than the tolerance, and a path that crosses P by more is not
      contained, nor are paths beside P,
    - P and Q are not the same within the tolerance: of a closed path and its double neither
      contains the other, so doubles have the same parent.

    Size is the area of the bounding box plus the absolute area; it decides which container is
    the smallest and keeps the relation free of cycles. Open paths and drill points may be
    contained and never contain. Arcs are never replaced by chords.

    Parameters
    ----------
    paths : PathSet
        K paths [mm].
    tolerance_mm : float
        How far outside still counts as touching; decided to 1 % of itself [mm].

    Returns
    -------
    ndarray of shape (K,), int
        Index of the parent of each path, or -1.

    Raises
    ------
    GeometryError
        If `tolerance_mm` is not above 0.

    Notes
    -----
    Grows as n log n: box trees over the closed paths and over the edges of each path, winding
    numbers with whole runs counted by their ends, and subdivision of an edge only where the
    distance to the other path cannot decide at once.
    """
    require_positive("tolerance_mm", tolerance_mm)
    parent = np.full(len(paths), -1, np.int64)
    if not paths.closed.any():
        return parent
    packed = pack(paths)
    nodes = packed.trees()
    box = _boxes_of(paths, nodes)
    size = np.prod(box[:, 2:] - box[:, :2], axis=1) + np.abs(paths.areas_mm2())
    closed = np.flatnonzero(paths.closed)
    order = closed[spread_order(box[closed])]
    tree = build_nodes(np.column_stack((box, size))[order], np.array([0, len(order)]))
    return find_parents(
        packed.edges, nodes, packed.starts, paths.closed, box, size, order, tree, tolerance_mm
    )


def _boxes_of(paths: PathSet, nodes: F64) -> F64:
    """Return x0, y0, x1, y1 of each path: the first node of its tree."""
    sizes = np.diff(paths.starts)
    counts = np.where(paths.closed | (sizes == 1), sizes, sizes - 1)
    return nodes[np.concatenate(([0], np.cumsum(2 * counts - 1)[:-1]))]
