"""Outlines the tests cut, and random ones."""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.paths import PathSet, make_circle, make_path

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
    """Return one of the kinds of outline, of random size, around a place."""
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
