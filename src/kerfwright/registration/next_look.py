"""Where to look next: from one mark by the likeliest guess, from two on by prediction."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import BOOL, F64
from kerfwright.model.marks import MarkLayout, MarkMatch, View
from kerfwright.model.prior import PrintPrior
from kerfwright.registration.doubting import is_doubtful
from kerfwright.registration.guessing import ASKEW, HIT, MISSED, guesses, look_around, turn_between
from kerfwright.registration.looking import Seen
from kerfwright.registration.looking_ahead import expected_places
from kerfwright.registration.matching_refit import is_line

_SIGMAS = 4.0  # of the growth between two marks
_SURE = 5
"""Marks that fit by no chance; a match of fewer is held against what else they may be."""
_SLACK_RAD = 0.01
_SAME_VIEW = 4.0  # pictures nearer than the side of one over this show the same


def next_view(
    seen: Seen,
    marks: MarkLayout,
    prior: PrintPrior,
    *,
    match: MarkMatch | None,
    expected: F64,
    throw_rad: float,
    field_of_view_mm: tuple[float, float],
    camera_xy_mm: F64,
    visited: Collection[int],
    looked_xy_mm: F64 | None = None,
    reach_mm: tuple[float, float, float, float] | None = None,
    others: F64 | None = None,
) -> View | None:
    """Return where to look next, None when every mark was visited or nothing can be said.

    One mark gives no angle: the next one must fall into the picture however the sheet is turned,
    otherwise somebody has to show the camera a second mark. Nor does one mark say which it is: it
    is first taken for the one that should lie there, and where its neighbours do not show up, for
    the next likely one, also on a sheet that lies turned or is mirrored. A match of few marks is
    held against what else they may be, and the likeliest is looked at. From two marks on places
    are predicted, and the nearest mark not visited yet comes next whose window fits into the
    picture; where none does, the one that is known best.

    Parameters
    ----------
    seen : Seen
        Marks found so far.
    marks : MarkLayout
        Marks of the sheet.
    prior : PrintPrior
        What print and throw may do.
    match : MarkMatch or None
        Which is which, as far as known.
    expected : ndarray of shape (2, 3), float
        table_from_sheet as the sheet should lie [1, mm].
    throw_rad : float
        Largest turn from that, either way [rad].
    field_of_view_mm : tuple of float
        Width and height of a picture [mm].
    camera_xy_mm : ndarray of shape (2,), float
        Where the camera is, table frame [mm].
    visited : collection of int
        Nominal marks looked at already, found or not, as far as it is known which is which.
    looked_xy_mm : ndarray of shape (P, 2), float, optional
        Where the camera has been, which keeps it from looking there again while only one mark is
        known [mm].
    reach_mm : tuple of float, optional
        x0, y0, x1, y1 that the camera can go to; anywhere without it [mm].
    others : ndarray of shape (T, 2, 3), float, optional
        table_from_sheet of a sheet turned or mirrored, see `other_poses`; without them such a
        sheet is not thought of [1, mm].
    """
    if not len(seen.xy_mm):
        return None
    known_pairs = match is not None and len(match.pairs) >= 2
    if match is None or not _is_sure(match, marks) or is_doubtful(match, visited):
        looked = np.zeros((0, 2)) if looked_xy_mm is None else looked_xy_mm
        poses = expected[None] if others is None else np.concatenate((expected[None], others))
        guess = _guessed(seen, marks, prior, poses, throw_rad, field_of_view_mm, looked, reach_mm,
                         match if known_pairs else None, visited)  # fmt: skip
        if guess is not None or match is None or not known_pairs:
            return guess
    left = np.array([k for k in range(len(marks.xy)) if k not in visited], np.int64)
    if not left.size:
        return None
    known, found = match.pairs[:, 1], match.pairs[:, 0]
    ahead = expected_places(
        marks.xy[left],
        marks.xy[known],
        seen.xy_mm[found],
        seen.cov_mm2[found],
        match.table_from_sheet,
        prior,
    )
    room = min(field_of_view_mm) / 2.0 - marks.diameter_mm / 2.0
    away = np.hypot(*(ahead.xy_mm - camera_xy_mm).T)
    can = _within(ahead.xy_mm, reach_mm)
    if not can.any():
        return None
    fits = can & (ahead.search_mm <= room)
    # where no window fits into the picture the surest one comes next
    cost = np.where(fits, away, np.inf) if fits.any() else np.where(can, ahead.search_mm, np.inf)
    next_ = int(cost.argmin())
    return View(
        camera_xy_mm=ahead.xy_mm[next_],
        mark=int(left[next_]),
        search_mm=float(ahead.search_mm[next_]),
    )


def _within(xy_mm: F64, reach_mm: tuple[float, float, float, float] | None) -> BOOL:
    """Return which places the camera can go to."""
    if reach_mm is None:
        return np.ones(len(xy_mm), np.bool_)
    low, high = np.array(reach_mm[:2]), np.array(reach_mm[2:])
    return np.asarray(((xy_mm >= low) & (xy_mm <= high)).all(axis=1))


def _guessed(
    seen: Seen,
    marks: MarkLayout,
    prior: PrintPrior,
    poses: F64,
    throw_rad: float,
    field_of_view_mm: tuple[float, float],
    looked: F64,
    reach_mm: tuple[float, float, float, float] | None,
    match: MarkMatch | None,
    visited: Collection[int],
) -> View | None:
    """Return a neighbour surely in the picture by the likeliest guess that has one left.

    None where there is none, or where the match is the likeliest of what is left.
    """
    around = [
        look_around(marks, pose, prior, throw_rad=throw_rad, field_of_view_mm=field_of_view_mm)
        for pose in poses
    ]
    held, odds = _held(match, poses, throw_rad), _odds_against(match, visited)
    for cost, which, first, q in guesses(seen.xy_mm, marks, poses, around, looked, prior,
                                         field_of_view_mm=field_of_view_mm):  # fmt: skip
        if (which, first, q) in held or (not held and cost > odds):
            return None
        places = seen.xy_mm[which] + around[q].reach_mm[first]
        gap = np.hypot(*(places[:, None] - looked[None]).transpose(2, 0, 1))
        tried = gap.min(axis=1, initial=np.inf) < min(field_of_view_mm) / _SAME_VIEW
        left = around[q].surely[first] & ~tried & _within(places, reach_mm)
        if left.any():
            length = np.hypot(*around[q].reach_mm[first].T)
            mark = int(np.where(left, length, np.inf).argmin())
            search = (np.sin(throw_rad) + _SIGMAS * prior.growth_sd) * length[mark]
            return View(
                camera_xy_mm=places[mark], mark=mark, search_mm=float(search + marks.diameter_mm)
            )
    return None


def _is_sure(match: MarkMatch, marks: MarkLayout) -> bool:
    """Return whether so many fit by no chance; on one line they tell no mirror from a turn."""
    return len(match.pairs) >= _SURE and not is_line(marks.xy[match.pairs[:, 1]])


def _held(match: MarkMatch | None, poses: F64, throw_rad: float) -> set[tuple[int, int, int]]:
    """Return the guesses a match makes, mark seen, nominal mark, pose; none where it fits none."""
    if match is None:
        return set()
    turn = match.table_from_sheet[:, :2]
    off = [abs(turn_between(pose[:, :2], turn)) for pose in poses]
    q = int(np.argmin(off))
    if off[q] > throw_rad + _SLACK_RAD:
        return set()
    return {(m, k, q) for m, k in match.pairs.tolist()}


def _odds_against(match: MarkMatch | None, visited: Collection[int]) -> float:
    """Return the log odds against a match that lies as no sheet should."""
    if match is None:
        return np.inf
    found = set(match.pairs[:, 1].tolist())
    return ASKEW + MISSED * len(set(visited) - found) - HIT * (len(found) - 1)


def no_view_finding(seen: Seen) -> Finding:
    """Return what to ask of a person when `next_view` says nothing before two marks are known."""
    code = "LOK-128" if len(seen.xy_mm) else "LOK-129"
    return Finding(
        code=code,
        severity=Severity.BLOCKS,
        where=Place(stage="look", frame="table"),
        measured=float(len(seen.xy_mm)),
        limit=2.0,
    )
