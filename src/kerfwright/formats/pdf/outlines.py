"""Painted paths to outlines in millimetres: matrices applied, pieces tidied, ends looked at.

An outline is closed if the file closes it, if it is only filled (filling closes it), or if it
ends where it began. One that goes out along a line and back along the same line is that line.
Nothing else is changed: the control points are those of the file.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kerfwright.errors import UnreadableError
from kerfwright.formats.pdf.store import CLOSE, CURVE, LINE, MOVE, Store

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
BOOL = NDArray[np.bool_]

NO_LENGTH_MM: Final = 1e-9
_POINTS_OF: Final = np.array([1, 1, 3, 0])  # of a move, line, curve, closing


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlines:
    """K outlines of S pieces, in the order they are painted.

    Parameters
    ----------
    control : ndarray of shape (S, 4, 2), float
        Start, both control points and end of each piece [mm]; of a line the control points are
        its ends.
    is_curve : ndarray of shape (S,), bool
        Whether a piece is a curve.
    starts : ndarray of shape (K + 1,), int
        First piece of each outline; the last entry is S.
    closed : ndarray of shape (K,), bool
        Whether the end is joined to the beginning.
    shape : ndarray of shape (K,), int
        Painted path each outline belongs to.
    """

    control: F64
    is_curve: BOOL
    starts: I64
    closed: BOOL
    shape: I64


def mapped_points(store: Store) -> F64:
    """Return the coordinate pairs of all shapes in the artwork frame, shape (N, 2) [mm]."""
    raw = np.frombuffer(store.xy, dtype=np.float64).reshape(-1, 2)
    count = [s.points.stop - s.points.start for s in store.shapes]
    matrix = np.array(list(store.matrices), dtype=np.float64).reshape(-1, 6)
    m = matrix[np.repeat([s.matrix for s in store.shapes], count).astype(np.int64)]
    with np.errstate(over="ignore", invalid="ignore"):
        x = m[:, 0] * raw[:, 0] + m[:, 2] * raw[:, 1] + m[:, 4]
        y = m[:, 1] * raw[:, 0] + m[:, 3] * raw[:, 1] + m[:, 5]
    return np.column_stack((x, y))


def outlines_of(store: Store, *, limit_mm: float, file: str) -> tuple[Outlines, int]:
    """Return the outlines of all shapes, and how many were points without length.

    Raises
    ------
    UnreadableError
        If a coordinate is not finite or beyond the limit.
    """
    points = mapped_points(store)
    _refuse_far(points, store, limit_mm, file)
    ops = np.frombuffer(bytes(store.ops), dtype=np.uint8).astype(np.int64)
    shape = np.repeat(
        np.arange(len(store.shapes)), [s.ops.stop - s.ops.start for s in store.shapes]
    )
    is_move = ops == MOVE
    outline = np.cumsum(is_move) - 1
    count = int(is_move.sum())
    explicit = np.bincount(outline[ops == CLOSE], minlength=count) > 0
    of_outline = shape[is_move]
    filled = np.array([s.stroke is None for s in store.shapes], dtype=np.bool_)[of_outline]
    control, is_curve, of_piece = _pieces(ops, points, outline)
    moves = np.abs(control - control[:, :1]).max(axis=(1, 2)) > NO_LENGTH_MM
    control, is_curve, of_piece = control[moves], is_curve[moves], of_piece[moves]
    is_curve &= ~_runs_straight(control)
    raw = Outlines(
        control=control,
        is_curve=is_curve,
        starts=np.concatenate(([0], np.cumsum(np.bincount(of_piece, minlength=count)))),
        closed=explicit | filled,
        shape=of_outline,
    )
    return _closed(_without_empty(raw)), count - len(np.unique(of_piece))


def _pieces(ops: I64, points: F64, outline: I64) -> tuple[F64, BOOL, I64]:
    """Return control points, whether curves, and outline of all lines and curves."""
    after = np.cumsum(_POINTS_OF[ops])  # points up to and with each operator
    drawn = np.flatnonzero((ops == LINE) | (ops == CURVE))
    is_curve = ops[drawn] == CURVE
    end = after[drawn] - 1
    begin = end - _POINTS_OF[ops[drawn]]
    rows = np.column_stack(
        (begin, np.where(is_curve, end - 2, begin), np.where(is_curve, end - 1, end), end)
    )
    return points[rows], is_curve, outline[drawn]


def _refuse_far(points: F64, store: Store, limit_mm: float, file: str) -> None:
    with np.errstate(invalid="ignore"):
        bad = ~(np.abs(points) <= limit_mm).all(axis=1)
    if not bad.any():
        return
    row = int(np.flatnonzero(bad)[0])
    number = next(k for k, s in enumerate(store.shapes) if s.points.stop > row)
    value = float(points[row][~(np.abs(points[row]) <= limit_mm)][0])
    layer = store.shapes[number].layer.name
    where = f"path {number + 1}" + (f" on layer {layer}" if layer else "")
    msg = (
        f"{file}: {where} has a coordinate of {value:.6g} mm, limit {limit_mm:g} mm; correct or "
        "delete it, and check the scale"
    )
    raise UnreadableError(msg)


def _runs_straight(control: F64) -> BOOL:
    """Return which pieces run along a line without turning back, by their control points."""
    away = control - control[:, :1]
    whole = away[:, 3]
    length = np.hypot(whole[:, 0], whole[:, 1])
    u = whole / np.maximum(length, NO_LENGTH_MM)[:, None]
    along = away[:, :, 0] * u[:, None, 0] + away[:, :, 1] * u[:, None, 1]
    aside = np.abs(away[:, :, 0] * u[:, None, 1] - away[:, :, 1] * u[:, None, 0]).max(axis=1)
    onward = np.diff(along, axis=1).min(axis=1) >= -NO_LENGTH_MM
    return np.asarray((aside <= NO_LENGTH_MM) & onward & (length > NO_LENGTH_MM))


def _without_empty(o: Outlines) -> Outlines:
    kept = np.flatnonzero(np.diff(o.starts) > 0)
    return replace(
        o,
        starts=np.concatenate((o.starts[kept], o.starts[-1:])).astype(np.int64),
        closed=o.closed[kept],
        shape=o.shape[kept],
    )


def _closed(o: Outlines) -> Outlines:
    """Return outlines with closing lines where they are closed and their ends lie apart."""
    if not len(o.closed):
        return o
    first, last = o.starts[:-1], o.starts[1:] - 1
    begin, end = o.control[first, 0], o.control[last, 3]
    meets = np.abs(begin - end).max(axis=1) <= NO_LENGTH_MM
    control = o.control.copy()
    control[last[meets], 3] = begin[meets]
    is_line = ~o.is_curve
    flat = last[meets & is_line[last]]
    control[flat, 2] = control[flat, 3]
    size = last - first + 1
    only_lines = np.add.reduceat(o.is_curve, first) == 0
    there_and_back = only_lines & np.where(meets, size == 2, size == 1)
    closed = (o.closed | meets) & ~there_and_back
    grows = closed & ~meets
    joint = np.stack((end, end, begin, begin), axis=1)[grows]
    keep = np.ones(len(control), dtype=np.bool_)
    keep[last[there_and_back & meets]] = False  # the way back
    piece = np.concatenate((np.repeat(np.arange(len(size)), size)[keep], np.flatnonzero(grows)))
    order = np.argsort(piece, kind="stable")
    counts = np.bincount(piece, minlength=len(size))
    return Outlines(
        control=np.concatenate((control[keep], joint))[order],
        is_curve=np.concatenate((o.is_curve[keep], np.zeros(len(joint), np.bool_)))[order],
        starts=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
        closed=closed,
        shape=o.shape,
    )
