"""One line or arc in its chord frame: the same closed forms for both, for compiled code.

An edge is a row ``sx, sy, ex, ey, bulge``. Its chord frame has its zero in the middle of the
chord, x along the chord, y to the side *away* from which the arc rises, so the arc lies at y <= 0.
With half chord a and absolute bulge b (0 <= b <= 1) the circle is the zero of::

    G(x, y) = b (x^2 + y^2 - a^2) - a (1 - b^2) y

which is b times the power of the point, and for b = 0 the line. Neither centre nor radius occurs,
so nothing is lost to cancellation when an arc is nearly straight. The edge itself, with tau from
-1 to 1::

    x = a (1 + b^2) tau / (1 + b^2 tau^2)        y = -a b (1 - tau^2) / (1 + b^2 tau^2)

so G along another edge is a quadratic in tau over a positive denominator: intersections and
extreme distances of two edges are roots of quadratics. Derived here.
"""

from __future__ import annotations

import math

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner

_STRAIGHT = 1e-15  # a smaller bulge rises less than the rounding of its chord


@inner
def frame_of(edge: F64) -> tuple[float, float, float, float, float, float, float]:
    """Return middle x, y, unit chord x, y, half chord, absolute bulge, mirror of an edge."""
    dx, dy = edge[2] - edge[0], edge[3] - edge[1]
    chord = math.hypot(dx, dy)
    ux, uy = 1.0, 0.0
    if chord > 0.0:
        ux, uy = dx / chord, dy / chord
    bulge = abs(edge[4])
    if bulge < _STRAIGHT:
        bulge = 0.0
    mirror = 1.0 if edge[4] >= 0.0 else -1.0
    mx, my = edge[0] + 0.5 * dx, edge[1] + 0.5 * dy
    return mx, my, ux, uy, 0.5 * chord, bulge, mirror


@inner
def into_frame(
    mx: float, my: float, ux: float, uy: float, mirror: float, px: float, py: float
) -> tuple[float, float]:
    """Return a point in a chord frame."""
    dx, dy = px - mx, py - my
    return dx * ux + dy * uy, mirror * (dy * ux - dx * uy)


@inner
def is_beside(x: float, y: float, a: float, b: float) -> bool:
    """Return whether the foot of a point of the chord frame lies on the edge, not off its ends."""
    lean = 1.0 - b * b
    return abs(x) * lean <= a * lean - 2.0 * b * y


@inner
def signed_distance(x: float, y: float, a: float, b: float) -> float:
    """Return the distance of a point to the whole circle or line, positive outside."""
    lift = 0.5 * a * (1.0 - b * b)
    g = b * ((x - a) * (x + a) + y * y) - 2.0 * lift * y
    return g / (math.hypot(b * x, b * y - lift) + 0.5 * a * (1.0 + b * b))


@inner
def distance_to_edge(edge: F64, px: float, py: float) -> float:
    """Return the distance of a point to an edge."""
    mx, my, ux, uy, a, b, mirror = frame_of(edge)
    x, y = into_frame(mx, my, ux, uy, mirror, px, py)
    if a > 0.0 and is_beside(x, y, a, b):
        return abs(signed_distance(x, y, a, b))
    return math.hypot(abs(x) - a, y)


@inner
def foot_on_edge(edge: F64, px: float, py: float) -> tuple[float, float, float, float]:
    """Return distance, fraction of the edge's length, and the nearest point of an edge."""
    mx, my, ux, uy, a, b, mirror = frame_of(edge)
    x, y = into_frame(mx, my, ux, uy, mirror, px, py)
    if a == 0.0 or not is_beside(x, y, a, b):
        distance = math.hypot(abs(x) - a, y)
        if x < 0.0 or a == 0.0:
            return distance, 0.0, edge[0], edge[1]
        return distance, 1.0, edge[2], edge[3]
    gap = signed_distance(x, y, a, b)
    lift = 0.5 * a * (1.0 - b * b)
    vx, vy = b * x, b * y - lift  # from the centre to the point, times b
    norm = math.hypot(vx, vy)
    if norm > 0.0:
        vx, vy = vx / norm, vy / norm
    else:
        vx, vy = 0.0, -1.0  # at the centre every direction is as near; take the middle
    fraction = 0.5 + (0.5 * x / a if b == 0.0 else 0.25 * math.atan2(vx, -vy) / math.atan(b))
    fx, fy = x - gap * vx, mirror * (y - gap * vy)
    fraction = min(max(fraction, 0.0), 1.0)
    return abs(gap), fraction, mx + fx * ux - fy * uy, my + fx * uy + fy * ux


@inner
def point_on_edge(edge: F64, fraction: float) -> tuple[float, float]:
    """Return the point at a fraction of the edge's length."""
    if fraction <= 0.0:
        return edge[0], edge[1]
    if fraction >= 1.0:
        return edge[2], edge[3]
    mx, my, ux, uy, a, b, mirror = frame_of(edge)
    tau = 2.0 * fraction - 1.0
    if b > 0.0:
        tau = math.tan(tau * math.atan(b)) / b
    below = 1.0 + b * b * tau * tau
    x = a * (1.0 + b * b) * tau / below
    y = -mirror * a * b * (1.0 - tau * tau) / below
    return mx + x * ux - y * uy, my + x * uy + y * ux


@inner
def length_of_edge(edge: F64) -> float:
    """Return the length of an edge."""
    chord = math.hypot(edge[2] - edge[0], edge[3] - edge[1])
    half = 2.0 * math.atan(abs(edge[4]))
    if half < 1e-6:
        return chord * (1.0 + half * half / 6.0)
    return chord * half / math.sin(half)


@inner
def curvature_of_edge(edge: F64) -> float:
    """Return one over the radius of an edge, 0 for lines and for edges of no length."""
    chord = math.hypot(edge[2] - edge[0], edge[3] - edge[1])
    b = abs(edge[4])
    if chord == 0.0 or b < _STRAIGHT:
        return 0.0
    return float(4.0 * b / (chord * (1.0 + b * b)))


@inner
def take_part(edge: F64, low: float, high: float, out: F64) -> None:
    """Write the part of an edge between two fractions to `out`, a row of five."""
    out[0], out[1] = point_on_edge(edge, low)
    out[2], out[3] = point_on_edge(edge, high)
    out[4] = edge[4]
    if low > 0.0 or high < 1.0:
        out[4] = math.tan(math.atan(edge[4]) * (high - low))


@inner
def quadratic_roots(c0: float, c1: float, c2: float) -> tuple[int, float, float]:
    """Return how many real roots ``c0 + c1 t + c2 t^2`` has, and two values.

    Stable for a small leading coefficient; no root when all but the constant vanish.
    """
    if c2 == 0.0:
        if c1 == 0.0:
            return 0, 0.0, 0.0
        return 1, -c0 / c1, -c0 / c1
    inside = c1 * c1 - 4.0 * c0 * c2
    if inside < 0.0:
        return 0, 0.0, 0.0
    half = -0.5 * (c1 + math.copysign(math.sqrt(inside), c1))
    if half == 0.0:
        return 1, 0.0, 0.0
    return 2, c0 / half, half / c2


@inner
def _along(
    a1: float, b1: float, x0: float, y0: float, cx: float, cy: float, a2: float, b2: float, m: float
) -> tuple[float, float, float]:
    """Return the quadratic that G of edge 1 is along edge 2, over ``1 + b2^2 tau^2``.

    Edge 2 has its middle at (x0, y0) and its chord along (cx, cy) in frame 1; `m` is its mirror
    there. Its own squared distance from its middle is ``a2^2 (b2^2 + tau^2)`` over the same
    denominator.
    """
    h = a2 * (1.0 + b2 * b2)
    rise = a2 * b2
    # y of edge 2 in frame 1, middle included, times the denominator
    py0, py1, py2 = y0 - m * rise * cx, h * cy, y0 * b2 * b2 + m * rise * cx
    # |P|^2 = |middle|^2 + 2 middle . own + |own|^2
    dot0 = 2.0 * (x0 * (m * rise * cy) - y0 * (m * rise * cx))
    dot1 = 2.0 * (x0 * h * cx + y0 * h * cy)
    flat = x0 * x0 + y0 * y0 - a1 * a1
    s0 = flat + dot0 + a2 * a2 * b2 * b2
    s2 = flat * b2 * b2 - dot0 + a2 * a2
    lean = a1 * (1.0 - b1 * b1)
    return b1 * s0 - lean * py0, b1 * dot1 - lean * py1, b1 * s2 - lean * py2


@inner
def distance_of_edges(one: F64, two: F64) -> float:
    """Return the least distance of two edges, 0 when they meet."""
    best = min(
        distance_to_edge(one, two[0], two[1]),
        distance_to_edge(one, two[2], two[3]),
        distance_to_edge(two, one[0], one[1]),
        distance_to_edge(two, one[2], one[3]),
    )
    mx, my, ux, uy, a1, b1, m1 = frame_of(one)
    nx, ny, vx, vy, a2, b2, m2 = frame_of(two)
    if best == 0.0 or a1 == 0.0 or a2 == 0.0:
        return best
    x0, y0 = into_frame(mx, my, ux, uy, m1, nx, ny)
    cx, cy = vx * ux + vy * uy, m1 * (vy * ux - vx * uy)
    m = m1 * m2
    g0, g1, g2 = _along(a1, b1, x0, y0, cx, cy, a2, b2, m)
    for pass_no in range(2):
        if pass_no == 0:  # where they meet
            count, t1, t2 = quadratic_roots(g0, g1, g2)
        else:  # where the distance to the whole circle is extreme
            count, t1, t2 = quadratic_roots(g1, 2.0 * (g2 - b2 * b2 * g0), -b2 * b2 * g1)
        for i in range(count):
            tau = t1 if i == 0 else t2
            if abs(tau) <= 1.0:
                below = 1.0 + b2 * b2 * tau * tau
                lx = a2 * (1.0 + b2 * b2) * tau / below
                ly = -m * a2 * b2 * (1.0 - tau * tau) / below
                x, y = x0 + lx * cx - ly * cy, y0 + lx * cy + ly * cx
                if is_beside(x, y, a1, b1):
                    if pass_no == 0:
                        return 0.0
                    best = min(best, abs(signed_distance(x, y, a1, b1)))
    return best


@inner
def meetings_of_edges(one: F64, two: F64, slack: float, out: F64) -> int:
    """Write where two edges meet to rows of `out`; return how many there are, two at most.

    A row holds the fraction on each edge and the point. Ends count as met within `slack`. Edges
    of one line or circle give none, wherever they overlap.
    """
    mx, my, ux, uy, a1, b1, m1 = frame_of(one)
    nx, ny, vx, vy, a2, b2, m2 = frame_of(two)
    if a1 == 0.0 or a2 == 0.0:
        return 0
    x0, y0 = into_frame(mx, my, ux, uy, m1, nx, ny)
    cx, cy = vx * ux + vy * uy, m1 * (vy * ux - vx * uy)
    m = m1 * m2
    g0, g1, g2 = _along(a1, b1, x0, y0, cx, cy, a2, b2, m)
    count, t1, t2 = quadratic_roots(g0, g1, g2)
    found = 0
    for i in range(count):
        tau = t1 if i == 0 else t2
        if (i == 1 and t2 == t1) or not abs(tau) * a2 <= a2 + slack:
            continue
        tau = min(max(tau, -1.0), 1.0)
        below = 1.0 + b2 * b2 * tau * tau
        lx = a2 * (1.0 + b2 * b2) * tau / below
        ly = -m2 * a2 * b2 * (1.0 - tau * tau) / below
        px, py = nx + lx * vx - ly * vy, ny + lx * vy + ly * vx
        gap, fraction, _, _ = foot_on_edge(one, px, py)
        if gap > slack:
            continue
        part = tau if b2 == 0.0 else math.atan(b2 * tau) / math.atan(b2)
        out[found, 0], out[found, 1] = fraction, 0.5 + 0.5 * part
        out[found, 2], out[found, 3] = px, py
        found += 1
    return found


@inner
def tangent_at(edge: F64, fraction: float) -> tuple[float, float]:
    """Return the unit direction of travel at a fraction of an edge's length; (1, 0) without one."""
    dx, dy = edge[2] - edge[0], edge[3] - edge[1]
    chord = math.hypot(dx, dy)
    if chord == 0.0:
        return 1.0, 0.0
    turn = 2.0 * math.atan(edge[4]) * (2.0 * fraction - 1.0)
    c, s = math.cos(turn) / chord, math.sin(turn) / chord
    return dx * c - dy * s, dx * s + dy * c


@inner
def tube_bound(path_edge: F64, part: F64, part_length: float) -> float:
    """Return a bound on the distance from every point of `part` to `path_edge`; inf if none holds.

    The distance to a segment is convex, so along a chord its ends decide; an arc leaves its chord
    by at most ``k L^2 / 8``. To a circle of radius R the distance along a curve of curvature k
    has a second derivative of at most ``1 / (R - d) + k``; while R - d exceeds R / 2 the foot
    leaves the arc by at most ``2 k L^2 / 8``. Derived here.
    """
    d0 = distance_to_edge(path_edge, part[0], part[1])
    d1 = distance_to_edge(path_edge, part[2], part[3])
    worst = max(d0, d1)
    square = part_length * part_length / 8.0
    bent = curvature_of_edge(part)
    curved = curvature_of_edge(path_edge)
    if curved == 0.0:
        return worst + square * bent
    mx, my, ux, uy, a, b, mirror = frame_of(path_edge)
    x0, y0 = into_frame(mx, my, ux, uy, mirror, part[0], part[1])
    x1, y1 = into_frame(mx, my, ux, uy, mirror, part[2], part[3])
    if not (is_beside(x0, y0, a, b) and is_beside(x1, y1, a, b)):
        return math.inf
    room = 1.0 / curved - worst - part_length
    if room <= 0.5 / curved:
        return math.inf
    return worst + square * (1.0 / room + 3.0 * bent)
