"""Where the axis of a blade is along a motion, sampled as finely as the blade's path bends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.model.motion import Kind, ToolMotion

_ON_FACE_MM = 1e-9


@dataclass(frozen=True, slots=True)
class Samples:
    """N places in order; a block begins where the one before ended.

    Parameters
    ----------
    xyzc : ndarray of shape (N, 4), float
        Axis, tip and direction [mm, rad].
    block : ndarray of shape (N,), int
        Block each sample belongs to.
    """

    xyzc: F64
    block: I64


@dataclass(frozen=True, slots=True)
class Stroke:
    """Samples between entering the stock and leaving it, of one tool and one cut."""

    samples: Samples
    tool: int
    cut: int


@dataclass(frozen=True, slots=True)
class NamedSamples:
    """Samples with tool and cut of each."""

    samples: Samples
    tool: I64
    cut: I64


def sample_blocks(
    motion: ToolMotion, faces_z_mm: tuple[float, float], tolerance_mm: float, reach_mm: float
) -> NamedSamples:
    """Return samples of all blocks that come below the top face.

    A block is sampled at both ends, where its tip passes a face, and so often between that a
    point within `reach_mm` of the axis stays within the tolerance of its chords.
    """
    begin, end = motion.begins(), motion.end
    low = np.minimum(begin[:, 2], end[:, 2])
    moves = (motion.kind != Kind.DWELL) & (low <= faces_z_mm[1] + _ON_FACE_MM)
    rows = np.flatnonzero(moves)
    xyzc, block = [], []
    count = _pieces(motion, begin, tolerance_mm, reach_mm)
    for i in rows.tolist():
        t = _places(begin[i, 2], end[i, 2], int(count[i]), faces_z_mm)
        xyzc.append(_along(motion, begin[i], i, t))
        block.append(np.full(len(t), i))
    places = np.concatenate(xyzc) if xyzc else np.zeros((0, 4))
    for face in faces_z_mm:  # a tip on a face is on it, whatever the rounding
        places[np.abs(places[:, 2] - face) < _ON_FACE_MM, 2] = face
    samples = Samples(
        xyzc=places,
        block=np.concatenate(block) if block else np.zeros(0, np.int64),
    )
    return NamedSamples(samples, motion.tool[samples.block], motion.cut[samples.block])


def split_strokes(named: NamedSamples, top_z_mm: float) -> list[Stroke]:
    """Return the samples in the stock, cut where the tip leaves it or tool or cut changes."""
    s = named.samples
    inside = np.flatnonzero(s.xyzc[:, 2] <= top_z_mm)
    if not len(inside):
        return []
    apart = np.diff(inside) > 1
    apart |= np.diff(named.tool[inside]) != 0
    apart |= np.diff(named.cut[inside]) != 0
    # a block that begins on the top face after one that ended there: up and down again
    up = s.xyzc[inside, 2] >= top_z_mm
    apart |= up[1:] & up[:-1] & (np.diff(s.block[inside]) > 0)
    groups = np.split(inside, np.flatnonzero(apart) + 1)
    return [
        Stroke(
            samples=Samples(xyzc=s.xyzc[g], block=s.block[g]),
            tool=int(named.tool[g[0]]),
            cut=int(named.cut[g[0]]),
        )
        for g in groups
        if s.xyzc[g, 2].min() < top_z_mm
    ]


def _pieces(motion: ToolMotion, begin: F64, tolerance: float, reach: float) -> I64:
    """Return into how many chords each block goes: a chord of angle a rises r a^2 / 8."""
    radius = np.hypot(*(begin[:, :2] - motion.centre).T)
    is_arc = motion.kind == Kind.ARC
    swing = np.where(is_arc, np.abs(motion.sweep_rad), 0.0)
    turn = np.abs(motion.end[:, 3] - begin[:, 3])
    size = np.where(is_arc, np.nan_to_num(radius), 0.0) + reach
    angle = np.maximum(swing, turn)
    most = np.sqrt(8.0 * tolerance / size)
    return np.maximum(np.ceil(angle / most), 1.0).astype(np.int64)


def _places(z0: float, z1: float, count: int, faces: tuple[float, float]) -> F64:
    """Return fractions of a block, with those where the tip passes a face."""
    t = np.linspace(0.0, 1.0, count + 1)
    passing = [(f - z0) / (z1 - z0) for f in faces if min(z0, z1) < f < max(z0, z1)]
    places: F64 = np.unique(np.concatenate((t, passing)))
    return places


def _along(motion: ToolMotion, begin: F64, i: int, t: F64) -> F64:
    """Return axis, tip and direction at fractions of one block, ends exact; (len(t), 4)."""
    end = motion.end[i]
    out: F64 = begin + t[:, None] * (end - begin)
    if motion.kind[i] == Kind.ARC:
        centre, turn = motion.centre[i], motion.sweep_rad[i] * t
        away = begin[:2] - centre
        c, s = np.cos(turn), np.sin(turn)
        out[:, 0] = centre[0] + c * away[0] - s * away[1]
        out[:, 1] = centre[1] + s * away[0] + c * away[1]
        # the end as written; a program's rounding is shared out along the arc
        out[:, :2] += t[:, None] * (end[:2] - out[-1, :2])
    out[-1] = end
    return out
