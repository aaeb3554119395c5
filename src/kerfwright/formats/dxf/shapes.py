"""Shapes of one run of entities, in flat lists while reading and in arrays after.

Three kinds, all closed under any affine map, so that a placed block needs no rule of its own:

- *chain*: vertices and bulges in the plane of two axes; lines, polylines, points;
- *conic*: centre and two vectors, ``p(t) = c + u cos t + v sin t``; circles, arcs, ellipses;
- *spline*: control points, weights, knots, degree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kerfwright.formats.dxf.ocs import WORLD, Axes, Vector
from kerfwright.formats.dxf.style import Style

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
BOOL = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chains:
    """Chains with M vertices: number of the path, vertices, bulges, axes of the plane."""

    path: I64  # (K,)
    points: F64  # (M, 3)
    bulges: F64  # (M,)
    starts: I64  # (K + 1,)
    closed: BOOL  # (K,)
    axes: F64  # (K, 2, 3), x and y of the plane in which bulges turn
    planar: BOOL  # (K,), whether the entity lies in that plane by definition


@dataclass(frozen=True, slots=True, kw_only=True)
class Conics:
    """Conics: number of the path, centre and two vectors, first parameter and sweep."""

    path: I64  # (K,)
    frame: F64  # (K, 3, 3), rows centre, u, v
    start: F64  # (K,)
    sweep: F64  # (K,), 2 pi for a full turn


@dataclass(frozen=True, slots=True, kw_only=True)
class Spline:
    """One spline."""

    path: int
    control: F64  # (N, 3)
    weights: F64  # (N,)
    knots: F64  # (N + degree + 1,)
    degree: int
    closed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Shapes:
    """All shapes of a run, or of the whole drawing."""

    count: int
    chains: Chains
    conics: Conics
    splines: tuple[Spline, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Entities of a block between two inserts: their shapes, where they come from, their look."""

    shapes: Shapes
    entity: tuple[tuple[str, str], ...]  # kind and handle
    style: tuple[Style, ...]


@dataclass(slots=True)
class RunBuilder:
    """Collects shapes entity by entity."""

    entity: list[tuple[str, str]] = field(default_factory=list)
    style: list[Style] = field(default_factory=list)
    chain_path: list[int] = field(default_factory=list)
    points: list[Vector] = field(default_factory=list)
    bulges: list[float] = field(default_factory=list)
    starts: list[int] = field(default_factory=lambda: [0])
    closed: list[bool] = field(default_factory=list)
    axes: list[tuple[Vector, Vector]] = field(default_factory=list)
    planar: list[bool] = field(default_factory=list)
    conic_path: list[int] = field(default_factory=list)
    frames: list[tuple[Vector, Vector, Vector]] = field(default_factory=list)
    spans: list[tuple[float, float]] = field(default_factory=list)
    splines: list[Spline] = field(default_factory=list)

    def __len__(self) -> int:
        """Return the number of shapes so far."""
        return len(self.entity)

    def name(self, kind: str, handle: str, style: Style) -> None:
        """Say what the shape that was just added was made from."""
        self.entity.append((kind, handle))
        self.style.append(style)

    def add_chain(
        self,
        points: Sequence[Vector],
        bulges: Sequence[float],
        *,
        closed: bool,
        plane: Axes | None = None,
    ) -> None:
        """Add vertices in the world; `plane` for entities that lie in one by definition."""
        self.chain_path.append(len(self))
        self.points.extend(points)
        self.bulges.extend(bulges)
        self.starts.append(len(self.points))
        self.closed.append(closed)
        self.axes.append((plane or WORLD)[:2])
        self.planar.append(plane is not None)

    def add_conic(
        self, centre: Vector, u: Vector, v: Vector, *, start: float, sweep: float
    ) -> None:
        """Add a conic in the world, angles in radians."""
        self.conic_path.append(len(self))
        self.frames.append((centre, u, v))
        self.spans.append((start, sweep))

    def add_spline(
        self, control: F64, weights: F64, knots: F64, *, degree: int, closed: bool
    ) -> None:
        """Add a spline in the world."""
        self.splines.append(
            Spline(
                path=len(self),
                control=control,
                weights=weights,
                knots=knots,
                degree=degree,
                closed=closed,
            )
        )

    def finish(self) -> Run:
        """Return what was collected."""
        chains = Chains(
            path=np.array(self.chain_path, dtype=np.int64),
            points=np.array(self.points, dtype=np.float64).reshape(-1, 3),
            bulges=np.array(self.bulges, dtype=np.float64),
            starts=np.array(self.starts, dtype=np.int64),
            closed=np.array(self.closed, dtype=np.bool_),
            axes=np.array(self.axes, dtype=np.float64).reshape(-1, 2, 3),
            planar=np.array(self.planar, dtype=np.bool_),
        )
        spans = np.array(self.spans, dtype=np.float64).reshape(-1, 2)
        conics = Conics(
            path=np.array(self.conic_path, dtype=np.int64),
            frame=np.array(self.frames, dtype=np.float64).reshape(-1, 3, 3),
            start=spans[:, 0],
            sweep=spans[:, 1],
        )
        shapes = Shapes(count=len(self), chains=chains, conics=conics, splines=tuple(self.splines))
        return Run(shapes=shapes, entity=tuple(self.entity), style=tuple(self.style))
