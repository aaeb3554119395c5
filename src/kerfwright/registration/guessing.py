"""Which mark the first ones seen may be, and which way round the sheet may lie: guesses by odds.

Until the marks are matched beyond doubt a guess says: this mark seen is that nominal one, on a
sheet that lies as it should, or turned by quarters, or printed mirrored. Looks at places where a
guess surely has a mark speak for or against it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import BOOL, F64
from kerfwright.model.marks import MarkLayout
from kerfwright.model.prior import PrintPrior
from kerfwright.registration.placing_reach import furthest_off_mm

THROWS = 2.0
"""Throws (of the prior) by which a mark may lie elsewhere before that costs one, as odds do."""
ANYWHERE = 8.0
"""Log odds against a place far from where a mark should be: beyond, they hardly grow, so that a
sheet laid somewhere else altogether is thought of in the end."""
TURNED = 4.0
"""Log odds against a sheet turned or mirrored: one of fifty (common practice, no source)."""
ASKEW = 6.0
"""Log odds against a sheet that lies turned by more than a throw from every such pose."""
MISSED = 3.0
"""Log odds against a mark not being where it must be: one of twenty is lost or covered."""
HIT = 4.0
"""Log odds for a guess that has another mark where one was seen."""
_SAME_MM = 2.0
_SIGMAS = 3.0


class Guess(NamedTuple):
    """One guess: its cost in log odds, the mark seen, the nominal mark, the pose; by index."""

    cost: float
    which: int
    first: int
    pose: int


class Around(NamedTuple):
    """Every nominal mark from every other on a sheet of one pose: (N, N, 2), (N, N, 2), (N, N).

    From the first index to the second, how far the second may lie off there, and whether it is
    surely in a picture taken there [mm].
    """

    reach_mm: F64
    off_mm: F64
    surely: BOOL


def other_poses(expected: F64, sheet_box_mm: tuple[float, float, float, float]) -> F64:
    """Return how a sheet lies that was printed or laid turned by quarters, or printed mirrored.

    Its lower left corner, as it then is, lies where that of the sheet should.

    Parameters
    ----------
    expected : ndarray of shape (2, 3), float
        table_from_sheet as the sheet should lie [1, mm].
    sheet_box_mm : tuple of float
        x0, y0, x1, y1 of the sheet in its own frame [mm].

    Returns
    -------
    ndarray of shape (4, 2, 3), float
        table_from_sheet turned by one, two and three quarters, counter-clockwise, and with left
        and right exchanged [1, mm].
    """
    low, high = np.array(sheet_box_mm[:2]), np.array(sheet_box_mm[2:])
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    quarter = np.array(((0.0, -1.0), (1.0, 0.0)))
    ways = (quarter, quarter @ quarter, quarter.T, np.diag((-1.0, 1.0)))
    out = []
    for way in ways:
        shift = low + np.abs(way) @ half - way @ middle  # the box begins where the sheet's did
        linear, place = expected[:, :2] @ way, expected[:, :2] @ shift + expected[:, 2]
        out.append(np.column_stack((linear, place)))
    return np.array(out)


def turn_between(one: F64, two: F64) -> float:
    """Return the turn from one linear map (2, 2) to another, -pi to pi; inf if mirrored [rad]."""
    u, _, vt = np.linalg.svd(two @ np.linalg.inv(one))
    turn = u @ vt
    if np.linalg.det(turn) < 0.0:
        return np.inf
    return float(np.arctan2(turn[1, 0], turn[0, 0]))


def look_around(
    marks: MarkLayout,
    pose: F64,
    prior: PrintPrior,
    *,
    throw_rad: float,
    field_of_view_mm: tuple[float, float],
) -> Around:
    """Return where every mark lies from every other on a sheet of one pose."""
    place = marks.xy @ pose[:, :2].T
    reach = place[None] - place[:, None]
    count = len(place)
    off = furthest_off_mm(reach.reshape(-1, 2), throw_rad=throw_rad, prior=prior)
    off = off.reshape(count, count, 2)
    room = np.array(field_of_view_mm) / 2.0 - marks.diameter_mm / 2.0
    surely = (off <= room).all(axis=2) & ~np.eye(count, dtype=bool)
    return Around(reach, off, surely)


def guesses(
    seen_mm: F64,
    marks: MarkLayout,
    poses: F64,
    around: list[Around],
    looked_mm: F64,
    prior: PrintPrior,
    *,
    field_of_view_mm: tuple[float, float],
) -> list[Guess]:
    """Return all guesses, likeliest first.

    Parameters
    ----------
    seen_mm : ndarray of shape (K, 2), float
        Marks seen, table frame [mm].
    marks : MarkLayout
        Marks of the sheet, N.
    poses : ndarray of shape (Q, 2, 3), float
        table_from_sheet as it should be, then the others [1, mm].
    around : list of Around
        Of each pose.
    looked_mm : ndarray of shape (P, 2), float
        Where the camera has been [mm].
    prior : PrintPrior
        What print and throw may do.
    field_of_view_mm : tuple of float
        Width and height of a picture [mm].
    """
    room = np.array(field_of_view_mm) / 2.0 - marks.diameter_mm / 2.0
    out = []
    for q, (pose, ring) in enumerate(zip(poses, around, strict=True)):
        should = marks.xy @ pose[:, :2].T + pose[:, 2]
        away = np.hypot(*(seen_mm[:, None] - should[None]).transpose(2, 0, 1))
        cost = _odds_of(away / (THROWS * max(prior.throw_xy_mm, 1.0))) + TURNED * (q > 0)
        for which, first in np.ndindex(away.shape):
            there = _there(seen_mm, which, ring, first, prior)
            hits = int(np.delete(there.any(axis=1), which).sum())
            ought = _in_view(seen_mm[which] + ring.reach_mm[first], ring.off_mm[first],
                             looked_mm, room)  # fmt: skip
            ought[first] = False
            missed = int((ought & ~there.any(axis=0)).sum())
            total = float(cost[which, first]) + MISSED * missed - HIT * hits
            out.append(Guess(total, which, int(first), q))
    return sorted(out, key=lambda guess: guess.cost)


def _odds_of(away: F64) -> F64:
    """Return log odds against a mark so many units from its place."""
    far = np.maximum(away / ANYWHERE, 1.0)
    return np.asarray(np.minimum(away, ANYWHERE) + np.log(far), np.float64)


def _there(seen: F64, which: int, ring: Around, first: int, prior: PrintPrior) -> BOOL:
    """Return which mark seen (K,) may be which nominal one (N,) when one of them is known."""
    reach, off = ring.reach_mm[first], ring.off_mm[first]
    gap = seen - seen[which]
    near = (np.abs(gap[:, None] - reach[None]) <= off[None] + _SAME_MM).all(axis=2)
    length = np.hypot(*reach.T)
    grown = _SAME_MM + _SIGMAS * prior.growth_sd * length
    return np.asarray(near & (np.abs(np.hypot(*gap.T)[:, None] - length) <= grown))


def _in_view(places: F64, off: F64, looked: F64, room: F64) -> BOOL:
    """Return which places (N,) were surely in one of the pictures."""
    aside = np.abs(places[:, None] - looked[None]) + off[:, None]
    inside = np.asarray((aside <= room + 1e-9).all(axis=2))
    return np.asarray(inside.any(axis=1))
