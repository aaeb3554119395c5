"""A slow, plain sweep of the blade, written from the model's words alone: the second oracle.

It walks through a motion in small steps and notes the chord of the blade at one height.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.model.motion import Kind, ToolMotion
from kerfwright.model.tooling import Blade

STEP_MM, STEP_RAD = 0.05, 0.01
TOUCH_MM, FLAT_MM = 1e-7, 1e-9


@dataclass(frozen=True)
class Swept:
    """Chords in the order they are made: ends (N, 2), stroke and cut (N,), tip and C (N,)."""

    back: np.ndarray
    front: np.ndarray
    stroke: np.ndarray
    cut: np.ndarray
    z: np.ndarray
    c: np.ndarray

    def points(self, per_chord: int = 5) -> np.ndarray:
        share = np.linspace(0.0, 1.0, per_chord)[:, None, None]
        return (self.back + share * (self.front - self.back)).reshape(-1, 2)


def positions(motion: ToolMotion) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Positions (N, 4) along a motion, the block of each, and the stroke each belongs to."""
    rows, block, stroke = [], [], []
    strokes, down = 0, False
    for i, begin in enumerate(motion.begins()):
        end = motion.end[i]
        if motion.kind[i] == Kind.RAPID:
            down = False
            continue
        strokes += not down
        down = True
        share = np.linspace(0.0, 1.0, 1 + steps_of(motion, i, begin))
        part = begin + share[:, None] * (end - begin)
        if motion.kind[i] == Kind.ARC:
            arm = begin[:2] - motion.centre[i]
            turn = share * motion.sweep_rad[i]
            cos, sin = np.cos(turn), np.sin(turn)
            part[:, 0] = motion.centre[i, 0] + arm[0] * cos - arm[1] * sin
            part[:, 1] = motion.centre[i, 1] + arm[0] * sin + arm[1] * cos
            assert np.allclose(part[-1], end, rtol=0, atol=1e-8), "an arc must end at its end"
        rows.append(part)
        block.append(np.full(len(part), i))
        stroke.append(np.full(len(part), strokes))
    if not rows:
        return np.zeros((0, 4)), np.zeros(0, int), np.zeros(0, int)
    return np.concatenate(rows), np.concatenate(block), np.concatenate(stroke)


def steps_of(motion: ToolMotion, i: int, begin: np.ndarray) -> int:
    way = np.hypot(*(motion.end[i] - begin)[:2])
    if motion.kind[i] == Kind.ARC:
        way = abs(motion.sweep_rad[i]) * np.hypot(*(begin[:2] - motion.centre[i]))
    turn = abs(motion.end[i, 3] - begin[3])
    return max(1, int(np.ceil(max(way / STEP_MM, turn / STEP_RAD))))


def sweep(motion: ToolMotion, blade: Blade, z_mm: float, *, drift_mm: float = 0.0) -> Swept:
    """Chords at a height; `drift_mm` is how far the blade is pushed to the left of travel."""
    at, block, stroke = positions(motion)
    keep = at[:, 2] <= z_mm + 1e-12
    at, block, stroke = at[keep], block[keep], stroke[keep]
    u = np.column_stack((np.cos(at[:, 3]), np.sin(at[:, 3])))
    left = np.column_stack((-u[:, 1], u[:, 0]))
    reach = np.array([blade.chord_mm(z_mm - z) for z in at[:, 2]]).reshape(-1, 2)
    axis = at[:, :2] + drift_mm * left
    return Swept(
        back=axis + reach[:, :1] * u,
        front=axis + reach[:, 1:] * u,
        stroke=stroke,
        cut=motion.cut[block],
        z=at[:, 2],
        c=at[:, 3],
    )


def crosses_normal(swept: Swept, xy: np.ndarray, heading: float) -> tuple[bool, float]:
    """Whether the sweep crosses the normal of a contour at a point, and how far away at least.

    The blade only moves ahead in a stroke, so between two chords it covers all from the back of
    the first to the front of the second; how far away is then known to a step only.
    """
    u = np.array((np.cos(heading), np.sin(heading)))
    ends = np.stack((swept.back - xy, swept.front - xy))
    along, across = ends @ u, np.abs(ends @ np.array((-u[1], u[0])))
    low, high = along.min(axis=0), along.max(axis=0)
    share = np.clip(-along[0] / np.where(along[1] == along[0], 1.0, along[1] - along[0]), 0.0, 1.0)
    far = np.abs((ends[0] + share[:, None] * (ends[1] - ends[0])) @ np.array((-u[1], u[0])))
    hit = (low <= TOUCH_MM) & (high >= -TOUCH_MM)
    same = swept.stroke[1:] == swept.stroke[:-1]
    between = (
        same & (np.minimum(low[1:], low[:-1]) <= 0.0) & (np.maximum(high[1:], high[:-1]) >= 0.0)
    )
    nearest = np.minimum(across[:, 1:], across[:, :-1]).min(axis=0)
    best = min(far[hit].min(initial=np.inf), nearest[between].min(initial=np.inf))
    return bool(hit.any() or between.any()), float(best)


def distance_mm(path: PathSet, xy: np.ndarray) -> np.ndarray:
    """Exact distance of points to lines and arcs, shape (N,)."""
    e = edges_of(path)
    near = np.full(len(xy), np.inf)
    for a, b, bulge in zip(e.start, e.end, e.bulge, strict=True):
        is_flat = abs(bulge) * np.hypot(*(b - a)) < FLAT_MM
        near = np.minimum(near, to_line_mm(xy, a, b) if is_flat else _to_arc(xy, a, b, bulge))
    return near


def to_line_mm(xy: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    d = b - a
    share = np.clip((xy - a) @ d / max(d @ d, 1e-300), 0.0, 1.0)
    return np.hypot(*(xy - a - share[:, None] * d).T)


def _to_arc(xy: np.ndarray, a: np.ndarray, b: np.ndarray, bulge: float) -> np.ndarray:
    d = b - a
    centre = (a + b) / 2.0 + np.array((-d[1], d[0])) * (1.0 - bulge**2) / (4.0 * bulge)
    radius, out = np.hypot(*(a - centre)), xy - centre
    sign = np.sign(bulge)
    begin = np.arctan2(*(a - centre)[::-1])
    ahead = np.mod(sign * (np.arctan2(out[:, 1], out[:, 0]) - begin), 2.0 * np.pi)
    ends = np.minimum(np.hypot(*(xy - a).T), np.hypot(*(xy - b).T))
    on = ahead <= 4.0 * np.arctan(abs(bulge))
    return np.where(on, np.abs(np.hypot(*out.T) - radius), ends)
