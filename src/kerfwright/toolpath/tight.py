"""Which arcs are too tight to follow, so that short lifted strokes do better."""

from __future__ import annotations

from math import cos, hypot, sin

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner
from kerfwright.toolpath.blade import Step
from kerfwright.toolpath.corners import JOINT, SMOOTH, WASTE
from kerfwright.toolpath.shapes import (
    BACK,
    FORTH,
    LENGTH,
    SWEEP,
    Contour,
    bend_of,
    following,
    start_of,
)
from kerfwright.toolpath.steps import can_step


@inner
def mark_tight_arcs(at_vertex: I64, contour: Contour, step: Step) -> BOOL:
    """Return which edges belong to such an arc; mark its ends as joints."""
    n = len(contour.edge)
    tight = np.zeros(n, np.bool_)
    start = _first_of_chain(at_vertex, contour, step.noise)
    done = 0
    while done < n:
        k = (start + done) % n
        size = _chain_size(at_vertex, contour, k, n - done, step.noise)
        if _is_stepped(at_vertex, contour, k, size, step):
            for j in range(size):
                tight[(k + j) % n] = True
            if size < n or at_vertex[k] != SMOOTH:  # a whole circle has no joints
                _join(at_vertex, k)
                _join(at_vertex, (k + size) % n)
        done += size
    return tight


@inner
def _join(at_vertex: I64, k: int) -> None:
    if at_vertex[k] == SMOOTH:
        at_vertex[k] = JOINT


@inner
def _first_of_chain(at_vertex: I64, contour: Contour, noise: float) -> int:
    """Return an edge that does not go on along the arc before it."""
    edge = contour.edge
    for k in range(len(edge)):
        before = following(contour, k, BACK)
        if at_vertex[k] != SMOOTH or not _same_circle(edge, before, k, noise):
            return k
    return 0


@inner
def _chain_size(at_vertex: I64, contour: Contour, k: int, most: int, noise: float) -> int:
    """Return how many edges from this one on lie on one circle."""
    size = 1
    while size < most:
        after = following(contour, k, FORTH)
        if at_vertex[after] != SMOOTH or not _same_circle(contour.edge, k, after, noise):
            break
        size, k = size + 1, after
    return size


@inner
def _same_circle(edge: F64, one: int, other: int, noise: float) -> bool:
    if edge[one, SWEEP] * edge[other, SWEEP] <= 0.0:
        return False
    r, q = 1.0 / bend_of(edge, one), 1.0 / bend_of(edge, other)
    x0, y0, a = start_of(edge, one, FORTH)
    x1, y1, b = start_of(edge, other, FORTH)
    dx, dy = x0 - r * sin(a) - x1 + q * sin(b), y0 + r * cos(a) - y1 - q * cos(b)
    return abs(r - q) + hypot(dx, dy) <= noise


@inner
def _is_stepped(at_vertex: I64, contour: Contour, k: int, size: int, step: Step) -> bool:
    """Whether an arc is too tight to follow, and short strokes do better."""
    edge = contour.edge
    if edge[k, SWEEP] == 0.0:
        return False
    radius, sweep = 1.0 / abs(bend_of(edge, k)), 0.0
    for j in range(size):
        sweep += edge[(k + j) % len(edge), SWEEP]
    is_tight = hypot(radius, step.half) - radius > step.tolerance
    if not is_tight or not can_step(radius, sweep, step):
        return False
    if size == len(edge) and contour.closed and at_vertex[k] == SMOOTH:
        return True
    last = (k + size - 1) % len(edge)
    return _ends_well(at_vertex, contour, k, BACK, radius, step) and _ends_well(
        at_vertex, contour, last, FORTH, radius, step
    )


@inner
def _ends_well(
    at_vertex: I64, contour: Contour, k: int, sense: int, radius: float, step: Step
) -> bool:
    """Whether strokes may end where an arc does: at a corner, or where overcuts stay close by."""
    edge, after = contour.edge, following(contour, k, sense)
    if after == k or at_vertex[after if sense > 0 else k] >= WASTE:
        return True
    bend = 1.0 / radius + abs(bend_of(edge, after))
    past = step.half - min(step.back, step.front)
    is_long = edge[after, LENGTH] >= step.back + step.front
    return is_long and past * past * bend / 2.0 <= step.tolerance
