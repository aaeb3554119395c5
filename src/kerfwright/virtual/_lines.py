"""Contours as dense polylines, and how a cut lies along one."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from kerfwright.geometry import edges
from kerfwright.geometry.distance import Nearest, nearest_on_paths
from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.geometry.record import BOOL, F64, I64


@dataclass(frozen=True, slots=True)
class Line:
    """One or more contours as polylines; points are dense enough to be compared one by one."""

    points: F64
    starts: I64
    closed: bool

    @classmethod
    def joined(cls, lines: list[Line]) -> Line:
        """Return all lines as one set, closed ones with their first point said twice."""
        rings = [np.vstack((n.points, n.points[:1])) if n.closed else n.points for n in lines]
        starts = np.concatenate(([0], np.cumsum([len(r) for r in rings])))
        return cls(np.concatenate(rings), starts, closed=False)

    @property
    def length_mm(self) -> float:
        """Length of the polyline."""
        return float(self.places_mm()[-1])

    def places_mm(self) -> F64:
        """Return the length from the start at each vertex, and at the end of a closed line."""
        ring = np.vstack((self.points, self.points[:1])) if self.closed else self.points
        return np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))))

    def weights(self) -> F64:
        """Return the length each vertex stands for, shape (N,)."""
        leg = np.diff(self.places_mm())
        after = leg if self.closed else np.append(leg, 0.0)
        before = np.roll(leg, 1) if self.closed else np.concatenate(([0.0], leg))
        return np.maximum((after + before) / 2.0, 1e-9)

    def moved_to(self, points: F64) -> Line:
        """Return the line with other points."""
        return replace(self, points=points)

    def paths(self) -> PathSet:
        """Return the line as paths."""
        single = len(self.points) == 1
        closed = np.full(len(self.starts) - 1, self.closed and not single)
        zero = np.zeros(len(self.points))
        return PathSet(points=self.points, bulges=zero, starts=self.starts, closed=closed)

    def nearest(self, points: F64) -> Nearest:
        """Return the nearest place for each point."""
        return nearest_on_paths(self.paths(), points)


@dataclass(frozen=True, slots=True)
class Matched:
    """A cut along a line.

    Parameters
    ----------
    cut, foot : ndarray of shape (N, 2), float
        Places of the cut, and the places of the line nearest to them [mm].
    across : ndarray of shape (N, 2), float
        Unit normal of the line there; 0 for a point [1].
    weight : ndarray of shape (N,), float
        Length each place stands for [mm].
    from_cut_mm : ndarray of shape (N,), float
        Distance from each place of the cut to the line [mm].
    line_rows : ndarray of shape (M,), int
        Vertices of the line that were cut.
    from_line_mm : ndarray of shape (M,), float
        Distance from each to the cut [mm].
    uncut_mm : float
        Length of the line that was not cut [mm].
    """

    cut: F64
    foot: F64
    across: F64
    weight: F64
    from_cut_mm: F64
    line_rows: I64
    from_line_mm: F64
    uncut_mm: float


def nominal_line(contours: PathSet, row: int, step_mm: float) -> Line:
    """Return one contour sampled at most `step_mm` apart, every vertex kept."""
    one = contours.select([row])
    closed = bool(one.closed[0])
    points, _, _ = densified(one, step_mm)
    if closed:
        points = points[:-1]
    return Line(points, np.array([0, len(points)]), closed=closed)


def densified(paths: PathSet, step_mm: float) -> tuple[F64, F64, I64]:
    """Return points along all paths at most `step_mm` apart, the length each stands for, its path.

    Arcs are followed exactly. Both ends of every path are among the points.
    """
    e = edges_of(paths)
    size = edges.length_mm(e.start, e.end, e.bulge)
    count = np.maximum(np.ceil(size / step_mm), 1.0).astype(np.int64)
    edge = np.repeat(np.arange(len(count)), count)
    begin = np.concatenate(([0], np.cumsum(count)))
    place = (np.arange(len(edge)) - begin[edge]) / count[edge]
    inside = edges.point_at(e.start[edge], e.end[edge], e.bulge[edge], place)
    at_vertex = place == 0.0
    inside[at_vertex] = e.start[edge[at_vertex]]
    weight = (size / count)[edge]
    # the end of each path: of closed ones the first point again, of single points the point
    first, last = paths.starts[:-1], paths.starts[1:] - 1
    ends = np.where(paths.closed[:, None], paths.points[first], paths.points[last])
    of_path = np.concatenate((e.path[edge], np.arange(len(paths))))
    order = np.argsort(of_path, kind="stable")
    points = np.concatenate((inside, ends))[order]
    weights = np.concatenate((weight, np.full(len(paths), 1e-9)))[order]
    return points, weights, of_path[order]


def match(line: Line, pieces: PathSet, step_mm: float) -> Matched:
    """Lay a cut along a line: distances both ways, and what of the line was left uncut."""
    cut, weight, _ = densified(pieces, step_mm)
    near = line.nearest(cut)
    places = line.places_mm()
    leg = np.diff(places)
    at = places[near.vertex] + near.fraction * np.append(leg, 0.0)[near.vertex]
    gaps = _gaps(at, cut, line, step_mm)
    on = ~_inside_any(places[: len(line.points)], gaps, line)
    rows = np.flatnonzero(on)
    back = nearest_on_paths(pieces, line.points[rows]).distance_mm if rows.size else np.zeros(1)
    return Matched(
        cut=cut,
        foot=near.foot,
        across=_across(line.points, near.vertex),
        weight=weight,
        from_cut_mm=near.distance_mm,
        line_rows=rows if rows.size else np.zeros(1, np.int64),
        from_line_mm=back,
        uncut_mm=float((gaps[:, 1] - gaps[:, 0]).sum()),
    )


def _across(points: F64, vertex: I64) -> F64:
    """Return the unit normal of the leg that leaves each vertex."""
    leg = points[(vertex + 1) % len(points)] - points[vertex]
    size = np.maximum(np.hypot(*leg.T), 1e-300)
    normal: F64 = np.column_stack((-leg[:, 1], leg[:, 0])) / size[:, None]
    return normal


def small_rigid_step(m: Matched) -> tuple[F64, F64]:
    """Return turn and shift that take the line nearest to the cut, linear in the turn.

    Least squares of the distances across the line; what they do not decide stays (a circle does
    not turn).
    """
    middle = m.foot.mean(axis=0)
    arm = m.foot - middle
    lever = m.across[:, 1] * arm[:, 0] - m.across[:, 0] * arm[:, 1]
    size = max(float(np.abs(lever).max()), 1e-9)
    root = np.sqrt(m.weight)
    columns = np.column_stack((m.across, lever / size)) * root[:, None]
    off = ((m.cut - m.foot) * m.across).sum(axis=1) * root
    dx, dy, turn = np.linalg.lstsq(columns, off, rcond=1e-6)[0]
    c, s = np.cos(turn / size), np.sin(turn / size)
    linear = np.array(((c, -s), (s, c)))
    return linear, middle + np.array((dx, dy)) - linear @ middle


def rigid_fit(source: F64, target: F64, weight: F64) -> tuple[F64, F64]:
    """Return turn (2, 2) and shift (2,) that take source nearest to target by least squares.

    The closed form of Kabsch (1976) in the plane; it never mirrors.
    """
    share = (weight / weight.sum())[:, None]
    a, b = (share * source).sum(axis=0), (share * target).sum(axis=0)
    p, q = source - a, target - b
    cos = float((share * (p * q)).sum())
    sin = float((share[:, 0] * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0])).sum())
    size = np.hypot(cos, sin)
    c, s = (cos / size, sin / size) if size > 0.0 else (1.0, 0.0)
    turn = np.array(((c, -s), (s, c)))
    return turn, b - turn @ a


def _gaps(at: F64, cut: F64, line: Line, step_mm: float) -> F64:
    """Return the runs of the line no cut is opposite to, from and to, shape (G, 2) [mm].

    Both the line and the cut must jump by three steps: at a corner of a cut that lies aside of
    its contour only the line does. Runs shorter than that are not seen.
    """
    least, whole = 3.0 * step_mm, line.length_mm
    order = np.argsort(at, kind="stable")
    s, p = at[order], cut[order]
    if line.closed:  # once round, and one step more
        again = s <= s[0] + step_mm
        s, p = np.append(s, s[again] + whole), np.vstack((p, p[again]))
    rows = np.flatnonzero(np.diff(s[: len(at) + 1]) > least).tolist()
    gaps = [(s[i], s[i + 1]) for i in rows if _apart(s, p, i, step_mm) > least]
    if not line.closed:
        gaps += [g for g in ((0.0, s[0]), (s[-1], whole)) if g[1] - g[0] > least]
    return np.array(gaps, dtype=np.float64).reshape(-1, 2)


def _apart(s: F64, p: F64, row: int, step_mm: float) -> float:
    """Return how far the cut is apart across a jump along the line after a row [mm].

    Many places of the cut may lie opposite to one place of the line, so all within a step of
    either side count.
    """
    low = np.searchsorted(s, s[row] - step_mm)
    high = np.searchsorted(s, s[row + 1] + step_mm, side="right")
    distance, _ = cKDTree(p[row + 1 : high]).query(p[low : row + 1])
    return float(distance.min())


def _inside_any(places: F64, gaps: F64, line: Line) -> BOOL:
    """Return which places lie inside a gap, the ends of an open line included."""
    inside = np.zeros(len(places), bool)
    whole = line.length_mm
    for low, high in gaps.tolist():
        after = (places > low) | ((low == 0.0) & (not line.closed))
        before = (places < high) | ((high == whole) & (not line.closed))
        inside |= (after & before) | (places < high - whole)
    return inside
