"""Piled outlines to millimetres: matrices applied, pieces tidied, ends looked at.

Arcs whose ellipse is a circle under the matrix stay arcs of a circle; the others are left to be
fitted. An outline is closed if the file closes it, if it is only filled (filling closes it), or if
it ends where it began. One that goes out along a line and back along the same line is that line;
when it is only filled, nothing of it can be seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from kerfwright.errors import UnreadableError
from kerfwright.formats.dxf.pile import is_round
from kerfwright.formats.svg.matrices import Matrix
from kerfwright.formats.svg.pile import ARC, CURVE, LINE, WIDTH, Outlining
from kerfwright.formats.svg.spot import Shape
from kerfwright.formats.svg.tree import place_of
from kerfwright.geometry.record import BOOL, F64, I64

NO_LENGTH_MM: Final = 1e-9
ROUND: Final = 3
"""Kind of an arc of a circle, beside the kinds of the pile."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlines:
    """K outlines of S pieces, in the order they are painted.

    Parameters
    ----------
    rows : ndarray of shape (S, 6, 2), float
        Begin, three pairs, end, first parameter and sweep, as in the pile [mm], [rad].
    kind : ndarray of shape (S,), int
        Kind of each piece.
    starts : ndarray of shape (K + 1,), int
        First piece of each outline; the last entry is S.
    closed : ndarray of shape (K,), bool
        Whether the end is joined to the beginning.
    shape : ndarray of shape (K,), int
        Shape each outline belongs to.
    """

    rows: F64
    kind: I64
    starts: I64
    closed: BOOL
    shape: I64

    @property
    def bulge(self) -> F64:
        """Bulge of each piece as one arc, 0 where it is none."""
        sweep = np.where(self.kind == ROUND, self.rows[:, 5, 1], 0.0)
        return np.asarray(np.tan(sweep / 4.0) * turn_of(self.rows))


def turn_of(rows: F64) -> F64:
    """Return 1 where the parameter of an arc runs counter-clockwise, -1 where clockwise."""
    u, v = rows[:, 2], rows[:, 3]
    return np.asarray(np.sign(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]))


def outlines_of(
    pile: Outlining, shapes: list[Shape], matrices: list[Matrix], *, limit_mm: float, file: str
) -> tuple[Outlines, list[int], int]:
    """Return the outlines of all shapes, the shapes of those nobody can see, and lost points.

    Raises
    ------
    UnreadableError
        If a coordinate is beyond the limit.
    """
    starts = np.array([*pile.starts, len(pile.kinds)], dtype=np.int64)
    shape = np.array(pile.shape, dtype=np.int64)
    of_piece = np.repeat(shape, np.diff(starts))
    rows = _mapped(pile, of_piece, shapes, matrices)
    kind = np.frombuffer(bytes(pile.kinds), dtype=np.uint8).astype(np.int64)
    _refuse_far(rows, kind, of_piece, shapes, limit_mm, file)
    is_line_only = np.array([not s.stroke.is_seen for s in shapes], dtype=np.bool_)[shape]
    raw = Outlines(
        rows=rows,
        kind=kind,
        starts=starts,
        closed=np.array(pile.closed, dtype=np.bool_) | is_line_only,
        shape=shape,
    )
    raw = _with_kinds(_without_points(raw))
    size = np.diff(raw.starts)
    found, seen = _closed(_picked(raw, np.flatnonzero(size > 0)), is_line_only[size > 0])
    unseen = [int(k) for k in found.shape[~seen]]
    return _picked(found, np.flatnonzero(seen)), unseen, int((size == 0).sum())


def _mapped(pile: Outlining, of_piece: I64, shapes: list[Shape], matrices: list[Matrix]) -> F64:
    """Return the pieces in the artwork frame."""
    raw = np.frombuffer(pile.rows, dtype=np.float64).reshape(-1, WIDTH // 2, 2)
    matrix = np.array(matrices, dtype=np.float64).reshape(-1, 6)
    of_shape = np.array([s.matrix for s in shapes], dtype=np.int64)
    m = matrix[of_shape[of_piece]]
    is_arc = np.frombuffer(bytes(pile.kinds), dtype=np.uint8) == ARC
    rows = np.empty_like(raw)
    rows[:, 5] = raw[:, 5]
    for k in range(5):
        x, y = raw[:, k, 0], raw[:, k, 1]
        shifts = np.where(is_arc, 0.0, 1.0) if k in (2, 3) else 1.0  # u and v are no places
        rows[:, k, 0] = m[:, 0] * x + m[:, 2] * y + m[:, 4] * shifts
        rows[:, k, 1] = m[:, 1] * x + m[:, 3] * y + m[:, 5] * shifts
    return rows


def _refuse_far(
    rows: F64, kind: I64, of_piece: I64, shapes: list[Shape], limit_mm: float, file: str
) -> None:
    """Refuse coordinates beyond the limit; centres and axes of flat arcs may lie anywhere."""
    places = np.where((kind == ARC)[:, None, None], rows[:, [0, 0, 0, 4]], rows[:, [0, 1, 2, 4]])
    bad = ~(np.abs(places) <= limit_mm).all(axis=(1, 2))
    if not bad.any():
        return
    row = int(np.flatnonzero(bad)[0])
    value = float(places[row][~(np.abs(places[row]) <= limit_mm)][0])
    where = place_of(shapes[int(of_piece[row])].element)
    msg = (
        f"{file}: {where}: a coordinate of {value:.6g} mm, limit {limit_mm:g} mm; correct or "
        "delete it, and check size, scale and viewBox of the page"
    )
    raise UnreadableError(msg)


def _without_points(o: Outlines) -> Outlines:
    """Return outlines without pieces that have no length."""
    away = np.abs(o.rows[:, 1:5] - o.rows[:, :1]).max(axis=2)
    ends = away[:, 3] > NO_LENGTH_MM
    curved = (o.kind == CURVE) & (away[:, :2].max(axis=1, initial=0.0) > NO_LENGTH_MM)
    reach = np.abs(o.rows[:, 2:4]).max(axis=(1, 2), initial=0.0)
    turned = (o.kind == ARC) & (reach * np.abs(o.rows[:, 5, 1]) > NO_LENGTH_MM)
    return _kept(o, ends | curved | turned)


def _kept(o: Outlines, keep: BOOL) -> Outlines:
    owner = np.repeat(np.arange(len(o.closed)), np.diff(o.starts))[keep]
    counts = np.bincount(owner, minlength=len(o.closed))
    starts = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
    return replace(o, rows=o.rows[keep], kind=o.kind[keep], starts=starts)


def _with_kinds(o: Outlines) -> Outlines:
    """Return outlines with straight curves as lines, round arcs as such, and no flat ellipse."""
    kind = o.kind.copy()
    u, v = o.rows[:, 2], o.rows[:, 3]
    area = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    is_arc = kind == ARC
    with np.errstate(over="ignore", invalid="ignore"):
        kind[is_arc & is_round(u, v) & (area > 0.0)] = ROUND
        kind[is_arc & (area == 0.0)] = LINE
    kind[(kind == CURVE) & _runs_straight(o.rows)] = LINE
    return replace(o, kind=kind)


def _runs_straight(rows: F64) -> BOOL:
    """Return which curves run along a line without turning back, by their control points."""
    away = rows[:, [0, 1, 2, 4]] - rows[:, :1]
    whole = away[:, 3]
    length = np.hypot(whole[:, 0], whole[:, 1])
    u = whole / np.maximum(length, NO_LENGTH_MM)[:, None]
    along = away[:, :, 0] * u[:, None, 0] + away[:, :, 1] * u[:, None, 1]
    aside = np.abs(away[:, :, 0] * u[:, None, 1] - away[:, :, 1] * u[:, None, 0])
    onward = np.diff(along, axis=1).min(axis=1, initial=0.0) >= -NO_LENGTH_MM
    near = aside.max(axis=1, initial=0.0) <= NO_LENGTH_MM
    return np.asarray(near & onward & (length > NO_LENGTH_MM))


def _picked(o: Outlines, index: I64) -> Outlines:
    """Return some of the outlines."""
    keep = np.zeros(len(o.closed), np.bool_)
    keep[index] = True
    size = np.diff(o.starts)
    rows = np.repeat(keep, size)
    return Outlines(
        rows=o.rows[rows],
        kind=o.kind[rows],
        starts=np.concatenate(([0], np.cumsum(size[keep]))).astype(np.int64),
        closed=o.closed[keep],
        shape=o.shape[keep],
    )


def _closed(o: Outlines, is_filled_only: BOOL) -> tuple[Outlines, BOOL]:
    """Close outlines by a line where their ends lie apart; also return which can be seen."""
    if not len(o.closed):
        return o, np.zeros(0, np.bool_)
    first, last = o.starts[:-1], o.starts[1:] - 1
    begin, end = o.rows[first, 0], o.rows[last, 4]
    meets = np.abs(begin - end).max(axis=1) <= NO_LENGTH_MM
    rows = o.rows.copy()
    rows[last[meets], 4] = begin[meets]
    size = last - first + 1
    only_lines = np.add.reduceat(o.kind != LINE, first) == 0
    there_and_back = only_lines & np.where(meets, size == 2, size == 1)
    closed = (o.closed | meets) & ~there_and_back
    grows = closed & ~meets
    joint = np.zeros((int(grows.sum()), 6, 2))
    joint[:, :2], joint[:, 2:5] = end[grows, None], begin[grows, None]
    keep = np.ones(len(rows), dtype=np.bool_)
    keep[last[there_and_back & meets]] = False  # the way back
    owner = np.concatenate((np.repeat(np.arange(len(size)), size)[keep], np.flatnonzero(grows)))
    order = np.argsort(owner, kind="stable")
    counts = np.bincount(owner, minlength=len(size))
    made = Outlines(
        rows=np.concatenate((rows[keep], joint))[order],
        kind=np.concatenate((o.kind[keep], np.full(len(joint), LINE)))[order],
        starts=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
        closed=closed,
        shape=o.shape,
    )
    return made, ~(there_and_back & is_filled_only)
