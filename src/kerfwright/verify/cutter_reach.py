"""Which places of a contour a disc can touch from the side it may be on.

A disc that touches the contour at a place has its centre on the curve beside it. The place can be
reached where that centre is no nearer than the radius to any other place of the contour.
"""

from __future__ import annotations

import numpy as np

from kerfwright.verify.columns import F64, I64, LENGTH, RADIUS, ROW, X0, X1, Y0, Y1, Shape
from kerfwright.verify.cutter_cover import near_stretches
from kerfwright.verify.cutter_curves import ends_of
from kerfwright.verify.cutter_near import Routed
from kerfwright.verify.cutter_spans import Scale
from kerfwright.verify.near import curve_boxes, pairs_in, piece_boxes

_POINT_MM = 1e-6


def unreachable(shape: Shape, scale: Scale, routed: Routed, slack_mm: float) -> F64:
    """Return the set of places that a disc smaller by a slack than the cutter cannot reach."""
    side = -routed.part_side[scale.row].astype(np.float64)
    radius = np.maximum(routed.radius[scale.row] - slack_mm, 0.0) * np.abs(side)
    curves, too_tight = _beside(shape.pieces[scale.piece], side * radius)
    moving = np.flatnonzero((radius > 0.0) & ~too_tight)
    first, near = _near(shape, curves[moving], scale.row[moving], radius[moving])
    own, spans = near_stretches(
        curves[moving], first, near, shape.pieces, radius[moving] - slack_mm
    )
    own = moving[own]
    share = np.divide(
        spans,
        curves[own, LENGTH, None],
        where=curves[own, LENGTH, None] > 0.0,
        out=np.zeros_like(spans),
    )
    tight = np.flatnonzero(too_tight)
    own = np.concatenate((own, tight))
    share = np.concatenate((share, np.tile((0.0, 1.0), (len(tight), 1))))
    return scale.lift(own, share * scale.length[own, None])


def _beside(pieces: F64, shift: F64) -> tuple[F64, np.ndarray]:
    """Return curves moved to the left by a shift, and which are too tight for it."""
    out = pieces.copy()
    for x, y, ux, uy in zip((X0, X1), (Y0, Y1), *ends_of(pieces), strict=True):
        out[:, x], out[:, y] = pieces[:, x] - shift * uy, pieces[:, y] + shift * ux
    bent = pieces[:, RADIUS] != 0.0
    radius = np.where(bent, pieces[:, RADIUS] - shift, 0.0)
    out[:, RADIUS] = radius
    ratio = np.divide(radius, pieces[:, RADIUS], where=bent, out=np.ones(len(pieces)))
    out[:, LENGTH] = pieces[:, LENGTH] * np.abs(ratio)
    return out, bent & (radius * np.sign(pieces[:, RADIUS]) <= _POINT_MM)


def _near(shape: Shape, curves: F64, row: I64, reach: F64) -> tuple[I64, I64]:
    boxes = curve_boxes(curves) + reach[:, None] * np.array((-1.0, -1.0, 1.0, 1.0))
    one, piece = pairs_in(boxes, piece_boxes(shape))
    same = shape.links[piece, ROW] == row[one]
    one, piece = one[same], piece[same]
    order = np.lexsort((piece, one))
    return np.searchsorted(one[order], np.arange(len(curves) + 1)), piece[order]
