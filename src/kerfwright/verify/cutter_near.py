"""Which cutter ways and which routed contours lie near one another, and which belong together."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from kerfwright.kernels import inner, kernel
from kerfwright.model.design import Design
from kerfwright.model.operation import Process
from kerfwright.model.tooling import Cutter
from kerfwright.verify.assign import is_right_tool
from kerfwright.verify.columns import (
    BOOL,
    F64,
    I64,
    LENGTH,
    NEXT,
    PREVIOUS,
    ROW,
    UX,
    UY,
    X0,
    Y0,
    Shape,
)
from kerfwright.verify.cutter_curves import point_at
from kerfwright.verify.cutter_ways import Ways
from kerfwright.verify.foot import foot
from kerfwright.verify.moves import Moves
from kerfwright.verify.near import curve_boxes, pairs_in, piece_boxes
from kerfwright.verify.wanted import Wanted

ROOM_MM = 3.0
"""How far an axis may be beyond radius and lead from a contour and still belong to it."""
_MISFIT_MM = 0.5  # what the wrong tool costs, as a distance
_END_MM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Routed:
    """What routed rows ask for; K rows, those of other tools with `is_routed` False.

    Parameters
    ----------
    is_routed, is_on : ndarray of shape (K,), bool
        Whether a cutter routes it; whether its axis runs on the contour itself.
    radius : ndarray of shape (K,), float
        Radius of the tool asked for at the top face when at full depth [mm].
    part_side : ndarray of shape (K,), int
        Side of what is protected, seen along the drawn direction: 1 left, -1 right, 0 none.
    deep_z : ndarray of shape (K,), float
        A tip at or below it is at full depth [mm].
    reach : ndarray of shape (K,), float
        An axis that is farther away does not belong to it [mm].
    profile : ndarray of shape (N, 2), float
        Radius and height of all cutters' profiles.
    knots : ndarray of shape (T + 1,), int
        Where the profile of each tool of the design begins.
    """

    is_routed: BOOL
    is_on: BOOL
    radius: F64
    part_side: I64
    deep_z: F64
    reach: F64
    profile: F64
    knots: I64


@dataclass(frozen=True, slots=True, kw_only=True)
class Meetings:
    """G pairs of a way and a routed contour near it.

    Parameters
    ----------
    way, row : ndarray of shape (G,), int
        Way and contour, in order.
    first : ndarray of shape (G + 1,), int
        The pieces of that contour near the way are ``near[first[g]:first[g + 1]]``.
    near : ndarray of int
        Pieces.
    signed : ndarray of shape (G,), float
        Distance of the middle of the way from the contour, positive on the left [mm].
    heading : ndarray of shape (G,), float
        Heading of the contour where it is nearest to that [rad].
    row_of : ndarray of shape (W,), int
        Contour each way belongs to, -1 for none.
    stroke_row : ndarray of shape (S,), int
        Contour each stroke belongs to, -1 for none.
    shares : ndarray of shape (G,), bool
        Whether the way belongs to the contour, alone or with others on top of it.
    """

    way: I64
    row: I64
    first: I64
    near: I64
    signed: F64
    heading: F64
    row_of: I64
    stroke_row: I64
    shares: BOOL


def routed_of(design: Design, wanted: Wanted, program_mm: float, depth_mm: float) -> Routed:
    """Return what the routed rows of a design ask for."""
    tools = [design.tools[t] for t in design.tool.tolist()]
    operations = [design.operations[o] for o in design.operation.tolist()]
    rows = [
        isinstance(t, Cutter) and o.process is Process.ROUTING
        for t, o in zip(tools, operations, strict=True)
    ]
    is_routed = np.array(rows, bool)
    sides = np.array([("on", "outside", "inside").index(o.side) for o in operations], np.int64)
    area = design.nominal.areas_mm2() if len(design.nominal) else np.zeros(0)
    area = np.where(wanted.turns_over, -area, area) if len(area) else area
    side = np.array((0, 1, -1))[sides] * np.sign(area).astype(np.int64)
    side[~wanted.shape.closed | ~is_routed] = 0
    deepest = design.top_z_mm - wanted.target_z
    pairs = zip(tools, deepest.tolist(), strict=True)
    radius = [t.radius_at_mm(d) if isinstance(t, Cutter) else 0.0 for t, d in pairs]
    full = np.array(radius, float)
    lead = np.array([0.0 if o.routing is None else o.routing.lead_mm for o in operations], float)
    through = np.array([o.goes_through for o in operations], bool)
    deep = wanted.target_z + depth_mm
    deep = np.where(through, np.minimum(deep, design.bottom_z_mm + program_mm), deep)
    profiles = [t.profile_mm if isinstance(t, Cutter) else np.zeros((1, 2)) for t in design.tools]
    counts = np.array([len(p) for p in profiles], np.int64)
    return Routed(
        is_routed=is_routed,
        is_on=side == 0,
        radius=full,
        part_side=side,
        deep_z=deep,
        reach=full + 2.0 * lead + ROOM_MM,
        profile=np.concatenate([*profiles, np.zeros((0, 2))]),
        knots=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
    )


def meetings_of(
    ways: Ways, routed: Routed, wanted: Wanted, moves: Moves, design: Design, tied_mm: float
) -> Meetings:
    """Return which ways and routed contours lie near one another, and which belong together."""
    shape = wanted.shape
    way, piece = _pairs(ways, routed, shape)
    row = shape.links[piece, ROW]
    order = np.lexsort((piece, row, way))
    way, row, piece = way[order], row[order], piece[order]
    new = np.ones(len(way), bool)
    new[1:] = (way[1:] != way[:-1]) | (row[1:] != row[:-1])
    start = np.flatnonzero(new)
    first = np.append(start, len(way))
    way, row = way[start], row[start]
    signed, heading = _middles(shape, ways.pieces, way, first, piece)
    misfit = np.abs(np.abs(signed) - np.where(routed.is_on[row], 0.0, routed.radius[row]))
    wrong_side = np.sign(signed) == routed.part_side[row]
    misfit += np.where(wrong_side & ~routed.is_on[row], np.abs(signed), 0.0)
    station = moves.station[ways.block[way]]
    misfit += _MISFIT_MM * ~is_right_tool(row, station, moves, design)
    in_reach = np.abs(signed) <= routed.reach[row]
    stroke_row, row_of, shares = _belonging(ways, way, row, misfit, in_reach, routed, tied_mm)
    return Meetings(
        way=way,
        row=row,
        first=first,
        near=piece,
        signed=signed,
        heading=heading,
        row_of=row_of,
        stroke_row=stroke_row,
        shares=shares,
    )


def _pairs(ways: Ways, routed: Routed, shape: Shape) -> tuple[I64, I64]:
    own = shape.links[:, ROW]
    pieces = np.flatnonzero(routed.is_routed[own])
    boxes = piece_boxes(shape)[pieces]
    boxes += routed.reach[own[pieces], None] * np.array((-1.0, -1.0, 1.0, 1.0))
    way, index = pairs_in(curve_boxes(ways.pieces), boxes)
    return way, pieces[index]


def _belonging(
    ways: Ways,
    way: I64,
    row: I64,
    misfit: F64,
    in_reach: BOOL,
    routed: Routed,
    tied_mm: float,
) -> tuple[I64, I64, BOOL]:
    """Return the contour of each stroke and of each way, and which pairs belong together.

    A stroke belongs to the contour it fits best along all of its way, and so does each of its
    ways that is in reach of that; another goes to the contour it fits best itself.
    """
    rows, strokes = max(len(routed.radius), 1), int(ways.stroke.max(initial=-1)) + 1
    weight = np.maximum(ways.pieces[way, LENGTH], 1e-3)
    most = 2.0 * routed.reach.max(initial=0.0)
    gain = np.where(in_reach, np.maximum(most - misfit, 0.0), 0.0) * weight
    key, index = np.unique(ways.stroke[way] * rows + row, return_inverse=True)
    total = np.round(np.bincount(index, weights=gain, minlength=len(key)), 6)
    order = np.lexsort((-key, total, key // rows))
    stroke_row = np.full(strokes, -1, np.int64)
    usable = order[total[order] > 0.0]
    stroke_row[key[usable] // rows] = key[usable] % rows
    best = stroke_row[ways.stroke[way]]
    follows = in_reach & (row == best)
    row_of = np.full(len(ways), -1, np.int64)
    order = np.flatnonzero(in_reach)
    order = order[np.lexsort((row[order], misfit[order], ~follows[order]))][::-1]
    row_of[way[order]] = row[order]
    cost = np.full(len(ways), np.inf)
    mine = row == row_of[way]
    cost[way[mine]] = misfit[mine]
    shares = in_reach & (mine | (misfit <= cost[way] + tied_mm))
    return stroke_row, row_of, shares


@kernel
def _middles(shape: Shape, ways: F64, way: I64, first: I64, near: I64) -> tuple[F64, F64]:
    signed, heading = np.zeros(len(way)), np.zeros(len(way))
    for g in range(len(way)):
        one = ways[way[g]]
        x, y = point_at(one, one[LENGTH] / 2.0) if one[LENGTH] > 0.0 else (one[X0], one[Y0])
        signed[g], heading[g] = signed_distance(shape, near, first[g], first[g + 1], x, y)
    return signed, heading


@inner
def signed_distance(
    shape: Shape, near: I64, low: int, high: int, x: float, y: float
) -> tuple[float, float]:
    """Return the distance from the nearest of some pieces, positive on the left, and its heading.

    Where a vertex is nearest, the sum of the normals of the pieces that meet there tells the side.
    """
    best, owner, at, heading = inf, -1, 0.0, 0.0
    for j in range(low, high):
        piece = shape.pieces[near[j]]
        d, along, head = foot(piece, x, y)
        if d < best:
            best, owner, at, heading = d, near[j], along, head
    if owner < 0:
        return inf, 0.0
    piece = shape.pieces[owner]
    fx, fy = point_at(piece, at)
    tx, ty = np.cos(heading), np.sin(heading)
    other = -1
    if at <= _END_MM:
        other = shape.links[owner, PREVIOUS]
    elif at >= piece[LENGTH] - _END_MM:
        other = shape.links[owner, NEXT]
    if other >= 0:
        beside = shape.pieces[other]
        if at <= _END_MM:
            _, _, head = foot(beside, piece[X0], piece[Y0])
            tx, ty = tx + np.cos(head), ty + np.sin(head)
        else:
            tx, ty = tx + beside[UX], ty + beside[UY]
    left = tx * (y - fy) - ty * (x - fx)
    return (best if left >= 0.0 else -best), heading
