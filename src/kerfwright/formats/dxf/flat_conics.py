"""Conics seen from above: circular arcs exact, the others left to be fitted."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Final

import numpy as np

from kerfwright.formats.dxf.flat_chains import TILT
from kerfwright.formats.dxf.pile import Pile, is_round
from kerfwright.formats.dxf.shapes import BOOL, F64, I64, Conics

_FULL_RAD: Final = 2.0 * pi - 1e-9  # a sweep from here on is a full turn


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatConics:
    """Conics seen from above, and which of them are what."""

    path: I64
    centre: F64  # (K, 2)
    u: F64  # (K, 2)
    v: F64  # (K, 2)
    start: F64
    sweep: F64
    turn: F64  # (K,), -1 where the parameter runs clockwise
    full: BOOL
    tilted: BOOL
    thin: BOOL
    oval: BOOL
    round: BOOL

    @classmethod
    def of(cls, conics: Conics, tolerance_mm: float) -> FlatConics:
        """Look at conics from above."""
        centre, u, v = (conics.frame[:, i, :2] for i in range(3))
        rise = np.hypot(conics.frame[:, 1, 2], conics.frame[:, 2, 2])
        size = np.hypot(*u.T) + np.hypot(*v.T)
        tilted = rise > np.maximum(tolerance_mm, TILT * size)
        turn = np.sign(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
        flat, equal = ~tilted & (turn != 0.0), is_round(u, v)
        full = conics.sweep >= _FULL_RAD
        return cls(
            path=conics.path,
            centre=centre,
            u=u,
            v=v,
            start=conics.start,
            sweep=np.where(full, 2.0 * pi, conics.sweep),
            turn=turn,
            full=full,
            tilted=tilted,
            thin=~tilted & (turn == 0.0),
            oval=flat & ~equal,
            round=flat & equal,
        )


def add_arcs(pile: Pile, conics: FlatConics) -> None:
    """Add circular arcs: full turns in two halves, those above half a turn in two pieces."""
    in_two = conics.sweep > pi
    _add_pieces(pile, conics, np.flatnonzero(conics.round & conics.full), pieces=2, closed=True)
    for pieces in (1, 2):
        rows = np.flatnonzero(conics.round & ~conics.full & (in_two == (pieces > 1)))
        _add_pieces(pile, conics, rows, pieces=pieces, closed=False)


def _add_pieces(pile: Pile, conics: FlatConics, rows: I64, *, pieces: int, closed: bool) -> None:
    if not len(rows):
        return
    c, u, v = (column[rows, None] for column in (conics.centre, conics.u, conics.v))
    count = pieces if closed else pieces + 1
    step = conics.sweep[rows] / pieces
    t = (conics.start[rows, None] + step[:, None] * np.arange(count))[:, :, None]
    points = c + u * np.cos(t) + v * np.sin(t)
    bulge = (np.ones(len(rows)) if closed else np.tan(step / 4.0)) * conics.turn[rows]
    pile.add(
        conics.path[rows],
        points.reshape(-1, 2),
        np.repeat(bulge, count),
        np.full(len(rows), count),
        np.full(len(rows), closed),
    )
