"""Which contour each stroke was meant for, by place alone."""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64, I64
from kerfwright.virtual._lines import Line, densified, nominal_line
from kerfwright.virtual.cutting import CutTrace
from kerfwright.virtual.truth import Truth

_COARSE_MM = 0.5


def owners(trace: CutTrace, truth: Truth, contours: PathSet, reach_mm: float) -> tuple[I64, float]:
    """Return the contour each piece belongs to, -1 for stray ones, and the stray length [mm].

    Pieces of one stroke go together, to the contour that most places along them are nearest to.
    """
    pieces, length = trace.pieces, trace.pieces.lengths_mm()
    if not len(pieces) or not len(contours):
        return np.full(len(pieces), -1), _longest_of_each(trace.stroke, length)
    coarse = [nominal_line(contours, k, _COARSE_MM) for k in range(len(contours))]
    every = Line.joined([n.moved_to(truth.table_from_sheet(n.points)) for n in coarse])
    points, _, piece = densified(pieces, _COARSE_MM)
    near = every.nearest(points)
    stroke = np.unique(trace.stroke, return_inverse=True)[1]
    key = stroke[piece] * len(contours) + near.path
    pair, of, votes = np.unique(key, return_inverse=True, return_counts=True)
    mean = np.bincount(of, weights=near.distance_mm) / votes
    best = np.full(int(stroke.max()) + 1, -1)
    for i in np.argsort(votes, kind="stable").tolist():  # the most votes are written last
        best[pair[i] // len(contours)] = pair[i] % len(contours) if mean[i] <= reach_mm else -1
    owner = best[stroke]
    lost = owner < 0
    return owner, _longest_of_each(trace.stroke[lost], length[lost])


def _longest_of_each(stroke: I64, length: F64) -> float:
    """Return the sum over strokes of their longest trace [mm]."""
    return float(sum(length[stroke == k].max() for k in np.unique(stroke)))
