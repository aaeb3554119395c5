"""Strokes of a wheel: it rolls down to its depth along the line, and up again.

The stroke of a blade without width goes straight down, follows, and comes straight up. Here its
first and last stretch get a slope: on the line where the lead lies inside of it, or straight on
before and after it.
"""

from __future__ import annotations

from math import cos, hypot, nan, sin
from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import BOOL, F64
from kerfwright.kernels import inner, kernel
from kerfwright.model.motion import FeedKind, Kind, Role
from kerfwright.toolpath.shapes import SNAP
from kerfwright.toolpath.writing import (
    COLUMNS,
    CUT,
    CX,
    CY,
    FEED,
    FEED_KIND,
    KIND,
    ROLE,
    TURNED,
    C,
    X,
    Y,
    Z,
)

_LINE, _ARC = float(Kind.LINE), float(Kind.ARC)
_PATH = float(FeedKind.PATH)
_LEAD, _TURN, _LIFT = float(Role.LEAD), float(Role.TURN), float(Role.LIFT)
_PER_STROKE = 4
"""Most blocks a stroke gets in addition: one before, one after, two cut in two."""


class Leads(NamedTuple):
    """How a wheel gets to its depth.

    Parameters
    ----------
    down, up : float
        Way along the line over which it rolls down and up; below 0 before and after it [mm].
    top_z : float
        Height at which it touches the stock [mm].
    feed, plunge : float
        Rates along the line, and downwards and upwards at most [mm/s].
    track : float
        Its lowest point ahead of the C axis [mm].
    """

    down: float
    up: float
    top_z: float
    feed: float
    plunge: float
    track: float


class _Stroke(NamedTuple):
    """Lengths of a stroke's stretches, and its heights [mm]."""

    total: float
    down: float
    up: float
    top: float
    deep: float


@kernel
def with_leads(rows: F64, loop: BOOL, leads: Leads) -> F64:
    """Return rows of N cuts whose strokes have leads.

    On a whole smooth contour, said by `loop` (N,), leads lie on the contour whatever their sign.
    """
    strokes = 0
    for i in range(len(rows)):
        strokes += int(rows[i, ROLE] == _LIFT)
    out = np.zeros((len(rows) + _PER_STROKE * strokes, COLUMNS))
    n, begin = 0, 0
    for i in range(len(rows)):
        if rows[i, ROLE] == _LIFT:
            n = _stroke(out, n, rows[begin : i + 1], int(loop[int(rows[i, CUT])]), leads)
            begin = i + 1
    return out[:n]


@inner
def _stroke(out: F64, n: int, rows: F64, loop: int, leads: Leads) -> int:
    """Write one stroke: link, plunge, what is on the line, lift; return the next free row."""
    total = 0.0
    for i in range(2, len(rows) - 1):
        total += _length(rows[i], rows[i - 1], leads.track)
    down, up = (abs(leads.down), abs(leads.up)) if loop else (leads.down, leads.up)
    inside = max(down, 0.0) + max(up, 0.0)
    share = min(total / inside, 1.0) if inside > 0.0 else 1.0
    stroke = _Stroke(
        total, max(down, 0.0) * share, max(up, 0.0) * share, leads.top_z, rows[1, Z]
    )  # fmt: skip
    out[n], out[n + 1] = rows[0], rows[1]
    out[n + 1, Z] = leads.top_z if down != 0.0 else stroke.deep
    n += 2
    if down < 0.0:
        _shift(out[n - 2], down)
        _shift(out[n - 1], down)
        _copy_line(out[n], rows[1], stroke.deep, leads)
        n += 1
        _slow(out[n - 1], out[n - 2], -down, leads)
    n = _on_line(out, n, rows, stroke, leads)
    last = rows[len(rows) - 2]
    out[n] = rows[-1]
    if up < 0.0:
        _copy_line(out[n], last, leads.top_z, leads)
        _shift(out[n], -up)
        _slow(out[n], out[n - 1], -up, leads)
        n += 1
        out[n] = rows[-1]
        _shift(out[n], -up)
    return n + 1


@inner
def _on_line(out: F64, n: int, rows: F64, stroke: _Stroke, leads: Leads) -> int:
    """Write what is on the line, cut in two where a slope begins or ends."""
    s = 0.0
    for i in range(2, len(rows) - 1):
        way = _length(rows[i], rows[i - 1], leads.track)
        done = 0.0
        for bound in (stroke.down, stroke.total - stroke.up):
            if s + done + SNAP < bound < s + way - SNAP:
                _piece(out[n], rows[i], rows[i - 1], done / way, (bound - s) / way)
                out[n, Z] = _height(stroke, bound)
                _slow(out[n], out[n - 1], bound - s - done, leads)
                n, done = n + 1, bound - s
        _piece(out[n], rows[i], rows[i - 1], done / way if done > 0.0 else 0.0, 1.0)
        out[n, Z] = _height(stroke, s + way)
        _slow(out[n], out[n - 1], way - done, leads)
        n += 1
        s += way
    return n


@inner
def _height(stroke: _Stroke, s: float) -> float:
    """Return the height of the lowest point at a distance into the line."""
    fall, level = stroke.top - stroke.deep, stroke.total - stroke.up
    if s < stroke.down:
        return stroke.top - fall * (s / stroke.down)
    if s > level and stroke.up > 0.0:
        return stroke.deep + fall * min((s - level) / stroke.up, 1.0)
    return stroke.deep


@inner
def _length(row: F64, before: F64, track: float) -> float:
    """Return how far the lowest point goes along the line in a block."""
    if row[ROLE] == _TURN:
        return 0.0
    if row[KIND] != _ARC:
        return hypot(row[X] - before[X], row[Y] - before[Y])
    x = before[X] + track * cos(before[C]) - row[CX]
    y = before[Y] + track * sin(before[C]) - row[CY]
    return float(abs(row[TURNED]) * hypot(x, y))


@inner
def _piece(out: F64, row: F64, before: F64, first: float, last: float) -> None:
    """Write the piece of a block between two shares of it."""
    out[:] = row
    out[TURNED] = row[TURNED] * (last - first)
    if last == 1.0:
        return
    out[C] = before[C] + (row[C] - before[C]) * last
    if row[KIND] == _ARC:
        turn = row[TURNED] * last
        x, y = before[X] - row[CX], before[Y] - row[CY]
        out[X] = row[CX] + x * cos(turn) - y * sin(turn)
        out[Y] = row[CY] + x * sin(turn) + y * cos(turn)
    else:
        out[X] = before[X] + (row[X] - before[X]) * last
        out[Y] = before[Y] + (row[Y] - before[Y]) * last


@inner
def _copy_line(out: F64, there: F64, z: float, leads: Leads) -> None:
    """Write a straight lead to where a block ends."""
    out[:] = there
    out[KIND], out[ROLE], out[TURNED], out[Z] = _LINE, _LEAD, 0.0, z
    out[CX], out[CY] = nan, nan
    out[FEED], out[FEED_KIND] = leads.feed, _PATH


@inner
def _shift(row: F64, way: float) -> None:
    """Shift the end of a block along its heading."""
    row[X] += way * cos(row[C])
    row[Y] += way * sin(row[C])


@inner
def _slow(row: F64, before: F64, way: float, leads: Leads) -> None:
    """Lower the feed of a slope so that it goes down and up no faster than a plunge."""
    fall = abs(row[Z] - before[Z])
    if fall > 0.0 and way > 0.0:
        row[FEED] = min(row[FEED], leads.plunge * hypot(way, fall) / fall)
