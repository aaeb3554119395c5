"""Outlines the tests cut, and random ones."""

from __future__ import annotations

import numpy as np
import shapely

from kerfwright.geometry.paths import PathSet, make_circle, make_path

SHARPEST = 2.6
"""In a sharper spike a program that is off may lie nearer to the other side of it: there is no
telling then which side it meant, and two ways of measuring may well say different things."""
QUARTER = float(np.tan(np.pi / 8.0))


def rectangle(x: float, y: float, w: float, h: float) -> PathSet:
    return make_path([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], closed=True)


def rounded(x: float, y: float, w: float, h: float, r: float) -> PathSet:
    points = [
        (x + r, y), (x + w - r, y), (x + w, y + r), (x + w, y + h - r),
        (x + w - r, y + h), (x + r, y + h), (x, y + h - r), (x, y + r),
    ]  # fmt: skip
    return make_path(points, [0.0, QUARTER] * 4, closed=True)


def lined(*points: tuple[float, float]) -> PathSet:
    return make_path(points, closed=False)


def bow_shaped(x: float, y: float, w: float, bulge: float = 0.7) -> PathSet:
    """A line and an arc that meet in two corners."""
    return make_path([(x, y), (x + w, y)], [0.0, bulge], closed=True)


circle = make_circle


def random_outline(rng: np.random.Generator, x: float, y: float) -> PathSet:
    """Return an outline of random kind and size around a place, that does not cross itself."""
    while True:
        path = _any_outline(rng, x, y)
        polygon = shapely.Polygon(flattened(path))
        is_plain = polygon.is_valid and polygon.buffer(-1.5).geom_type == "Polygon"
        if is_plain and sharpest_turn(path) < SHARPEST:
            return path


def sharpest_turn(path: PathSet) -> float:
    """Return the greatest turn at a vertex of a closed path."""
    d = np.roll(path.points, -1, axis=0) - path.points
    chord, half = np.arctan2(d[:, 1], d[:, 0]), 2.0 * np.arctan(path.bulges)
    turn = (chord - half) - np.roll(chord + half, 1)
    return float(np.abs((turn + np.pi) % (2.0 * np.pi) - np.pi).max())


def flattened(path: PathSet) -> np.ndarray:
    """Return points along a closed path, arcs in 32 chords."""
    out = []
    for i, (p, bulge) in enumerate(zip(path.points, path.bulges, strict=True)):
        d = path.points[(i + 1) % len(path.points)] - p
        half = 2.0 * np.arctan(bulge)
        for share in np.arange(32) / 32 if bulge else (0.0,):
            ratio = np.sin(half * share) / np.sin(half) if bulge else share
            turn = half * share - half
            co, si = np.cos(turn) * ratio, np.sin(turn) * ratio
            out.append(p + np.array((d[0] * co - d[1] * si, d[0] * si + d[1] * co)))
    return np.array(out)


def _any_outline(rng: np.random.Generator, x: float, y: float) -> PathSet:
    kind = rng.integers(6)
    w, h = rng.uniform(12.0, 40.0, 2)
    if kind == 0:
        return rectangle(x - w / 2, y - h / 2, w, h)
    if kind == 1:
        r = rng.uniform(2.0, min(w, h) / 2.2)
        return rounded(x - w / 2, y - h / 2, w, h, r)
    if kind == 2:
        return make_circle((x, y), w / 2, clockwise=bool(rng.integers(2)))
    if kind == 3:
        return bow_shaped(x - w / 2, y, w, rng.uniform(0.3, 0.95))
    if kind == 4:
        return _polygon(rng, x, y)
    return _scalloped(rng, x, y)


def _polygon(rng: np.random.Generator, x: float, y: float) -> PathSet:
    n = int(rng.integers(3, 8))
    angle = 2.0 * np.pi * (np.arange(n) + rng.uniform(-0.2, 0.2, n)) / n
    radius = rng.uniform(10.0, 22.0, n)
    points = np.column_stack((x + radius * np.cos(angle), y + radius * np.sin(angle)))
    return make_path(points[:: 1 if rng.integers(2) else -1], closed=True)


def _scalloped(rng: np.random.Generator, x: float, y: float) -> PathSet:
    """Return a ring of arcs that bow in and out and meet in corners."""
    n = int(rng.integers(3, 6))
    angle = 2.0 * np.pi * np.arange(n) / n + rng.uniform(0.0, 1.0)
    radius = rng.uniform(14.0, 22.0)
    points = np.column_stack((x + radius * np.cos(angle), y + radius * np.sin(angle)))
    bulges = rng.uniform(0.1, 0.5, n) * rng.choice((-1.0, 1.0), n)
    return make_path(points, bulges, closed=True)
