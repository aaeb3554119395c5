"""Kernels: what every pixel shows of bed, stock, grain and printed pictures.

They go from the picture to the stock, which `_view` does forwards and by other code. The numbers
of `camera`: axis x, y, px/mm, middle x, y, k1 per px^2, distance; cosine and sine of its turn;
throw x, y, cosine, sine; stock width, height; curl height, corner x, y, reach. Those of
`printer`: growth x, y, tan skew, bow, blend, wrinkle x, y, size, width; page width, height.
"""

from __future__ import annotations

from math import exp, floor, sqrt

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel

F32 = NDArray[np.float32]
Numbers = tuple[float, ...]

_MOST_TURNS = 30
_ENOUGH_PX, _ENOUGH_SHARE, _ENOUGH_MM = 1e-5, 1e-8, 1e-7


@inner
def _stock_from_pixel(px: float, py: float, camera: Numbers) -> tuple[float, float]:
    x0, y0, scale, mx, my, k1, distance, c, s = camera[:9]
    dx, dy = px - mx, my - py
    ux, uy = dx, dy
    if k1 != 0.0:
        for _ in range(_MOST_TURNS):
            before = ux
            out = 1.0 / (1.0 + k1 * (ux * ux + uy * uy))
            ux, uy = dx * out, dy * out
            if abs(ux - before) < _ENOUGH_PX:
                break
    qx, qy = (c * ux - s * uy) / scale, (s * ux + c * uy) / scale
    tx, ty, ct, st = camera[9:13]
    height, hx, hy, reach = camera[15:19]
    near = 1.0
    x, y = 0.0, 0.0
    for _ in range(_MOST_TURNS):
        before = near
        ax, ay = x0 + near * qx - tx, y0 + near * qy - ty
        x, y = ct * ax + st * ay, ct * ay - st * ax
        if height == 0.0:
            break
        rise = max(1.0 - sqrt((x - hx) ** 2 + (y - hy) ** 2) / reach, 0.0)
        near = (distance - height * rise * rise) / distance
        if abs(near - before) < _ENOUGH_SHARE:
            break
    return x, y


@inner
def _mixed(i: int, j: int, seed: int) -> float:
    """Return a number of -1 to 1 that depends on a cell of a lattice alone."""
    h = (i * 73856093) ^ (j * 19349663) ^ (seed * 83492791)
    h = ((h ^ (h >> 13)) * 1274126177) & 0x7FFFFFFF
    h = ((h ^ (h >> 15)) * 668265263) & 0x7FFFFFFF
    h = (h ^ (h >> 11)) & 0xFFFFFF
    return h / 8388607.5 - 1.0


@inner
def _noise(x: float, y: float, seed: int) -> float:
    """Return smooth noise of mean 0: lattice values blended by cubics."""
    i, j = floor(x), floor(y)
    u, v = x - i, y - j
    u, v = u * u * (3.0 - 2.0 * u), v * v * (3.0 - 2.0 * v)
    a, b = _mixed(i, j, seed), _mixed(i + 1, j, seed)
    c, d = _mixed(i, j + 1, seed), _mixed(i + 1, j + 1, seed)
    return (1.0 - v) * ((1.0 - u) * a + u * b) + v * ((1.0 - u) * c + u * d)


@kernel
def paint_ground(
    rows: int, columns: int, camera: Numbers, light: Numbers, grain: Numbers, seed: int
) -> F32:
    """Return bed and stock with its grain; the edge of the stock covers its share of a pixel.

    `light` is white, bed; `grain` is sd as a share, size, stretch. Lattice values uniform in -1
    to 1, blended by cubics along both axes, have a variance of (26/35)^2 / 3 = 0.184.
    """
    out = np.zeros((rows, columns), np.float32)
    white, bed = light
    scale = camera[2]
    width, height = camera[13], camera[14]
    amount, size, stretch = grain[0] / sqrt(2.0 * 0.184), grain[1], grain[2]
    for row in range(rows):
        for column in range(columns):
            x, y = _stock_from_pixel(float(column), float(row), camera)
            inside = min(x, width - x, y, height - y) * scale
            share = min(max(inside + 0.5, 0.0), 1.0)
            value = bed
            if share > 0.0:
                shade = white
                if amount > 0.0:
                    gx, gy = x / (size * stretch), y / size
                    both = _noise(gx, gy, seed) + _noise(0.37 * gx, 0.37 * gy, seed + 1)
                    shade = white * (1.0 + amount * both)
                value = bed + share * (shade - bed)
            out[row, column] = value
    return out


@inner
def _page_from_stock(x: float, y: float, printer: Numbers, steps: F64) -> tuple[float, float]:
    """Solve the printer's map by Newton steps on its diagonal; the rest is tiny."""
    gx, gy, skew, bow, blend, wx, wy, size, wide, width, height = printer
    px, py = x, y
    for _ in range(_MOST_TURNS):
        u, v = px - width / 2.0, py - height / 2.0
        fx = (1.0 + gx) * px + skew * py - bow * u * v
        fy = (1.0 + gy) * py + bow * u * u / 2.0
        slope = 1.0 + gy
        for k in range(len(steps)):
            t = min(max((py - steps[k, 0]) / blend + 0.5, 0.0), 1.0)
            fx += t * t * (3.0 - 2.0 * t) * steps[k, 1]
            fy += t * t * (3.0 - 2.0 * t) * steps[k, 2]
            slope += 6.0 * t * (1.0 - t) / blend * steps[k, 2]
        if size != 0.0:
            fy += size * exp(-((px - wx) ** 2 + (py - wy) ** 2) * 8.0 / wide**2)
        px += (x - fx) / (1.0 + gx)
        py += (y - fy) / slope
        if abs(x - fx) + abs(y - fy) < _ENOUGH_MM:
            break
    return px, py


@kernel
def sheet_from_pixels(
    pixels: F64, camera: Numbers, printer: Numbers, steps: F64, similarity: F64
) -> F64:
    """Return the nominal place of what each pixel shows, shape (N, 2) [mm].

    `similarity` is the one from the page to the sheet.
    """
    sheet = pixels.copy()
    for i in range(len(pixels)):
        x, y = _stock_from_pixel(pixels[i, 0], pixels[i, 1], camera)
        px, py = _page_from_stock(x, y, printer, steps)
        sheet[i, 0] = similarity[0, 0] * px + similarity[0, 1] * py + similarity[0, 2]
        sheet[i, 1] = similarity[1, 0] * px + similarity[1, 1] * py + similarity[1, 2]
    return sheet


@kernel
def paint_patch(
    ground: F32,
    tone: F32,
    place: Numbers,
    window: I64,
    camera: Numbers,
    printer: Numbers,
    steps: F64,
    similarity: F64,
) -> F32:
    """Return the ground with a printed picture in a window (row, column, row, column).

    `tone` is linear light, row 0 on top; `place` is x0, y0, px/mm. Outside it is bare.
    """
    out = ground.copy()
    rows, columns = tone.shape
    for row in range(window[0], window[2]):
        for column in range(window[1], window[3]):
            x, y = _stock_from_pixel(float(column), float(row), camera)
            if not (0.0 <= x <= camera[13] and 0.0 <= y <= camera[14]):
                continue
            px, py = _page_from_stock(x, y, printer, steps)
            sx = similarity[0, 0] * px + similarity[0, 1] * py + similarity[0, 2]
            sy = similarity[1, 0] * px + similarity[1, 1] * py + similarity[1, 2]
            u = (sx - place[0]) * place[2] - 0.5
            v = rows - 0.5 - (sy - place[1]) * place[2]
            if not (-1.0 < u < columns and -1.0 < v < rows):
                continue
            i, j = floor(v), floor(u)
            fv, fu = v - i, u - j
            total = 0.0
            for di in range(2):
                for dj in range(2):
                    weight = (fv if di else 1.0 - fv) * (fu if dj else 1.0 - fu)
                    inside = 0 <= i + di < rows and 0 <= j + dj < columns
                    total += weight * (tone[i + di, j + dj] if inside else 1.0)
            out[row, column] *= total
    return out
