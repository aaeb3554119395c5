"""Sets of stretches of contours, all on one scale.

Every routed piece has its own stretch of one long scale, the pieces of a contour one after the
other and a gap between two contours. A set is sorted, its stretches do not touch.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.verify.columns import BOOL, F64, I64, LENGTH, ROW, Shape

_GAP_MM = 1.0
_TOUCH_MM = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Where the routed pieces lie on the scale.

    Parameters
    ----------
    piece : ndarray of shape (N,), int
        Routed pieces of the shape, in order.
    base : ndarray of shape (N,), float
        Where each begins [mm].
    length : ndarray of shape (N,), float
        How long it is [mm].
    row : ndarray of shape (N,), int
        Its contour.
    closed : ndarray of shape (K,), bool
        Which contours are closed.
    """

    piece: I64
    base: F64
    length: F64
    row: I64
    closed: BOOL

    def domain(self, picked: I64 | None = None) -> F64:
        """Return all of the scale that is taken, or what some pieces take."""
        own = np.arange(len(self.piece)) if picked is None else picked
        return joined(np.column_stack((self.base[own], (self.base + self.length)[own])))

    def lift(self, own: I64, spans: F64) -> F64:
        """Return stretches given by number of the piece and places on it as a set."""
        moved = spans + self.base[own, None]
        # Where a stretch reaches the end of its piece it does so exactly.
        end = (self.base + self.length)[own]
        moved[:, 1] = np.where(moved[:, 1] > end - _TOUCH_MM, end, moved[:, 1])
        start = self.base[own]
        moved[:, 0] = np.where(moved[:, 0] < start + _TOUCH_MM, start, moved[:, 0])
        return joined(moved)

    def find(self, at: F64) -> I64:
        """Return the number of the piece at places of the scale."""
        index = np.searchsorted(self.base, at, side="right") - 1
        return np.maximum(index, 0)

    def row_lengths(self, spans: F64) -> F64:
        """Return the length of a set per contour [mm]."""
        row = self.row[self.find(spans[:, 0])] if len(self.base) else np.zeros(0, np.int64)
        size = spans[:, 1] - spans[:, 0]
        out: F64 = np.bincount(row, weights=size, minlength=len(self.closed)).astype(np.float64)
        return out

    def holes(self, spans: F64) -> tuple[I64, F64]:
        """Return contour and ends of each stretch; one over the seam of a closed contour is one.

        Its end then lies beyond the contour's own end.
        """
        if not len(spans):
            return np.zeros(0, np.int64), spans
        row = self.row[self.find(spans[:, 0])]
        first, last = self.ends()
        at_start = self.closed[row] & (spans[:, 0] <= first[row] + _TOUCH_MM)
        at_end = self.closed[row] & (spans[:, 1] >= last[row] - _TOUCH_MM)
        whole = at_start & at_end
        out, keep = spans.copy(), np.ones(len(spans), bool)
        starts = dict(
            zip(row[at_start & ~whole].tolist(), np.flatnonzero(at_start & ~whole), strict=True)
        )
        for i in np.flatnonzero(at_end & ~whole).tolist():
            other = starts.get(int(row[i]))
            if other is not None:
                out[i, 1] += spans[other, 1] - spans[other, 0]
                keep[other] = False
        return row[keep], out[keep]

    def wrap(self, at: F64, row: I64) -> F64:
        """Return places beyond the end of closed contours brought back."""
        first, last = self.ends()
        return np.where(at > last[row], at - (last - first)[row], at)

    def ends(self) -> tuple[F64, F64]:
        """Return where each contour begins and ends, infinite for those not routed."""
        rows = len(self.closed)
        first, last = np.full(rows, np.inf), np.full(rows, -np.inf)
        np.minimum.at(first, self.row, self.base)
        np.maximum.at(last, self.row, self.base + self.length)
        return first, last


def scale_of(shape: Shape, is_routed: BOOL) -> Scale:
    """Return the scale of the routed pieces of a shape."""
    own = shape.links[:, ROW]
    piece = np.flatnonzero(is_routed[own])
    length, row = shape.pieces[piece, LENGTH], own[piece]
    gap = np.concatenate((np.zeros(1), np.where(row[1:] != row[:-1], _GAP_MM, 0.0)))[: len(row)]
    ends = np.cumsum(length + gap)
    base = ends - length
    return Scale(piece=piece, base=base, length=length, row=row, closed=shape.closed)


def joined(spans: F64) -> F64:
    """Return stretches sorted, those that touch made one, empty ones left out."""
    spans = spans[spans[:, 1] > spans[:, 0]]
    if not len(spans):
        return spans.reshape(0, 2)
    spans = spans[np.argsort(spans[:, 0], kind="stable")]
    far = np.maximum.accumulate(spans[:, 1])
    new = np.append([True], spans[1:, 0] > far[:-1] + _TOUCH_MM)
    first = np.flatnonzero(new)
    return np.column_stack((spans[first, 0], far[np.append(first[1:] - 1, len(spans) - 1)]))


def both(one: F64, two: F64) -> F64:
    """Return what two sets have in common."""
    return _picked(one, two, second=True)


def without(one: F64, two: F64) -> F64:
    """Return what of a set is not in another."""
    return _picked(one, two, second=False)


def holds(spans: F64, at: F64) -> BOOL:
    """Return which places lie in a set."""
    if not len(spans):
        return np.zeros(len(at), bool)
    index = np.searchsorted(spans[:, 0], at, side="right") - 1
    inside: BOOL = (index >= 0) & (at < spans[np.maximum(index, 0), 1])
    return inside


def _picked(one: F64, two: F64, *, second: bool) -> F64:
    points = np.unique(np.concatenate((one.ravel(), two.ravel())))
    middle = (points[1:] + points[:-1]) / 2.0
    keep = holds(one, middle) & (holds(two, middle) == second)
    keep &= points[1:] - points[:-1] > _TOUCH_MM
    return joined(np.column_stack((points[:-1][keep], points[1:][keep])))
