"""A window of the table on the page: scale, rulers, paths brought over."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, log10

import numpy as np

from kerfwright.geometry.flatten import flatten
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64
from kerfwright.report.look import INK, SMALL_PT, SOFT
from kerfwright.report.pen import Pen, Ring

_RULER_MM = 7.0
_LEAST_TICK_MM = 13.0
_CHORD_MM = 0.02
"""How far a drawn chord may lie from its arc on paper: less than a printer's dot."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Maps a box of the table or sheet onto a box of the page, one scale for both ways.

    Parameters
    ----------
    view_mm : tuple of float
        What is shown, x0, y0, x1, y1 [mm].
    page_mm : tuple of float
        Where its lower left corner lies on the page [mm].
    scale : float
        Page mm per mm.
    """

    view_mm: tuple[float, float, float, float]
    page_mm: tuple[float, float]
    scale: float

    @property
    def box_mm(self) -> tuple[float, float, float, float]:
        """The view on the page [mm]."""
        x0, y0, x1, y1 = self.view_mm
        left, bottom = self.page_mm
        return left, bottom, left + (x1 - x0) * self.scale, bottom + (y1 - y0) * self.scale

    def to_page(self, xy_mm: F64) -> F64:
        """Return points on the page [mm]."""
        moved: F64 = (xy_mm - np.array(self.view_mm[:2])) * self.scale + np.array(self.page_mm)
        return moved

    def rings(self, paths: PathSet) -> list[Ring]:
        """Return paths on the page, arcs as chords."""
        if not len(paths):
            return []
        flat = flatten(paths, tolerance_mm=_CHORD_MM / self.scale)
        points = self.to_page(flat.points)
        ends = zip(flat.starts[:-1], flat.starts[1:], flat.closed.tolist(), strict=True)
        return [(points[first:end], closed) for first, end, closed in ends]


def height_of(
    view_mm: tuple[float, float, float, float], *, width_mm: float, most_mm: float
) -> tuple[float, float]:
    """Return scale and height with rulers of a view that may be so wide and so high [mm]."""
    x0, y0, x1, y1 = view_mm
    scale = min((width_mm - _RULER_MM) / (x1 - x0), (most_mm - _RULER_MM) / (y1 - y0))
    return scale, (y1 - y0) * scale + _RULER_MM


def window_at(
    view_mm: tuple[float, float, float, float], *, left_mm: float, top_mm: float, scale: float
) -> Window:
    """Return the window whose rulers begin at a left edge and whose view ends at a top [mm]."""
    bottom = top_mm - (view_mm[3] - view_mm[1]) * scale
    return Window(view_mm=view_mm, page_mm=(left_mm + _RULER_MM, bottom), scale=scale)


def draw_rulers(pen: Pen, window: Window) -> None:
    """Draw graduated edges below and left of a window, counted as the frame counts."""
    left, bottom, right, top = window.box_mm
    step = nice_step(_LEAST_TICK_MM / window.scale)
    pen.box(window.box_mm, stroke=INK, width_mm=0.25)
    for axis, (low, high) in enumerate(((left, right), (bottom, top))):
        start = window.view_mm[axis]
        first = ceil(start * 5.0 / step)
        last = floor((start + (high - low) / window.scale) * 5.0 / step)
        for k in range(first, last + 1):
            value = k * step / 5.0
            at = low + (value - start) * window.scale
            _tick(pen, axis, at, (left, bottom), f"{value:.0f}" if k % 5 == 0 else "")


def _tick(pen: Pen, axis: int, at: float, corner: tuple[float, float], label: str) -> None:
    left, bottom = corner
    length = 1.8 if label else 0.8
    if axis == 0:
        pen.line((at, bottom), (at, bottom - length), width_mm=0.15)
        pen.text(at, bottom - 4.6, label, size_pt=SMALL_PT - 1.0, colour=SOFT, anchor="middle")
    else:
        pen.line((left, at), (left - length, at), width_mm=0.15)
        pen.text(left - 2.2, at - 0.7, label, size_pt=SMALL_PT - 1.0, colour=SOFT, anchor="end")


def nice_step(least: float) -> float:
    """Return the smallest of 1, 2, 5 times a power of ten that is not below `least`."""
    power = 10.0 ** floor(log10(least))
    return float(next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= least * (1 - 1e-9)))
