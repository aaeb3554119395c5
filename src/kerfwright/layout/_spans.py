"""Compiled code of the search: which places along a line are blocked, and where a shape fits.

The places at which two edges come nearer than a gap form a parallelogram (all differences of
their points) grown by the gap. It is convex, so along a straight line it blocks one span, whose
ends lie on the outlines of the discs at its corners or on its sides moved outwards.
"""

from __future__ import annotations

import math

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner, kernel


@inner
def _side(
    ax: float, ay: float, bx: float, by: float, gap: float, y: float, low: float, high: float
) -> tuple[float, float]:
    """Widen a span by where the line at height y meets the side a-b moved to both sides by gap."""
    dy = by - ay
    if dy == 0.0 or y < min(ay, by) - gap or y > max(ay, by) + gap:
        return low, high
    dx = bx - ax
    share = gap / math.sqrt(dx * dx + dy * dy)
    for side in (-share, share):
        t = (y - ay - side * dx) / dy
        if 0.0 <= t <= 1.0:
            x = ax - side * dy + t * dx
            low, high = min(low, x), max(high, x)
    return low, high


@inner
def _disc(x: float, dy: float, gap: float, low: float, high: float) -> tuple[float, float]:
    """Widen a span by a disc whose centre is dy away from the line."""
    rest = gap * gap - dy * dy
    if rest > 0.0:
        half = math.sqrt(rest)
        low, high = min(low, x - half), max(high, x + half)
    return low, high


@inner
def _span(
    px: float, py: float, qx: float, qy: float,
    sx: float, sy: float, rx: float, ry: float,
    gap: float, y: float,
) -> tuple[float, float]:  # fmt: skip
    """Return the x at which edge s-r, moved by (x, y), comes nearer to edge p-q than a gap."""
    ax, ay, bx, by = px - sx, py - sy, px - rx, py - ry
    cx, cy, dx, dy = qx - rx, qy - ry, qx - sx, qy - sy
    low, high = _side(ax, ay, bx, by, gap, y, math.inf, -math.inf)
    low, high = _side(bx, by, cx, cy, gap, y, low, high)
    low, high = _side(cx, cy, dx, dy, gap, y, low, high)
    low, high = _side(dx, dy, ax, ay, gap, y, low, high)
    low, high = _disc(ax, y - ay, gap, low, high)
    low, high = _disc(bx, y - by, gap, low, high)
    low, high = _disc(cx, y - cy, gap, low, high)
    return _disc(dx, y - dy, gap, low, high)


def edge_rows(ring: F64) -> F64:
    """Return the edges of a ring by rising lower end: both ends, lower y, and the tallest edge."""
    after = np.roll(ring, -1, axis=0)
    low = np.minimum(ring[:, 1], after[:, 1])
    tallest = np.full(len(ring), np.abs(after[:, 1] - ring[:, 1]).max())
    rows = np.column_stack((ring, after, low, tallest))
    return np.asarray(rows[np.argsort(low, kind="stable")])


@inner
def _first_from(edges: F64, low: float) -> int:
    """Return the first edge whose lower end is not below a height."""
    first, end = 0, len(edges)
    while first < end:
        middle = (first + end) // 2
        if edges[middle, 4] < low:
            first = middle + 1
        else:
            end = middle
    return first


@inner
def _blocked(
    edges: F64, box: F64, y: float, rings: F64, starts: I64, boxes: F64, gaps: F64, spans: F64
) -> tuple[F64, int]:
    """Return the spans of x a shape at height y is blocked in by the edges of all rings.

    `spans` is room to write to; a longer one is returned where it does not suffice.
    """
    count, n, tallest = 0, len(edges), edges[0, 5]
    for ring in range(len(boxes)):
        gap = gaps[ring]
        if boxes[ring, 1] - gap > y + box[3] or boxes[ring, 3] + gap < y + box[1]:
            continue
        first, end = starts[ring], starts[ring + 1]
        if count + n * (end - first) > len(spans):
            more = np.zeros((2 * (count + n * (end - first)), 2))
            more[:count] = spans[:count]
            spans = more
        qx, qy = rings[end - 1, 0], rings[end - 1, 1]
        for i in range(first, end):
            px, py, qx, qy = qx, qy, rings[i, 0], rings[i, 1]
            p_low, p_high = min(py, qy) - gap - y, max(py, qy) + gap - y
            if p_low > box[3] or p_high < box[1]:
                continue
            for j in range(_first_from(edges, p_low - tallest), n):
                s = edges[j]
                if s[4] > p_high:
                    break
                if max(s[1], s[3]) < p_low:
                    continue
                low, high = _span(px, py, qx, qy, s[0], s[1], s[2], s[3], gap, y)
                if high > low:
                    spans[count, 0], spans[count, 1] = low, high
                    count += 1
    return spans, count


@inner
def _winds(rings: F64, first: int, end: int, x: float, y: float) -> bool:
    """Return whether a point lies inside a ring of rows; it must not lie on it."""
    inside = False
    qx, qy = rings[end - 1, 0], rings[end - 1, 1]
    for i in range(first, end):
        px, py, qx, qy = qx, qy, rings[i, 0], rings[i, 1]
        if (py > y) != (qy > y) and x < px + (y - py) / (qy - py) * (qx - px):
            inside = not inside
    return inside


@inner
def _is_inside_out(
    shape: F64, box: F64, x: float, y: float, rings: F64, starts: I64, boxes: F64
) -> bool:
    """Return whether a shape that crosses nothing lies outside the sheet, or in or around a solid.

    Ring 0 is the sheet, all others are solids.
    """
    at_x, at_y = shape[0, 0] + x, shape[0, 1] + y
    if not _winds(rings, starts[0], starts[1], at_x, at_y):
        return True
    for ring in range(1, len(boxes)):
        if boxes[ring, 0] > x + box[2] or boxes[ring, 2] < x:
            continue
        if boxes[ring, 1] > y + box[3] or boxes[ring, 3] < y:
            continue
        first = starts[ring]
        if _winds(rings, first, starts[ring + 1], at_x, at_y):
            return True
        if _winds(shape, 0, len(shape), rings[first, 0] - x, rings[first, 1] - y):
            return True
    return False


@kernel
def first_place(
    shape: F64,
    edges: F64,
    box: F64,
    levels: F64,
    rings: F64,
    starts: I64,
    boxes: F64,
    gaps: F64,
    shrink: float,
) -> tuple[int, float]:
    """Return the first level (-1 for none) on which a shape fits, and the leftmost x on it.

    Parameters
    ----------
    shape : ndarray of shape (n, 2), float
        The shape, shrunk [mm].
    edges : ndarray of shape (n, 6), float
        Its edges as `edge_rows` gives them.
    box : ndarray of shape (4,), float
        Its box before shrinking, from 0, 0 [mm].
    levels : ndarray of shape (L,), float
        Heights to try, in order [mm].
    rings, starts, boxes : ndarray
        Vertices of all rings, first row of each, box of each; the sheet first [mm].
    gaps : ndarray of shape (R,), float
        Distance wanted from each [mm].
    shrink : float
        What the shape was shrunk by [mm].
    """
    spans = np.zeros((1024, 2))
    for level in range(len(levels)):
        y = levels[level]
        if y + box[3] > boxes[0, 3] + shrink:
            continue
        spans, count = _blocked(edges, box, y, rings, starts, boxes, gaps, spans)
        order = np.argsort(spans[:count, 0])
        x, last = boxes[0, 0], boxes[0, 2] - box[2] + shrink
        for k in range(count + 1):
            begin = spans[order[k], 0] if k < count else math.inf
            if x > last:
                break
            if begin >= x and not _is_inside_out(shape, box, x, y, rings, starts, boxes):
                return level, x
            if k < count:
                x = max(x, spans[order[k], 1] + shrink)
    return -1, 0.0


@kernel
def slide_back(
    edges: F64,
    box: F64,
    at: float,
    across: float,
    rings: F64,
    starts: I64,
    boxes: F64,
    gaps: F64,
    shrink: float,
) -> float:
    """Return how low x may get from `at` while y stays `across`, nothing being jumped over."""
    spans = np.zeros((1024, 2))
    spans, count = _blocked(edges, box, across, rings, starts, boxes, gaps, spans)
    stop = boxes[0, 0]
    for k in range(count):
        if spans[k, 0] < at:
            stop = max(stop, spans[k, 1] + shrink)
    return float(min(stop, at))
