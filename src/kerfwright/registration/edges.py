"""Edges along rays from a seed, and the circle through most of them."""

from __future__ import annotations

from math import cos, floor, hypot, pi, sin
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner, kernel

F32 = NDArray[np.float32]

RAYS: Final = 90
_STEP_PX: Final = 0.5
_ROUNDS: Final = 14
_SHRINK: Final = 0.7
_TUKEY: Final = 4.685


class EdgeCircle(NamedTuple):
    """A circle and how its rays saw it.

    `circle` (3,) is x, y, radius [px]; `off` (RAYS,) the edge found on each ray less the circle
    [px]; `step` (RAYS,) its rise from inside to outside, in grey levels.
    """

    circle: F64
    off: F64
    step: F64


def edge_circle(image: F32, x: float, y: float, radius: float) -> EdgeCircle:
    """Return the circle through most dark-to-light edges around a seed.

    Looks twice: within a quarter of the radius, then within an eighth from the better centre.

    Parameters
    ----------
    image : ndarray of shape (H, W), float32
        Grey picture, dots dark.
    x, y, radius : float
        Seed [px].
    """
    first = _ray_circle(image, x, y, radius, 0.27 * radius).circle
    return _ray_circle(image, first[0], first[1], first[2], 0.13 * radius + 1.0)


@inner
def sample(image: F32, x: float, y: float) -> float:
    """Return the grey level between pixels, bilinear; the edge pixel outside the picture."""
    height, width = image.shape
    px = min(max(x, 0.0), width - 1.000001)
    py = min(max(y, 0.0), height - 1.000001)
    i, j = floor(px), floor(py)
    u, v = px - i, py - j
    above = (1.0 - u) * image[j, i] + u * image[j, i + 1]
    below = (1.0 - u) * image[j + 1, i] + u * image[j + 1, i + 1]
    level: float = (1.0 - v) * above + v * below
    return level


@inner
def _strongest(
    image: F32, x: float, y: float, c: float, s: float, low: float, high: float, h: float
) -> tuple[float, float]:
    """Return where along a ray the picture rises most, and by how much."""
    best, place = -1e30, low
    count = int((high - low) / _STEP_PX)
    for k in range(count + 1):
        r = low + k * _STEP_PX
        rise = 0.0
        for part in (0.5, 1.0):
            outer, within = r + part * h, r - part * h
            rise += sample(image, x + outer * c, y + outer * s)
            rise -= sample(image, x + within * c, y + within * s)
        if rise > best:
            best, place = rise, r
    return place, 0.5 * best


@inner
def _solve3(a: F64, b: F64, m: F64) -> None:
    """Put the solution of three symmetric equations into m, by Cramer's rule; zeros if singular."""
    m[0] = m[1] = m[2] = 0.0
    d = (
        a[0, 0] * (a[1, 1] * a[2, 2] - a[1, 2] * a[1, 2])
        - a[0, 1] * (a[0, 1] * a[2, 2] - a[1, 2] * a[0, 2])
        + a[0, 2] * (a[0, 1] * a[1, 2] - a[1, 1] * a[0, 2])
    )
    if abs(d) < 1e-12:
        return
    i00 = a[1, 1] * a[2, 2] - a[1, 2] * a[1, 2]
    i01 = a[0, 2] * a[1, 2] - a[0, 1] * a[2, 2]
    i02 = a[0, 1] * a[1, 2] - a[0, 2] * a[1, 1]
    i11 = a[0, 0] * a[2, 2] - a[0, 2] * a[0, 2]
    i12 = a[0, 1] * a[0, 2] - a[0, 0] * a[1, 2]
    i22 = a[0, 0] * a[1, 1] - a[0, 1] * a[0, 1]
    m[0] = (i00 * b[0] + i01 * b[1] + i02 * b[2]) / d
    m[1] = (i01 * b[0] + i11 * b[1] + i12 * b[2]) / d
    m[2] = (i02 * b[0] + i12 * b[1] + i22 * b[2]) / d


@kernel
def robust_circle(xy: F64, weight: F64, start: F64, scale: float, least: float) -> F64:
    """Return x, y, radius of the circle through most points, by geometric distance.

    Gauss-Newton with Tukey weights whose scale shrinks from `scale` to `least`, so that the start
    hardly matters; the distance is the true one, hence short arcs are not biased.

    Parameters
    ----------
    xy : ndarray of shape (K, 2), float
        Points [px].
    weight : ndarray of shape (K,), float
        Weight of each.
    start : ndarray of shape (3,), float
        Circle to begin with [px].
    scale, least : float
        First and last scale of the distances that count [px].
    """
    cx, cy, radius = start[0], start[1], start[2]
    width = _TUKEY * max(scale, least)
    a, b, g = np.zeros((3, 3)), np.zeros(3), np.zeros(3)
    for turn in range(_ROUNDS + 12):
        for i in range(3):
            b[i] = 0.0
            for j in range(3):
                a[i, j] = 0.0
        for k in range(len(xy)):
            dx, dy = xy[k, 0] - cx, xy[k, 1] - cy
            r = max(hypot(dx, dy), 1e-9)
            off = r - radius
            if abs(off) < width:
                w = weight[k] * (1.0 - (off / width) ** 2) ** 2
                g[0], g[1], g[2] = dx / r, dy / r, 1.0
                for i in range(3):
                    b[i] += w * g[i] * off
                    for j in range(3):
                        a[i, j] += w * g[i] * g[j]
        _solve3(a, b, g)
        cx, cy, radius = cx + g[0], cy + g[1], radius + g[2]
        width = max(width * _SHRINK, _TUKEY * least)
        if turn >= _ROUNDS and hypot(g[0], g[1]) + abs(g[2]) < 1e-9 * start[2]:
            break
    return np.array((cx, cy, radius))


@kernel
def _ray_edges(image: F32, x: float, y: float, radius: float, window: float) -> tuple[F64, F64]:
    """Return where the picture rises most on each ray, (RAYS, 2), and by how much."""
    xy, step = np.zeros((RAYS, 2)), np.zeros(RAYS)
    h = max(1.2, 0.05 * radius)
    for k in range(RAYS):
        c, s = cos(2.0 * pi * k / RAYS), sin(2.0 * pi * k / RAYS)
        low = max(radius - window, h)
        r, step[k] = _strongest(image, x, y, c, s, low, radius + window, h)
        xy[k, 0], xy[k, 1] = x + r * c, y + r * s
    return xy, step


def _ray_circle(image: F32, x: float, y: float, radius: float, window: float) -> EdgeCircle:
    """Return the circle through most edges; weak ones count less."""
    xy, step = _ray_edges(image, x, y, radius, window)
    weight = np.clip(step / max(float(np.median(step)), 1e-6), 0.0, 1.0)
    least = max(0.012 * radius, 0.35)
    circle = robust_circle(xy, weight, np.array((x, y, radius)), 0.4 * window, least)
    return EdgeCircle(circle, np.hypot(*(xy - circle[:2]).T) - circle[2], step)
