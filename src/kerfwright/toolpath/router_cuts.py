"""Whole routed cuts: down, round in passes, the finishing lap, and out."""

from __future__ import annotations

from math import ceil, cos, pi, sin
from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.toolpath.router_blocks import (
    CUT,
    LEAD,
    Rates,
    Tabs,
    go_line,
    go_over,
    go_round,
    lift,
    move_z,
    run,
)
from kerfwright.toolpath.router_ring import Ring, length_of, nearest, place_at, wrapped
from kerfwright.toolpath.writing import AT_X, AT_Y, AT_Z, COLUMNS, STATE, Out
from kerfwright.toolpath.writing import CUT as CUT_COLUMN

PLUNGE, RAMP, HELIX = range(3)
"""Ways down."""

_TOUCH_MM = 1e-6  # a lead circle that is no nearer to the ring than this only touches it

PATH, PLACE, LEAD_MM = range(3)
"""Columns of a cut: contour, the place on its ring at which it ends (of an open line at which it
begins, 0 or more), and the radius of the lead circle, after a
ramp how far the last lap goes on past its end [mm]."""


class Manner(NamedTuple):
    """How the contours of one operation are cut.

    Parameters
    ----------
    down : int
        PLUNGE, RAMP or HELIX.
    waste_side : float
        Side of travel that is waste, +1 left.
    tab_z : float
        Least height of the tip over tabs [mm].
    blend : float
        Way over which the finishing lap is come to [mm].
    """

    down: int
    waste_side: float
    tab_z: float
    blend: float


class Rings(NamedTuple):
    """The rings of K contours: a first one for the depth passes, a last one for the finish."""

    edge: F64
    first: I64
    closed: BOOL
    tab: F64
    first_tab: I64


@inner
def ring_of(rings: Rings, k: int) -> Ring:
    """Return the ring of a contour."""
    return Ring(rings.edge[rings.first[k] : rings.first[k + 1]], rings.closed[k])


@inner
def _tabs_of(rings: Rings, k: int, top_z: float) -> Tabs:
    return Tabs(rings.tab[rings.first_tab[k] : rings.first_tab[k + 1]], top_z)


@kernel
def make(
    cuts: F64, counts: I64, rough: Rings, finish: Rings, manner: Manner, levels: F64, rates: Rates
) -> tuple[F64, F64]:
    """Make N cuts; return where each ends, shape (N, 10), and their rows one after the other.

    `counts` (N,) is the number of rows of each as measured by a first call without counts, which
    returns no rows. `levels` (P,) are the heights of the tip, pass after pass. A contour has a
    finishing ring where that has any edge.
    """
    total = 0
    for count in counts:
        total += count
    rows = np.zeros((total, COLUMNS))
    ends = np.zeros((len(cuts), STATE))
    done = 0
    for n in range(len(cuts)):
        k = int(cuts[n, PATH])
        after = done + (counts[n] if len(counts) else 0)
        out = Out(rows[done:after], ends[n])
        if rough.closed[k]:
            _closed(out, rough, finish, cuts[n], manner, levels, rates)
        else:
            sense = -1.0 if cuts[n, PLACE] > 0.0 else 1.0
            _open(out, ring_of(rough, k), sense, manner, levels, rates)
        for i in range(done, after):
            rows[i, CUT_COLUMN] = n
        done = after
    return ends, rows


class Lead(NamedTuple):
    """The lead circle: centre, radius, and a quarter turn the way it is travelled."""

    x: float
    y: float
    radius: float
    quarter: float


@inner
def _lead_at(ring: Ring, s: float, radius: float, side: float) -> tuple[Lead, float, float]:
    """Return the lead circle at a place, and where on it the quarter before the place begins."""
    x, y, heading = place_at(ring, s)
    cx, cy = x - side * radius * sin(heading), y + side * radius * cos(heading)
    if radius > 0.0:
        x, y = cx - radius * cos(heading), cy - radius * sin(heading)
    return Lead(cx, cy, radius, side * pi / 2.0), x, y


@inner
def _closed(
    out: Out, rough: Rings, finish: Rings, cut: F64, manner: Manner, levels: F64, rates: Rates
) -> None:
    k, place, radius = int(cut[PATH]), cut[PLACE], cut[LEAD_MM]
    ring = ring_of(rough, k)
    tabs = _tabs_of(rough, k, manner.tab_z)
    if manner.down == RAMP:
        _ramp_down(out, ring, place, tabs, levels, rates)
    else:
        _drop_down(out, ring, place, radius, tabs, manner, levels, rates)
    if finish.first[k + 1] > finish.first[k]:
        ring = ring_of(finish, k)
        place = _finish(out, ring, _tabs_of(finish, k, manner.tab_z), manner.blend, rates)
        tabs = _tabs_of(finish, k, manner.tab_z)
    if manner.down == RAMP:
        z = levels[len(levels) - 1]
        run(out, ring, place, min(radius, length_of(ring)), z, z, tabs, rates)
    elif radius > 0.0:
        _leave(out, ring, place, radius, manner.waste_side, rates)
    lift(out, rates)


@inner
def _ramp_down(out: Out, ring: Ring, place: float, tabs: Tabs, levels: F64, rates: Rates) -> None:
    """Go down along the ring, a lap after each ramp; the last lap ends at the place."""
    total, z = length_of(ring), rates.top_z
    s = wrapped(ring, place - (z - levels[len(levels) - 1]) / rates.slope)
    x, y, _ = place_at(ring, s)
    go_over(out, x, y, rates)
    move_z(out, z, rates)
    for level in levels:
        way = (z - level) / rates.slope
        run(out, ring, s, way, z, level, tabs, rates)
        run(out, ring, s + way, total, level, level, tabs, rates)
        s, z = s + way, level


@inner
def _drop_down(
    out: Out, ring: Ring, place: float, radius: float, tabs: Tabs, manner: Manner, levels: F64,
    rates: Rates,
) -> None:  # fmt: skip
    """Go down beside the ring, by a helix or straight, come to it by a quarter circle, and lap."""
    lead, x, y = _lead_at(ring, place, radius, manner.waste_side)
    go_over(out, x, y, rates)
    z = rates.top_z
    for p in range(len(levels)):
        if p > 0:
            go_round(out, lead.x, lead.y, 3.0 * lead.quarter, 0.0, rates.feed, LEAD)
        if manner.down == HELIX and radius > 0.0:
            move_z(out, z, rates)
            turns = max(1.0, ceil((z - levels[p]) / (2.0 * pi * radius * rates.slope) - 1e-9))
            go_round(
                out, lead.x, lead.y, 4.0 * turns * lead.quarter, z - levels[p], rates.feed, LEAD
            )
        else:
            move_z(out, levels[p], rates)
        go_round(out, lead.x, lead.y, lead.quarter, 0.0, rates.feed, LEAD)
        z = levels[p]
        run(out, ring, place, length_of(ring), z, z, tabs, rates)


@inner
def _leave(out: Out, ring: Ring, place: float, radius: float, side: float, rates: Rates) -> None:
    """Leave by the lead circle, whose material is gone since the cutter went down in it."""
    lead, _, _ = _lead_at(ring, place, radius, side)
    gap, _ = nearest(ring, lead.x, lead.y)
    if gap >= radius - _TOUCH_MM:
        go_round(out, lead.x, lead.y, lead.quarter, 0.0, rates.feed, LEAD)


@inner
def _finish(out: Out, ring: Ring, tabs: Tabs, blend: float, rates: Rates) -> float:
    """Go over to the finishing ring and round it once; return the place it ends at."""
    z = out.at[AT_Z]
    _, foot = nearest(ring, out.at[AT_X], out.at[AT_Y])
    x, y, _ = place_at(ring, foot + blend)
    go_line(out, x, y, z, rates.feed, CUT)
    run(out, ring, foot + blend, length_of(ring), z, z, tabs, rates)
    return foot + blend


@inner
def _open(out: Out, ring: Ring, sense: float, manner: Manner, levels: F64, rates: Rates) -> None:
    """Go to and fro, each time deeper; after a ramp once more, so that its way is at full depth."""
    total = length_of(ring)
    none = Tabs(np.zeros((0, 2)), rates.top_z)
    ramps = manner.down == RAMP
    s = total if sense < 0.0 else 0.0
    x, y, _ = place_at(ring, s)
    go_over(out, x, y, rates)
    z = rates.top_z
    for level in levels:
        if not ramps:
            move_z(out, level, rates)
            z = level
        move_z(out, z, rates)
        while (z - level) / rates.slope > total:  # too short for the ramp in one go
            lower = z - total * rates.slope
            run(out, ring, s, sense * total, z, lower, none, rates)
            s, sense, z = s + sense * total, -sense, lower
        way = (z - level) / rates.slope
        run(out, ring, s, sense * way, z, level, none, rates)
        rest = total - way
        run(out, ring, s + sense * way, sense * rest, level, level, none, rates)
        s, sense, z = s + sense * total, -sense, level
    if ramps:
        run(out, ring, s, sense * total, z, z, none, rates)
    lift(out, rates)


@kernel
def feet_on_rings(rings: Rings, path: I64, xy: F64) -> F64:
    """Return the place on a contour's ring nearest to each point, shape (N,) [mm]."""
    out = np.zeros(len(path))
    for i in range(len(path)):
        _, out[i] = nearest(ring_of(rings, path[i]), xy[i, 0], xy[i, 1])
    return out


@kernel
def lead_radii(
    rings: Rings, path: I64, place: F64, side: float, radius: float, least: float
) -> F64:
    """Return the radius that has room at each place, 0 for none, shape (N,) [mm].

    One that has none is tried at half, as long as that is not below the least.

    A lead circle that touches its own ring only where it leads to stays clear of the contour.
    """
    out = np.zeros(len(path))
    for i in range(len(path)):
        ring = ring_of(rings, path[i])
        r = radius
        while r >= least:
            lead, _, _ = _lead_at(ring, place[i], r, side)
            gap, _ = nearest(ring, lead.x, lead.y)
            if gap >= r - _TOUCH_MM:
                out[i] = r
                break
            r *= 0.5
    return out
