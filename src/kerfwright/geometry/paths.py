"""Paths of lines and arcs, many at once, in flat arrays.

*Vertex*: a row of ``points``. *Edge*: what joins a vertex to the next one of its path, a line
(bulge 0) or an arc (bulge = tan(sweep / 4), positive counter-clockwise). *Path*: a run of
vertices; *closed* paths also have an edge from the last vertex to the first. A path of one
vertex is a drill point. A single path is a PathSet of one. No edge sweeps more than half a
circle, so a full circle is two halves.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import GeometryError
from kerfwright.geometry import edges
from kerfwright.geometry.record import BOOL, F64, I64, Record, frozen_array, require

_BULGE_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PathSet(Record):
    """K paths of lines and arcs with M vertices in all.

    Parameters
    ----------
    points : ndarray of shape (M, 2), float
        Vertices of all paths, one path after the other [mm].
    bulges : ndarray of shape (M,), float
        Bulge of the edge that leaves each vertex; 0 at the last vertex of an open path.
    starts : ndarray of shape (K + 1,), int
        Row of each path's first vertex; the last entry is M.
    closed : ndarray of shape (K,), bool
        Whether the last vertex is joined to the first.

    Raises
    ------
    ModelError
        If shapes differ, a number is not finite, an edge sweeps more than half a circle, an open
        path has a bulge at its end, or a closed path has fewer than two vertices.
    """

    points: F64
    bulges: F64
    starts: I64
    closed: BOOL

    def __post_init__(self) -> None:
        frozen_array(self, "points", dtype=np.float64, shape=(None, 2))
        frozen_array(self, "bulges", dtype=np.float64, shape=(len(self.points),))
        frozen_array(self, "closed", dtype=np.bool_, shape=(None,))
        frozen_array(self, "starts", dtype=np.int64, shape=(len(self.closed) + 1,))
        sizes = np.diff(self.starts)
        require(self.starts[0] == 0, "PathSet.starts must begin with 0")
        require(self.starts[-1] == len(self.points), "PathSet.starts must end with the row count")
        require((sizes > 0).all(), "PathSet.starts must grow; leave empty paths out")
        require((sizes[self.closed] > 1).all(), "a closed path needs at least two vertices")
        steep = np.flatnonzero(np.abs(self.bulges) > 1.0 + _BULGE_ROUNDING)
        if steep.size:
            value = self.bulges[steep[0]]
            msg = f"vertex {steep[0]} has bulge {value:.6g}, limit 1 (half a circle); split the arc"
            require(condition=False, message=msg)
        ends = self.starts[1:][~self.closed] - 1
        require((self.bulges[ends] == 0.0).all(), "the last bulge of an open path must be 0")

    def __len__(self) -> int:
        """Return the number of paths."""
        return len(self.closed)

    @property
    def path_of_vertex(self) -> I64:
        """Index of the path each vertex belongs to, shape (M,)."""
        return np.repeat(np.arange(len(self)), np.diff(self.starts))

    def lengths_mm(self) -> F64:
        """Return the length of each path, shape (K,), exact for lines and arcs [mm]."""
        e = edges_of(self)
        return _sum_by(e.path, edges.length_mm(e.start, e.end, e.bulge), len(self))

    def areas_mm2(self) -> F64:
        """Return the signed area of each path, shape (K,), exact; open paths give 0 [mm2].

        Positive when the path runs counter-clockwise. A path that crosses itself counts each
        loop with the sign of its turn.
        """
        e = edges_of(self)
        origin = self.points[self.starts[:-1]][e.path]  # near origin: no cancellation far out
        a, b = e.start - origin, e.end - origin
        shoelace = (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2.0
        total = _sum_by(
            e.path, shoelace + edges.segment_area_mm2(e.start, e.end, e.bulge), len(self)
        )
        return np.where(self.closed, total, 0.0)

    def bounds_mm(self) -> F64:
        """Return x0, y0, x1, y1 of each path, shape (K, 4), exact for lines and arcs [mm]."""
        box = np.column_stack((self.points, self.points))
        e = edges_of(self)
        of_edge = edges.bounds_mm(e.start, e.end, e.bulge)
        box[e.vertex, :2] = np.minimum(box[e.vertex, :2], of_edge[:, :2])
        box[e.vertex, 2:] = np.maximum(box[e.vertex, 2:], of_edge[:, 2:])
        if not len(self):
            return np.zeros((0, 4))
        low = np.minimum.reduceat(box[:, :2], self.starts[:-1], axis=0)
        high = np.maximum.reduceat(box[:, 2:], self.starts[:-1], axis=0)
        return np.column_stack((low, high))

    def box_mm(self) -> tuple[float, float, float, float]:
        """Return x0, y0, x1, y1 around all paths [mm].

        Raises
        ------
        GeometryError
            If there is no path.
        """
        if not len(self):
            msg = "an empty set of paths has no extent; check that the drawing holds lines"
            raise GeometryError(msg)
        b = self.bounds_mm()
        return (*b[:, :2].min(axis=0).tolist(), *b[:, 2:].max(axis=0).tolist())

    def select(self, index: ArrayLike) -> PathSet:
        """Return the paths of the given indices or mask (K,), in that order.

        Raises
        ------
        GeometryError
            If an index is no whole number or names no path, or a mask has another length.
        """
        picked = _indices(index, len(self))
        sizes = np.diff(self.starts)[picked]
        starts = np.concatenate(([0], np.cumsum(sizes))).astype(np.int64)
        rows = np.arange(starts[-1]) + np.repeat(self.starts[:-1][picked] - starts[:-1], sizes)
        return PathSet(
            points=self.points[rows],
            bulges=self.bulges[rows],
            starts=starts,
            closed=self.closed[picked],
        )

    def reversed_where(self, mask: ArrayLike | None = None) -> PathSet:
        """Return the same paths run the other way where `mask` (K,) is true; all by default.

        A closed path keeps its first vertex.

        Raises
        ------
        GeometryError
            If the mask has another length.
        """
        turn = np.ones(len(self), bool) if mask is None else np.asarray(mask, bool)
        if turn.shape != (len(self),):
            msg = f"a mask of shape {turn.shape} was given for {len(self)} paths"
            raise GeometryError(msg)
        path = self.path_of_vertex
        first, size, closed = self.starts[:-1][path], np.diff(self.starts)[path], self.closed[path]
        place = np.arange(len(self.points)) - first
        back = np.where(closed, (-place) % size, size - 1 - place)
        rows = np.where(turn[path], first + back, first + place)
        # the edge that leaves a vertex of the turned path entered it before
        before = np.where(closed, (size - 1 - place) % size, size - 2 - place)
        is_end = ~closed & (place == size - 1)
        turned = np.where(is_end, 0.0, 0.0 - self.bulges[first + np.maximum(before, 0)])
        bulges = np.where(turn[path], turned, self.bulges)
        return replace(self, points=self.points[rows], bulges=bulges)

    def transformed(self, similarity: ArrayLike) -> PathSet:
        """Return the paths under a similarity, mirrored ones included.

        Parameters
        ----------
        similarity : array_like of shape (2, 3)
            Linear part and shift, ``p' = A p + t`` [1, mm].

        Raises
        ------
        GeometryError
            If the linear part is not a similarity within 1e-12: arcs would not stay arcs.
        """
        m = np.asarray(similarity, dtype=np.float64)
        if m.shape != (2, 3) or not np.isfinite(m).all():
            msg = f"a similarity has two rows of three finite numbers, not {m.tolist()}"
            raise GeometryError(msg)
        turn = float(np.linalg.det(m[:, :2]))
        uneven = np.abs(m[:, :2] @ m[:, :2].T - abs(turn) * np.eye(2)).max()
        if turn == 0.0 or not uneven <= 1e-12 * abs(turn):
            msg = f"{m[:, :2].tolist()} is not a similarity; fit arcs to the mapped curve instead"
            raise GeometryError(msg)
        bulges = self.bulges if turn > 0.0 else 0.0 - self.bulges
        return replace(self, points=self.points @ m[:, :2].T + m[:, 2], bulges=bulges)

    def with_short_sagitta_straight(self, tolerance_mm: float) -> PathSet:
        """Return the paths with arcs made lines where they rise less than `tolerance_mm`."""
        e = edges_of(self)
        flat = np.abs(e.bulge) * edges.chord_mm(e.start, e.end) / 2.0 < tolerance_mm
        bulges = self.bulges.copy()
        bulges[e.vertex[flat]] = 0.0
        return replace(self, bulges=bulges)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges(Record):
    """All E edges of a PathSet in order: ends, bulge, the path and the vertex each one leaves.

    Parameters
    ----------
    start, end : ndarray of shape (E, 2), float
        Ends of each edge [mm].
    bulge : ndarray of shape (E,), float
        Bulge of each edge.
    path : ndarray of shape (E,), int
        Index of the path.
    vertex : ndarray of shape (E,), int
        Row of the vertex the edge leaves.
    """

    start: F64
    end: F64
    bulge: F64
    path: I64
    vertex: I64


def edges_of(paths: PathSet) -> Edges:
    """Return the edges of all paths, in order; a drill point has none."""
    path = paths.path_of_vertex
    after = np.arange(1, len(paths.points) + 1)
    last = paths.starts[1:] - 1
    after[last] = np.where(paths.closed, paths.starts[:-1], last)
    vertex = np.flatnonzero(after != np.arange(len(after)))
    return Edges(
        start=paths.points[vertex],
        end=paths.points[after[vertex]],
        bulge=paths.bulges[vertex],
        path=path[vertex],
        vertex=vertex,
    )


def empty_paths() -> PathSet:
    """Return a set of no paths."""
    return PathSet(
        points=np.zeros((0, 2)),
        bulges=np.zeros(0),
        starts=np.zeros(1, np.int64),
        closed=np.zeros(0, bool),
    )


def make_path(points: ArrayLike, bulges: ArrayLike | None = None, *, closed: bool) -> PathSet:
    """Return one path; edges that sweep more than half a circle are split in two.

    Parameters
    ----------
    points : array_like of shape (M, 2)
        Vertices [mm].
    bulges : array_like of shape (M,), optional
        Bulge of the edge that leaves each vertex; lines by default.
    closed : bool
        Whether the last vertex is joined to the first.

    Raises
    ------
    ModelError
        If the arrays do not make a path.
    """
    p = np.asarray(points, dtype=np.float64)
    require(p.ndim == 2 and p.shape[1] == 2, f"points have shape {p.shape}, wanted (M, 2)")
    b = np.zeros(len(p)) if bulges is None else np.array(bulges, dtype=np.float64)
    require(b.shape == (len(p),), f"{b.shape} bulges were given for {len(p)} points")
    steep = np.abs(b) > 1.0
    if steep.any() and np.isfinite(b).all() and np.isfinite(p).all():
        require(closed or not steep[-1], "the last bulge of an open path must be 0")
        p, b = _split_steep(p, b, steep)
    return PathSet(points=p, bulges=b, starts=np.array([0, len(p)]), closed=np.array([closed]))


def _split_steep(points: F64, bulges: F64, steep: BOOL) -> tuple[F64, F64]:
    after = np.roll(points, -1, axis=0)
    halves = np.tan(np.arctan(bulges) / 2.0)
    # the top of the arc stands on the middle of its chord, half a chord times the bulge away
    chord = after - points
    middle = (points + after + bulges[:, None] * np.column_stack((chord[:, 1], -chord[:, 0]))) / 2.0
    rows = np.repeat(np.arange(len(points)), 1 + steep)
    second = np.concatenate(([False], rows[1:] == rows[:-1]))
    p = np.where(second[:, None], middle[rows], points[rows])
    return p, np.where(steep, halves, bulges)[rows]


def make_circle(centre: ArrayLike, radius_mm: float, *, clockwise: bool = False) -> PathSet:
    """Return a full circle as two halves, starting at its rightmost point.

    Parameters
    ----------
    centre : array_like of shape (2,)
        Centre [mm].
    radius_mm : float
        Radius [mm].
    clockwise : bool
        Direction of travel.

    Raises
    ------
    ModelError
        If the radius is not above 0 or a number is not finite.
    """
    require(radius_mm > 0.0, f"a circle of radius {radius_mm} mm; the radius must be above 0")
    x, y = np.asarray(centre, dtype=np.float64)
    bulge = -1.0 if clockwise else 1.0
    return make_path([(x + radius_mm, y), (x - radius_mm, y)], [bulge, bulge], closed=True)


def join_sets(sets: Iterable[PathSet]) -> PathSet:
    """Return all paths of several sets in one set, in order."""
    every: Sequence[PathSet] = [s for s in sets if len(s)]
    if not every:
        return empty_paths()
    sizes = np.concatenate([np.diff(s.starts) for s in every])
    return PathSet(
        points=np.concatenate([s.points for s in every]),
        bulges=np.concatenate([s.bulges for s in every]),
        starts=np.concatenate(([0], np.cumsum(sizes))),
        closed=np.concatenate([s.closed for s in every]),
    )


def _indices(index: ArrayLike, count: int) -> I64:
    """Return indices below `count` from whole numbers or a mask."""
    picked = np.atleast_1d(np.asarray(index))
    if picked.dtype == np.bool_:
        if picked.shape != (count,):
            msg = f"a mask of shape {picked.shape} was given for {count} paths"
            raise GeometryError(msg)
        return np.flatnonzero(picked)
    whole = picked.astype(np.int64)
    if picked.size and (picked.dtype.kind not in "iu" or not (-count <= whole).all()):
        msg = f"paths are picked by whole numbers from 0 to {count - 1}, not by {picked.tolist()}"
        raise GeometryError(msg)
    if (whole >= count).any():
        msg = f"there is no path {whole.max()}; the set has {count}"
        raise GeometryError(msg)
    return np.where(whole < 0, whole + count, whole)


def _sum_by(group: I64, values: F64, count: int) -> F64:
    return np.bincount(group, weights=values, minlength=count).astype(np.float64)
