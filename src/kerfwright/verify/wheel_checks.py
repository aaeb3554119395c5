"""What a wheel must not do to the sheet: drop, turn on the spot at depth, roll into other parts.

Where leads are asked for, the wheel comes down and up no steeper than they are long; on lines
shorter than both leads they share its length. Turned on the spot at a depth, the ends of its
contact swing sideways, by no more than half of its rim. A lead outside of a line may lie in the
line's own part and in waste, but not in another part.
"""

from __future__ import annotations

import numpy as np

from kerfwright.errors import Finding
from kerfwright.kernels import inner, kernel
from kerfwright.model.tooling import Wheel
from kerfwright.verify.case import Case
from kerfwright.verify.columns import BREF, F64, I64
from kerfwright.verify.nesting import nesting_of
from kerfwright.verify.saying import finding

_RIM_SHARE = 0.5
"""Share of the rim by which the contact may leave the line: beyond it the groove gets wider than
the rim by as much (common practice, no source)."""
_STILL_MM = 1e-3  # a wheel that rolls less in a block turns on the spot
_INSIDE_MM = 0.05  # so far from its end a line tells which part it is in


def check_wheels(case: Case) -> list[Finding]:
    """Return what wheels do wrong besides leaving their lines."""
    return [*_drops(case), *_turns(case), *_enters(case)]


def _drops(case: Case) -> list[Finding]:
    """Return where wheels go down or up steeper than their leads ask for."""
    moves, leads = case.moves, case.design.row_leads_mm
    blocks = _rolled(case)
    row = case.stroke_row[moves.stroke[blocks]]
    blocks, row = blocks[row >= 0], row[row >= 0]
    if not leads[row].any():
        return []
    first, last = _strokes_of(moves.stroke[blocks])
    way, depth, asked = _tip_ways(case, blocks), _depths(case, blocks), leads[row[first]]
    jump, at = _steepest(way, depth, first, last, asked)
    found = _said_drops(case, row[first], jump, blocks[at], "down")
    # Seen backwards, the way up is one down.
    count = len(way) - 1
    turned = (way[::-1].copy(), depth[::-1, ::-1].copy(), count - last[::-1], count - first[::-1])
    jump, at = _steepest(*turned, asked[::-1, ::-1].copy())
    return found + _said_drops(case, row[first][::-1], jump, blocks[::-1][at], "up")


def _said_drops(case: Case, row: I64, jump: F64, block: I64, way: str) -> list[Finding]:
    """Return the worst of each contour."""
    wrong = np.flatnonzero(jump > case.tolerances.depth_mm)
    wrong = wrong[np.lexsort((-jump[wrong], row[wrong]))]
    _, one = np.unique(row[wrong], return_index=True)
    return [
        finding(
            "VER-145",
            contour=case.design.contours[row[i]],
            xy=case.moves.begin[block[i], :2],
            measured=jump[i],
            limit=case.tolerances.depth_mm,
            unit="mm",
            block=int(block[i]) + 1,
            way=way,
            lead=abs(float(case.design.row_leads_mm[row[i], int(way == "up")])),
        )
        for i in wrong[one].tolist()
    ]


def _rolled(case: Case) -> I64:
    moves = case.moves
    return np.flatnonzero((moves.stroke >= 0) & moves.rolls[moves.station])


def _strokes_of(stroke: I64) -> tuple[I64, I64]:
    """Return the first and the last entry of each stroke."""
    new = np.append([True], stroke[1:] != stroke[:-1])[: len(stroke)]
    first = np.flatnonzero(new)
    return first, np.append(first[1:], [len(stroke)])[: len(first)] - 1


def _tip_ways(case: Case, blocks: I64) -> F64:
    """Return how far the lowest point goes in the stock in each block [mm]."""
    moves = case.moves
    blade = moves.blades[moves.blade[moves.station[blocks]], BREF]
    begin, end = moves.begin[blocks], moves.end[blocks]
    one, two = (p[:, :2] + blade[:, None] * _unit(p[:, 3]) for p in (begin, end))
    sweep = moves.sweep[blocks]
    radius = np.hypot(*(one - moves.centre[blocks]).T)
    way = np.where(sweep != 0.0, radius * np.abs(sweep), np.hypot(*(two - one).T))
    ways: F64 = way * (moves.high - moves.low)[blocks]
    return ways


def _unit(c: F64) -> F64:
    return np.column_stack((np.cos(c), np.sin(c)))


def _depths(case: Case, blocks: I64) -> F64:
    """Return how deep the tip is where each block begins and ends, shape (B, 2) [mm]."""
    z = np.column_stack((case.moves.begin[blocks, 2], case.moves.end[blocks, 2]))
    depths: F64 = np.maximum(case.design.top_z_mm - z, 0.0)
    return depths


@kernel
def _steepest(way: F64, depth: F64, first: I64, last: I64, leads: F64) -> tuple[F64, I64]:
    """Return, per stroke, how far it goes down beyond the slope of its lead at most, and where.

    `leads` are those of the way down and the way up; a stroke without a way down asked for may
    drop.
    """
    worst, at = np.zeros(len(first)), first.copy()
    for n in range(len(first)):
        total, deepest = 0.0, 0.0
        for i in range(first[n], last[n] + 1):
            total += way[i]
            deepest = max(deepest, depth[i, 0], depth[i, 1])
        lead = _lead(leads[n, 0], leads[n, 1], total)
        if leads[n, 0] == 0.0:
            continue
        steep = deepest / max(lead, 1e-9)
        # How far it is below a slope that begins at any place before.
        below = 0.0
        for i in range(first[n], last[n] + 1):
            below = max(below + depth[i, 1] - depth[i, 0] - steep * way[i], 0.0)
            if below > worst[n]:
                worst[n], at[n] = below, i
    return worst, at


@inner
def _lead(one: float, other: float, total: float) -> float:
    """Return the length of a lead: outside as asked for, inside both share a short line."""
    inside, outside = max(one, 0.0) + max(other, 0.0), max(-one, 0.0) + max(-other, 0.0)
    share = min(max(total - outside, 0.0) / inside, 1.0) if inside > 0.0 and one > 0.0 else 1.0
    return abs(one) * share


def _turns(case: Case) -> list[Finding]:
    """Return where wheels turn on the spot by more than their contact allows."""
    moves, design = case.moves, case.design
    blocks = _rolled(case)
    turn = moves.end[blocks, 3] - moves.begin[blocks, 3]
    spins = (turn != 0.0) & (_tip_ways(case, blocks) <= _STILL_MM)
    blocks, turn = blocks[spins], turn[spins]
    if not len(blocks):
        return []
    goes_on = (np.diff(blocks) == 1) & (moves.stroke[blocks[1:]] == moves.stroke[blocks[:-1]])
    first = np.flatnonzero(np.append([True], ~goes_on))
    depth = np.maximum.reduceat(_depths(case, blocks).max(axis=1), first)
    turned = np.abs(np.add.reduceat(turn, first))
    limit = _most_turn(case, blocks[first], depth)
    row = case.stroke_row[moves.stroke[blocks[first]]]
    wrong = np.flatnonzero((turned > limit) & (row >= 0))
    wrong = wrong[np.lexsort((-turned[wrong], row[wrong]))]
    _, one = np.unique(row[wrong], return_index=True)
    return [
        finding(
            "VER-146",
            contour=design.contours[row[i]],
            xy=moves.begin[blocks[first[i]], :2],
            measured=turned[i],
            limit=limit[i],
            unit="rad",
            depth=float(depth[i]),
        )
        for i in wrong[one].tolist()
    ]


def _most_turn(case: Case, blocks: I64, depth: F64) -> F64:
    """Return how far wheels may turn at some depths: half the contact is ``sqrt(h (D - h))``."""
    wheels = {t.id: t for t in case.design.tools if isinstance(t, Wheel)}
    held = [wheels.get(s.tool_id) for s in case.moves.stations]
    size = np.array([(w.diameter_mm, w.rim_mm) if w else (0.0, 0.0) for w in held])
    diameter, rim = size[case.moves.station[blocks]].T
    h = np.minimum(depth, diameter / 2.0)
    half = np.sqrt(h * (diameter - h))
    most: F64 = (_RIM_SHARE * rim + case.tolerances.cut_mm) / np.maximum(half, 1e-9)
    return most


def _enters(case: Case) -> list[Finding]:
    """Return which leads outside of their lines go into a part other than the line's own."""
    outer, design = case.outer, case.design
    if not len(outer.row):
        return []
    nesting = nesting_of(design, case.wanted)
    if not nesting.frees.any():
        return []
    way = outer.tip - outer.corner
    size = np.hypot(*way.T)
    unit = way / np.maximum(size, 1e-300)[:, None]
    count = np.ceil(size / case.tolerances.overcut_mm).astype(np.int64) + 1
    of = np.repeat(np.arange(len(size)), count)
    number = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    share = (number + 1) / count[of]
    points = outer.corner[of] + way[of] * share[:, None]
    own = nesting.regions(outer.corner - unit * _INSIDE_MM)[of]
    strange = nesting.is_part(points) & (nesting.regions(points) != own)
    deep = np.bincount(of[strange], weights=(size / count)[of[strange]], minlength=len(size))
    wrong = np.flatnonzero(deep > case.tolerances.overcut_mm)
    rows, first = np.unique(outer.row[wrong], return_index=True)
    return [
        finding(
            "VER-147",
            contour=design.contours[k],
            xy=outer.tip[wrong[i]],
            measured=deep[wrong[i]],
            limit=case.tolerances.overcut_mm,
            unit="mm",
        )
        for k, i in zip(rows.tolist(), first.tolist(), strict=True)
    ]
