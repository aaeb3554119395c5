"""Where lines run over themselves or over each other, edge by edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.artwork.neighbours import meet_again
from kerfwright.errors import OutOfResourcesError
from kerfwright.geometry import edges
from kerfwright.geometry.distance import pairs_within
from kerfwright.geometry.paths import Edges, PathSet, edges_of
from kerfwright.geometry.record import BOOL, F64, I64, Record

_MOST_PAIRS = 5_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Meetings(Record):
    """N pairs of edges that meet although they are not neighbours on one path.

    Parameters
    ----------
    one, two : ndarray of shape (N,), int
        Path of either edge, the smaller first; the same where a path meets itself.
    xy : ndarray of shape (N, 2), float
        A point of one of the two edges, near the meeting [mm].
    overlap_mm : ndarray of shape (N,), float
        Length over which both run together, 0 where they only cross or touch [mm].
    """

    one: I64
    two: I64
    xy: F64
    overlap_mm: F64


def find_meetings(paths: PathSet, *, tolerance_mm: float) -> Meetings:
    """Return every pair of edges that cross, touch or run together within a tolerance.

    Parameters
    ----------
    paths : PathSet
        K lines [mm].
    tolerance_mm : float
        Edges closer than this over a length run together [mm].

    Raises
    ------
    OutOfResourcesError
        If millions of edges lie on one another.
    """
    e = edges_of(paths)
    single = _each_alone(e)
    pairs, apart = _near_pairs(single, tolerance_mm)
    a, b = pairs[:, 0], pairs[:, 1]
    overlap = _overlap_mm(e, a, b, tolerance_mm)
    are_neighbours = _are_neighbours(e, paths, a, b)
    crosses = (apart == 0.0) & ~are_neighbours
    i, j = a[are_neighbours], b[are_neighbours]
    crosses[are_neighbours] = meet_again(e, i, j, tolerance_mm=tolerance_mm)
    keep = crosses | (overlap > 0.0)
    a, b = a[keep], b[keep]
    return Meetings(
        one=e.path[a], two=e.path[b], xy=(e.start[b] + e.end[b]) / 2.0, overlap_mm=overlap[keep]
    )


def _near_pairs(single: PathSet, tolerance_mm: float) -> tuple[I64, F64]:
    try:
        return pairs_within(single, tolerance_mm, max_pairs=_MOST_PAIRS)
    except OutOfResourcesError as error:
        msg = (
            f"the lines lie so close together that more than {_MOST_PAIRS} pairs of edges would "
            "have to be compared; delete hatching and copies, or leave their layer out by a rule"
        )
        raise OutOfResourcesError(msg) from error


def _each_alone(e: Edges) -> PathSet:
    count = len(e.bulge)
    return PathSet(
        points=np.stack((e.start, e.end), axis=1).reshape(-1, 2),
        bulges=np.column_stack((e.bulge, np.zeros(count))).ravel(),
        starts=np.arange(0, 2 * count + 1, 2),
        closed=np.zeros(count, bool),
    )


def _are_neighbours(e: Edges, paths: PathSet, a: I64, b: I64) -> BOOL:
    """Return whether edges a and b share a vertex of one path, or only an edge of no length."""
    first = np.searchsorted(e.path, e.path)
    size = np.bincount(e.path, minlength=len(paths))[e.path]
    place = np.arange(len(e.path)) - first
    gap = np.abs(place[a] - place[b])
    wraps = paths.closed[e.path[a]] & (gap == size[a] - 1)
    same = e.path[a] == e.path[b]
    no_length = (edges.chord_mm(e.start, e.end) == 0.0)[a] | (
        edges.chord_mm(e.start, e.end) == 0.0
    )[b]
    adjacent: BOOL = same & ((gap <= 1) | wraps | no_length)
    return adjacent


def _overlap_mm(e: Edges, a: I64, b: I64, tolerance_mm: float) -> F64:
    """Return how far edges run together: lines on one line, arcs on one circle."""
    out = np.zeros(len(a))
    lines = (e.bulge[a] == 0.0) & (e.bulge[b] == 0.0)
    arcs = (e.bulge[a] != 0.0) & (e.bulge[b] != 0.0)
    out[lines] = _line_overlap(e, a[lines], b[lines], tolerance_mm)
    out[arcs] = _arc_overlap(e, a[arcs], b[arcs], tolerance_mm)
    return np.where(out > 10.0 * tolerance_mm, out, 0.0)


def _line_overlap(e: Edges, a: I64, b: I64, tolerance_mm: float) -> F64:
    d = e.end[a] - e.start[a]
    length = np.maximum(np.hypot(d[:, 0], d[:, 1]), 1e-300)
    u = d / length[:, None]
    along, aside = [], []
    for point in (e.start[b], e.end[b]):
        r = point - e.start[a]
        along.append((r * u).sum(axis=1))
        aside.append(np.abs(u[:, 0] * r[:, 1] - u[:, 1] * r[:, 0]))
    low = np.maximum(np.minimum(*along), 0.0)
    high = np.minimum(np.maximum(*along), length)
    on_line = np.maximum(*aside) <= tolerance_mm
    return np.where(on_line, np.maximum(high - low, 0.0), 0.0)


def _arc_overlap(e: Edges, a: I64, b: I64, tolerance_mm: float) -> F64:
    ca = edges.centre_mm(e.start[a], e.end[a], e.bulge[a])
    cb = edges.centre_mm(e.start[b], e.end[b], e.bulge[b])
    ra = edges.radius_mm(e.start[a], e.end[a], e.bulge[a])
    rb = edges.radius_mm(e.start[b], e.end[b], e.bulge[b])
    same = (np.hypot(*(ca - cb).T) <= tolerance_mm) & (np.abs(ra - rb) <= tolerance_mm)
    begin_a, span_a = _span(e, a, ca)
    begin_b, span_b = _span(e, b, cb)
    shift = np.mod(begin_b - begin_a, 2.0 * np.pi)
    ahead = np.maximum(np.minimum(span_a, shift + span_b) - shift, 0.0)
    behind = np.maximum(np.minimum(span_a, shift + span_b - 2.0 * np.pi), 0.0)
    return np.where(same, ra * (ahead + behind), 0.0)


def _span(e: Edges, rows: I64, centre: F64) -> tuple[F64, F64]:
    """Return where an arc begins counter-clockwise, seen from its centre, and its turn [rad]."""
    forward = e.bulge[rows] > 0.0
    first = np.where(forward[:, None], e.start[rows], e.end[rows]) - centre
    return np.arctan2(first[:, 1], first[:, 0]), np.abs(edges.sweep_rad(e.bulge[rows]))
