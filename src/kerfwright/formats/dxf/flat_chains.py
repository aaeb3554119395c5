"""Chains seen from above: arcs stay arcs, or are pieces of ellipses where they were stretched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from kerfwright.formats.dxf.curves import Fitter
from kerfwright.formats.dxf.pile import Pile, heights, is_round, next_of, sums
from kerfwright.formats.dxf.shapes import BOOL, F64, I64, Chains

TILT: Final = 1e-3  # slope below which a plane counts as flat; it shortens lengths by 5e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatChains:
    """Chains seen from above, and which of them are what."""

    path: I64
    points: F64  # (M, 2)
    bulges: F64  # (M,), as seen from above where the chain is round
    turn: F64  # (K,), -1 where the chain is seen from below
    starts: I64
    closed: BOOL
    axes: F64  # (K, 2, 2)
    tilted: BOOL
    oval: BOOL  # arcs that a stretch made elliptical
    plain: BOOL

    @classmethod
    def of(cls, chains: Chains, tolerance_mm: float) -> FlatChains:
        """Look at chains from above."""
        sizes = np.diff(chains.starts)
        a, b = chains.axes[:, 0, :2], chains.axes[:, 1, :2]
        turn = np.sign(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
        points = chains.points[:, :2]
        bulges = chains.bulges.copy()
        # An arc between equal points has no size.
        bulges[(points == next_of(points, chains.starts)).all(axis=1)] = 0.0
        curved = sums(np.abs(bulges), chains.starts) > 0.0
        tilted = chains.planar & _is_tilted(chains, curved, tolerance_mm)
        oval = ~tilted & curved & ~is_round(a, b)
        return cls(
            path=chains.path,
            points=points,
            bulges=bulges * np.repeat(np.where(turn == 0.0, 1.0, turn), sizes),
            turn=turn,
            starts=chains.starts,
            closed=chains.closed,
            axes=chains.axes[:, :, :2],
            tilted=tilted,
            oval=oval,
            plain=~tilted & ~oval,
        )


def _is_tilted(chains: Chains, curved: BOOL, tolerance_mm: float) -> BOOL:
    """Return which chains leave their height, by their vertices or by the plane of their arcs."""
    size = np.hypot(*(heights(chains.points[:, i], chains.starts) for i in (0, 1)))
    rise = heights(chains.points[:, 2], chains.starts)
    slope = np.abs(chains.axes[:, :, 2]).max(axis=1, initial=0.0)
    across = np.abs(chains.axes).max(axis=(1, 2), initial=0.0)
    leaves: BOOL = (rise > np.maximum(tolerance_mm, TILT * size)) | (
        curved & (slope > TILT * across)
    )
    return leaves


def add_plain(pile: Pile, chains: FlatChains, picked: I64) -> None:
    """Add chains whose arcs are arcs, with those above half a circle split in two."""
    points, bulges = chains.points, chains.bulges
    sizes = np.diff(chains.starts)
    keep = np.zeros(len(chains.path), np.bool_)
    keep[picked] = True
    rows = np.flatnonzero(np.repeat(keep, sizes))
    steep = np.abs(bulges) > 1.0
    twice = np.repeat(rows, 1 + steep[rows])
    second = np.concatenate((np.zeros(min(len(twice), 1), np.bool_), twice[1:] == twice[:-1]))
    half = np.where(steep, np.tan(np.arctan(bulges) / 2.0), bulges)
    # The middle of an arc lies beside the middle of its chord, by bulge times half the chord.
    after = next_of(points, chains.starts)
    chord = after - points
    across = np.column_stack((chord[:, 1], -chord[:, 0]))
    middle = (points + after) / 2.0 + across * (bulges / 2.0)[:, None]
    owner = np.repeat(np.arange(len(sizes)), sizes)[twice]
    pile.add(
        chains.path[keep],
        np.where(second[:, None], middle[twice], points[twice]),
        half[twice],
        np.bincount(owner, minlength=len(sizes))[keep],
        chains.closed[keep],
    )


def ask_oval_chain(chains: FlatChains, k: int, fitter: Fitter) -> list[tuple[F64, int] | None]:
    """Ask for the elliptical arcs of a chain: centre and ticket of each edge, None for lines."""
    rows = np.arange(chains.starts[k], chains.starts[k + 1])
    to_world = chains.axes[k].T
    local = np.linalg.solve(to_world, chains.points[rows].T).T
    bulge = chains.bulges[rows] * chains.turn[k]  # as in the plane of the entity
    wanted: list[tuple[F64, int] | None] = []
    for p, q, b in zip(local, np.roll(local, -1, axis=0), bulge, strict=True):
        if b == 0.0:
            wanted.append(None)
            continue
        chord = q - p
        centre = (p + q) / 2.0 + np.array((-chord[1], chord[0])) * (1.0 - b * b) / (4.0 * b)
        radius, start = np.hypot(*(p - centre)), np.arctan2(*(p - centre)[::-1])
        u, v = (to_world * radius).T
        sweep = 4.0 * np.arctan(b)
        if sweep < 0.0:  # a parameter must rise: mirror the angle
            v, start, sweep = -v, -start, -sweep
        wanted.append((to_world @ centre, fitter.ellipse(u, v, start, sweep, closed=False)))
    return wanted


def add_oval_chain(
    pile: Pile, chains: FlatChains, k: int, wanted: list[tuple[F64, int] | None], fitter: Fitter
) -> None:
    """Add a chain with its arcs replaced by what was fitted; ends stay where they are."""
    points, bulges = [], []
    for row, arc in zip(range(chains.starts[k], chains.starts[k + 1]), wanted, strict=True):
        points.append(chains.points[row : row + 1])
        fitted = None if arc is None else fitter.get(arc[1])
        if arc is None or fitted is None:
            bulges.append(np.zeros(1))
            continue
        points.append(fitted.points[1:-1] + arc[0])
        bulges.append(fitted.bulges[:-1])
    closed = bool(chains.closed[k])
    pile.add_one(int(chains.path[k]), np.concatenate(points), np.concatenate(bulges), closed=closed)
