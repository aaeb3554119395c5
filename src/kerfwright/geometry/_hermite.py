"""A curve as cubic pieces with measured error: the table in which the search for arcs looks.

Each interval keeps both ends and both derivatives, times its parameter length. Where the cubic
between them leaves the curve by more than allowed, the interval is halved. The middle of each
interval is compared with the curve: the place, and the direction, because an error that is odd
about the middle shows in the direction alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from kerfwright.errors import GeometryError, OutOfResourcesError
from kerfwright.geometry.record import BOOL, F64, I64

Evaluate = Callable[[I64, F64], tuple[F64, F64]]
"""Points and derivatives, two of shape (N, 2), of spans (N,) at parameters (N,)."""

_TURN_COS = 0.88  # an interval turns by less than 0.5 rad on either side of its middle
_CORNER_RAD = 1e-6  # consecutive intervals that turn by less go on smoothly
_ROUNDING = 1e-13


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Cubic pieces of curves, in the order of the curves.

    Parameters
    ----------
    span : ndarray of shape (n,), int
        Smooth span each interval belongs to.
    t : ndarray of shape (n, 2), float
        Parameters at both ends.
    points : ndarray of shape (n, 2, 2), float
        Both ends [mm].
    slopes : ndarray of shape (n, 2, 2), float
        Derivatives at both ends times the parameter length [mm].
    chains : ndarray of shape (C + 1,), int
        First interval of each chain: intervals that follow one another without a corner.
    """

    span: I64
    t: F64
    points: F64
    slopes: F64
    chains: I64


def checked(evaluate: Evaluate) -> Evaluate:
    """Return the same function, which refuses values that are not finite."""

    def call(span: I64, t: F64) -> tuple[F64, F64]:
        with np.errstate(all="ignore"):
            points, slopes = evaluate(span, t)
        fine = np.isfinite(points).all(axis=1) & np.isfinite(slopes).all(axis=1)
        if not fine.all():
            row = int(np.flatnonzero(~fine)[0])
            msg = f"the curve is not finite at parameter {t[row]:.9g}: {points[row].tolist()}"
            raise GeometryError(msg)
        return points, slopes

    return call


def build_table(
    evaluate: Evaluate,
    ends: F64,
    group: I64,
    *,
    first_parts: int,
    error_mm: float,
    max_intervals: int,
) -> Table:
    """Return the table of S spans.

    Parameters
    ----------
    evaluate : callable
        Points and derivatives.
    ends : ndarray of shape (S, 2), float
        Parameters at both ends of each span.
    group : ndarray of shape (S,), int
        Consecutive spans of one group may make one chain.
    first_parts : int
        Intervals of each span before any is halved.
    error_mm : float
        Greatest distance of the cubics from the curve [mm].
    max_intervals : int
        Limit of the table.

    Raises
    ------
    GeometryError
        If a point or derivative is not finite.
    OutOfResourcesError
        If the limit is reached.
    """
    pending = _first_intervals(evaluate, ends, first_parts)
    done: list[Table] = []
    total = 0
    while len(pending.span):
        middle = pending.t.mean(axis=1)
        point, slope = evaluate(pending.span, middle)
        slope = slope * np.diff(pending.t, axis=1)
        fine = _is_close(pending, point, slope, error_mm)
        fine |= (middle <= pending.t[:, 0]) | (middle >= pending.t[:, 1])
        done.append(_rows(pending, fine))
        rest = _rows(pending, ~fine)
        pending = _halved(rest, middle[~fine], point[~fine], slope[~fine])
        total += len(done[-1].span)
        if total + len(pending.span) > max_intervals:
            msg = (
                f"more than {max_intervals} places must be looked at to follow a curve to "
                f"{error_mm:.3g} mm; allow more error or simplify it"
            )
            raise OutOfResourcesError(msg)
    table = _sorted(done)
    return _chained(table, group, error_mm)


def _first_intervals(evaluate: Evaluate, ends: F64, parts: int) -> Table:
    count = len(ends)
    place = np.linspace(0.0, 1.0, parts + 1)
    t = ends[:, :1] + place * (ends[:, 1:] - ends[:, :1])
    t[:, -1] = ends[:, 1]
    # one step inside, so that a corner at a break gives each side its own direction
    inside = t.copy()
    inside[:, 0] = np.nextafter(t[:, 0], t[:, -1])
    inside[:, -1] = np.nextafter(t[:, -1], t[:, 0])
    span = np.repeat(np.arange(count), parts + 1)
    point, slope = (v.reshape(count, parts + 1, 2) for v in evaluate(span, inside.ravel()))
    point[:, [0, -1]] = evaluate(np.repeat(np.arange(count), 2), ends.ravel())[0].reshape(-1, 2, 2)
    both = np.stack((t[:, :-1], t[:, 1:]), axis=2).reshape(-1, 2)
    width = np.diff(both, axis=1)[:, :, None]
    return Table(
        span=np.repeat(np.arange(count), parts),
        t=both,
        points=np.stack((point[:, :-1], point[:, 1:]), axis=2).reshape(-1, 2, 2),
        slopes=np.stack((slope[:, :-1], slope[:, 1:]), axis=2).reshape(-1, 2, 2) * width,
        chains=np.zeros(0, np.int64),
    )


def _is_close(table: Table, point: F64, slope: F64, error_mm: float) -> BOOL:
    """Return whether each cubic follows the curve, or is too small to matter."""
    p, m = table.points, table.slopes
    own = (p[:, 0] + p[:, 1]) / 2.0 + (m[:, 0] - m[:, 1]) / 8.0
    own_slope = 1.5 * (p[:, 1] - p[:, 0]) - 0.25 * (m[:, 0] + m[:, 1])
    size = np.maximum(_norm(point - p[:, 0]), _norm(p[:, 1] - point))
    along, own_along = unit(slope), unit(own_slope)
    off = np.abs(cross(along, point - own))
    turn = np.abs(cross(along, own_along)) * size / 8.0
    begin, end = end_directions(table)
    is_calm = (dot(begin, along) > _TURN_COS) & (dot(along, end) > _TURN_COS)
    is_calm &= dot(along, own_along) > _TURN_COS
    scale = np.abs(p).max(axis=(1, 2), initial=0.0)
    is_close = is_calm & (off <= error_mm) & (turn <= error_mm)
    is_close |= size <= np.maximum(error_mm / 4.0, _ROUNDING * scale)
    return np.asarray(is_close, dtype=np.bool_)


def _halved(table: Table, middle: F64, point: F64, slope: F64) -> Table:
    first = replace(
        table,
        t=np.column_stack((table.t[:, 0], middle)),
        points=np.stack((table.points[:, 0], point), axis=1),
        slopes=np.stack((table.slopes[:, 0], slope), axis=1) / 2.0,
    )
    second = replace(
        table,
        t=np.column_stack((middle, table.t[:, 1])),
        points=np.stack((point, table.points[:, 1]), axis=1),
        slopes=np.stack((slope, table.slopes[:, 1]), axis=1) / 2.0,
    )
    return _joined([first, second])


def _sorted(parts: list[Table]) -> Table:
    table = _joined(parts)
    # a span may run towards falling parameters
    order = np.lexsort((table.t[:, 0], table.span))
    return _rows(table, order)


def _chained(table: Table, group: I64, error_mm: float) -> Table:
    """Leave out intervals that are corners and mark where chains begin."""
    begin, end = end_directions(table)
    kept = np.flatnonzero(~_corners(table, dot(begin, end) < _TURN_COS, error_mm))
    table, begin, end = _rows(table, kept), begin[kept], end[kept]
    same = group[table.span[1:]] == group[table.span[:-1]]
    smooth = np.abs(np.arctan2(cross(end[:-1], begin[1:]), dot(end[:-1], begin[1:]))) < _CORNER_RAD
    gap = _norm(table.points[1:, 0] - table.points[:-1, 1])
    if (same & (gap > error_mm)).any():
        row = int(np.flatnonzero(same & (gap > error_mm))[0])
        msg = f"the curve jumps by {gap[row]:.6g} mm at parameter {table.t[row, 1]:.9g}"
        raise GeometryError(msg)
    starts = np.flatnonzero(~(same & smooth & (np.diff(kept) == 1))) + 1
    points = table.points.copy()
    joined = np.flatnonzero(same) + 1
    points[joined, 0] = points[joined - 1, 1]
    chains = np.concatenate(([0], starts, [len(table.span)])).astype(np.int64)
    return replace(table, points=points, chains=chains)


def _corners(table: Table, turns: BOOL, error_mm: float) -> BOOL:
    """Return which intervals stand for a corner: they turn, and their run is of no length.

    The ends of a span are never left out.
    """
    is_first = np.concatenate(([True], np.diff(table.span) != 0))
    is_last = np.concatenate((is_first[1:], [True]))
    size = _norm(table.points[:, 1] - table.points[:, 0])
    may = turns & (size <= error_mm) & ~is_first & ~is_last
    run = np.cumsum(~may)
    return np.asarray(may & (np.bincount(run, weights=size * may)[run] <= error_mm))


def end_directions(table: Table) -> tuple[F64, F64]:
    """Return unit directions at both ends; where the curve rests, those it leaves and comes in."""
    p, m = table.points, table.slopes
    chord = p[:, 1] - p[:, 0]
    small = 1e-9 * np.maximum(_norm(chord), _norm(m).max(axis=1))
    bend_begin = 6.0 * chord - 4.0 * m[:, 0] - 2.0 * m[:, 1]
    bend_end = 6.0 * chord - 2.0 * m[:, 0] - 4.0 * m[:, 1]
    begin = np.where((_norm(m[:, 0]) <= small)[:, None], bend_begin, m[:, 0])
    end = np.where((_norm(m[:, 1]) <= small)[:, None], bend_end, m[:, 1])
    return unit(begin), unit(end)


def unit(v: F64) -> F64:
    """Return vectors of length 1, shape (..., 2); those of length 0 become +x."""
    length = _norm(v)[..., None]
    fallback = np.broadcast_to((1.0, 0.0), v.shape)
    return np.where(length > 0.0, v / np.where(length > 0.0, length, 1.0), fallback)


def cross(a: F64, b: F64) -> F64:
    """Return the cross product of plane vectors."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0], dtype=np.float64)


def dot(a: F64, b: F64) -> F64:
    """Return the dot product of plane vectors."""
    return np.asarray(a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1], dtype=np.float64)


def _norm(v: F64) -> F64:
    return np.asarray(np.hypot(v[..., 0], v[..., 1]), dtype=np.float64)


def _rows(table: Table, rows: I64 | BOOL) -> Table:
    return replace(
        table,
        span=table.span[rows],
        t=table.t[rows],
        points=table.points[rows],
        slopes=table.slopes[rows],
    )


def _joined(parts: list[Table]) -> Table:
    return Table(
        span=np.concatenate([p.span for p in parts]),
        t=np.concatenate([p.t for p in parts]),
        points=np.concatenate([p.points for p in parts]),
        slopes=np.concatenate([p.slopes for p in parts]),
        chains=np.zeros(0, np.int64),
    )
