"""Contours split where the blade lifts: at corners, and around arcs too tight to follow.

*Section*: what lies between two such places, in the drawn direction. A closed contour without
any is one section, a *loop*, that may be entered anywhere. *Room*: how far the blade may go on
past an end of a section before it cuts into a part.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.toolpath.blade import Step
from kerfwright.toolpath.corners import JOINT, PART, SMOOTH, corner_at
from kerfwright.toolpath.shapes import Contour, S, Shapes, total_of
from kerfwright.toolpath.tight import mark_tight_arcs

(BEGIN, END, SPAN, STEPPED, LOOP, FIRST, LAST, MEETS_0, MEETS_1, ROOM_0, ROOM_1, STEEP_0, STEEP_1,
 SECTION_COLUMNS) = range(14)  # fmt: skip
"""Columns of a section: s of both ends and length; whether it is one tight arc cut by short
strokes, and whether a whole smooth contour; first and last edge in its contour; what is at its
start and end, the room past them, and the depth in the part per millimetre after that."""


class Sections(NamedTuple):
    """All N sections of K contours, in drawn order.

    Parameters
    ----------
    rows : ndarray of shape (N, 13), float
        Columns as named above.
    first : ndarray of shape (K + 1,), int
        Row of each contour's first section.
    """

    rows: F64
    first: I64


def sections_of(shapes: Shapes, part_side: I64, step: Step) -> Sections:
    """Return the sections, with the rooms as known from the corner alone.

    The room is 0 where the part begins at once, and the blade's chord at the top elsewhere.
    """
    return Sections(*_sections(shapes.edge, shapes.first, shapes.closed, part_side, step))


@kernel
def _sections(edges: F64, first: I64, closed: BOOL, part_side: I64, step: Step) -> tuple[F64, I64]:
    rows = np.zeros((len(edges), SECTION_COLUMNS))
    begun = np.zeros(len(closed) + 1, np.int64)
    n = 0
    for path in range(len(closed)):
        contour = Contour(edges[first[path] : first[path + 1]], closed[path])
        if len(contour.edge):
            at_vertex, steep = np.zeros(len(contour.edge), np.int64), np.ones(len(contour.edge))
            for k in range(len(at_vertex)):
                at_vertex[k], steep[k] = corner_at(contour, k, part_side[path], step)
            tight = mark_tight_arcs(at_vertex, contour, step)
            n += _fill(rows[n:], contour, at_vertex, steep, tight, 2.0 * step.half)
        begun[path + 1] = n
    return rows[:n], begun


@inner
def _fill(
    rows: F64, contour: Contour, at_vertex: I64, steep: F64, tight: BOOL, reach: float
) -> int:
    """Fill in the sections of one contour; return how many."""
    edge, n = contour.edge, 0
    for k in range(len(edge)):
        if at_vertex[k] != SMOOTH:
            rows[n, BEGIN], rows[n, FIRST], rows[n, MEETS_0] = edge[k, S], k, at_vertex[k]
            rows[n, STEPPED], rows[n, STEEP_0] = tight[k], steep[k]
            n += 1
    if n == 0:
        rows[0, LOOP], rows[0, STEPPED], rows[0, MEETS_0] = 1.0, tight[0], JOINT
        n = 1
    for i in range(n):
        row, after = rows[i], rows[(i + 1) % n]
        if i + 1 < n or contour.closed:
            row[END], row[MEETS_1], row[STEEP_1] = after[BEGIN], after[MEETS_0], after[STEEP_0]
            row[LAST] = (after[FIRST] - 1) % len(edge)
        else:
            row[END], row[MEETS_1], row[LAST] = total_of(edge), PART, len(edge) - 1
            row[STEEP_1] = 1.0
        row[SPAN] = row[END] - row[BEGIN]
        if row[SPAN] <= 0.0:
            row[SPAN] += total_of(edge)
        row[ROOM_0] = 0.0 if row[MEETS_0] == PART else reach
        row[ROOM_1] = 0.0 if row[MEETS_1] == PART else reach
    return n
