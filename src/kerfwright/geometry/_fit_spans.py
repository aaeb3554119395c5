"""Arcs for many smooth spans at once: table, search, true joints, measurement, repair."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.errors import GeometryError, OutOfResourcesError
from kerfwright.geometry import edges
from kerfwright.geometry._biarc import (
    BIARC,
    ONE_CHORD,
    build_edges,
    find_pieces,
    measure_pieces,
)
from kerfwright.geometry._hermite import (
    Evaluate,
    Table,
    build_table,
    checked,
    cross,
    dot,
    end_directions,
    unit,
)
from kerfwright.geometry.record import BOOL, F64, I64

_TABLE_SHARE = 1.0 / 64.0  # of the tolerance: how far the table may lie from the curve
_SEARCH_SHARE = 0.97  # of the tolerance is spent by the search; the rest is for what it did not see
_FLAT_SHARE = 1e-3  # of the tolerance: what rises less is straight, and two such circles are one
_SAMPLES = 10
_ROUNDS = 60
_BETWEEN = 1.002  # what the largest of ten cubics between samples may miss, measured


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanFit:
    """Edges that follow the spans, in their order.

    Parameters
    ----------
    edges : ndarray of shape (n, 5), float
        Start x, y, end x, y, bulge.
    span : ndarray of shape (n,), int
        Span at the start of each edge.
    t : ndarray of shape (n,), float
        Parameter at the start of each edge; inside a biarc shared out by length.
    ways : ndarray of shape (n, 2, 2), float
        Unit directions of the curve at both ends of each edge; inside a biarc twice the same.
    error_mm : ndarray of shape (n,), float
        Measured distance between the curve and the piece each edge belongs to, both ways [mm].
    angle_rad : ndarray of shape (n,), float
        Largest angle between the curve and that piece [rad].
    """

    edges: F64
    span: I64
    t: F64
    ways: F64
    error_mm: F64
    angle_rad: F64


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pieces:
    begin: F64
    end: F64
    kinds: I64


def fit_spans(
    evaluate: Evaluate,
    ends: F64,
    group: I64,
    *,
    tolerance_mm: float,
    first_parts: int,
    max_arcs: int,
) -> SpanFit:
    """Return edges that follow S spans within the tolerance, both ways.

    Parameters
    ----------
    evaluate : callable
        Points and derivatives of spans (N,) at parameters (N,).
    ends : ndarray of shape (S, 2), float
        Parameters at both ends of each span, rising.
    group : ndarray of shape (S,), int
        Consecutive spans of one group are one curve.
    tolerance_mm : float
        Greatest distance [mm].
    first_parts : int
        Parts each span is looked at in before any is halved.
    max_arcs : int
        Limit of edges.

    Raises
    ------
    GeometryError
        If the curve is not finite, jumps, stands still, or is too far out for the tolerance.
    OutOfResourcesError
        If more than `max_arcs` edges would be needed.
    """
    evaluate = checked(evaluate)
    _require_sense(evaluate, ends, first_parts, tolerance_mm)
    table = build_table(
        evaluate,
        ends,
        group,
        first_parts=first_parts,
        error_mm=_TABLE_SHARE * tolerance_mm,
        max_intervals=first_parts * len(ends) + 16 * max_arcs,
    )
    pieces = _search(table, tolerance_mm, max_arcs)
    for _ in range(_ROUNDS):
        fit, error, angle, way = _built(evaluate, table, pieces, tolerance_mm)
        bad = error > tolerance_mm
        if not bad.any():
            return _finished(table, pieces, fit, error, angle, way, tolerance_mm)
        pieces = _mended(pieces, bad)
        _require_few(2 * len(pieces.begin), max_arcs, tolerance_mm)
    msg = f"no arcs were found within {tolerance_mm} mm of the curve; it may not be smooth"
    raise GeometryError(msg)


def _require_sense(evaluate: Evaluate, ends: F64, parts: int, tolerance_mm: float) -> None:
    """Refuse what no halving would ever bring within the tolerance, before any is done."""
    share = np.linspace(0.0, 1.0, parts + 1)
    t = ends[:, :1] + share * np.diff(ends, axis=1)
    span = np.repeat(np.arange(len(ends)), parts + 1)
    points, slopes = evaluate(span, t.ravel())
    far = float(np.abs(points).max(initial=0.0))
    if tolerance_mm < 1e-11 * far:
        msg = f"a tolerance of {tolerance_mm} mm is below the rounding of numbers {far:.3g} mm out"
        raise GeometryError(msg)
    # A span as short as rounding may seem to stand, yet it leaves in some direction.
    same = (np.ptp(points.reshape(-1, parts + 1, 2), axis=1) == 0.0).all(axis=1)
    still = same & (slopes.reshape(len(ends), -1) == 0.0).all(axis=1)
    if still.any():
        low, high = ends[np.flatnonzero(still)[0]].tolist()
        msg = f"the curve stands still from parameter {low:.9g} to {high:.9g}; it has no length"
        raise GeometryError(msg)


def _require_few(count: int, limit: int, tolerance_mm: float) -> None:
    if count > limit:
        msg = f"more than {limit} arcs are needed for {tolerance_mm} mm; allow more error"
        raise OutOfResourcesError(msg)


def _search(table: Table, tolerance_mm: float, max_arcs: int) -> _Pieces:
    limit = _SEARCH_SHARE * tolerance_mm
    begin, kinds, first, count = find_pieces(
        table.points, table.slopes, table.chains, limit, max_arcs
    )
    _require_few(count, max_arcs, tolerance_mm)
    end = np.concatenate((begin[1:], [0.0]))
    end[first[1:] - 1] = table.chains[1:]
    return _Pieces(begin=begin, end=end, kinds=kinds)


def _mended(pieces: _Pieces, bad: BOOL) -> _Pieces:
    """Return pieces of which the bad ones became biarcs, or two halves, or at last a chord."""
    is_chord = bad & (pieces.end - pieces.begin < 1e-9)
    split = bad & (pieces.kinds == BIARC) & ~is_chord
    kinds = np.where(is_chord, ONE_CHORD, np.where(bad, BIARC, pieces.kinds))
    middle = 0.5 * (pieces.begin + pieces.end)
    begin = np.concatenate((pieces.begin, middle[split]))
    end = np.concatenate((np.where(split, middle, pieces.end), pieces.end[split]))
    order = np.argsort(begin, kind="stable")
    return _Pieces(
        begin=begin[order], end=end[order], kinds=np.concatenate((kinds, kinds[split]))[order]
    )


def _built(
    evaluate: Evaluate, table: Table, pieces: _Pieces, tolerance_mm: float
) -> tuple[F64, F64, F64, F64]:
    """Return edges (n, 2, 5) on true points of the curve, error, angle, and end directions."""
    place = np.linspace(0.0, 1.0, _SAMPLES + 1)
    places = pieces.begin[:, None] + place * (pieces.end - pieces.begin)[:, None]
    places[:, -1] = pieces.end
    samples, ways = _evaluated(evaluate, table, places)
    built = build_edges(
        table.points,
        table.slopes,
        places[:, [0, -1]],
        samples[:, 0],
        ways[:, 0],
        samples[:, _SAMPLES // 2],
        samples[:, -1],
        ways[:, -1],
        pieces.kinds,
        _FLAT_SHARE * tolerance_mm,
    )
    error, angle = measure_pieces(
        built,
        pieces.kinds,
        samples,
        ways,
        table.points,
        table.slopes,
        pieces.begin,
        pieces.end,
    )
    return built, error * _BETWEEN, angle, ways[:, [0, -1]]


def _evaluated(evaluate: Evaluate, table: Table, places: F64) -> tuple[F64, F64]:
    """Return points and directions at places (n, m), the last of each row as an end.

    Nodes of the table are taken from it: they are places on the curve, with a direction on either
    side of a break.
    """
    interval = np.minimum(places.astype(np.int64), len(table.span) - 1)
    interval[:, -1] = np.ceil(places[:, -1]).astype(np.int64) - 1
    part = places - interval
    points, ways = np.zeros((*places.shape, 2)), np.zeros((*places.shape, 2))
    directions = end_directions(table)
    is_node = (part == 0.0) | (part == 1.0)
    for side in range(2):
        at = part == side
        points[at] = table.points[interval[at], side]
        ways[at] = directions[side][interval[at]]
    free = ~is_node
    row = interval[free]
    t = table.t[row, 0] + part[free] * (table.t[row, 1] - table.t[row, 0])
    points[free], slope = evaluate(table.span[row], t)
    ways[free] = unit(slope)
    return points, ways


def _finished(
    table: Table,
    pieces: _Pieces,
    built: F64,
    error: F64,
    angle: F64,
    way: F64,
    tolerance_mm: float,
) -> SpanFit:
    flat = built.reshape(-1, 5)
    rise = np.abs(flat[:, 4]) * edges.chord_mm(flat[:, :2], flat[:, 2:4]) / 2.0
    is_flat = (rise < _FLAT_SHARE * tolerance_mm) & (flat[:, 4] != 0.0)
    flat[is_flat, 4] = 0.0
    lost = np.where(is_flat, rise, 0.0).reshape(-1, 2).max(axis=1)
    kept = np.flatnonzero((flat[:, :2] != flat[:, 2:4]).any(axis=1))
    length = edges.length_mm(flat[:, :2], flat[:, 2:4], flat[:, 4]).reshape(-1, 2)
    share = length[:, 0] / np.maximum(length.sum(axis=1), 1e-300)
    joint = pieces.begin + share * (pieces.end - pieces.begin)
    place = np.column_stack((pieces.begin, joint)).ravel()[kept]
    interval = np.minimum(place.astype(np.int64), len(table.span) - 1)
    t0, t1 = table.t[interval].T
    piece = kept // 2
    is_second = kept % 2 == 1
    has_second = (built[:, 1, :2] != built[:, 1, 2:4]).any(axis=1)[piece]
    ways = np.stack((way[piece, 0], way[piece, 1]), axis=1)
    inside = way[piece, 0]  # on both sides of the joint of a biarc, where the curve does not turn
    ways[is_second, 0] = inside[is_second]
    first = has_second & ~is_second
    ways[first, 1] = inside[first]
    return SpanFit(
        edges=flat[kept],
        span=table.span[interval],
        t=t0 + (place - interval) * (t1 - t0),
        ways=ways,
        error_mm=(error + lost)[piece],
        angle_rad=angle[piece],
    )


def joint_jumps_rad(fit: SpanFit, after: I64) -> F64:
    """Return how much more each joint turns than the curve does there, shape (n,) [rad].

    `after` names the edge that follows each edge, -1 for none.
    """
    e = fit.edges
    begin, end = edges.heading_rad(e[:, :2], e[:, 2:4], e[:, 4])
    turn = begin[after] - end
    source = np.arctan2(
        cross(fit.ways[:, 1], fit.ways[after, 0]), dot(fit.ways[:, 1], fit.ways[after, 0])
    )
    jump = np.abs(np.mod(turn - source + np.pi, 2.0 * np.pi) - np.pi)
    return np.where(after >= 0, jump, 0.0)
