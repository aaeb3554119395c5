"""The ways between cuts, before the first and after the last, as blocks: up, turn, over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.sequence.stations import Stations
from kerfwright.sequence.strokes import Bodies

UP, TURN, OVER = range(3)
_SAME = 1e-9  # below it two poses are one [mm, rad]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ways:
    """Ways before each of N cuts and, last, after all of them: up, turn, over.

    `start` (4,) is where all begins; `end` (N + 1, 3, 4) and `real` (N + 1, 3) are the blocks and
    whether each moves at all; `station` (N + 1, 3) is the tool in hand; `down` (N,) tells whether
    the cut's own rapid down moves.
    """

    start: F64
    end: F64
    real: BOOL
    station: I64
    down: BOOL


def plan_ways(bodies: Bodies, own: Stations, park: F64, travel_z_mm: float) -> Ways:
    """Return the ways from the park position through all cuts and back, `park` (2, 4).

    Tools are changed between turn and over. A head that is left turns to its rest before.
    """
    away = np.concatenate((park[:1], bodies.exit))
    towards = np.concatenate((bodies.entry, park[1:]))
    station = np.concatenate((own.number[:1], own.number, own.number[-1:]))
    head = np.concatenate((own.head[:1], own.head, own.head[-1:]))
    change = station[1:] != station[:-1]
    height = np.maximum(np.maximum(away[:, 2], towards[:, 2]), travel_z_mm)
    rest = np.concatenate((park[:1, 3], own.rest_rad(bodies.exit[:, 3])))
    rewind = np.abs(towards[:, 3] - away[:, 3]) > np.pi + _SAME
    c = np.where(head[1:] != head[:-1], rest, np.where(rewind, towards[:, 3], away[:, 3]))
    end = np.zeros((len(away), 3, 4))
    end[:, UP] = np.column_stack((away[:, :2], height, away[:, 3]))
    end[:, TURN] = np.column_stack((away[:, :2], height, c))
    end[:, OVER] = np.column_stack((towards[:, :2], height, towards[:, 3]))
    still = (np.abs(towards - away)[:, [0, 1, 3]] <= _SAME).all(axis=1) & ~change
    still[-1] = False  # the last way goes up even when it goes nowhere else
    real = _moves(np.concatenate((away[:, None], end), axis=1)) & ~still[:, None]
    down = np.where(still, away[:, 2], height)[:-1] != bodies.entry[:, 2]
    before, after = station[:-1, None], station[1:, None]
    return Ways(
        start=park[0],
        end=end,
        real=real,
        station=np.concatenate((before, before, after), axis=1),
        down=down,
    )


def _moves(poses: F64) -> BOOL:
    """Return whether each pose differs from the one before it."""
    return np.asarray((np.abs(np.diff(poses, axis=1)) > _SAME).any(axis=2), np.bool_)
