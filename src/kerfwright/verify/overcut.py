"""What was cut past the end of a run: into waste, or into a part and how deep.

From the corner to the farthest point reached past it the blade cut a straight line. Its depth in
a part at a point is the distance to the nearest edge of a part, or to the contour itself. That
depth grows no faster than the way, which bounds it between two points; the line is halved until
the bound is within the resolution.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, hypot, inf, sin

import numpy as np

from kerfwright.kernels import inner, kernel
from kerfwright.verify.columns import (
    AFTER,
    BEFORE,
    F64,
    HEAD,
    I64,
    KX,
    KY,
    LENGTH,
    NEXT,
    PREVIOUS,
    ROW,
    SWEEP,
    X0,
    X1,
    Y0,
    Y1,
    Shape,
)
from kerfwright.verify.foot import foot
from kerfwright.verify.near import pairs_in, piece_boxes
from kerfwright.verify.nesting import Nesting

_MOST_HALVINGS = 4000
_DEEP = 64
_EQUAL_MM = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Overcut:
    """Per contour, how far it was cut past an end into a part and into waste, and where.

    Parameters
    ----------
    part, waste : ndarray of shape (K,), float
        Greatest depth in a part, and greatest way through waste [mm].
    part_xy : ndarray of shape (K, 2), float
        Where the part is hurt most [mm].
    """

    part: F64
    waste: F64
    part_xy: F64


def overcut_of(
    shape: Shape,
    nesting: Nesting,
    over: F64,
    over_at: F64,
    *,
    noise_mm: float,
    resolution_mm: float,
) -> Overcut:
    """Return what was cut past the ends of runs, by the greatest overrun of every slot."""
    slot = np.flatnonzero(over > noise_mm)
    rows = len(shape.length)
    part, waste, part_xy = np.zeros(rows), np.zeros(rows), np.zeros((rows, 2))
    if not len(slot):
        return Overcut(part=part, waste=waste, part_xy=part_xy)
    corner = slot // 4
    piece = np.where(
        shape.ends[corner, BEFORE] >= 0, shape.ends[corner, BEFORE], shape.ends[corner, AFTER]
    )
    own = shape.links[piece, ROW]
    begin, end = shape.corners[corner, KX : KY + 1], over_at[slot]
    base = np.ones(len(slot), np.int64)
    apart = ~nesting.frees[own]  # the others have an edge of a part right there
    base[apart] = nesting.is_part(begin[apart])
    bare = int(not nesting.frees.any())
    near, first, last = _near(shape, nesting, begin, end, own)
    depth, place, past = _dig(
        shape, near, first, last, own, begin, end, base, nesting.side, bare, resolution_mm
    )
    np.maximum.at(waste, own, np.maximum(past, 0.0))
    order = np.argsort(depth, kind="stable")
    part[own[order]], part_xy[own[order]] = depth[order], place[order]
    return Overcut(part=part, waste=waste, part_xy=part_xy)


def _near(shape: Shape, nesting: Nesting, begin: F64, end: F64, own: I64) -> tuple[I64, I64, I64]:
    """Return the pieces within reach of each line that bound a part or are the contour's own."""
    margin = np.hypot(*(end - begin).T)[:, None] + 2.0 * _EQUAL_MM
    boxes = np.hstack((np.minimum(begin, end) - margin, np.maximum(begin, end) + margin))
    line, piece = pairs_in(boxes, piece_boxes(shape))
    row = shape.links[piece, ROW]
    keep = nesting.frees[row] | (row == own[line])
    line, piece = line[keep], piece[keep]
    order = np.lexsort((piece, line))
    first = np.searchsorted(line[order], np.arange(len(begin)))
    last = np.searchsorted(line[order], np.arange(len(begin)), side="right")
    return piece[order], first, last


@kernel
def _dig(
    shape: Shape,
    near: I64,
    first: I64,
    last: I64,
    own: I64,
    begin: F64,
    end: F64,
    base: I64,
    side: I64,
    bare: int,
    resolution: float,
) -> tuple[F64, F64, F64]:
    """Return depth in a part, its place, and way through waste, of each line."""
    depth, place, past = np.zeros(len(own)), np.zeros((len(own), 2)), np.zeros(len(own))
    stack = np.zeros((_DEEP, 2))
    for n in range(len(own)):
        dx, dy = end[n, 0] - begin[n, 0], end[n, 1] - begin[n, 1]
        length = hypot(dx, dy)
        at_end = _signed(
            shape,
            near,
            first[n],
            last[n],
            own[n],
            *_on(begin[n], dx, dy, 1.0),
            length,
            base[n],
            side,
            bare,
        )
        if at_end <= 0.0:
            past[n] = length
        elif at_end > depth[n]:
            depth[n], place[n, 0], place[n, 1] = at_end, end[n, 0], end[n, 1]
        stack[0, 0], stack[0, 1] = 0.0, 1.0
        deep, done = 1, 0
        while deep > 0 and done < _MOST_HALVINGS:
            deep -= 1
            done += 1
            low, high = stack[deep, 0], stack[deep, 1]
            middle, half = (low + high) / 2.0, (high - low) / 2.0
            x, y = _on(begin[n], dx, dy, middle)
            value = _signed(
                shape, near, first[n], last[n], own[n], x, y, length, base[n], side, bare
            )
            if value > depth[n]:
                depth[n], place[n, 0], place[n, 1] = value, x, y
            if value <= 0.0:
                past[n] = max(past[n], middle * length)
            if value + half * length > depth[n] + resolution and deep + 2 <= _DEEP:
                stack[deep, 0], stack[deep, 1] = low, middle
                stack[deep + 1, 0], stack[deep + 1, 1] = middle, high
                deep += 2
    return depth, place, past


@inner
def _on(begin: F64, dx: float, dy: float, share: float) -> tuple[float, float]:
    return begin[0] + dx * share, begin[1] + dy * share


@inner
def _signed(
    shape: Shape,
    near: I64,
    low: int,
    high: int,
    own: int,
    x: float,
    y: float,
    length: float,
    base: int,
    side: I64,
    bare: int,
) -> float:
    """Return the depth in a part, below 0 in waste: distance to the nearest edge or own contour."""
    nearest, edge, inside = inf, inf, False
    for j in range(low, high):
        i = near[j]
        row = shape.links[i, ROW]
        distance, along, head = foot(shape.pieces[i], x, y)
        if side[row] != 0:
            if distance < edge - _EQUAL_MM:
                edge = distance
                inside = _is_left(shape, i, along, head, x, y) == (side[row] > 0)
            elif distance < edge + _EQUAL_MM:
                edge = min(edge, distance)
                inside = inside or _is_left(shape, i, along, head, x, y) == (side[row] > 0)
        if side[row] != 0 or row == own:
            nearest = min(nearest, distance)
    if bare == 1:
        return nearest
    if edge > length + _EQUAL_MM:
        inside = base == 1
    return nearest if inside else -nearest


@inner
def _is_left(shape: Shape, i: int, along: float, head: float, x: float, y: float) -> bool:
    """Return whether a point lies left of a piece, at a vertex of both pieces that meet there."""
    piece = shape.pieces[i]
    other = -1
    if along <= 0.0:
        other, px, py = shape.links[i, PREVIOUS], piece[X0], piece[Y0]
    elif along >= piece[LENGTH]:
        other, px, py = shape.links[i, NEXT], piece[X1], piece[Y1]
    else:
        part = along / piece[LENGTH]
        turned = head - piece[SWEEP] * part  # heading at the start
        middle = (turned + head) / 2.0
        chord = along
        if piece[SWEEP] != 0.0:
            half = piece[SWEEP] * part / 2.0
            chord = along * sin(half) / half
        px, py = piece[X0] + chord * cos(middle), piece[Y0] + chord * sin(middle)
    nx, ny = -sin(head), cos(head)
    if other >= 0:
        meets = shape.pieces[other, HEAD]
        if along <= 0.0:
            meets += shape.pieces[other, SWEEP]
        # Where a contour doubles back the two normals cancel; the sharper side stays outside.
        nx, ny = nx - sin(meets), ny + cos(meets)
    aside: float = (x - px) * nx + (y - py) * ny
    return aside > 0.0
