"""Where a part's mark and number find room, and how large they can be."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kerfwright.geometry.record import F64
from kerfwright.report.look import STATES
from kerfwright.report.pen import PT_PER_MM, Pen, Ring, text_width_mm
from kerfwright.report.symbols import state_mark

_LEAST_MARK_MM = 0.8
_MOST_MARK_MM = 2.2
_NUMBER = 1.5
"""Size of a part's number over the radius of its mark."""
_DIGIT = 0.556
"""Width of a digit over the size of the letters, by the font's own table."""


def is_inside(rings: Sequence[Ring], point: tuple[float, float]) -> bool:
    """Return whether a point lies inside a figure; a ring inside another is a hole."""
    start, end = _edges(rings)
    return any(a <= point[0] <= b for a, b in _pieces(start, end, point[1]))


def draw_label(pen: Pen, rings: Sequence[Ring], number: str, state: str) -> None:
    """Write mark and number where the part has most room, side by side or one above the other."""
    (x, y), width, height = roomiest_place(rings, n_digits=len(number))
    radius, is_level = _label_size(width, height, len(number))
    look = STATES[state]
    if radius < _LEAST_MARK_MM:
        if not look.hatch_deg:
            return  # a part that is cut and too small for a mark is told by its plain fill
        state_mark(pen, (x, y), state, radius_mm=_LEAST_MARK_MM)
        return
    size_pt = _NUMBER * radius * PT_PER_MM
    text_mm = text_width_mm(number, size_pt=size_pt, bold=True)
    cap_mm = 0.72 * _NUMBER * radius
    if is_level:
        left = x - text_mm / 2.0 - 0.2 * radius
        mark, text = (left, y), (left + 1.5 * radius + text_mm / 2.0, y - cap_mm / 2.0)
        reach = (
            left - 1.5 * radius,
            y - 1.5 * radius,
            left + text_mm + 1.9 * radius,
            y + 1.5 * radius,
        )
    else:
        mark, text = (x, y + 0.9 * radius), (x, y - 0.5 * radius - cap_mm)
        half = max(text_mm / 2.0, radius) + 0.3 * radius
        reach = (x - half, y - 0.8 * radius - cap_mm, x + half, y + 2.2 * radius)
    if look.hatch_deg:
        with pen.inside(rings):
            pen.box(reach, fill=look.fill)
    state_mark(pen, mark, state, radius_mm=radius)
    pen.text(*text, number, size_pt=size_pt, bold=True, anchor="middle")


def _label_size(width: float, height: float, n_digits: int) -> tuple[float, bool]:
    """Return the mark's radius and whether the number stands beside it, whichever is larger."""
    digits = _DIGIT * _NUMBER * n_digits
    beside = min(width / (3.4 + digits), height / 3.0)
    above = min(width / max(digits + 0.7, 2.7), height / 5.0)
    return min(max(beside, above), _MOST_MARK_MM), beside >= above


def roomiest_place(
    rings: Sequence[Ring], *, n_digits: int = 2, n_lines: int = 15
) -> tuple[tuple[float, float], float, float]:
    """Return a point inside a figure where a label has room, with the width and height there.

    The figure is cut by level lines; of the middles of all pieces the one wins that takes the
    largest label; nearer the middle on a tie.
    """
    start, end = _edges(rings)
    low, high = start.min(axis=0), start.max(axis=0)
    best, room = ((low + high) / 2.0, 0.0, 0.0), 0.0
    shares = (np.arange(n_lines) + 0.5) / n_lines
    for share in shares[np.argsort(np.abs(shares - 0.5), kind="stable")].tolist():
        y = float(low[1] + share * (high[1] - low[1]))
        for left, right in _pieces(start, end, y):
            x = (left + right) / 2.0
            height = _room_about(_pieces(start[:, ::-1], end[:, ::-1], x), y)
            size, _ = _label_size(right - left, height, n_digits)
            if size > 1.02 * room:
                room, best = size, (np.array((x, y)), right - left, height)
    return (float(best[0][0]), float(best[0][1])), best[1], best[2]


def _pieces(start: F64, end: F64, y: float) -> list[tuple[float, float]]:
    """Return the pieces of a level line that lie inside a figure."""
    crosses = (start[:, 1] <= y) != (end[:, 1] <= y)
    a, b = start[crosses], end[crosses]
    share = (y - a[:, 1]) / (b[:, 1] - a[:, 1])
    x = sorted((a[:, 0] + share * (b[:, 0] - a[:, 0])).tolist())
    return list(zip(x[0::2], x[1::2], strict=False))


def _room_about(pieces: list[tuple[float, float]], at: float) -> float:
    """Return twice the way from a point to the nearer end of the piece it lies in."""
    return max((2.0 * min(at - a, b - at) for a, b in pieces if a <= at <= b), default=0.0)


def _edges(rings: Sequence[Ring]) -> tuple[F64, F64]:
    points = [p for p, _ in rings]
    return np.concatenate(points), np.concatenate([np.roll(p, -1, axis=0) for p in points])
