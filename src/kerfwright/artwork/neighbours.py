"""Where two edges that share a vertex meet a second time.

Two circles, or a line and a circle, through a common point have at most one other point in
common, and it is known in closed form: the mirror image of the first.
"""

from __future__ import annotations

import numpy as np

from kerfwright.geometry import edges
from kerfwright.geometry.paths import Edges
from kerfwright.geometry.record import BOOL, F64, I64


def meet_again(e: Edges, a: I64, b: I64, *, tolerance_mm: float) -> BOOL:
    """Return which pairs of neighbours meet again, further than the tolerance from any end.

    Parameters
    ----------
    e : Edges
        E edges.
    a, b : ndarray of shape (N,), int
        Pairs of edges that share one vertex.
    tolerance_mm : float
        Meetings nearer to an end than this are the shared vertex or its neighbour [mm].
    """
    follows = (e.end[a] == e.start[b]).all(axis=1)
    leads = (e.start[a] == e.end[b]).all(axis=1)
    shared = np.where(follows[:, None], e.end[a], e.start[a])
    again = _other_point(e, a, b, shared)
    with np.errstate(invalid="ignore"):  # NaN where there is no other point
        met = _is_on(e, a, again, tolerance_mm) & _is_on(e, b, again, tolerance_mm)
    found: BOOL = met & (follows != leads)  # an edge pair that closes itself shares both points
    return found


def _other_point(e: Edges, a: I64, b: I64, shared: F64) -> F64:
    """Return the second common point of the lines or circles that carry two edges."""
    ca = edges.centre_mm(e.start[a], e.end[a], e.bulge[a])
    cb = edges.centre_mm(e.start[b], e.end[b], e.bulge[b])
    straight_a, straight_b = (e.bulge[a] == 0.0)[:, None], (e.bulge[b] == 0.0)[:, None]
    # The line in which the one point is the image of the other: across a line, through a centre.
    across = np.where(straight_a, _left(e, a), np.where(straight_b, _left(e, b), cb - ca))
    foot = np.where(straight_a, cb, ca)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = across / np.hypot(across[:, 0], across[:, 1])[:, None]
        r = shared - foot
        image: F64 = foot + 2.0 * (r * u).sum(axis=1)[:, None] * u - r
    return image


def _left(e: Edges, rows: I64) -> F64:
    d = e.end[rows] - e.start[rows]
    return np.column_stack((-d[:, 1], d[:, 0]))


def _is_on(e: Edges, rows: I64, p: F64, tolerance_mm: float) -> BOOL:
    """Return whether points of the carrier lie on the edge, and not near its ends."""
    start, end, bulge = e.start[rows], e.end[rows], e.bulge[rows]
    centre = edges.centre_mm(start, end, bulge)
    from_start = np.arctan2(*(start - centre).T[::-1])
    ahead = np.mod((np.arctan2(*(p - centre).T[::-1]) - from_start) * np.sign(bulge), 2.0 * np.pi)
    inside_arc = ahead < np.abs(edges.sweep_rad(bulge))
    d = end - start
    share = ((p - start) * d).sum(axis=1) / np.maximum((d * d).sum(axis=1), 1e-300)
    inside = np.where(bulge == 0.0, (share > 0.0) & (share < 1.0), inside_arc)
    apart = np.minimum(np.hypot(*(p - start).T), np.hypot(*(p - end).T))
    on: BOOL = inside & (apart > tolerance_mm)
    return on
