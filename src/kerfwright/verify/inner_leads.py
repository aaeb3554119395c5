"""What a wheel need not roll at full depth: its leads on the line.

Over a lead the tip may be anywhere between the top face and full depth. A lead begins where a
stroke does, counts from the end of the line or the corner of it that lies behind, and ends where
the wheel first is at full depth, or where the lead asked for ends. A closed line without corners
has none: there the wheel goes on until both leads lie on what is rolled at full depth.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from kerfwright.verify.case import Case
from kerfwright.verify.columns import (
    BOOL,
    BREF,
    END_CORNER,
    F64,
    I64,
    LENGTH,
    PLACE,
    ROW,
    START_CORNER,
    SZ0,
    SZ1,
    Shape,
)
from kerfwright.verify.covering import DEEP, REFERENCE, Stretches
from kerfwright.verify.outer_leads import tip_ways


class _Passes(NamedTuple):
    """P strokes along a contour each, seen from one end.

    Parameters
    ----------
    entry : ndarray of shape (P,), int
        Entry of `shared` of the slice at that end.
    row : ndarray of shape (P,), int
        Contour.
    way : ndarray of shape (P,), float
        From that end to where the tip first is at full depth, infinite for nowhere [mm].
    sense : ndarray of shape (P,), float
        Whether the way goes along the drawn direction (1) or against it (-1).
    """

    entry: I64
    row: I64
    way: F64
    sense: F64

    def where(self, keep: BOOL) -> _Passes:
        """Return some of them."""
        return _Passes(self.entry[keep], self.row[keep], self.way[keep], self.sense[keep])


def with_leads(case: Case, stretches: Stretches) -> Stretches:
    """Return what slices cover, with leads counted as rolled at full depth.

    `stretches` is of the slices in ``case.assignment.shared``.
    """
    leads, shared = case.design.row_leads_mm, case.assignment.shared
    rolls = case.moves.rolls[case.station_of(case.views.slice[shared])]
    found = [stretches]
    for from_end in (False, True):
        asked = np.maximum(leads[:, int(from_end)], 0.0)
        entries = np.flatnonzero(rolls & (asked[case.views.row[shared]] > 0.0))
        if len(entries):
            found.append(_leads(case, stretches, entries, asked, from_end=from_end))
    if len(found) == 1:
        return stretches
    names = ("entry", "low", "high", "flags")
    joined = {n: np.concatenate([getattr(one, n) for one in found]) for n in names}
    return replace(stretches, **joined)


def _leads(
    case: Case, stretches: Stretches, entries: I64, asked: F64, *, from_end: bool
) -> Stretches:
    """Return the leads at the begins of strokes, or at their ends, as stretches of their own."""
    passes = _passes(case, stretches, entries, from_end=from_end)
    place = _place(stretches, passes)
    known = np.isfinite(place) & np.isfinite(passes.way)
    passes, place = passes.where(known), place[known]
    slack = case.tolerances.uncut_mm
    behind = _behind(case.wanted.shape, passes.row, place, passes.sense, slack)
    size = np.minimum(passes.way, asked[passes.row] - behind)
    keep = size > 0.0
    one, two = place[keep], (place + passes.sense * size)[keep]
    return replace(
        stretches,
        entry=passes.entry[keep],
        low=np.minimum(one, two),
        high=np.maximum(one, two),
        flags=np.full(int(keep.sum()), REFERENCE | DEEP),
    )


def _passes(case: Case, stretches: Stretches, entries: I64, *, from_end: bool) -> _Passes:
    shared, slices = case.assignment.shared, case.slices
    own, row = case.views.slice[shared[entries]], case.views.row[shared[entries]]
    order = np.lexsort((-own if from_end else own, slices.stroke[own], row))
    entries, own, row = entries[order], own[order], row[order]
    stroke, at = slices.stroke[own], slices.at[own]
    new = np.append([True], (row[1:] != row[:-1]) | (stroke[1:] != stroke[:-1]))
    first = np.flatnonzero(new)
    way = tip_ways(at, case.moves.blades[slices.blade[own], BREF])
    before = np.cumsum(way) - way
    before -= before[first][np.cumsum(new) - 1]
    z0, z1 = (at[:, SZ1], at[:, SZ0]) if from_end else (at[:, SZ0], at[:, SZ1])
    deep_at = before + way * _first_share(z0, z1, case.wanted.deep_z[row])
    advance = np.where(np.isfinite(stretches.advance), stretches.advance, 0.0)[entries]
    sense = np.sign(np.add.reduceat(advance, first))
    # A stroke that begins on another contour has no lead here.
    begins = _is_end_of_stroke(slices.stroke, own[first], from_end=from_end)
    return _Passes(
        entries[first],
        row[first],
        np.where(begins, np.minimum.reduceat(deep_at, first), np.inf),
        -sense if from_end else sense,
    )


def _first_share(z0: F64, z1: F64, level: F64) -> F64:
    """Return the share of each slice at which the tip first is at a level or below."""
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = (level - z0) / (z1 - z0)
    return np.where(z0 <= level, 0.0, np.where(z1 <= level, cross, np.inf))


def _is_end_of_stroke(stroke: I64, own: I64, *, from_end: bool) -> BOOL:
    other = own + (1 if from_end else -1)
    inside = (other >= 0) & (other < len(stroke))
    same = stroke[np.clip(other, 0, len(stroke) - 1)] == stroke[own]
    ends: BOOL = ~(inside & same)
    return ends


def _place(stretches: Stretches, passes: _Passes) -> F64:
    """Return the place on the contour at which each pass begins; not finite where it is nowhere."""
    size = max(int(stretches.entry.max(initial=-1)), int(passes.entry.max(initial=-1))) + 1
    low, high = np.full(size, np.inf), np.full(size, -np.inf)
    np.minimum.at(low, stretches.entry, stretches.low)
    np.maximum.at(high, stretches.entry, stretches.high)
    place: F64 = np.where(passes.sense > 0.0, low[passes.entry], high[passes.entry])
    return place


def _behind(shape: Shape, row: I64, place: F64, sense: F64, slack: float) -> F64:
    """Return how far behind each place the nearest corner or end of its contour is [mm]."""
    at_start = np.flatnonzero(shape.links[:, START_CORNER] >= 0)
    at_end = np.flatnonzero(shape.links[:, END_CORNER] >= 0)
    pieces = shape.pieces
    corner = np.concatenate(
        (pieces[at_start, PLACE], pieces[at_end, PLACE] + pieces[at_end, LENGTH])
    )
    of = shape.links[np.concatenate((at_start, at_end)), ROW]
    length = shape.length
    # All contours on one scale, closed ones with what lies a round before and after.
    span = 4.0 * (length.max(initial=0.0) + 1.0)
    scale, round_ = of * span + corner, np.where(shape.closed[of], length[of], 0.0)
    marks = np.sort(np.concatenate((scale - round_, scale, scale + round_)))
    if not len(marks):
        return np.full(len(row), np.inf)
    whole = np.where(shape.closed[row], np.maximum(length[row], 1e-300), np.inf)
    inside = np.where(shape.closed[row], np.mod(place, whole), place)
    key = row * span + inside
    after = sense > 0.0
    index = np.where(
        after,
        np.searchsorted(marks, key + slack, side="right") - 1,
        np.searchsorted(marks, key - slack, side="left"),
    )
    there = (index >= 0) & (index < len(marks))
    away = np.abs(key - marks[np.clip(index, 0, len(marks) - 1)])
    # What is farther than a round belongs to another contour.
    return np.where(there & (away <= length[row] + slack), away, np.inf)
