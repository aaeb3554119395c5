"""The model of a dot, fitted to the pixels around its edge.

A disc, slightly elliptic, on a planar background with a planar contrast, blurred by a Gaussian of
unknown width; the camera's tone curve may bend the edge's profile. Gauss-Newton over pixels, with
Huber weights and the noise of the dark and of the light side apart.
"""

from __future__ import annotations

from math import atan2, ceil, erfc, exp, floor, hypot, log, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner, kernel

F32 = NDArray[np.float32]

X, Y, RADIUS, OVAL_C, OVAL_S, LOG_BLUR, PAGE, CONTRAST, TONE = 0, 1, 2, 3, 4, 5, 6, 9, 12
"""Columns of a dot's parameters: centre and radius [px], radial amplitude of the two oval terms
[px], log of the blur [px], grey level of the page (and its slope per radius in x and y, 7 and 8),
page less ink (slope 10 and 11), bend of the edge's profile."""
TERMS: Final = 13
INSIDE_R: Final = 0.4
"""Pixels nearer to the middle than this many radii tell nothing of the edge."""
_HUBER: Final = 2.5
_SHAPE: Final = (0, 1, 2, 3, 4, 5, 12)
_DEEP: Final = 0.999  # inside of where the edge is felt
_FOREIGN: Final = 5.0  # a pixel inside the ink off by so many standard deviations is something else
_FAR: Final = 4.5
_SETTLED_PX: Final = 2e-3  # what is left the edges of the sectors tell
_LEAST_LOG_BLUR: Final = -0.7  # a pixel's own width blurs by 0.29 px, sampling hides the rest
_MOST_BEND: Final = 0.45

(N_ALL, N_IN, N_OUT, R_IN, R_OUT, ABS_IN, ABS_OUT, EDGE_G, EDGE_H, CHI, N_EDGE, N_DARK, N_DEEP,
 LIGHT_X, LIGHT_Y, COLUMNS) = range(16)  # fmt: skip
"""Columns of the sums of a sector; see `sector_sums`."""


@inner
def _model(p: F64, at: F64, dx: float, dy: float, jac: F64) -> tuple[float, float]:
    """Return the grey level of a pixel and its share of ink; fill in the slopes.

    `at` is the fixed x, y and length in which the planes are written; dx, dy from the centre.
    """
    r = max(hypot(dx, dy), 1e-9)
    c, s = dx / r, dy / r
    c2, s2 = c * c - s * s, 2.0 * c * s
    blur = exp(p[5])
    u = (r - p[2] - p[3] * c2 - p[4] * s2) / blur
    share, bell = (1.0 if u < 0.0 else 0.0), 0.0
    if abs(u) < _FAR:
        share = 0.5 * erfc(u / sqrt(2.0))
        bell = exp(-0.5 * u * u) / sqrt(2.0 * pi)
    qx, qy = (p[0] + dx - at[0]) / at[2], (p[1] + dy - at[1]) / at[2]
    contrast = p[9] + p[10] * qx + p[11] * qy
    bent = share + p[12] * share * (1.0 - share)
    slope = -contrast * (1.0 + p[12] * (1.0 - 2.0 * share)) * bell / blur
    jac[0], jac[1], jac[2] = slope * c, slope * s, slope
    jac[3], jac[4] = slope * c2, slope * s2
    jac[5] = slope * u * blur
    jac[6], jac[7], jac[8] = 1.0, qx, qy
    jac[9], jac[10], jac[11] = -bent, -bent * qx, -bent * qy
    jac[12] = -contrast * share * (1.0 - share)
    return p[6] + p[7] * qx + p[8] * qy - contrast * bent, share


@inner
def _sector_of(dx: float, dy: float, sectors: int) -> int:
    return int((atan2(dy, dx) + pi) / (2.0 * pi) * sectors) % sectors


@inner
def _span(middle: float, reach: float, size: int) -> tuple[int, int]:
    return max(floor(middle - reach), 0), min(ceil(middle + reach) + 1, size)


@kernel
def fit_pixels(
    image: F32,
    start: F64,
    at: F64,
    kept: F64,
    outer: float,
    noise: F64,
    prior: F64,
    rounds: int,
    thin: int,
) -> tuple[F64, F64, bool]:
    """Return the parameters, their information matrix, and whether the fit settled.

    Parameters
    ----------
    image : ndarray of shape (H, W), float32
        Grey picture, dots dark.
    start : ndarray of shape (TERMS,), float
        Where to begin.
    at : ndarray of shape (3,), float
        Origin and length in which the planes are written [px].
    kept : ndarray of shape (S,), float
        1 for each sector whose pixels count.
    outer : float
        Outermost distance from the centre [px].
    noise : ndarray of shape (2,), float
        Standard deviation of a pixel on ink and on the page [grey levels].
    prior : ndarray of shape (TERMS,), float
        Precision with which each parameter is held at its start's value, 0 for free.
    rounds : int
        Most steps.
    thin : int
        Only one pixel in so many is looked at.
    """
    p, jac, pull, move = np.zeros(TERMS), np.zeros(TERMS), np.zeros(TERMS), np.zeros(TERMS)
    info, work = np.zeros((TERMS, TERMS)), np.zeros((TERMS, TERMS))
    for a in range(TERMS):
        p[a] = start[a]
    is_settled = False
    for turn in range(rounds + 1):
        for a in range(TERMS):
            for b in range(TERMS):
                info[a, b] = 0.0
            info[a, a], pull[a] = prior[a], prior[a] * (start[a] - p[a])
        _add_pixels(image, p, at, kept, outer, noise, thin, jac, info, pull)
        if turn == rounds or is_settled:
            break
        for a in range(TERMS):
            for b in range(TERMS):
                work[a, b] = info[a, b]
        if turn == 0:  # levels first: a wrong contrast would throw blur and radius off
            for a in _SHAPE:
                for b in range(TERMS):
                    work[a, b] = work[b, a] = 0.0
                work[a, a], pull[a] = 1.0, 0.0
        _solve(work, pull, move)
        most = 0.06 * start[2]
        size = max(abs(move[0]), abs(move[1]), abs(move[2]), abs(move[5]) * 2.0 * most)
        shrink = min(most / max(size, 1e-30), 1.0)
        for a in range(TERMS):
            p[a] += shrink * move[a]
        p[5] = min(max(p[5], _LEAST_LOG_BLUR), log(0.25 * start[2]))
        p[12] = min(max(p[12], start[12] - _MOST_BEND), start[12] + _MOST_BEND)
        is_settled = turn > 0 and hypot(move[0], move[1]) < _SETTLED_PX
    return p, info, is_settled


@inner
def _add_pixels(
    image: F32, p: F64, at: F64, kept: F64, outer: float, noise: F64, thin: int,
    jac: F64, info: F64, pull: F64,
) -> None:  # fmt: skip
    """Add what each pixel of the kept sectors says to the information and the right-hand side."""
    height, width = image.shape
    x0, x1 = _span(p[0], outer, width)
    y0, y1 = _span(p[1], outer, height)
    for j in range(y0, y1):
        for i in range(x0 + (x0 + j) % thin, x1, thin):
            dx, dy = i - p[0], j - p[1]
            r = hypot(dx, dy)
            if r > outer or r < INSIDE_R * p[2] or kept[_sector_of(dx, dy, len(kept))] == 0.0:
                continue
            level, share = _model(p, at, dx, dy, jac)
            sd = noise[1] + share * (noise[0] - noise[1])
            off = (image[j, i] - level) / sd
            w = 1.0 / (sd * sd)
            if abs(off) > _HUBER:
                if share > _DEEP and abs(off) > _FOREIGN:
                    continue
                w *= _HUBER / abs(off)
            is_plain = jac[2] == 0.0 and share * (1.0 - share) == 0.0
            low, high = (6, 12) if is_plain else (0, TERMS)
            for a in range(low, high):
                wa = w * jac[a]
                pull[a] += wa * off * sd
                for b in range(low, a + 1):
                    info[a, b] += wa * jac[b]
    for a in range(TERMS):
        for b in range(a):
            info[b, a] = info[a, b]


@inner
def _solve(a: F64, b: F64, x: F64) -> None:
    """Put the solution of symmetric positive equations into x by Cholesky's way; spoils a.

    A pivot that rounding makes 0 or less holds its unknown where it is.
    """
    n = len(b)
    for k in range(n):
        pivot = a[k, k]
        for m in range(k):
            pivot -= a[k, m] * a[k, m]
        a[k, k] = sqrt(pivot) if pivot > 0.0 else 1e30
        for i in range(k + 1, n):
            value = a[i, k]
            for m in range(k):
                value -= a[i, m] * a[k, m]
            a[i, k] = value / a[k, k]
    for k in range(n):
        value = b[k]
        for m in range(k):
            value -= a[k, m] * x[m]
        x[k] = value / a[k, k]
    for k in range(n - 1, -1, -1):
        value = x[k]
        for m in range(k + 1, n):
            value -= a[m, k] * x[m]
        x[k] = value / a[k, k]


@kernel
def sector_sums(image: F32, p: F64, at: F64, sectors: int, outer: float, noise: F64) -> F64:
    """Return sums over the pixels of each sector, shape (S, COLUMNS).

    The columns: pixels; pixels on ink and on the page away from the edge, sums of their residuals
    and of the absolute ones, clipped at four standard deviations; slope times residual and slope
    squared at the edge, weighted; squared residuals at the edge and their pixels; dark pixels of
    the whole disc and all of them; places of those that are not dark, from the centre.
    """
    sums = np.zeros((sectors, COLUMNS))
    jac = np.zeros(TERMS)
    height, width = image.shape
    blur = exp(p[5])
    x0, x1 = _span(p[0], outer, width)
    y0, y1 = _span(p[1], outer, height)
    for j in range(y0, y1):
        for i in range(x0, x1):
            dx, dy = i - p[0], j - p[1]
            r = hypot(dx, dy)
            if r > outer:
                continue
            k = _sector_of(dx, dy, sectors)
            level, share = _model(p, at, dx, dy, jac)
            sd = noise[1] + share * (noise[0] - noise[1])
            off = image[j, i] - level
            clipped = min(abs(off), 4.0 * sd)
            if r < p[2] - 2.0 * blur:
                sums[k, N_DEEP] += 1.0
                if abs(off) < 0.25 * p[9]:
                    sums[k, N_DARK] += 1.0
                else:
                    sums[k, LIGHT_X] += dx
                    sums[k, LIGHT_Y] += dy
            if r < INSIDE_R * p[2]:
                continue
            sums[k, N_ALL] += 1.0
            if share > 0.98:
                if r > p[2] - max(3.2 * blur, 0.1 * p[2]):
                    sums[k, N_IN] += 1.0
                    sums[k, R_IN] += off
                    sums[k, ABS_IN] += clipped
            elif share < 0.02:
                sums[k, N_OUT] += 1.0
                sums[k, R_OUT] += off
                sums[k, ABS_OUT] += clipped
            w = 1.0 / (sd * sd)
            if abs(off) > _HUBER * sd:
                w *= _HUBER * sd / abs(off)
            sums[k, EDGE_G] += w * jac[2] * off
            sums[k, EDGE_H] += w * jac[2] * jac[2]
            if 0.02 <= share <= 0.98:
                sums[k, CHI] += (off / sd) ** 2
                sums[k, N_EDGE] += 1.0
    return sums
