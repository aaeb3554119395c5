"""Compiled search for arcs along cubic pieces of a curve.

A *piece* replaces the curve between two places. Mostly it is a biarc: two arcs that leave and
arrive in the curve's own directions and share one where they meet. A whole chain that one line or
arc fits well becomes that. Places are counted in intervals: 3.25 lies a quarter into interval 3.
"""

from __future__ import annotations

import math

import numpy as np

from kerfwright.geometry._edge_kernels import (
    curvature_of_edge,
    distance_to_edge,
    foot_on_edge,
    frame_of,
    into_frame,
    is_beside,
    point_on_edge,
    signed_distance,
)
from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel

BIARC, ONE_ARC, ONE_CHORD = 0, 1, 2
_LEAST_COS = 0.3  # curve and arc run the same way, so feet move forward and cover the arc
_JOINT_STEPS = 8
_SAMPLES = 10  # a piece is looked at in at least so many places
ONE_EDGE = 0.25  # of the tolerance: a chain that one edge fits so well becomes that edge
_STEP_ACCURACY = 0.004  # of a step: how closely the longest is searched
_TAIL = 0.3  # of a step: a shorter rest is shared between two


@inner
def place_on(points: F64, slopes: F64, i: int, u: float) -> tuple[float, float, float, float]:
    """Return the point and unit direction of a cubic piece."""
    p0x, p0y, p1x, p1y = points[i, 0, 0], points[i, 0, 1], points[i, 1, 0], points[i, 1, 1]
    m0x, m0y, m1x, m1y = slopes[i, 0, 0], slopes[i, 0, 1], slopes[i, 1, 0], slopes[i, 1, 1]
    v = 1.0 - u
    h1, h2, h3 = u * v * v, u * u * (3.0 - 2.0 * u), u * u * v
    cx, cy = p1x - p0x, p1y - p0y
    x = p0x + h2 * cx + h1 * m0x - h3 * m1x
    y = p0y + h2 * cy + h1 * m0y - h3 * m1y
    g1, g2, g3 = v * (1.0 - 3.0 * u), 6.0 * u * v, u * (3.0 * u - 2.0)
    dx, dy = g1 * m0x + g2 * cx + g3 * m1x, g1 * m0y + g2 * cy + g3 * m1y
    norm = math.hypot(dx, dy)
    size = math.hypot(cx, cy) + math.hypot(m0x, m0y) + math.hypot(m1x, m1y)
    if norm <= 1e-9 * size:  # the curve rests here; the direction it leaves or comes in
        side = 1.0 if u < 0.5 else -1.0
        f0, f1 = 6.0 - 12.0 * u, 6.0 * u - 4.0
        f2 = 6.0 * u - 2.0
        dx = side * (f0 * cx + f1 * m0x + f2 * m1x)
        dy = side * (f0 * cy + f1 * m0y + f2 * m1y)
        norm = math.hypot(dx, dy)
    if norm == 0.0:
        return x, y, 1.0, 0.0
    return x, y, dx / norm, dy / norm


@inner
def at(points: F64, slopes: F64, last: int, x: float) -> tuple[float, float, float, float]:
    """Return the point and unit direction at a place, before the end of interval `last`."""
    i = min(int(x), last)
    return place_on(points, slopes, i, x - i)


@inner
def bulge_between(tx: float, ty: float, cx: float, cy: float) -> float:
    """Return the bulge of the arc along chord c that starts along t; huge if it turns back."""
    below = math.hypot(cx, cy) + tx * cx + ty * cy
    if below <= 0.0:
        return 1e9
    return (tx * cy - ty * cx) / below


@inner
def write_biarc(
    ax: float, ay: float, tx: float, ty: float, bx: float, by: float, sx: float, sy: float, out: F64
) -> bool:
    """Write the two edges of the biarc from a along t to b along s; False if there is none.

    Both legs of the control polygon at the ends have one length d, the positive root of
    ``2 (1 - t.s) d^2 + 2 v.(t + s) d - v.v = 0`` with v from a to b, rationalised.
    """
    vx, vy = bx - ax, by - ay
    square = vx * vx + vy * vy
    along = vx * (tx + sx) + vy * (ty + sy)
    # 1 - t.s without cancellation, both being of length 1
    apart = 0.5 * ((tx - sx) ** 2 + (ty - sy) ** 2)
    below = along + math.sqrt(along * along + 2.0 * apart * square)
    if square == 0.0 or below <= 0.0:
        return False
    d = square / below
    jx, jy = 0.5 * (ax + bx + d * (tx - sx)), 0.5 * (ay + by + d * (ty - sy))
    out[0, 0], out[0, 1], out[0, 2], out[0, 3] = ax, ay, jx, jy
    out[1, 0], out[1, 1], out[1, 2], out[1, 3] = jx, jy, bx, by
    out[0, 4] = bulge_between(tx, ty, jx - ax, jy - ay)
    out[1, 4] = -bulge_between(-sx, -sy, jx - bx, jy - by)
    return bool(abs(out[0, 4]) <= 1.0 and abs(out[1, 4]) <= 1.0)


@inner
def write_one(ax: float, ay: float, mx: float, my: float, bx: float, by: float, out: F64) -> bool:
    """Write the line or arc from a to b through m; False if it would sweep over a half circle."""
    fx, fy, gx, gy = mx - ax, my - ay, bx - mx, by - my
    half = math.atan2(fx * gy - fy * gx, fx * gx + fy * gy)
    out[0, 0], out[0, 1], out[0, 2], out[0, 3] = ax, ay, bx, by
    out[0, 4] = math.tan(0.5 * half)
    if 1.0 < abs(out[0, 4]) < 1.0 + 1e-9:
        out[0, 4] = math.copysign(1.0, out[0, 4])
    return bool(abs(out[0, 4]) <= 1.0)


@inner
def offset_from(
    out: F64, count: int, px: float, py: float, tx: float, ty: float
) -> tuple[float, float, float, float]:
    """Return distance left of the edges, its change along the curve, cosine, curvature there."""
    best, slope, cosine, bent = math.inf, 0.0, -1.0, 0.0
    for k in range(count):
        mx, my, ux, uy, a, b, mirror = frame_of(out[k])
        if a == 0.0:
            continue
        x, y = into_frame(mx, my, ux, uy, mirror, px, py)
        if not is_beside(x, y, a, b):
            continue
        gap = signed_distance(x, y, a, b)
        if abs(gap) < abs(best):
            vx, vy = b * x, b * y - 0.5 * a * (1.0 - b * b)
            norm = math.hypot(vx, vy)
            if norm == 0.0:
                continue
            vx, vy = vx / norm, vy / norm
            sx, sy = tx * ux + ty * uy, mirror * (ty * ux - tx * uy)
            best, slope = -mirror * gap, -mirror * (sx * vx + sy * vy)
            cosine, bent = sy * vx - sx * vy, curvature_of_edge(out[k])
    if math.isinf(best):  # off both ends
        ax, ay = px - out[0, 0], py - out[0, 1]
        bx, by = px - out[count - 1, 2], py - out[count - 1, 3]
        return min(math.hypot(ax, ay), math.hypot(bx, by)), 0.0, 1.0, 0.0
    return best, slope, cosine, bent


@inner
def largest_between(d0: float, s0: float, d1: float, s1: float, h: float) -> float:
    """Return the largest absolute value of the cubic with values d and slopes s at both ends."""
    best = max(abs(d0), abs(d1))
    m0, m1 = s0 * h, s1 * h
    a = 3.0 * (2.0 * (d0 - d1) + m0 + m1)
    b = 2.0 * (3.0 * (d1 - d0) - 2.0 * m0 - m1)
    inside = b * b - 4.0 * a * m0
    if inside < 0.0:
        return best
    half = -0.5 * (b + math.copysign(math.sqrt(inside), b))
    for k in range(2):
        below = a if k == 0 else half
        above = half if k == 0 else m0
        if below != 0.0:
            u = above / below
            if 0.0 < u < 1.0:
                v = 1.0 - u
                value = d0 + u * u * (3.0 - 2.0 * u) * (d1 - d0) + u * v * v * m0 - u * u * v * m1
                best = max(best, abs(value))
    return best


@inner
def error_of(
    points: F64, slopes: F64, begin: float, end: float, out: F64, count: int, limit: float
) -> float:
    """Return how far the curve between two places lies from edges; inf once above the limit.

    Also inf where curve and edges do not run the same way or lie half a radius apart: then the
    distance of one from the other would say nothing of the way back.
    """
    last = math.ceil(end) - 1
    first = int(begin)
    each = max(_SAMPLES // (last - first + 1), 2)
    worst = 0.0
    px, py, tx, ty = at(points, slopes, first, begin)
    d0, s0, cosine, _ = offset_from(out, count, px, py, tx, ty)
    if cosine < _LEAST_COS:
        return math.inf
    for i in range(first, last + 1):
        low, high = max(begin - i, 0.0), min(end - i, 1.0)
        for k in range(1, each + 1):
            u = high if k == each else low + (high - low) * k / each
            qx, qy, tx, ty = place_on(points, slopes, i, u)
            d1, s1, cosine, bent = offset_from(out, count, qx, qy, tx, ty)
            if abs(d1) > limit or cosine < _LEAST_COS or abs(d1) * bent > 0.5:
                return math.inf
            worst = max(worst, largest_between(d0, s0, d1, s1, math.hypot(qx - px, qy - py)))
            if worst > limit:
                return math.inf
            d0, s0, px, py = d1, s1, qx, qy
    return worst


@inner
def move_joint(
    points: F64,
    slopes: F64,
    begin: float,
    end: float,
    tx: float,
    ty: float,
    sx: float,
    sy: float,
    out: F64,
) -> None:
    """Move the joint of a biarc to where the curve crosses the circle of all possible joints.

    With the joint on the curve the error is the smallest of first order; the circle goes through
    both ends and any one joint. Without a crossing the joint stays.
    """
    one, moved = np.zeros((1, 5)), np.zeros((2, 5))
    if not write_one(out[0, 0], out[0, 1], out[0, 2], out[0, 3], out[1, 2], out[1, 3], one):
        return
    low, high = 0.9 * begin + 0.1 * end, 0.1 * begin + 0.9 * end
    side = _side_of(points, slopes, low, one[0]) < 0.0
    if side == (_side_of(points, slopes, high, one[0]) < 0.0):
        return
    for _ in range(_JOINT_STEPS):
        middle = 0.5 * (low + high)
        if (_side_of(points, slopes, middle, one[0]) < 0.0) == side:
            low = middle
        else:
            high = middle
    x, y, _, _ = at(points, slopes, math.ceil(end) - 1, 0.5 * (low + high))
    _, _, jx, jy = foot_on_edge(one[0], x, y)
    moved[:] = out
    moved[0, 2], moved[0, 3], moved[1, 0], moved[1, 1] = jx, jy, jx, jy
    moved[0, 4] = bulge_between(tx, ty, jx - out[0, 0], jy - out[0, 1])
    moved[1, 4] = -bulge_between(-sx, -sy, jx - out[1, 2], jy - out[1, 3])
    if abs(moved[0, 4]) <= 1.0 and abs(moved[1, 4]) <= 1.0:
        out[:] = moved


@inner
def _side_of(points: F64, slopes: F64, place: float, edge: F64) -> float:
    """Return on which side of an edge's circle a place of the curve lies."""
    px, py, _, _ = at(points, slopes, len(points) - 1, place)
    mx, my, ux, uy, a, b, mirror = frame_of(edge)
    x, y = into_frame(mx, my, ux, uy, mirror, px, py)
    return signed_distance(x, y, a, b)


@inner
def _biarc_error(
    points: F64, slopes: F64, begin: float, end: float, limit: float, out: F64
) -> float:
    ax, ay, tx, ty = at(points, slopes, int(begin), begin)
    bx, by, sx, sy = at(points, slopes, math.ceil(end) - 1, end)
    if not write_biarc(ax, ay, tx, ty, bx, by, sx, sy, out):
        return math.inf
    move_joint(points, slopes, begin, end, tx, ty, sx, sy, out)
    return error_of(points, slopes, begin, end, out, 2, limit)


@inner
def _one_edge(points: F64, slopes: F64, begin: int, end: int, limit: float, out: F64) -> int:
    """Return ONE_ARC or ONE_CHORD if one edge follows a whole chain within the limit, or BIARC."""
    ax, ay = points[begin, 0, 0], points[begin, 0, 1]
    bx, by = points[end - 1, 1, 0], points[end - 1, 1, 1]
    size = math.hypot(bx - ax, by - ay)
    if size == 0.0:
        return BIARC
    if size > limit:
        mx, my, _, _ = at(points, slopes, end - 1, 0.5 * (begin + end))
        is_arc = write_one(ax, ay, mx, my, bx, by, out)
        if is_arc and error_of(points, slopes, begin, end, out, 1, limit) <= limit:
            return ONE_ARC
    return ONE_CHORD if _is_small(points, slopes, begin, end, limit) else BIARC


@inner
def _is_small(points: F64, slopes: F64, begin: int, end: int, limit: float) -> bool:
    """Return whether a whole chain lies so near its own start that its chord will do.

    Feet on a chord cover it whatever the curve does, so no direction is asked for. A cubic lies
    inside the hull of its control points.
    """
    for i in range(begin, end):
        for k in range(4):
            x, y = _control(points, slopes, i, k)
            if math.hypot(x - points[begin, 0, 0], y - points[begin, 0, 1]) > limit:
                return False
    return True


@inner
def _control(points: F64, slopes: F64, i: int, k: int) -> tuple[float, float]:
    """Return control point k of cubic i in Bezier form."""
    side = k // 2
    pull = 0.0 if k in (0, 3) else (1.0 - 2.0 * side) / 3.0
    x = points[i, side, 0] + pull * slopes[i, side, 0]
    return x, points[i, side, 1] + pull * slopes[i, side, 1]


@inner
def _longest_step(
    points: F64, slopes: F64, begin: float, end: float, guess: float, limit: float, out: F64
) -> float:
    """Return how far from `begin` a biarc reaches within the limit: a bracket, then halving."""
    if _biarc_error(points, slopes, begin, end, limit, out) <= limit:
        return end
    good, bad = begin, end
    place = begin + min(guess, 0.5 * (end - begin))
    while good == begin and place - begin > 1e-9:
        if _biarc_error(points, slopes, begin, place, limit, out) <= limit:
            good = place
        else:
            bad = place
            place = begin + 0.6 * (place - begin)
    if good == begin:
        return place
    while bad == end:
        place = begin + 1.4 * (good - begin)
        if place >= end:
            break
        if _biarc_error(points, slopes, begin, place, limit, out) <= limit:
            good = place
        else:
            bad = place
    while bad - good > _STEP_ACCURACY * (good - begin):
        place = 0.5 * (good + bad)
        if _biarc_error(points, slopes, begin, place, limit, out) <= limit:
            good = place
        else:
            bad = place
    return good


@kernel
def find_pieces(
    points: F64, slopes: F64, chains: I64, limit: float, max_pieces: int
) -> tuple[F64, I64, I64, int]:
    """Return where pieces begin, their kinds, the first piece of each chain, how many.

    Places run on over all intervals. The count is above `max_pieces` when the search gave up.
    """
    places, kinds = np.zeros(len(points) + 16), np.zeros(len(points) + 16, np.int64)
    first = np.zeros(len(chains), np.int64)
    out = np.zeros((2, 5))
    count = 0
    for c in range(len(chains) - 1):
        first[c] = count
        begin, end = float(chains[c]), float(chains[c + 1])
        kind = _one_edge(points, slopes, chains[c], chains[c + 1], ONE_EDGE * limit, out)
        guess = end - begin
        while begin < end:
            if count >= max_pieces:
                return places, kinds, first, max_pieces + 1
            if count == len(places):
                places, kinds = _longer(places), _longer_flags(kinds)
            places[count], kinds[count] = begin, kind
            place = end
            if kind == BIARC:
                place = _longest_step(points, slopes, begin, end, guess, limit, out)
                rest = end - place
                if 0.0 < rest < _TAIL * (place - begin):
                    shared = begin + 0.5 * (end - begin)
                    if _biarc_error(points, slopes, begin, shared, limit, out) <= limit:
                        place = shared
            guess = place - begin
            begin = place
            count += 1
    first[len(chains) - 1] = count
    return places[:count].copy(), kinds[:count].copy(), first, count


@inner
def _longer(old: F64) -> F64:
    return np.concatenate((old, np.zeros(len(old))))


@inner
def _longer_flags(old: I64) -> I64:
    return np.concatenate((old, np.zeros(len(old), np.int64)))


@kernel
def build_edges(
    points: F64,
    slopes: F64,
    places: F64,
    begin: F64,
    begin_way: F64,
    middle: F64,
    end: F64,
    end_way: F64,
    kinds: I64,
    limit: float,
) -> F64:
    """Return the two edges of each piece, shape (n, 2, 5); of one edge the second has no length.

    A biarc whose arcs are one circle within the limit becomes one arc. A biarc that cannot be
    built becomes its chord; measuring tells.
    """
    edges = np.zeros((len(kinds), 2, 5))
    for i in range(len(kinds)):
        out = edges[i]
        is_built = False
        if kinds[i] == BIARC:
            is_built = write_biarc(
                begin[i, 0], begin[i, 1], begin_way[i, 0], begin_way[i, 1],
                end[i, 0], end[i, 1], end_way[i, 0], end_way[i, 1], out,
            )  # fmt: skip
            if is_built:
                move_joint(
                    points, slopes, places[i, 0], places[i, 1], begin_way[i, 0], begin_way[i, 1],
                    end_way[i, 0], end_way[i, 1], out,
                )  # fmt: skip
            if is_built and _is_one_circle(out, limit):
                joint_x, joint_y = out[0, 2], out[0, 3]
                _write_chord(begin[i], end[i], out)
                is_built = write_one(
                    begin[i, 0], begin[i, 1], joint_x, joint_y, end[i, 0], end[i, 1], out
                )
        elif kinds[i] == ONE_ARC:
            _write_chord(begin[i], end[i], out)
            is_built = write_one(
                begin[i, 0], begin[i, 1], middle[i, 0], middle[i, 1], end[i, 0], end[i, 1], out
            )
        if not is_built:
            _write_chord(begin[i], end[i], out)
    return edges


@inner
def _write_chord(begin: F64, end: F64, out: F64) -> None:
    out[:, 4] = 0.0
    out[:, 2], out[:, 3] = end[0], end[1]
    out[0, 0], out[0, 1], out[1, 0], out[1, 1] = begin[0], begin[1], end[0], end[1]


@inner
def _is_one_circle(out: F64, limit: float) -> bool:
    """Return whether one arc through both ends and the joint follows a biarc within the limit."""
    if abs(math.atan(out[0, 4]) + math.atan(out[1, 4])) > 0.25 * math.pi * (1.0 + 1e-12):
        return False
    one = np.zeros((1, 5))
    if not write_one(out[0, 0], out[0, 1], out[0, 2], out[0, 3], out[1, 2], out[1, 3], one):
        return False
    for k in range(2):
        x, y = point_on_edge(out[k], 0.5)
        if distance_to_edge(one[0], x, y) > limit:
            return False
    return True


@kernel
def measure_pieces(
    edges: F64,
    kinds: I64,
    samples: F64,
    ways: F64,
    points: F64,
    slopes: F64,
    begin: F64,
    end: F64,
) -> tuple[F64, F64]:
    """Return how far the curve lies from each piece, and the largest angle between them.

    `samples` (n, m, 2) and `ways` are points and unit directions of the curve, both ends included.
    The nodes of the table are looked at as well, being true points, too. The error is inf where
    the way back is not covered by the way there.
    """
    count, each = samples.shape[0], samples.shape[1]
    error, angle = np.zeros(count), np.zeros(count)
    for i in range(count):
        out = edges[i]
        if kinds[i] == ONE_CHORD:
            error[i] = _hull_reach(out[0], points, slopes, int(begin[i]), math.ceil(end[i]))
            continue
        parts = 1 if out[1, 0] == out[1, 2] and out[1, 1] == out[1, 3] else 2
        error[i] = _node_error(points, slopes, begin[i], end[i], out, parts)
        d0, s0 = 0.0, 0.0
        for k in range(each):
            px, py = samples[i, k, 0], samples[i, k, 1]
            d1, s1, cosine, bent = offset_from(out, parts, px, py, ways[i, k, 0], ways[i, k, 1])
            if cosine < _LEAST_COS or abs(d1) * bent > 0.5:
                error[i] = math.inf
                break
            angle[i] = max(angle[i], abs(math.asin(min(max(s1, -1.0), 1.0))))
            if k > 0:
                h = math.hypot(px - samples[i, k - 1, 0], py - samples[i, k - 1, 1])
                error[i] = max(error[i], largest_between(d0, s0, d1, s1, h))
            d0, s0 = d1, s1
    return error, angle


@inner
def _node_error(points: F64, slopes: F64, begin: float, end: float, out: F64, parts: int) -> float:
    """Return how far the nodes of the table between two places lie from edges."""
    worst = 0.0
    for i in range(int(begin) + 1, math.ceil(end)):
        x, y, tx, ty = place_on(points, slopes, i, 0.0)
        gap, _, cosine, bent = offset_from(out, parts, x, y, tx, ty)
        if cosine < _LEAST_COS or abs(gap) * bent > 0.5:
            return math.inf
        worst = max(worst, abs(gap))
    return worst


@inner
def _hull_reach(chord: F64, points: F64, slopes: F64, first: int, end: int) -> float:
    """Return how far the control points of cubics lie from a chord; the cubics lie no farther."""
    worst = 0.0
    for i in range(first, end):
        for k in range(4):
            x, y = _control(points, slopes, i, k)
            worst = max(worst, distance_to_edge(chord, x, y))
    return worst
