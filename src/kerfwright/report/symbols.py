"""Small figures: the mark of a verdict state, a registration mark, a label's square code."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kerfwright.geometry.record import BOOL, F64
from kerfwright.report.look import INK, PAPER, STATES, Colour
from kerfwright.report.pen import PT_PER_MM, Pen

_CORNERS: dict[str, F64] = {
    "triangle": np.array(((-1.15, -0.85), (1.15, -0.85), (0.0, 1.2))),
    "square": np.array(((-0.92, -0.92), (0.92, -0.92), (0.92, 0.92), (-0.92, 0.92))),
    "diamond": np.array(((0.0, -1.25), (1.25, 0.0), (0.0, 1.25), (-1.25, 0.0))),
}
_CAP_HEIGHT = 0.72
"""Height of a capital letter of the font over its size."""


def state_mark(pen: Pen, centre: tuple[float, float], state: str, *, radius_mm: float) -> None:
    """Draw the mark of a state: its shape in its colour, its letter in white."""
    look = STATES[state]
    if look.shape == "disc":
        pen.disc(centre, radius_mm, fill=look.colour)
    else:
        corners = _CORNERS[look.shape] * radius_mm + np.array(centre)
        pen.rings([(corners, True)], fill=look.colour)
    size_pt = 1.3 * radius_mm * PT_PER_MM
    low = 0.12 * radius_mm if look.shape == "triangle" else 0.0
    base = centre[1] - low - _CAP_HEIGHT * size_pt / PT_PER_MM / 2.0
    pen.text(
        centre[0], base, look.letter, size_pt=size_pt, bold=True, colour=PAPER, anchor="middle"
    )


def registration_mark(pen: Pen, centre: tuple[float, float], *, is_used: bool) -> None:
    """Draw where a printed mark lies: a disc with a cross, crossed out where it was not used."""
    x, y = centre
    pen.disc(centre, 1.5, fill=PAPER, stroke=INK, width_mm=0.18)
    pen.disc(centre, 0.55, fill=INK if is_used else PAPER, stroke=INK, width_mm=0.18)
    reach = 1.5 if is_used else 1.9
    if is_used:
        pen.line((x - reach, y), (x + reach, y), width_mm=0.12)
        pen.line((x, y - reach), (x, y + reach), width_mm=0.12)
    else:
        pen.line((x - reach, y - reach), (x + reach, y + reach), width_mm=0.35)
        pen.line((x - reach, y + reach), (x + reach, y - reach), width_mm=0.35)


def warning_sign(pen: Pen, centre: tuple[float, float], *, radius_mm: float) -> None:
    """Draw a triangle with an exclamation mark."""
    corners = _CORNERS["triangle"] * radius_mm + np.array(centre)
    pen.rings([(corners, True)], fill=INK)
    size_pt = 1.5 * radius_mm * PT_PER_MM
    base = centre[1] - 0.62 * radius_mm
    pen.text(centre[0], base, "!", size_pt=size_pt, bold=True, colour=PAPER, anchor="middle")


def square_code(pen: Pen, modules: BOOL, box_mm: tuple[float, float, float, float]) -> None:
    """Draw the dark modules of a square code; row 0 is the upper one."""
    x0, y0, x1, y1 = box_mm
    pen.box(box_mm, fill=PAPER)
    side = min(x1 - x0, y1 - y0) / len(modules)
    boxes = [
        (x0 + first * side, y1 - (row + 1) * side, x0 + end * side, y1 - row * side)
        for row, first, end in runs_of(modules)
    ]
    pen.boxes(boxes, fill=INK)


def runs_of(mask: BOOL) -> Iterator[tuple[int, int, int]]:
    """Yield row, first and end column of every run of true cells."""
    padded = np.pad(mask.astype(np.int8), ((0, 0), (1, 1)))
    step = np.diff(padded, axis=1)
    rows, first = np.nonzero(step == 1)
    _, end = np.nonzero(step == -1)
    yield from zip(rows.tolist(), first.tolist(), end.tolist(), strict=True)


def swatch(pen: Pen, box_mm: tuple[float, float, float, float], fill: Colour) -> None:
    """Draw a small framed field of a colour."""
    pen.box(box_mm, fill=fill, stroke=INK, width_mm=0.12)
