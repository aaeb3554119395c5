"""Questions along a path by arc length: where, which way, and the piece between two places."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import GeometryError
from kerfwright.geometry import edges
from kerfwright.geometry.paths import Edges, PathSet, edges_of, make_path
from kerfwright.geometry.record import F64, I64, Record

_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Along(Record):
    """One path prepared for questions by arc length.

    Parameters
    ----------
    edges : Edges
        Its E edges.
    knots_mm : ndarray of shape (E + 1,), float
        Arc length at which each edge begins; the last entry is the whole length [mm].
    closed : bool
        Whether places wrap around.
    """

    edges: Edges
    knots_mm: F64
    closed: bool

    @property
    def length_mm(self) -> float:
        """Length of the whole path [mm]."""
        return float(self.knots_mm[-1])

    def locate(self, s_mm: ArrayLike) -> tuple[I64, F64]:
        """Return the edge and the fraction of it at each place, two of shape (N,).

        A place at a vertex belongs to the edge ahead. Places off a closed path's ends go round;
        off an open path's ends they are taken to the end.
        """
        s = np.atleast_1d(np.asarray(s_mm, dtype=np.float64))
        s = np.mod(s, self.length_mm) if self.closed else np.clip(s, 0.0, self.length_mm)
        index = np.searchsorted(self.knots_mm[1:-1], s, side="right").astype(np.int64)
        span = np.diff(self.knots_mm)[index]
        return index, np.clip((s - self.knots_mm[index]) / np.where(span > 0.0, span, 1.0), 0, 1)

    def points(self, s_mm: ArrayLike) -> F64:
        """Return the point at each place, shape (N, 2) [mm]."""
        i, f = self.locate(s_mm)
        e = self.edges
        return edges.point_at(e.start[i], e.end[i], e.bulge[i], f)

    def headings_rad(self, s_mm: ArrayLike) -> F64:
        """Return the direction of travel at each place, shape (N,), of the edge ahead [rad]."""
        i, f = self.locate(s_mm)
        e = self.edges
        begin, _ = edges.heading_rad(e.start[i], e.end[i], e.bulge[i])
        return begin + edges.sweep_rad(e.bulge[i]) * f

    def corners_rad(self) -> F64:
        """Return the turn at the start of each edge, shape (E,), in -pi..pi [rad].

        The first entry is 0 for an open path. A path that doubles back turns by pi.
        """
        e = self.edges
        begin, end = edges.heading_rad(e.start, e.end, e.bulge)
        turn = begin - np.roll(end, 1)
        turn = np.pi - np.mod(np.pi - turn, 2.0 * np.pi)
        if not self.closed:
            turn[0] = 0.0
        return turn


def along(path: PathSet) -> Along:
    """Prepare a single path of at least one edge; edges of no length are left out.

    Raises
    ------
    GeometryError
        If the set does not hold exactly one path, or the path has no length.
    """
    if len(path) != 1:
        msg = f"one path is wanted, {len(path)} were given; select one first"
        raise GeometryError(msg)
    e = edges_of(path)
    long = edges.length_mm(e.start, e.end, e.bulge)
    keep = long > 0.0
    if not keep.any():
        msg = "a path of no length has no direction; remove it or drill it"
        raise GeometryError(msg)
    kept = Edges(
        start=e.start[keep],
        end=e.end[keep],
        bulge=e.bulge[keep],
        path=e.path[keep],
        vertex=e.vertex[keep],
    )
    knots = np.concatenate(([0.0], np.cumsum(long[keep])))
    return Along(edges=kept, knots_mm=knots, closed=bool(path.closed[0]))


def piece(whole: Along, begin_mm: float, end_mm: float) -> PathSet:
    """Return the open path between two places, exactly, arcs kept as arcs.

    Parameters
    ----------
    whole : Along
        The path.
    begin_mm, end_mm : float
        Arc lengths, begin below end; on a closed path they may pass its start, over at most
        one turn [mm]. What lies within 1e-12 of the whole length of an end or a vertex is taken
        to be there: no edge is left that consists of rounding.

    Raises
    ------
    GeometryError
        If the piece has no length, is longer than the path, or leaves an open path.
    """
    total = whole.length_mm
    grain = _ROUNDING * total
    inside = whole.closed or (begin_mm >= -grain and end_mm <= total + grain)
    if not (grain < end_mm - begin_mm <= total + grain and inside):
        msg = f"no piece from {begin_mm:.6f} to {end_mm:.6f} mm on a path of {total:.6f} mm"
        raise GeometryError(msg)
    turns = np.floor(begin_mm / total) if whole.closed else 0.0
    a, b = begin_mm - turns * total, end_mm - turns * total
    laps = (0.0, total) if whole.closed else (0.0,)
    first = np.concatenate([whole.knots_mm[:-1] + lap for lap in laps])
    last = np.concatenate([whole.knots_mm[1:] + lap for lap in laps])
    overlap = np.minimum(last, b) - np.maximum(first, a)
    rows = np.flatnonzero(overlap > np.minimum(grain, 0.5 * (last - first)))
    span = last[rows] - first[rows]
    low = np.maximum(first[rows], a) - first[rows]
    high = np.minimum(last[rows], b) - first[rows]
    low = np.where(low <= np.minimum(grain, 0.5 * span), 0.0, low)
    high = np.where(span - high <= np.minimum(grain, 0.5 * span), span, high)
    return _cut_edges(whole.edges, rows % len(whole.edges.bulge), low, high, span)


def _cut_edges(e: Edges, index: I64, low: F64, high: F64, span: F64) -> PathSet:
    start, end, bulge = e.start[index], e.end[index], e.bulge[index]
    points = edges.point_at(start, end, bulge, low / span)
    final = edges.point_at(start[-1:], end[-1:], bulge[-1:], high[-1:] / span[-1:])
    whole = (low == 0.0) & (high == span)
    cut = np.where(whole, bulge, np.tan(np.arctan(bulge) * (high - low) / span))
    return make_path(np.concatenate((points, final)), np.concatenate((cut, [0.0])), closed=False)
