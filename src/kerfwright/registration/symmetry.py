"""How many marks another placement of the sheet would put onto marks.

A set of N marks with ambiguity m is like an erasure code of distance N - m: with up to
N - m - 1 marks missing no other placement explains the rest as well as the true one does.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import UsageError
from kerfwright.geometry.record import F64
from kerfwright.kernels import inner, kernel

TOLERANCE_MM = 3.0
SCALE_LIMIT = 0.006


def layout_ambiguity(
    xy: ArrayLike,
    *,
    tolerance_mm: float = TOLERANCE_MM,
    scale_limit: float = SCALE_LIMIT,
    may_be_mirrored: bool = False,
) -> int:
    """Return the most marks that a placement other than the right one puts onto marks.

    All placements that lay two marks onto two marks are tried: turned by any angle, shifted,
    scaled by up to `scale_limit`, the middles of both pairs and their directions made equal;
    mirrored ones too where the sheet may lie face down. A placement counts when both marks of
    the pair and at least one mark on another's place lie within `tolerance_mm`. Any placement that
    puts marks within a quarter of the tolerance is found by this, wherever it comes from.

    Parameters
    ----------
    xy : array_like of shape (N, 2)
        Marks, further apart than twice the tolerance [mm].
    tolerance_mm : float, default 3
        Distance at which a mark still lies on another one [mm].
    scale_limit : float, default 0.006
        Greatest growth or shrinkage of the print, as a share.
    may_be_mirrored : bool, default False
        Whether the sheet may lie face down.

    Returns
    -------
    int
        At least 2 for two marks or more (a half turn about the middle of any pair), at most N.

    Raises
    ------
    UsageError
        If `xy` is not of shape (N, 2) with finite numbers, or a limit is below 0.
    """
    marks = np.asarray(xy, dtype=np.float64)
    if marks.ndim != 2 or marks.shape[1:] != (2,) or not np.isfinite(marks).all():
        raise UsageError(f"marks of shape {marks.shape} were given, wanted finite (N, 2)")
    if not (tolerance_mm >= 0.0 and 0.0 <= scale_limit < 1.0):
        raise UsageError(
            f"tolerance_mm {tolerance_mm} and scale_limit {scale_limit} must not be below 0, and "
            "the scale limit must be below 1"
        )
    if len(marks) < 2:
        return len(marks)
    return most_matched(marks, tolerance_mm, scale_limit, may_be_mirrored)


@inner
def _matched(
    xy: F64, hit: F64, a: float, b: float, flip: float, i: int, j: int, k: int, m: int, near: float
) -> int:
    """Return how many marks land on marks when the middle of i-j goes to the middle of k-m."""
    n = len(xy)
    px, py = 0.5 * (xy[i, 0] + xy[j, 0]), 0.5 * (xy[i, 1] + xy[j, 1])
    qx, qy = 0.5 * (xy[k, 0] + xy[m, 0]), 0.5 * (xy[k, 1] + xy[m, 1])
    hit[:] = 0.0
    sources, elsewhere = 0, flip < 0.0
    for p in range(n):
        x, y = xy[p, 0] - px, flip * (xy[p, 1] - py)
        tx, ty = qx + a * x - b * y, qy + b * x + a * y
        best, which = near * near * (1.0 + 1e-12), -1
        for q in range(n):
            away = (xy[q, 0] - tx) * (xy[q, 0] - tx) + (xy[q, 1] - ty) * (xy[q, 1] - ty)
            if away <= best:
                best, which = away, q
        if which >= 0:
            sources += 1
            hit[which] = 1.0
            elsewhere = elsewhere or which != p
    return min(sources, int(hit.sum())) if elsewhere else 0


@kernel
def most_matched(xy: F64, near: float, scale_limit: float, may_be_mirrored: bool) -> int:  # noqa: FBT001 - a kernel takes its arguments by place
    """Return the most marks any pair-to-pair placement lays onto marks, the right one left out."""
    n, most = len(xy), 1
    hit = np.zeros(n)
    for i in range(n):
        for j in range(i + 1, n):
            px, py = xy[j, 0] - xy[i, 0], xy[j, 1] - xy[i, 1]
            length = math.hypot(px, py)
            if length == 0.0:
                continue
            for k in range(n):
                for m in range(n):
                    if k == m:
                        continue
                    qx, qy = xy[m, 0] - xy[k, 0], xy[m, 1] - xy[k, 1]
                    other = math.hypot(qx, qy)
                    scale = min(max(other / length, 1.0 - scale_limit), 1.0 + scale_limit)
                    if other == 0.0 or abs(other - scale * length) > 2.0 * near:
                        continue
                    for side in range(2 if may_be_mirrored else 1):
                        flip = 1.0 - 2.0 * side
                        if side == 0 and k == i and m == j:
                            continue
                        # complex quotient of the two directions, the first one mirrored or not
                        c = (qx * px + qy * flip * py) / (length * other) * scale
                        s = (qy * px - qx * flip * py) / (length * other) * scale
                        found = _matched(xy, hit, c, s, flip, i, j, k, m, near)
                        most = max(most, found)
    return most
