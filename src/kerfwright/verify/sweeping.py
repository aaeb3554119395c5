"""Worst deviation of the swept blade, with a proof that nothing in between is worse.

At the top face the chord is widest and holds the chord of every lower plane, so it is swept
alone. Along a slice the deviation of the chord is bounded between two shares by the worse of both
plus what their second derivative allows: with distance d to a line or arc, ``|d''| (dt)^2 / 8``,
zero for a line along a line and for an arc about the same centre. How far an end of the chord is
past a corner changes by no more than that end moves; a blade that is off may be past a corner only
in between, and is looked at in steps there. Slices are halved until both bounds are within the
resolution of the worst found so far.
"""

from __future__ import annotations

from math import atan2, cos, hypot, inf, pi, sin

import numpy as np

from kerfwright.kernels import inner, kernel
from kerfwright.verify.chord import chord, chord_rate, motion_at, pose, speed
from kerfwright.verify.columns import (
    CX,
    CY,
    END_CORNER,
    F64,
    HEAD,
    I64,
    KX,
    KY,
    NEXT,
    RADIUS,
    SC0,
    SC1,
    START_CORNER,
    SWEEP,
    SZ0,
    SZ1,
    TURN,
    UX,
    UY,
    X0,
    X1,
    Y0,
    Y1,
    Shape,
)
from kerfwright.verify.foot import IN_FAN, PAST_END, Look, Past, look

_MOST_HALVINGS = 2000
_SAFETY = 1.5  # the second derivative is known at both ends only
_STEPS = 8  # pieces a foot may pass between two shares and still count as gone along smoothly
_FINEST_MM = 1e-6
_KINK = 1e-9  # rad: the blade may be tangent to no piece but in the turn between two
_DEEP = 64

_T, _WORST, _SIDES = 0, 1, 2  # of a section: share, deviation, then 3 numbers per end of the chord
_OWNER, _KIND, _BEND = range(3)
_PAST, _SLOT = 8, 10  # per end of the chord: how far it is past a corner, and which way
_PLACE = 12  # per end of the chord: x and y
_SECTION = 16
_STEP_MM = 0.05


@kernel
def sweep(
    shape: Shape,
    near: I64,
    first: I64,
    last: I64,
    row: I64,
    at: F64,
    blade_of: I64,
    blades: F64,
    top_z: float,
    slack: float,
    past_end: Past,
    resolution: float,
) -> tuple[F64, F64, F64, F64]:
    """Return worst deviation and its place by contour, and greatest overrun and its place by slot.

    Slice i belongs to contour row[i] and is compared with its pieces near[first[i]:last[i]].
    Slots are four to a corner: ahead along the heading in, ahead in a turn, and both backwards.
    """
    worst, where = np.full(len(shape.length), -1.0), np.zeros((len(shape.length), 2))
    over, over_at = np.zeros(4 * len(shape.corners)), np.zeros((4 * len(shape.corners), 2))
    stack = np.zeros((_DEEP, 2 * _SECTION))
    middle = np.zeros(_SECTION)
    for i in range(len(row)):
        k, blade = row[i], blades[blade_of[i]]
        deepest = max(top_z - at[i, SZ0], top_z - at[i, SZ1])
        back, front = chord(blade, deepest)
        most = speed(at[i], max(abs(back), abs(front)), 0.0) + abs(front - back) * (
            at[i, SZ0] != at[i, SZ1]
        )
        for end in range(2):
            _section(
                shape, near, first[i], last[i], at[i], blade, top_z, float(end), slack, past_end,
                k, worst, where, over, over_at, stack[0, end * _SECTION : (end + 1) * _SECTION],
            )  # fmt: skip
        depth, done = 1, 0
        while depth > 0 and done < _MOST_HALVINGS:
            depth -= 1
            done += 1
            one, two = stack[depth, :_SECTION], stack[depth, _SECTION:]
            share = two[_T] - one[_T]
            if share * most <= _FINEST_MM or depth + 2 > _DEEP:
                continue
            is_known = _bound(shape, one, two, share, most) <= worst[k] + resolution
            if is_known and not _may_go_further(one, two, share * most, over, resolution):
                is_off = max(one[_WORST], two[_WORST]) > past_end.clear
                reach = front - back + slack + share * most
                if not (
                    is_off
                    and share * most > _STEP_MM
                    and _meets_corner(shape, near, first[i], last[i], one, reach)
                ):
                    continue
            _section(
                shape, near, first[i], last[i], at[i], blade, top_z, one[_T] + share / 2.0, slack,
                past_end, k, worst, where, over, over_at, middle,
            )  # fmt: skip
            for j in range(_SECTION):
                stack[depth + 1, j], stack[depth + 1, _SECTION + j] = middle[j], two[j]
                stack[depth, _SECTION + j] = middle[j]
            depth += 2
    return worst, where, over, over_at


@inner
def _section(
    shape: Shape,
    near: I64,
    low: int,
    high: int,
    at: F64,
    blade: F64,
    top_z: float,
    t: float,
    slack: float,
    past_end: Past,
    row: int,
    worst: F64,
    where: F64,
    over: F64,
    over_at: F64,
    out: F64,
) -> None:
    """Measure the chord at one share of a slice: its ends, and where it is tangent in between."""
    x, y, z, c = pose(at, t)
    ux, uy = cos(c), sin(c)
    height = top_z - z
    back, front = chord(blade, height)
    limit = front - back + slack
    rates = chord_rate(blade, at, height)
    out[_T], out[_WORST] = t, 0.0
    for side in range(2):
        s = front if side else back
        qx, qy = x + s * ux, y + s * uy
        seen = look(shape, near, low, high, qx, qy, c, limit, past_end)
        _note(shape, seen, qx, qy, row, worst, where, over, over_at)
        out[_WORST] = max(out[_WORST], seen[0])
        o = _SIDES + 3 * side
        out[o + _OWNER], out[o + _KIND] = seen[1], seen[2]
        out[_PAST + side], out[_SLOT + side] = seen[4], seen[5]
        out[_PLACE + 2 * side], out[_PLACE + 2 * side + 1] = qx, qy
        vx, vy, ax, ay = motion_at(at, t, s, rates[side])
        if seen[2] == IN_FAN:
            out[o + _BEND] = _fan_bend(shape.corners[seen[3]], at, t, x, y, ux, uy)
        else:
            out[o + _BEND] = _bend(shape, seen[1], seen[2], qx, qy, vx, vy, ax, ay)
    for j in range(low, high):
        for which in range(3):
            s, off = _opposite(shape, near[j], which, x, y, ux, uy)
            if back < s < front and off > max(out[_WORST], worst[row]):
                qx, qy = x + s * ux, y + s * uy
                seen = look(shape, near, low, high, qx, qy, c, limit, past_end)
                _note(shape, seen, qx, qy, row, worst, where, over, over_at)
                out[_WORST] = max(out[_WORST], seen[0])


@inner
def _note(
    shape: Shape,
    seen: Look,
    x: float,
    y: float,
    row: int,
    worst: F64,
    where: F64,
    over: F64,
    over_at: F64,
) -> None:
    """Keep what is worse than before; overrun without what the point is off sideways."""
    if worst[row] < seen[0] < inf:
        worst[row], where[row, 0], where[row, 1] = seen[0], x, y
    slot, past = seen[5], seen[4]
    if slot >= 0 and past > over[slot]:
        over[slot] = past
        ahead = -past if slot % 4 >= 2 else past
        over_at[slot, 0] = shape.corners[slot // 4, KX] + ahead * cos(seen[7])
        over_at[slot, 1] = shape.corners[slot // 4, KY] + ahead * sin(seen[7])


@inner
def _opposite(
    shape: Shape, i: int, which: int, x: float, y: float, ux: float, uy: float
) -> tuple[float, float]:
    """Return the place on the blade opposite a point of a piece, and its distance to the blade.

    The points are those where an arc is tangent to the blade, two at most, and a kink at its end.
    """
    piece = shape.pieces[i]
    if which == 2:
        if shape.links[i, NEXT] < 0 or abs(piece[TURN]) < _KINK:
            return -inf, 0.0
        px, py = piece[X1], piece[Y1]
    else:
        if piece[RADIUS] == 0.0:
            return -inf, 0.0
        sign = 1.0 if piece[SWEEP] > 0.0 else -1.0
        toward = 1.0 if which else -1.0
        nx, ny = -uy * toward, ux * toward
        outx, outy = sign * piece[UY], -sign * piece[UX]
        angle = sign * atan2(outx * ny - outy * nx, outx * nx + outy * ny)
        if angle < 0.0:
            angle += 2.0 * pi
        if angle > sign * piece[SWEEP]:
            return -inf, 0.0
        size = sign * piece[RADIUS]
        px, py = piece[CX] + size * nx, piece[CY] + size * ny
    return (px - x) * ux + (py - y) * uy, abs((px - x) * uy - (py - y) * ux)


@inner
def _bend(
    shape: Shape,
    owner: int,
    kind: int,
    x: float,
    y: float,
    vx: float,
    vy: float,
    ax: float,
    ay: float,
) -> float:
    """Return the second derivative of a point's distance to what it belongs to."""
    if owner < 0:
        return inf
    piece = shape.pieces[owner]
    if kind == PAST_END or piece[RADIUS] == 0.0:
        nx, ny = -piece[UY], piece[UX]
        if kind == PAST_END and piece[SWEEP] != 0.0:
            # Either end may be meant; take the worse.
            head = piece[HEAD] + piece[SWEEP]
            bend: float = max(abs(nx * ax + ny * ay), abs(-sin(head) * ax + cos(head) * ay))
            return bend
        straight: float = abs(nx * ax + ny * ay)
        return straight
    sign = 1.0 if piece[SWEEP] > 0.0 else -1.0
    size = sign * piece[RADIUS]
    # From the start of the arc: no digits are lost on large radii.
    rx = x - piece[X0] + size * sign * piece[UY]
    ry = y - piece[Y0] - size * sign * piece[UX]
    reach = max(hypot(rx, ry), 1e-12)
    rx, ry = rx / reach, ry / reach
    outward = rx * vx + ry * vy
    around: float = abs((vx * vx + vy * vy - outward * outward) / reach + rx * ax + ry * ay)
    return around


@inner
def _fan_bend(corner: F64, at: F64, t: float, x: float, y: float, ux: float, uy: float) -> float:
    """Return the second derivative of a corner's distance to the line of the blade."""
    turn = at[SC1] - at[SC0]
    vx, vy, ax, ay = motion_at(at, t, 0.0, 0.0)
    dx, dy = corner[KX] - x, corner[KY] - y
    bend: float = abs(
        (ay * ux - ax * uy) - 2.0 * turn * (vx * ux + vy * uy) - turn * turn * (dx * uy - dy * ux)
    )
    return bend


@inner
def _bound(shape: Shape, one: F64, two: F64, share: float, most: float) -> float:
    """Return an upper bound of the deviation between two sections."""
    excess = 0.0
    for side in range(2):
        o = _SIDES + 3 * side
        bend = max(one[o + _BEND], two[o + _BEND])
        kinks = 0.0
        if bend == inf or (one[o + _KIND] == IN_FAN) != (two[o + _KIND] == IN_FAN):
            excess = max(excess, share * most / 2.0)
            continue
        if one[o + _OWNER] != two[o + _OWNER]:
            curve, kinks = _along(shape, int(one[o + _OWNER]), int(two[o + _OWNER]))
            bend += most * most * curve
        if kinks < 0.0:
            excess = max(excess, share * most / 2.0)
        else:
            excess = max(excess, share * share * bend * _SAFETY / 8.0 + share * most * kinks / 4.0)
    bound: float = max(one[_WORST], two[_WORST]) + excess
    return bound


@inner
def _may_go_further(one: F64, two: F64, move: float, over: F64, resolution: float) -> bool:
    """Return whether an end of the chord may be farther past a corner between two sections."""
    for side in range(2):
        slot, other = int(one[_SLOT + side]), int(two[_SLOT + side])
        gain = move / 2.0 if slot == other else move
        if slot >= 0 and one[_PAST + side] + gain > over[slot] + resolution:
            return True
        if other >= 0 and two[_PAST + side] + gain > over[other] + resolution:
            return True
    return False


@inner
def _meets_corner(shape: Shape, near: I64, low: int, high: int, one: F64, reach: float) -> bool:
    """Return whether a corner lies within reach of an end of the chord."""
    for j in range(low, high):
        for which in (START_CORNER, END_CORNER):
            k = shape.links[near[j], which]
            for side in range(2):
                o = _PLACE + 2 * side
                if k >= 0 and (
                    hypot(shape.corners[k, KX] - one[o], shape.corners[k, KY] - one[o + 1]) <= reach
                ):
                    return True
    return False


@inner
def _along(shape: Shape, one: int, two: int) -> tuple[float, float]:
    """Return greatest curvature and sum of turns from one piece to another along a smooth run.

    The sum is -1 where none leads there within a few pieces.
    """
    for start, goal in ((one, two), (two, one)):
        i, turns, curve = start, 0.0, 0.0
        for _ in range(_STEPS):
            if shape.pieces[i, RADIUS] != 0.0:
                curve = max(curve, 1.0 / abs(shape.pieces[i, RADIUS]))
            if i == goal:
                return curve, turns
            if shape.links[i, END_CORNER] >= 0:
                break
            turns += abs(shape.pieces[i, TURN])
            i = shape.links[i, NEXT]
    return 0.0, -1.0
