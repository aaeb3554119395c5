"""What a wheel rolls before its line begins and after it ends, apart from what is on lines.

Such a lead goes straight on along the heading of the line's end, or of a corner of it, and is no
longer than asked for and nowhere deeper. It is part of the stroke, and has the line's end as one
end of a block. What is no such lead stays with the other slices, and is found to be off the line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from kerfwright.model.design import Design, Tolerances
from kerfwright.verify.columns import (
    AFTER,
    BEFORE,
    BOOL,
    BREF,
    F64,
    I64,
    KINX,
    KINY,
    KOUTX,
    KOUTY,
    KX,
    KY,
    ROW,
    SC0,
    SC1,
    SCX,
    SCY,
    SSWEEP,
    SX0,
    SX1,
    SY0,
    SY1,
    SZ0,
    SZ1,
    Shape,
)
from kerfwright.verify.moves import Moves
from kerfwright.verify.near import pairs_in
from kerfwright.verify.slices import Slices
from kerfwright.verify.wanted import Wanted

_STRAIGHT_MM = 1e-3
"""A lead whose way is longer than its ends are apart by more is not straight."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OuterLeads:
    """L leads outside of their lines, and the slices of all.

    Parameters
    ----------
    slices : Slices
        The slices.
    row : ndarray of shape (L,), int
        Contour whose line each belongs to.
    corner, tip : ndarray of shape (L, 2), float
        Where the line ends, and the other end of the lead [mm].
    """

    slices: Slices
    row: I64
    corner: F64
    tip: F64


class _Ends(NamedTuple):
    """E ends of lines: place, direction of the line from there, how far outside, contour."""

    xy: F64
    way: F64
    most: F64
    row: I64


class _Strokes(NamedTuple):
    """N slices seen from the begin of their strokes, or all of it backwards from the end.

    Parameters
    ----------
    slice : ndarray of shape (N,), int
        Slice.
    first : ndarray of shape (N,), int
        Entry of the stroke's first slice.
    origin, point : ndarray of shape (N, 2), float
        Tip where the stroke begins, and where the slice ends [mm].
    way : ndarray of shape (N,), float
        Way from there to here [mm].
    usable : ndarray of shape (N,), bool
        Whether it is straight all the way, and the stroke goes on.
    """

    slice: I64
    first: I64
    origin: F64
    point: F64
    way: F64
    usable: BOOL


def split_leads(
    slices: Slices, moves: Moves, wanted: Wanted, design: Design, tolerances: Tolerances
) -> tuple[Slices, OuterLeads]:
    """Return the slices on lines, and the leads outside of them."""
    leads = design.row_leads_mm
    rolled = np.flatnonzero(moves.rolls[moves.station[slices.block]])
    is_outer = np.zeros(len(slices), bool)
    found = [(np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2)))]
    for backwards in (False, True):
        most = -np.minimum(leads[:, int(backwards)], 0.0)
        if not len(rolled) or not most.any():
            continue
        ends = _ends(wanted.shape, most)
        strokes = _strokes(slices, moves, rolled, backwards=backwards)
        entry, end = _leads(slices, strokes, ends, wanted, tolerances)
        for e in entry.tolist():
            is_outer[strokes.slice[strokes.first[e] : e + 1]] = True
        found.append((ends.row[end], ends.xy[end], strokes.origin[entry]))
    row, corner, tip = (np.concatenate(columns) for columns in zip(*found, strict=True))
    outer = OuterLeads(slices=_some(slices, is_outer), row=row, corner=corner, tip=tip)
    return (_some(slices, ~is_outer) if is_outer.any() else slices), outer


def tips_of(at: F64, ahead: F64) -> tuple[F64, F64]:
    """Return where the tips of some slices begin and end, by how far they are ahead of C."""
    one, two = (
        at[:, (x, y)] + ahead[:, None] * np.column_stack((np.cos(at[:, c]), np.sin(at[:, c])))
        for x, y, c in ((SX0, SY0, SC0), (SX1, SY1, SC1))
    )
    return one, two


def tip_ways(at: F64, ahead: F64) -> F64:
    """Return how far the tips of some slices go [mm]."""
    one, two = tips_of(at, ahead)
    bent = at[:, SSWEEP] != 0.0
    radius = np.hypot(*(one - at[:, SCX : SCY + 1]).T)
    ways: F64 = np.where(bent, radius * np.abs(at[:, SSWEEP]), np.hypot(*(two - one).T))
    return ways


def _some(slices: Slices, keep: BOOL) -> Slices:
    return Slices(
        at=slices.at[keep],
        block=slices.block[keep],
        stroke=slices.stroke[keep],
        blade=slices.blade[keep],
        length=slices.length[keep],
    )


def _ends(shape: Shape, most: F64) -> _Ends:
    """Return the ends at which lines may be entered from outside, in either direction."""
    corners, found = shape.corners, []
    for side, columns, along in ((AFTER, (KOUTX, KOUTY), 1.0), (BEFORE, (KINX, KINY), -1.0)):
        k = np.flatnonzero(shape.ends[:, side] >= 0)
        row = shape.links[shape.ends[k, side], ROW]
        k, row = k[most[row] > 0.0], row[most[row] > 0.0]
        found.append((corners[k, KX : KY + 1], along * corners[k][:, columns], most[row], row))
    return _Ends(*(np.concatenate(columns) for columns in zip(*found, strict=True)))


def _strokes(slices: Slices, moves: Moves, rolled: I64, *, backwards: bool) -> _Strokes:
    index = rolled[::-1] if backwards else rolled
    at, stroke = slices.at[index], slices.stroke[index]
    ahead = moves.blades[slices.blade[index], BREF]
    begin, end = tips_of(at, ahead)
    if backwards:
        begin, end = end, begin
    n = len(index)
    new = np.append([True], stroke[1:] != stroke[:-1])
    first = np.maximum.accumulate(np.where(new, np.arange(n), 0))
    is_last = np.append(new[1:], [True])
    way = np.cumsum(tip_ways(at, ahead))
    way -= np.append([0.0], way)[first]
    bent = np.cumsum((at[:, SSWEEP] != 0.0) | (at[:, SC0] != at[:, SC1]))
    bent -= np.append([0], bent)[first]
    return _Strokes(index, first, begin[first], end, way, (bent == 0) & ~is_last)


def _leads(
    slices: Slices, strokes: _Strokes, ends: _Ends, wanted: Wanted, tolerances: Tolerances
) -> tuple[I64, I64]:
    """Return the last slice of each lead, one per stroke at most, and the end of a line there."""
    cut, slack = tolerances.cut_mm, tolerances.uncut_mm
    near = np.flatnonzero(strokes.usable & (strokes.way <= ends.most.max(initial=0.0) + slack))
    box = np.hstack((strokes.point[near] - cut, strokes.point[near] + cut))
    one, end = pairs_in(box, np.hstack((ends.xy, ends.xy)))
    entry = near[one]
    d = ends.xy[end] - strokes.origin[entry]
    along, size = np.einsum("ij,ij->i", d, ends.way[end]), np.hypot(*d.T)
    off = np.abs(d[:, 0] * ends.way[end, 1] - d[:, 1] * ends.way[end, 0])
    at = slices.at[strokes.slice[strokes.first[entry]]]
    heading = np.column_stack((np.cos(at[:, SC0]), np.sin(at[:, SC0])))
    askew = np.abs(heading[:, 0] * ends.way[end, 1] - heading[:, 1] * ends.way[end, 0])
    fits = (along > 0.0) & (off <= cut) & (askew <= np.sin(tolerances.blade_rad))
    fits &= (strokes.way[entry] <= ends.most[end] + slack) & (
        strokes.way[entry] <= size + _STRAIGHT_MM
    )
    lowest = _lowest(slices, strokes, entry)
    fits &= lowest >= wanted.target_z[ends.row[end]] - tolerances.depth_mm
    entry, end = entry[fits], end[fits]
    order = np.lexsort((end, entry, strokes.first[entry]))
    entry, end = entry[order], end[order]
    _, one = np.unique(strokes.first[entry], return_index=True)
    return entry[one], end[one]


def _lowest(slices: Slices, strokes: _Strokes, entry: I64) -> F64:
    """Return the lowest tip from each stroke's begin to an entry [mm]."""
    at = slices.at[strokes.slice]
    z = np.minimum(at[:, SZ0], at[:, SZ1])
    bounds = np.column_stack((strokes.first[entry], entry + 1)).ravel()
    if not len(entry):
        return np.zeros(0)
    lowest: F64 = np.minimum.reduceat(np.append(z, [np.inf]), bounds)[::2]
    return lowest
