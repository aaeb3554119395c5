"""Kernel: dots, strips and specks on the fine canvas, each covering its share of a pixel.

Every thing has its own plane of mm: a fine pixel at p shows the place ``A (p - centre)``.
"""

from __future__ import annotations

from math import atan2, cos, sin, sqrt

import numpy as np

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner, kernel
from kerfwright.virtual._ground import F32
from kerfwright.virtual.truth import FIRST_HARMONIC

EDGE_VARIANCE = 0.25
"""Variance of the blur of an edge [fine px2]."""


@inner
def _rim(angle: float, radius: float, rag: F64) -> float:
    """Return the radius of a ragged dot in a direction."""
    c, s = cos(angle), sin(angle)
    zc, zs = 1.0, 0.0
    for _ in range(FIRST_HARMONIC):
        zc, zs = zc * c - zs * s, zc * s + zs * c
    total = radius
    for k in range(len(rag)):
        total += rag[k, 0] * zc + rag[k, 1] * zs
        zc, zs = zc * c - zs * s, zc * s + zs * c
    return total


@inner
def _share(inside: float) -> float:
    """Return how much of a fine pixel is covered whose middle lies so far inside an edge.

    The integral of the quadratic B-spline, whose spectrum vanishes to third order at the lattice
    of fine pixels: a sharper edge would alias and move centres by 0.0005 px. It blurs by a
    variance of 1/4, which the optics take off theirs.
    """
    far = abs(inside)
    if far >= 1.5:
        part = 0.5
    elif far > 0.5:
        part = 0.5 - (1.5 - far) ** 3 / 6.0
    else:
        part = 0.75 * far - far**3 / 3.0
    return 0.5 + part if inside > 0.0 else 0.5 - part


@inner
def _window(centre: float, reach: float, count: int) -> tuple[int, int]:
    low = int(min(max(centre - reach, 0.0), float(count)))
    return low, int(min(max(centre + reach + 2.0, 0.0), float(count)))


@inner
def _blend_disc(canvas: F32, row: F64, rag: F64) -> None:
    """`row`: centre x, y, A (4), radius, reflectance, reach in fine pixels."""
    radius = row[6]
    slack = 0.0
    for k in range(len(rag)):
        slack += abs(rag[k, 0]) + abs(rag[k, 1])
    for j in range(*_window(row[1], row[8], canvas.shape[0])):
        for i in range(*_window(row[0], row[8], canvas.shape[1])):
            dx, dy = i - row[0], j - row[1]
            x, y = row[2] * dx + row[3] * dy, row[4] * dx + row[5] * dy
            r = sqrt(x * x + y * y)
            share = 1.0
            if r > 0.0:
                # r grows by `slope` per fine pixel across the rim
                slope = sqrt((row[2] * x + row[4] * y) ** 2 + (row[3] * x + row[5] * y) ** 2) / r
                rim = radius
                if abs(r - radius) < slack + 2.0 * slope:
                    rim = _rim(atan2(y, x), radius, rag)
                share = _share((rim - r) / slope)
            canvas[j, i] += share * (row[7] - canvas[j, i])


@inner
def _blend_strip(canvas: F32, row: F64) -> None:
    """`row`: centre x, y, A (4), direction x, y, near, far, half width, reflectance, reach."""
    ux, uy = row[6], row[7]
    along = sqrt((row[2] * ux + row[4] * uy) ** 2 + (row[3] * ux + row[5] * uy) ** 2)
    across = sqrt((row[4] * ux - row[2] * uy) ** 2 + (row[5] * ux - row[3] * uy) ** 2)
    for j in range(*_window(row[1], row[12], canvas.shape[0])):
        for i in range(*_window(row[0], row[12], canvas.shape[1])):
            dx, dy = i - row[0], j - row[1]
            x, y = row[2] * dx + row[3] * dy, row[4] * dx + row[5] * dy
            s, t = x * ux + y * uy, y * ux - x * uy
            inside = min(s - row[8], row[9] - s) / along
            share = _share(inside) * _share((row[10] - abs(t)) / across)
            canvas[j, i] += share * (row[11] - canvas[j, i])


@kernel
def paint_things(canvas: F32, dots: F64, rags: F64, strips: F64, specks: F64) -> F32:
    """Return the canvas with dots, then strips, then specks; see the rows of the blenders."""
    out = canvas.copy()
    smooth = np.zeros((0, 2))
    for k in range(len(dots)):
        _blend_disc(out, dots[k], rags[k])
    for k in range(len(strips)):
        _blend_strip(out, strips[k])
    for k in range(len(specks)):
        _blend_disc(out, specks[k], smooth)
    return out
