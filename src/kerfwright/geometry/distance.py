"""Distances between points, paths and whole sets, exact for lines and arcs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import GeometryError, OutOfResourcesError
from kerfwright.geometry._box_tree import build_nodes, spread_order
from kerfwright.geometry._checks import points_of, require_positive
from kerfwright.geometry._distance import (
    distances_of_pairs,
    nearest_of_points,
    pairs_of_boxes,
    reach_from,
)
from kerfwright.geometry._packed import Packed, pack
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64, I64, Record


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nearest(Record):
    """The nearest place of a set of paths for each of N points.

    Parameters
    ----------
    distance_mm : ndarray of shape (N,), float
        Distance [mm].
    path : ndarray of shape (N,), int
        Index of the path.
    vertex : ndarray of shape (N,), int
        Row of the vertex that the edge leaves; of a drill point, its own row.
    fraction : ndarray of shape (N,), float
        Place along the edge, 0 to 1 of its length.
    foot : ndarray of shape (N, 2), float
        The nearest point [mm].
    """

    distance_mm: F64
    path: I64
    vertex: I64
    fraction: F64
    foot: F64


def nearest_on_paths(paths: PathSet, xy: ArrayLike) -> Nearest:
    """Return the nearest place of a set of paths for each point; of equals any one.

    Parameters
    ----------
    paths : PathSet
        K paths, at least one [mm].
    xy : array_like of shape (N, 2)
        Points [mm].

    Raises
    ------
    GeometryError
        If there is no path, or `xy` is not of shape (N, 2).

    Notes
    -----
    A box tree over all edges: (E + N) log E for paths that do not crowd in one place.
    """
    points = points_of(xy)
    if not len(paths):
        msg = "an empty set of paths has no nearest place; check that the drawing holds lines"
        raise GeometryError(msg)
    packed = pack(paths)
    order = spread_order(packed.boxes)
    nodes = build_nodes(packed.boxes[order], np.array([0, len(order)]))
    distance, row, fraction, foot = nearest_of_points(packed.edges[order], nodes, points)
    edge = order[row]
    return Nearest(
        distance_mm=distance,
        path=packed.path[edge],
        vertex=packed.vertex[edge],
        fraction=fraction,
        foot=foot,
    )


def distances_mm(paths: PathSet, pairs: ArrayLike) -> F64:
    """Return the least distance between the two paths of each pair, 0 where they meet.

    Lines only: a path inside another one is at the distance of its line from the other's.

    Parameters
    ----------
    paths : PathSet
        K paths [mm].
    pairs : array_like of shape (N, 2), int
        Indices of the paths.

    Returns
    -------
    ndarray of shape (N,), float
        Distances [mm].

    Raises
    ------
    GeometryError
        If `pairs` is not of shape (N, 2) or names no path.
    """
    both = np.asarray(pairs, dtype=np.int64) if np.size(pairs) else _no_pairs()
    if both.ndim != 2 or both.shape[1] != 2:
        msg = f"pairs have shape {both.shape}, wanted (N, 2)"
        raise GeometryError(msg)
    if ((both < 0) | (both >= len(paths))).any():
        msg = f"pairs name paths {both.min()} to {both.max()}; the set has {len(paths)}"
        raise GeometryError(msg)
    packed = pack(paths)
    limit = np.full(len(both), np.inf)
    return distances_of_pairs(packed.edges, packed.trees(), packed.starts, both, limit)


def pairs_within(
    paths: PathSet, limit_mm: float, *, max_pairs: int = 20_000_000
) -> tuple[I64, F64]:
    """Return all pairs of paths nearer than a limit, and their least distances.

    Parameters
    ----------
    paths : PathSet
        K paths [mm].
    limit_mm : float
        Greatest distance of a pair [mm].
    max_pairs : int
        Pairs of boxes allowed to come near enough to be looked at.

    Returns
    -------
    ndarray of shape (N, 2), int
        Pairs of indices, the smaller first, in rising order.
    ndarray of shape (N,), float
        Their least distances, 0 where they meet [mm].

    Raises
    ------
    GeometryError
        If `limit_mm` is below 0 or not finite.
    OutOfResourcesError
        If more than `max_pairs` pairs of boxes are near.
    """
    if not (np.isfinite(limit_mm) and limit_mm >= 0.0):
        msg = f"limit_mm is {limit_mm}, must be finite and not below 0"
        raise GeometryError(msg)
    if not len(paths):
        return _no_pairs(), np.zeros(0)
    packed = pack(paths)
    box = paths.bounds_mm()
    order = spread_order(box)
    tree = build_nodes(box[order], np.array([0, len(order)]))
    count, pairs = pairs_of_boxes(tree, order, box, limit_mm, max_pairs)
    if count > max_pairs:
        msg = f"more than {max_pairs} pairs of paths are near one another; lower the limit"
        raise OutOfResourcesError(msg)
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    limit = np.full(len(pairs), np.nextafter(limit_mm, np.inf))
    distance = distances_of_pairs(packed.edges, packed.trees(), packed.starts, pairs, limit)
    near = distance <= limit_mm
    return pairs[near], distance[near]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hausdorff(Record):
    """How far two sets of points lie apart at most, as two bounds.

    Parameters
    ----------
    low_mm, high_mm : float
        The Hausdorff distance lies between them, both included [mm].
    forth_mm, back_mm : float
        Upper bounds of the one-sided distances: from the first to the second, and back [mm].
    """

    low_mm: float
    high_mm: float
    forth_mm: float
    back_mm: float


def hausdorff(
    one: PathSet, two: PathSet, *, accuracy_mm: float, max_pieces: int = 50_000_000
) -> Hausdorff:
    """Return the two-sided Hausdorff distance of two sets of paths within a stated accuracy.

    It is the greatest distance from a point of either to the nearest point of the other.

    Parameters
    ----------
    one, two : PathSet
        At least one path each [mm].
    accuracy_mm : float
        Greatest difference between the two bounds [mm].
    max_pieces : int
        Pieces of edges that may be looked at.

    Raises
    ------
    GeometryError
        If a set is empty or `accuracy_mm` is not above 0.
    OutOfResourcesError
        If more than `max_pieces` pieces would be needed.

    Notes
    -----
    Edges are halved until an upper bound for each piece (its middle's distance plus half its
    length; the tube around one edge; the difference of two circles) is at most `accuracy_mm`
    above the greatest distance found.
    """
    require_positive("accuracy_mm", accuracy_mm)
    if not (len(one) and len(two)):
        msg = "an empty set of paths has no distance; check that both hold lines"
        raise GeometryError(msg)
    a, b = pack(one), pack(two)
    forth = _reach(a, b, accuracy_mm, max_pieces)
    back = _reach(b, a, accuracy_mm, max_pieces)
    return Hausdorff(
        low_mm=max(forth[0], back[0]),
        high_mm=max(forth[1], back[1]),
        forth_mm=forth[1],
        back_mm=back[1],
    )


def _reach(source: Packed, target: Packed, accuracy: float, limit: int) -> tuple[float, float]:
    order = spread_order(target.boxes)
    nodes = build_nodes(target.boxes[order], np.array([0, len(order)]))
    low, high, pieces = reach_from(source.edges, target.edges[order], nodes, accuracy, limit)
    if pieces > limit:
        msg = f"more than {limit} pieces are needed for {accuracy} mm; ask for less accuracy"
        raise OutOfResourcesError(msg)
    return low, high


def _no_pairs() -> I64:
    return np.zeros((0, 2), np.int64)
