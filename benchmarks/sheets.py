"""Random sheets of small parts for timing: outlines with a hole each, on a grid of one sheet."""

from __future__ import annotations

import math
from pathlib import Path

import ezdxf
import numpy as np

SHEET_MM = (2440.0, 1220.0)
MARGIN_MM = 10.0
QUARTER = math.tan(math.pi / 8.0)


def draw_sheet(path: Path, *, n: int, seed: int) -> None:
    """Write a drawing of n contours: rounded boards, stars and discs, a hole in each.

    n is even; half of the contours are outlines, half are the holes in them.
    """
    rng = np.random.default_rng(seed)
    doc = ezdxf.new("R2010", units=4)
    doc.header["$MEASUREMENT"] = 1
    space = doc.modelspace()
    cells = n // 2
    columns = math.ceil(math.sqrt(cells * SHEET_MM[0] / SHEET_MM[1]))
    rows = math.ceil(cells / columns)
    cell = min((SHEET_MM[0] - 2 * MARGIN_MM) / columns, (SHEET_MM[1] - 2 * MARGIN_MM) / rows)
    for i in range(cells):
        centre = np.array((i % columns + 0.5, i // columns + 0.5)) * cell
        size = cell * rng.uniform(0.32, 0.45)
        _draw_outline(space, rng.integers(3), centre, size, rng)
        space.add_circle(centre, size * rng.uniform(0.15, 0.4), dxfattribs={"layer": "holes"})
    doc.saveas(path)


def _draw_outline(space, kind, centre, size, rng):
    layer = {"layer": "outline"}
    if kind == 0:
        rows = _rounded(centre, size, size * rng.uniform(0.1, 0.5))
    elif kind == 1:
        rows = _star(centre, size, rng.uniform(0.0, math.pi))
    else:
        rows = [(centre[0] - size, centre[1], 1.0), (centre[0] + size, centre[1], 1.0)]
    space.add_lwpolyline(rows, format="xyb", close=True, dxfattribs=layer)


def _rounded(centre, half, radius):
    x, y = centre
    a = half - radius
    corners = [(a, -half, QUARTER), (half, -a, 0), (half, a, QUARTER), (a, half, 0)]
    corners += [(-a, half, QUARTER), (-half, a, 0), (-half, -a, QUARTER), (-a, -half, 0)]
    return [(x + dx, y + dy, bulge) for dx, dy, bulge in corners]


def _star(centre, size, turn):
    angles = turn + np.arange(10) * math.pi / 5.0
    radii = np.where(np.arange(10) % 2 == 0, size, size * 0.75)
    return [
        (centre[0] + r * math.cos(a), centre[1] + r * math.sin(a), 0.0)
        for r, a in zip(radii, angles, strict=True)
    ]
