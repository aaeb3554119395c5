"""Every touch of the tool on a part that is free, and how much of its hold each one uses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from kerfwright.geometry.record import F64, I64, Record
from kerfwright.holddown.bodies import Bodies
from kerfwright.holddown.figures import Figures
from kerfwright.holddown.freeing import NEVER, Freeing
from kerfwright.holddown.pieces import Pieces
from kerfwright.holddown.tool_kinds import By
from kerfwright.mechanics import friction_use, resistance_n, tip_use

GRAVITY_M_S2 = 9.80665
"""Standard gravity, from memory."""
GAP = 1e-4
"""Relative gap between the bounds on friction that is enough; the safe bound is used."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Touches(Record):
    """L moments at which the tool touches a part that is free.

    Parameters
    ----------
    body, piece : ndarray of shape (L,), int
        Part and piece of the motion; the number of pieces stands for after the last.
    xy : ndarray of shape (L, 2), float
        Where the tool is [mm].
    along : ndarray of shape (L, 2), float
        Direction in which it pulls, 0 where it does not.
    by : ndarray of shape (L,), int
        Kind of tool.
    size : ndarray of shape (L,), float
        What its force grows with, see `Pieces`; 0 where nothing touches.
    lifts : ndarray of shape (L,), float
        1 where it pulls upwards, else 0.
    """

    body: I64
    piece: I64
    xy: F64
    along: F64
    by: I64
    size: F64
    lifts: F64


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Uses(Record):
    """Load and use of hold of L touches at one end of the ranges.

    Parameters
    ----------
    slide, tip : ndarray of shape (L,), float
        Load over what is held, sideways with the upward pull, and against tipping.
    load_n : ndarray of shape (L, 2), float
        Force sideways [N].
    up_n, normal_n, moment_nmm : ndarray of shape (L,), float
        Pull upwards, force down, moment about its centre [N, N mm].
    gap : float
        Greatest relative distance between the bounds on the friction limit.
    """

    slide: F64
    tip: F64
    load_n: F64
    up_n: F64
    normal_n: F64
    moment_nmm: F64
    gap: float


def find_touches(
    bodies: Bodies, pieces: Pieces, freeing: Freeing, *, web_mm: float, near_mm: float
) -> Touches:
    """Return both ends of every piece that touches a free part, and one row for each other part.

    Of the piece during which a part comes loose only the last `web_mm` count. A cutter's force
    turns with its teeth, so it is looked at along its way, against it, and to both sides.
    """
    piece, body = _near(bodies, pieces, freeing, near_mm)
    way = pieces.end[piece] - pieces.begin[piece]
    length = np.hypot(way[:, 0], way[:, 1])
    cut = np.where(piece == freeing.loose[body], np.maximum(length - web_mm, 0.0), 0.0)
    share = cut / np.where(length > 0.0, length, 1.0)
    begin = pieces.begin[piece] + way * share[:, None]
    rest = np.setdiff1d(np.arange(len(bodies.row)), body)
    first = np.array([shapely.get_coordinates(bodies.ring[b])[0] for b in rest]).reshape(-1, 2)
    nothing = np.zeros(len(rest))
    along = np.concatenate((pieces.along_begin[piece], pieces.along_end[piece]))
    return every_way(
        Touches(
            body=np.concatenate((body, body, rest)),
            piece=np.concatenate((piece, piece, np.full(len(rest), len(pieces)))),
            xy=np.concatenate((begin, pieces.end[piece], first)),
            along=np.concatenate((along, np.zeros((len(rest), 2)))),
            by=np.concatenate((pieces.by[piece], pieces.by[piece], np.zeros(len(rest)))),
            size=np.concatenate((pieces.size[piece], pieces.size[piece], nothing)),
            lifts=np.concatenate((pieces.lifts[piece], pieces.lifts[piece], nothing)),
        )
    )


def every_way(touches: Touches) -> Touches:
    """Return the touches with those of cutters against their way and to both sides as well."""
    turns = np.flatnonzero((touches.by == By.CUTTER) & (touches.size > 0.0))
    rows = np.concatenate((np.arange(len(touches.body)), np.tile(turns, 3)))
    along = touches.along[rows]
    x, y = touches.along[turns].T
    aside = (np.column_stack((-y, x)), np.column_stack((y, -x)), np.column_stack((-x, -y)))
    along[len(touches.body) :] = np.concatenate(aside)
    return Touches(
        along=along,
        **{n: getattr(touches, n)[rows] for n in ("body", "piece", "xy", "by", "size", "lifts")},
    )


def _near(bodies: Bodies, pieces: Pieces, freeing: Freeing, near_mm: float) -> tuple[I64, I64]:
    """Return piece and part of every touch from when the part is loose."""
    earliest = int(freeing.loose.min(initial=NEVER))
    if earliest == NEVER:
        none = np.zeros(0, np.int64)
        return none, none
    rows = np.arange(earliest, len(pieces))
    lines = shapely.linestrings(np.stack((pieces.begin[rows], pieces.end[rows]), axis=1))
    tree = shapely.STRtree(bodies.polygon)
    reach = near_mm + pieces.reach_mm[rows]
    which, body = tree.query(lines, predicate="dwithin", distance=reach)
    piece, body = rows[which], body.astype(np.int64)
    late = piece >= freeing.loose[body]
    return piece[late], body[late]


def use_of_hold(
    bodies: Bodies,
    touches: Touches,
    vacuum_pa: F64,
    figures: Figures,
    *,
    end: int,
    thickness_mm: float,
) -> Uses:
    """Return how much of its hold each touch uses.

    Parameters
    ----------
    bodies, touches : Bodies, Touches
        Parts and touches.
    vacuum_pa : ndarray of shape (L, Z), float
        Vacuum of each zone at each touch [Pa].
    figures : Figures
        Ranges.
    end : int
        `LOW` or `TYPICAL`.
    thickness_mm : float
        Of the stock; its weight presses the part down too [mm].

    Notes
    -----
    With the share U of friction used and the pull F against the force N, a load grown by the
    factor m slides when ``m U N = N - m F``, so the use is ``U + F / N``.
    """
    force = _force_n(touches, figures, end)
    load = touches.along * force[:, None]
    by_cutter = touches.by == By.CUTTER
    share = np.where(by_cutter, figures.upcut_share[end], figures.lift_share[end])
    up = force * touches.lifts * share
    weight_mpa = figures.density_kg_m3[end] * GRAVITY_M_S2 * thickness_mm * 1e-9
    pressure = np.column_stack((vacuum_pa * 1e-6, np.zeros(len(load)))) + weight_mpa
    turn = touches.xy[:, 0] * load[:, 1] - touches.xy[:, 1] * load[:, 0]
    friction = friction_use(
        bodies.edges,
        bodies.zone,
        bodies.starts,
        body=touches.body,
        pressure_mpa=pressure,
        load=np.column_stack((load, turn)),
        friction=figures.friction[end],
        tolerance=GAP,
    )
    tip = tip_use(
        bodies.hull,
        bodies.hull_starts,
        body=touches.body,
        normal_n=friction.normal_n,
        centre=friction.centre,
        up_n=up,
        up_xy=touches.xy,
    )
    down = friction.normal_n
    pull = np.divide(up, down, out=np.where(up > 0.0, np.inf, 0.0), where=down > 0.0)
    known = np.isfinite(friction.high) & (friction.low > 0.0)
    gap = np.max(friction.high[known] / friction.low[known] - 1.0, initial=0.0)
    return Uses(
        slide=friction.high + pull,
        tip=tip,
        load_n=load,
        up_n=up,
        normal_n=down,
        moment_nmm=np.where(down > 0.0, friction.moment_nmm, 0.0),
        gap=float(gap),
    )


def _force_n(touches: Touches, figures: Figures, end: int) -> F64:
    """Return the force of the tool at each touch [N]."""
    blade, cutter, wheel = (touches.by == kind for kind in (By.BLADE, By.CUTTER, By.WHEEL))
    force = resistance_n(figures.resistance_n_mm[end], np.where(blade, touches.size, 0.0))
    force += np.where(cutter, touches.size, 0.0) * figures.cutting_n_mm2[end]
    force += np.where(wheel, touches.size, 0.0) * figures.crease_drag_n[end]
    return force
