"""What a clip hides of a line: reported, never cut away, because nobody can know what was meant.

A clip that is an upright rectangle is compared by bounds. Under any other one, points along the
line must lie inside every clip of the chain or within `HIDDEN_MM` of its edge.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from kerfwright.formats.pdf.outlines import BOOL, F64, I64
from kerfwright.formats.pdf.store import CLOSE, CURVE, LINE, MOVE, NO_CLIP, Clip, Store

HIDDEN_MM: Final = 0.05
"""A line that reaches out of its clip by less cannot be told by eye, common practice, no source
[mm]."""

_CHORDS: Final = 16
_MOST_WORK: Final = 30_000_000  # pairs of points and edges; above, a clip is not looked at
_CHUNK: Final = 2_000_000
_BEYOND: Final = 1e7  # a clip may be as large as it likes


class ClipChecker:
    """Looks which lines reach out of their clips."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._matrix = np.array(list(store.matrices), dtype=np.float64).reshape(-1, 6)
        self._rings: dict[int, tuple[F64, F64]] = {}
        self._work = 0
        self.unchecked = 0

    def hidden(self, clip: I64, boxes: F64, samples: F64, sample_starts: I64) -> BOOL:
        """Return which of K lines reach out of their clips.

        Parameters
        ----------
        clip : ndarray of shape (K,), int
            Clip of each line, or `NO_CLIP`.
        boxes : ndarray of shape (K, 4), float
            x0, y0, x1, y1 of each line [mm].
        samples : ndarray of shape (N, 2), float
            Points along all lines [mm].
        sample_starts : ndarray of shape (K + 1,), int
            First point of each line.
        """
        found = np.zeros(len(clip), np.bool_)
        for index in np.unique(clip):
            rows = np.flatnonzero(clip == index) if index != NO_CLIP else np.zeros(0, np.int64)
            node = int(index)
            while node != NO_CLIP and rows.size:
                out = self._outside(node, rows, boxes, samples, sample_starts)
                found[rows[out]] = True
                rows = rows[~out]
                node = self._store.clips[node].parent
        return found

    def _outside(self, node: int, rows: I64, boxes: F64, samples: F64, starts: I64) -> BOOL:
        a, b = self._edges(node)
        if not len(a):
            return np.ones(len(rows), np.bool_)
        both = np.concatenate((a, b))
        low, high = both.min(axis=0) - HIDDEN_MM, both.max(axis=0) + HIDDEN_MM
        box = boxes[rows]
        out = (box[:, :2] < low).any(axis=1) | (box[:, 2:] > high).any(axis=1)
        if _is_upright(a, b):
            return np.asarray(out)
        for k in np.flatnonzero(~out):
            points = samples[starts[rows[k]] : starts[rows[k] + 1]]
            self._work += len(points) * len(a)
            if self._work > _MOST_WORK:
                self.unchecked += 1
            else:
                out[k] = _any_outside(points, a, b, even_odd=self._store.clips[node].even_odd)
        return np.asarray(out)

    def _edges(self, node: int) -> tuple[F64, F64]:
        if node not in self._rings:
            clip = self._store.clips[node]
            self._rings[node] = _ring_edges(clip, self._matrix[clip.matrix])
        return self._rings[node]


def _ring_edges(clip: Clip, matrix: F64) -> tuple[F64, F64]:
    """Return both ends of the chords of a clip, its outlines closed."""
    raw = np.array(clip.xy, dtype=np.float64).reshape(-1, 2)
    with np.errstate(over="ignore", invalid="ignore"):
        xy = raw @ matrix[:4].reshape(2, 2) + matrix[4:]
    xy = np.clip(np.nan_to_num(xy, nan=0.0), -_BEYOND, _BEYOND)
    t = np.linspace(0.0, 1.0, _CHORDS + 1)[1:, None]
    rings: list[list[F64]] = []
    place = 0
    for op in clip.ops:
        if op == MOVE:
            rings.append([xy[place : place + 1]])
            place += 1
        elif op == LINE:
            rings[-1].append(xy[place : place + 1])
            place += 1
        elif op == CURVE:
            p, (q, r, s) = rings[-1][-1][-1], xy[place : place + 3]
            u = 1.0 - t
            rings[-1].append(u**3 * p + 3 * u * u * t * q + 3 * u * t * t * r + t**3 * s)
            place += 3
        elif op != CLOSE:
            msg = f"piece of kind {op}"
            raise ValueError(msg)
    closed = [np.concatenate(ring) for ring in rings]
    if not closed:
        return np.zeros((0, 2)), np.zeros((0, 2))
    a = np.concatenate(closed)
    b = np.concatenate([np.roll(ring, -1, axis=0) for ring in closed])
    apart = (a != b).any(axis=1)
    return a[apart], b[apart]


def _is_upright(a: F64, b: F64) -> bool:
    """Return whether edges make one upright rectangle."""
    if len(a) != 4:
        return False
    along = np.isclose(a, b, rtol=0.0, atol=1e-9)
    return bool((along.sum(axis=1) == 1).all() and (along[:, 0] != np.roll(along[:, 0], 1)).all())


def _any_outside(points: F64, a: F64, b: F64, *, even_odd: bool) -> bool:
    """Return whether a point lies outside closed rings by more than `HIDDEN_MM`."""
    step = max(_CHUNK // max(len(a), 1), 1)
    for k in range(0, len(points), step):
        p = points[k : k + step]
        wound = _windings(p, a, b)
        inside = wound % 2 == 1 if even_odd else wound != 0
        if not inside.all() and (_distance(p[~inside], a, b) > HIDDEN_MM).any():
            return True
    return False


def _windings(p: F64, a: F64, b: F64) -> I64:
    """Return how often the rings run around each point."""
    x, y = p[:, :1], p[:, 1:]
    up = (a[:, 1] <= y) & (b[:, 1] > y)
    down = (a[:, 1] > y) & (b[:, 1] <= y)
    side = (b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (x - a[:, 0]) * (b[:, 1] - a[:, 1])
    return np.asarray((up & (side > 0.0)).sum(axis=1) - (down & (side < 0.0)).sum(axis=1))


def _distance(p: F64, a: F64, b: F64) -> F64:
    d = b - a
    t = ((p[:, None] - a) * d).sum(axis=2) / (d * d).sum(axis=1)
    nearest = a + np.clip(t, 0.0, 1.0)[:, :, None] * d
    gap = p[:, None] - nearest
    return np.asarray(np.hypot(gap[:, :, 0], gap[:, :, 1]).min(axis=1))
