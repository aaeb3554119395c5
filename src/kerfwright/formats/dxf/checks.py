"""Numbers that must be refused before anything is computed from them.

One entity with a radius of 1e300 would make arithmetic overflow or a loop run for hours; a NaN
passes every comparison unnoticed. Both are refused here, with the entity's name.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from kerfwright.errors import UnreadableError
from kerfwright.formats.dxf.expand import Placed
from kerfwright.formats.dxf.shapes import F64, I64, Shapes

# Centres and axes may lie beyond the drawing: nearly straight arcs have distant centres. At
# this multiple of the largest coordinate the points of an arc are still exact to 1e-7 mm.
_CENTRES: Final = 1e4
_SAMPLES: Final = np.linspace(0.0, 1.0, 9)


def refuse_not_finite(placed: Placed, *, file: str) -> None:
    """Refuse NaN and infinity anywhere.

    Raises
    ------
    UnreadableError
        Naming the entity.
    """
    for path, values in _numbers(placed.shapes):
        bad = ~np.isfinite(values)
        if bad.any():
            row = int(np.argwhere(bad)[0][0])
            value = values[row][np.atleast_1d(bad[row])][0] if values.ndim > 1 else values[row]
            msg = (
                f"{file}: {_name(placed, path[row])} holds {value}, which is no finite number; "
                "correct or delete it"
            )
            raise UnreadableError(msg)


def refuse_too_large(placed: Placed, *, file: str, unit: str, limit_mm: float) -> None:
    """Refuse coordinates beyond the limit, and radii far beyond it.

    Raises
    ------
    UnreadableError
        Naming the entity, the value and the limit.
    """
    for path, points in _points(placed.shapes):
        _refuse(placed, path, np.abs(points), limit_mm, "coordinate", file=file, unit=unit)
    conics = placed.shapes.conics
    sizes = np.abs(conics.frame).reshape(-1, 9)
    far = limit_mm * _CENTRES
    _refuse(placed, conics.path, sizes, far, "centre or radius", file=file, unit=unit)


def _refuse(
    placed: Placed, path: I64, sizes: F64, limit_mm: float, what: str, *, file: str, unit: str
) -> None:
    largest = sizes.max(axis=1, initial=0.0)
    wrong = np.flatnonzero(~(largest <= limit_mm))
    if wrong.size:
        row = wrong[0]
        msg = (
            f"{file}: {_name(placed, path[row])} has a {what} of {largest[row]:.6g} mm (read in "
            f"{unit}), limit {limit_mm:g} mm; check the unit, and move the drawing to its origin"
        )
        raise UnreadableError(msg)


def measure(shapes: Shapes) -> tuple[float, float]:
    """Return the larger of width and height, and the largest coordinate, in drawing units."""
    every = [points for _, points in _points(shapes)]
    if not sum(map(len, every)):
        return 0.0, 0.0
    points = np.concatenate(every)
    with np.errstate(over="ignore"):
        return float(np.ptp(points, axis=0).max()), float(np.abs(points).max())


def _numbers(shapes: Shapes) -> Iterator[tuple[I64, F64]]:
    """Yield all numbers of all shapes with the path of each row."""
    chains, conics = shapes.chains, shapes.conics
    of_vertex = np.repeat(chains.path, np.diff(chains.starts))
    yield of_vertex, chains.points
    yield of_vertex, chains.bulges
    yield chains.path, chains.axes.reshape(-1, 6)
    yield conics.path, conics.frame.reshape(-1, 9)
    yield conics.path, np.column_stack((conics.start, conics.sweep))
    for s in shapes.splines:
        for values in (s.control, s.weights, s.knots):
            yield np.full(len(values), s.path), values


def _points(shapes: Shapes) -> Iterator[tuple[I64, F64]]:
    """Yield points that span all shapes, with the path of each."""
    chains, conics = shapes.chains, shapes.conics
    of_vertex = np.repeat(chains.path, np.diff(chains.starts))
    yield of_vertex, chains.points[:, :2]
    yield from _tops_of_bulges(shapes, of_vertex)
    if len(conics.path):
        t = conics.start[:, None] + conics.sweep[:, None] * _SAMPLES
        c, u, v = (conics.frame[:, None, i, :2] for i in range(3))
        with np.errstate(over="ignore", invalid="ignore"):
            points = c + u * np.cos(t)[:, :, None] + v * np.sin(t)[:, :, None]
        yield np.repeat(conics.path, len(_SAMPLES)), points.reshape(-1, 2)
    for s in shapes.splines:
        yield np.full(len(s.control), s.path), s.control[:, :2]


def _tops_of_bulges(shapes: Shapes, of_vertex: I64) -> Iterator[tuple[I64, F64]]:
    chains = shapes.chains
    rows = np.flatnonzero(chains.bulges)
    if rows.size:
        after = np.arange(1, len(chains.points) + 1)
        after[chains.starts[1:] - 1] = chains.starts[:-1]
        a, b = chains.points[rows, :2], chains.points[after[rows], :2]
        with np.errstate(over="ignore", invalid="ignore"):
            chord = b - a
            across = np.column_stack((chord[:, 1], -chord[:, 0]))
            yield of_vertex[rows], (a + b) / 2.0 + across * (chains.bulges[rows] / 2.0)[:, None]


def _name(placed: Placed, path: int) -> str:
    return f"{placed.source[path]} on layer {placed.look[path].layer}"
