"""How far cutters reach over a contour into what it protects.

The reach is the radius at the top face, where a cutter is widest in the stock, less the distance
of its axis from the contour; plus that distance where the axis is over the part itself.
"""

from __future__ import annotations

from math import inf

import numpy as np

from kerfwright.kernels import inner, kernel
from kerfwright.verify.columns import F64, I64, LENGTH, X0, Y0, Shape
from kerfwright.verify.cutter_cover import add_covered, merge, radius_at
from kerfwright.verify.cutter_curves import crossings, is_far, nearest, part_of, point_at
from kerfwright.verify.cutter_near import signed_distance
from kerfwright.verify.foot import foot

RESOLUTION_MM = 5e-4
"""Greatest error of what is searched for instead of computed."""
_ROOM = 256
_MOST_STEPS = 4000


@kernel
def gouges(
    shape: Shape,
    way: I64,
    row: I64,
    first: I64,
    near: I64,
    ways: F64,
    heights: F64,
    tool: I64,
    profile: F64,
    knots: I64,
    part_side: I64,
    signed: F64,
    most: F64,
    top_z: float,
    least: float,
) -> tuple[F64, F64]:
    """Return how far each way reaches into the part of a contour, and where its axis is then.

    `signed` is the distance of the middle of each way, positive on the left of the contour. What
    reaches less than `least` is given as that, an axis farther inside than `most` as so far:
    pieces farther away are not among those near.
    """
    depth, at = np.full(len(way), least), np.zeros((len(way), 2))
    for g in range(len(way)):
        w = way[g]
        p0, p1 = knots[tool[w]], knots[tool[w] + 1]
        z0, z1 = heights[w, 0], heights[w, 1]
        wide = radius_at(profile, p0, p1, top_z - min(z0, z1))
        one = ways[w]
        # No place of the way is nearer than its middle by more than half of its length.
        over_part = signed[g] * part_side[row[g]] > 0.0
        if not over_part and abs(signed[g]) - one[LENGTH] / 2.0 >= wide - least:
            continue
        cuts = np.zeros(_ROOM)
        n = 0
        for j in range(first[g], first[g + 1]):
            if n < _ROOM - 4 and not is_far(one, shape.pieces[near[j]], 1e-6):
                n = crossings(one, shape.pieces[near[j]], cuts, n)
        cuts[n], cuts[n + 1] = 0.0, one[LENGTH]
        n += 2
        cuts[:n].sort()
        for i in range(n - 1):
            low, high = cuts[i], cuts[i + 1]
            if high - low < 1e-9 and one[LENGTH] > 0.0:
                continue
            side = _side(shape, near, first[g], first[g + 1], one, low, high)
            over = side * part_side[row[g]] > 0.0
            found, place = _reach(
                shape.pieces, near, first[g], first[g + 1], one, low, high, z0, z1,
                profile, p0, p1, top_z, depth[g], over, most[g],
            )  # fmt: skip
            if found > depth[g]:
                depth[g] = found
                at[g, 0], at[g, 1] = _at(one, place)
    return depth, at


@kernel
def farthest(
    shape: Shape, way: I64, first: I64, near: I64, ways: F64, most: F64, least: float
) -> tuple[F64, F64]:
    """Return how far each way goes from the pieces near it, and where.

    What goes less than `least` away is given as 0, what goes farther than `most` as that.
    """
    depth, at = np.zeros(len(way)), np.zeros((len(way), 2))
    for g in range(len(way)):
        one = ways[way[g]]
        if one[LENGTH] == 0.0:
            place = 0.0
            found = _apart(shape.pieces, near, first[g], first[g + 1], one[X0], one[Y0])
        else:
            if not _leaves(shape.pieces, near, first[g], first[g + 1], one, least):
                continue
            found, place = _deepest(
                shape.pieces, near, first[g], first[g + 1], one, 0.0, one[LENGTH]
            )
        found = min(found, most[g])
        if found > least:
            depth[g] = found
            at[g, 0], at[g, 1] = _at(one, place)
    return depth, at


@inner
def _at(one: F64, place: float) -> tuple[float, float]:
    return point_at(one, place) if one[LENGTH] > 0.0 else (one[X0], one[Y0])


@inner
def _side(
    shape: Shape, near: I64, first: int, last: int, one: F64, low: float, high: float
) -> float:
    """Return the side of the contour a stretch lies on, seen where it is nearest to it."""
    best, side = inf, 0.0
    for share in (0.5, 0.02, 0.98):
        x, y = _at(one, low + (high - low) * share)
        d, _ = signed_distance(shape, near, first, last, x, y)
        if 1e-7 < abs(d) < best:
            best, side = abs(d), d
    return side


@inner
def _reach(
    pieces: F64,
    near: I64,
    first: int,
    last: int,
    one: F64,
    low: float,
    high: float,
    z0: float,
    z1: float,
    profile: F64,
    p0: int,
    p1: int,
    top_z: float,
    least: float,
    over: bool,
    most: float,
) -> tuple[float, float]:
    """Return the greatest radius less distance along a stretch, and where; the rest if below least.

    `over` the part it is the radius plus the distance, up to `most`. Where the radius does not
    change that is one look; else halves are looked at until none can be better by more than the
    resolution.
    """
    best, where = least, low
    stack = np.zeros((64, 2))
    stack[0, 0], stack[0, 1] = low, high
    count, steps = 1, 0
    while count > 0:
        count -= 1
        a, b = stack[count, 0], stack[count, 1]
        length = max(one[LENGTH], 1e-300)
        za, zb = z0 + (z1 - z0) * a / length, z0 + (z1 - z0) * b / length
        if one[LENGTH] == 0.0:
            za, zb = min(z0, z1), min(z0, z1)
        ra = radius_at(profile, p0, p1, top_z - za)
        rb = radius_at(profile, p0, p1, top_z - zb)
        x, y = _at(one, (a + b) / 2.0)
        around = min(_apart(pieces, near, first, last, x, y) + (b - a) / 2.0, most)
        if over and max(ra, rb) + around <= best + RESOLUTION_MM:
            continue
        d, place = _extreme(pieces, near, first, last, one, a, b, over)
        value = max(ra, rb) + (min(d, most) if over else -d)
        if value <= best + (0.0 if ra == rb else RESOLUTION_MM):
            continue
        steps += 1
        if ra == rb or steps > _MOST_STEPS or count > 60 or b - a < 1e-6:
            best, where = value, place
            continue
        for place_at, radius in ((a, ra), (b, rb)):
            x, y = point_at(one, place_at)
            d = _apart(pieces, near, first, last, x, y)
            value = radius + (min(d, most) if over else -d)
            if value > best:
                best, where = value, place_at
        middle = (a + b) / 2.0
        stack[count, 0], stack[count, 1] = a, middle
        stack[count + 1, 0], stack[count + 1, 1] = middle, b
        count += 2
    return best, where


@inner
def _extreme(
    pieces: F64,
    near: I64,
    first: int,
    last: int,
    one: F64,
    low: float,
    high: float,
    over: bool,
) -> tuple[float, float]:
    """Return the greatest distance of a stretch from some pieces, or the least, and where."""
    if over:
        return _deepest(pieces, near, first, last, one, low, high)
    part = one if low == 0.0 and high == one[LENGTH] else part_of(one, low, high)
    d, place = inf, 0.0
    for j in range(first, last):
        if is_far(part, pieces[near[j]], d):
            continue
        apart, along = nearest(part, pieces[near[j]])
        if apart < d:
            d, place = apart, along
    return d, low + place


@inner
def _apart(pieces: F64, near: I64, first: int, last: int, x: float, y: float) -> float:
    """Return the distance of a point from some pieces."""
    d = inf
    for j in range(first, last):
        d = min(d, foot(pieces[near[j]], x, y)[0])
    return d


@inner
def _leaves(pieces: F64, near: I64, first: int, last: int, one: F64, reach: float) -> bool:
    """Return whether any place of a curve is farther than a reach from all of the pieces."""
    room = np.zeros((64, 2))
    count = 0
    for j in range(first, last):
        count = add_covered(one, pieces[near[j]], reach, room, count)
    count = merge(room, count)
    return not (count == 1 and room[0, 0] <= 1e-7 and room[0, 1] >= one[LENGTH] - 1e-7)


@inner
def _deepest(
    pieces: F64, near: I64, first: int, last: int, one: F64, low: float, high: float
) -> tuple[float, float]:
    """Return the greatest distance of a stretch from some pieces, and where it is.

    Halved until the least reach that covers the stretch is known within the resolution.
    """
    if one[LENGTH] == 0.0:
        return _apart(pieces, near, first, last, one[X0], one[Y0]), 0.0
    part = part_of(one, low, high)
    inside, outside, place = 0.0, 0.0, high - low
    for end in range(2):
        x, y = point_at(part, end * part[LENGTH])
        d = _apart(pieces, near, first, last, x, y)
        if d >= inside:
            inside, place = d, end * part[LENGTH]
    outside = inside + part[LENGTH]
    room = np.zeros((64, 2))
    while outside - inside > RESOLUTION_MM:
        reach = (inside + outside) / 2.0
        count = 0
        for j in range(first, last):
            count = add_covered(part, pieces[near[j]], reach, room, count)
        count = merge(room, count)
        gap, middle = 0.0, 0.0
        for i in range(count + 1):
            start = 0.0 if i == 0 else room[i - 1, 1]
            stop = part[LENGTH] if i == count else room[i, 0]
            if stop - start > gap:
                gap, middle = stop - start, (start + stop) / 2.0
        if gap > 1e-7:
            inside, place = reach, middle
        else:
            outside = reach
    return outside, low + place
