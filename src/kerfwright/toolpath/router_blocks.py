"""Blocks of motion as a cutter makes them: along a ring, down, round a lead circle."""

from __future__ import annotations

from math import cos, hypot, inf, nan, pi, sin
from typing import NamedTuple

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner
from kerfwright.model.motion import FeedKind, Kind, Role
from kerfwright.toolpath import writing
from kerfwright.toolpath.router_ring import (
    BEGIN,
    CX,
    CY,
    LENGTH,
    SWEEP,
    Ring,
    edge_at,
    length_of,
    point_on,
    wrapped,
)
from kerfwright.toolpath.writing import (
    AT_X,
    AT_Y,
    AT_Z,
    COUNT,
    FEED,
    FEED_KIND,
    IN_X,
    IN_Y,
    KIND,
    ROLE,
    TIME,
    TURNED,
    Out,
    X,
    Y,
    Z,
)

_RAPID, _LINE, _ARC = float(Kind.RAPID), float(Kind.LINE), float(Kind.ARC)
_PATH = float(FeedKind.PATH)
LINK, PLUNGE, LEAD = float(Role.LINK), float(Role.PLUNGE), float(Role.LEAD)
CUT, LIFT = float(Role.CUT), float(Role.LIFT)
"""Roles of blocks."""

_NO_WAY_MM = 1e-9
_CENTRE_X, _CENTRE_Y = writing.CX, writing.CY


class Rates(NamedTuple):
    """Feeds and heights of one operation.

    Parameters
    ----------
    feed, plunge : float
        Feed in the cut and straight down [mm/s].
    lift_z, top_z : float
        Height between cuts, and of the top face [mm].
    slope : float
        Greatest fall per way of ramp and helix.
    """

    feed: float
    plunge: float
    lift_z: float
    top_z: float
    slope: float


class Tabs(NamedTuple):
    """Stretches of a ring the cutter crosses raised.

    Parameters
    ----------
    span : ndarray of shape (T, 2), float
        Places each begins and ends at; the end may lie beyond the ring's length [mm].
    top_z : float
        Least height of the tip there [mm].
    """

    span: F64
    top_z: float


@inner
def _put(out: Out, kind: float, x: float, y: float, z: float, seconds: float, role: float) -> None:
    n, at = int(out.at[COUNT]), out.at
    at[COUNT], at[AT_X], at[AT_Y], at[AT_Z] = n + 1, x, y, z
    at[TIME] += seconds
    if len(out.rows):
        row = out.rows[n]
        row[KIND], row[X], row[Y], row[Z], row[ROLE] = kind, x, y, z, role
        row[_CENTRE_X], row[_CENTRE_Y] = nan, nan


@inner
def _feed(out: Out, feed: float) -> None:
    if len(out.rows):
        row = out.rows[int(out.at[COUNT]) - 1]
        row[FEED], row[FEED_KIND] = feed, _PATH


@inner
def go_over(out: Out, x: float, y: float, rates: Rates) -> None:
    """Travel, lifted, to where the cut begins."""
    out.at[IN_X], out.at[IN_Y] = x, y
    _put(out, _RAPID, x, y, rates.lift_z, 0.0, LINK)


@inner
def move_z(out: Out, z: float, rates: Rates) -> None:
    """Go straight down or, inside a cut, up."""
    at = out.at
    if abs(z - at[AT_Z]) <= _NO_WAY_MM:
        return
    role = PLUNGE if z < at[AT_Z] else CUT
    _put(out, _LINE, at[AT_X], at[AT_Y], z, abs(z - at[AT_Z]) / rates.plunge, role)
    _feed(out, rates.plunge)


@inner
def lift(out: Out, rates: Rates) -> None:
    """Go straight up out of the cut."""
    at = out.at
    seconds = (rates.lift_z - at[AT_Z]) / rates.plunge
    _put(out, _RAPID, at[AT_X], at[AT_Y], rates.lift_z, seconds, LIFT)


@inner
def go_line(out: Out, x: float, y: float, z: float, feed: float, role: float) -> None:
    """Go straight."""
    at = out.at
    way = hypot(hypot(x - at[AT_X], y - at[AT_Y]), z - at[AT_Z])
    if way > _NO_WAY_MM:
        _put(out, _LINE, x, y, z, way / feed, role)
        _feed(out, feed)


@inner
def go_arc(
    out: Out, cx: float, cy: float, sweep: float, x: float, y: float, z: float, feed: float,
    role: float,
) -> None:  # fmt: skip
    """Go round a centre to a point, rising or falling evenly."""
    at = out.at
    way = abs(sweep) * hypot(at[AT_X] - cx, at[AT_Y] - cy)
    if way <= _NO_WAY_MM:
        return
    _put(out, _ARC, x, y, z, hypot(way, z - at[AT_Z]) / feed, role)
    _feed(out, feed)
    if len(out.rows):
        row = out.rows[int(at[COUNT]) - 1]
        row[_CENTRE_X], row[_CENTRE_Y], row[TURNED] = cx, cy, sweep


@inner
def go_round(
    out: Out, cx: float, cy: float, turn: float, drop: float, feed: float, role: float
) -> None:
    """Go round a centre by any turn, in pieces of at most half a circle, falling evenly."""
    pieces = max(1, int(abs(turn) / pi + 0.999999))
    dx, dy, z = out.at[AT_X] - cx, out.at[AT_Y] - cy, out.at[AT_Z]
    for k in range(1, pieces + 1):
        a = turn * k / pieces
        x, y = cx + dx * cos(a) - dy * sin(a), cy + dx * sin(a) + dy * cos(a)
        go_arc(out, cx, cy, turn / pieces, x, y, z - drop * k / pieces, feed, role)


@inner
def run(
    out: Out, ring: Ring, begin: float, way: float, z0: float, z1: float, tabs: Tabs, rates: Rates
) -> None:
    """Follow a ring from a place for a signed way, from one height evenly to another.

    Over tabs the tip stays at their top or above: it goes straight up where one begins and
    straight down where it ends.
    """
    sense = 1.0 if way >= 0.0 else -1.0
    whole, done = abs(way), 0.0
    while whole - done > _NO_WAY_MM:
        at = wrapped(ring, begin + sense * done)
        if ring.closed and sense < 0.0 and at <= _NO_WAY_MM:
            at = length_of(ring)
        # the edge ahead: at a joint the next one, seen the way it is run
        i = edge_at(ring, at + sense * _NO_WAY_MM)
        row = ring.edge[i]
        left = row[BEGIN] + row[LENGTH] - at if sense > 0.0 else at - row[BEGIN]
        left = min(left, whole - done)
        if min(z0, z1) < tabs.top_z:
            left = min(left, _to_tab_end(ring, at, sense, tabs))
        z_here, z_there = z0 + (z1 - z0) * done / whole, z0 + (z1 - z0) * (done + left) / whole
        if min(z0, z1) < tabs.top_z and _in_tab(ring, at + 0.5 * sense * left, tabs):
            crosses = (z_here - tabs.top_z) * (z_there - tabs.top_z) < 0.0
            if crosses:  # a ramp that comes below the tab's top on the way
                left *= (z_here - tabs.top_z) / (z_here - z_there)
                z_there = tabs.top_z
            z_here, z_there = max(z_here, tabs.top_z), max(z_there, tabs.top_z)
        move_z(out, z_here, rates)
        _along(out, row, at - row[BEGIN] + sense * left, sense * left, z_there, rates.feed)
        done += max(left, _NO_WAY_MM)


@inner
def _along(out: Out, row: F64, to: float, way: float, z: float, feed: float) -> None:
    x, y = point_on(row, to)
    if row[SWEEP] == 0.0:
        go_line(out, x, y, z, feed, CUT)
    else:
        go_arc(out, row[CX], row[CY], row[SWEEP] * way / row[LENGTH], x, y, z, feed, CUT)


@inner
def _in_tab(ring: Ring, s: float, tabs: Tabs) -> bool:
    total = length_of(ring)
    for t in range(len(tabs.span)):
        low, high = tabs.span[t, 0], tabs.span[t, 1]
        if (s - low) % total < high - low:
            return True
    return False


@inner
def _to_tab_end(ring: Ring, s: float, sense: float, tabs: Tabs) -> float:
    """Return the way to the next place at which a tab begins or ends, or infinity."""
    total, best = length_of(ring), inf
    for t in range(len(tabs.span)):
        for side in range(2):
            ahead = (sense * (tabs.span[t, side] - s)) % total
            if ahead > _NO_WAY_MM and ahead < best:
                best = ahead
    return best
