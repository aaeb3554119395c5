"""One stroke of one tool, with its errors: its traces in planes of the stock."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from kerfwright.geometry.record import F64
from kerfwright.model.tooling import Blade, Cutter, Tool, Wheel
from kerfwright.virtual._strokes import Stroke

Pair = tuple[float, float]


class Face(IntEnum):
    """Where a piece of a cut lies."""

    BOTTOM = 0
    """Bottom face of the stock: cut through."""
    TOP = 1
    """Top face."""
    TIP = 2
    """At the tip, along strokes that end inside the stock."""


@dataclass(frozen=True, slots=True)
class Errors:
    head: dict[int, F64]
    turn: dict[int, F64]
    bend: dict[int, F64]
    eccentric: dict[int, F64]
    repeat: float
    slip: tuple[int, float, float] | None


@dataclass(frozen=True, slots=True)
class Piece:
    points: F64
    face: Face
    stroke: Stroke
    number: int
    depth: float
    half: float = 0.0


class Follower:
    """One stroke of one tool: places of a blade's chord in planes of the stock.

    A wheel is followed at its lowest point, a pen and a cutter at their axis; what the cutter
    sweeps is told by its radius.
    """

    def __init__(self, tool: Tool, errors: Errors, stroke: Stroke, faces: Pair, drawn: F64) -> None:
        self.tool, self.stroke, self.faces = tool, stroke, faces
        station, none = stroke.tool, np.zeros(2)
        self.shift = errors.head.get(station, none) + errors.repeat * drawn
        if errors.slip is not None and stroke.cut >= errors.slip[0]:
            self.shift = self.shift - np.array(errors.slip[1:])
        self.turn = float(errors.turn.get(station, none)[0])
        self.bend = float(errors.bend.get(station, none)[0])
        self.eccentric = errors.eccentric.get(station, none)

    def pieces(self, number: int) -> list[Piece]:
        """Return all traces of the stroke."""
        bottom, top = self.faces
        z = self.stroke.samples.xyzc[:, 2]
        lowest = float(z.min())
        runs = [(Face.TOP, top, z <= top)]
        if lowest <= bottom:
            runs.append((Face.BOTTOM, bottom, z <= bottom))
        else:
            runs.append((Face.TIP, lowest, z <= lowest + 1e-6))
        depth = top - lowest
        return [
            Piece(points, face, self.stroke, number, depth, self._half_mm(height))
            for face, height, mask in runs
            for first, last in _runs(mask)
            for points in self._traces(slice(first, last), height)
        ]

    def _half_mm(self, height: float) -> float:
        """Return half the width a cutter sweeps at a height, at its deepest; run-out widens it."""
        if not isinstance(self.tool, Cutter):
            return 0.0
        lowest = float(self.stroke.samples.xyzc[:, 2].min())
        runs_out = float(np.hypot(*self.eccentric))
        return self.tool.radius_at_mm(max(height - lowest, 0.0)) + runs_out

    def _traces(self, rows: slice, height: float) -> list[F64]:
        """Return what the tool leaves at a height: a line, or of a blade the ends of its chord."""
        if isinstance(self.tool, Blade):
            return self._chord_traces(self.tool, rows, height)
        x, y, _, c = self.stroke.samples.xyzc[rows].T
        axis = np.column_stack((x, y)) + self.shift
        if isinstance(self.tool, Wheel):
            direction = c + self.turn
            ahead = np.column_stack((np.cos(direction), np.sin(direction)))
            left = np.column_stack((-ahead[:, 1], ahead[:, 0]))
            axis += (self.tool.reference_mm + self.eccentric[0]) * ahead + self.eccentric[1] * left
        return [_without_repeats(axis)]

    def _chord_traces(self, blade: Blade, rows: slice, height: float) -> list[F64]:
        """Return both ends and middle of the chord at a height, and the first and last chord."""
        x, y, z, c = self.stroke.samples.xyzc[rows].T
        direction = c + self.turn
        ahead = np.column_stack((np.cos(direction), np.sin(direction)))
        left = np.column_stack((-ahead[:, 1], ahead[:, 0]))
        heights, of = np.unique(height - z, return_inverse=True)
        chord = np.array([blade.chord_mm(float(h)) for h in heights])[of]
        deep = (self.faces[1] - height) / (self.faces[1] - self.faces[0])
        aside = self.eccentric[1] + self.bend * deep
        axis = np.column_stack((x, y)) + self.shift + aside * left
        back, front = (axis + (s + self.eccentric[0])[:, None] * ahead for s in chord.T)
        traces = [back, front]
        if np.ptp(c) > 0.0:
            traces.append((back + front) / 2.0)
        ends = (0,) if len(back) == 1 else (0, -1)
        traces += [np.stack((back[i], front[i])) for i in ends]
        return [_without_repeats(t) for t in traces]


def _runs(mask: object) -> list[tuple[int, int]]:
    """Return first and past-the-last index of each run of true."""
    edge = np.diff(np.concatenate(([0], np.asarray(mask, np.int8), [0])))
    return list(zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1), strict=True))


def _without_repeats(points: F64) -> F64:
    moved = np.any(np.diff(points, axis=0) != 0.0, axis=1)
    kept: F64 = points[np.concatenate(([True], moved))]
    return kept
