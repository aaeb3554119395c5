"""Plane paths under construction: runs of vertices piled up in any order, sorted at the end."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from kerfwright.errors import OutOfResourcesError
from kerfwright.geometry.record import BOOL, F64, I64

_STRAIGHT_MM: Final = 1e-13  # an arc that rises less is a line: its centre would overflow
_SAME: Final = 1e-9  # relative difference of two axes that still make a circle


@dataclass(frozen=True, slots=True, kw_only=True)
class Flat:
    """K plane paths with M vertices: number of each path, vertices, bulges, starts, closed."""

    path: I64
    points: F64
    bulges: F64
    starts: I64
    closed: BOOL


@dataclass(slots=True)
class Pile:
    """Paths under construction, in any order."""

    most_points: int
    file: str
    path: list[I64] = field(default_factory=list)
    points: list[F64] = field(default_factory=list)
    bulges: list[F64] = field(default_factory=list)
    sizes: list[I64] = field(default_factory=list)
    closed: list[BOOL] = field(default_factory=list)
    total: int = 0

    def add(self, path: I64, points: F64, bulges: F64, sizes: I64, closed: BOOL) -> None:
        """Add any number of paths; the last bulge of open ones is set to 0."""
        self.total += len(points)
        if self.total > self.most_points:
            msg = (
                f"{self.file}: the drawing comes to more than {self.most_points} vertices, which "
                "is the limit; leave out what is not cut, or raise the limit"
            )
            raise OutOfResourcesError(msg)
        bulges = bulges.copy()
        bulges[(np.cumsum(sizes) - 1)[~closed]] = 0.0
        self.path.append(path)
        self.points.append(points)
        self.bulges.append(bulges)
        self.sizes.append(sizes)
        self.closed.append(closed)

    def add_one(self, path: int, points: F64, bulges: F64, *, closed: bool) -> None:
        """Add one path."""
        n = np.array([len(points)])
        self.add(np.array([path]), points, bulges, n, np.array([closed]))

    def finish(self) -> Flat:
        """Return all paths in the order of their numbers."""
        path = np.concatenate([np.zeros(0, np.int64), *self.path])
        sizes = np.concatenate([np.zeros(0, np.int64), *self.sizes])
        first = np.cumsum(sizes) - sizes
        order = np.argsort(path, kind="stable")
        starts = np.concatenate(([0], np.cumsum(sizes[order]))).astype(np.int64)
        rows = np.arange(starts[-1]) + np.repeat(first[order] - starts[:-1], sizes[order])
        points = np.concatenate([np.zeros((0, 2)), *self.points])[rows]
        bulges = np.concatenate([np.zeros(0), *self.bulges])[rows]
        chord = np.hypot(*(next_of(points, starts) - points).T)
        return Flat(
            path=path[order],
            points=points,
            bulges=np.where(np.abs(bulges) * chord / 2.0 < _STRAIGHT_MM, 0.0, bulges),
            starts=starts,
            closed=np.concatenate([np.zeros(0, np.bool_), *self.closed])[order],
        )


def next_of(points: F64, starts: I64) -> F64:
    """Return the vertex after each, the first of its run after the last."""
    rows = np.arange(1, len(points) + 1)
    rows[starts[1:] - 1] = starts[:-1]
    return points[rows]


def heights(values: F64, starts: I64) -> F64:
    """Return the range of values in each run."""
    if not len(values):
        return np.zeros(0)
    high: F64 = np.maximum.reduceat(values, starts[:-1])
    low: F64 = np.minimum.reduceat(values, starts[:-1])
    return high - low


def sums(values: F64, starts: I64) -> F64:
    """Return the sum of each run."""
    if not len(values):
        return np.zeros(0)
    total: F64 = np.add.reduceat(values, starts[:-1])
    return total


def is_round(a: F64, b: F64) -> BOOL:
    """Return where two plane vectors are equally long and at right angles."""
    aa, bb, ab = (a * a).sum(axis=1), (b * b).sum(axis=1), (a * b).sum(axis=1)
    same: BOOL = (np.abs(aa - bb) <= 2.0 * _SAME * aa) & (np.abs(ab) <= _SAME * aa)
    return same
