"""The error map: expected deviation over the sheet, light to dark, over the limit hatched."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kerfwright.geometry.record import BOOL, F64
from kerfwright.report.flow import Flow
from kerfwright.report.frame import Window, draw_rulers, height_of, nice_step, window_at
from kerfwright.report.look import (
    BAD,
    INK,
    LEFT_MM,
    MAP_RAMP,
    PAPER,
    SMALL_PT,
    SOFT,
    WIDTH_MM,
)
from kerfwright.report.pen import Pen, Ring, box_ring, hatch
from kerfwright.report.symbols import runs_of, swatch
from kerfwright.report.ticket_pictures import ErrorMap, SheetPicture
from kerfwright.report.words import say

_LEGEND_MM = 9.0
_OVERLAP_MM = 0.03
"""Neighbouring cells lap, so that no viewer shows a hair line between them."""


def add_error_map(
    flow: Flow, error_map: ErrorMap, picture: SheetPicture, *, most_mm: float
) -> None:
    """Add the map, drawn under the outlines of the parts, and its legend in mm."""
    scale, height = height_of(picture.view_mm, width_mm=WIDTH_MM, most_mm=most_mm - _LEGEND_MM)
    steps = classes_of(error_map)

    def draw(pen: Pen, top: float) -> None:
        window = window_at(picture.view_mm, left_mm=LEFT_MM, top_mm=top, scale=scale)
        with pen.inside([box_ring(window.box_mm)]):
            with pen.inside(window.rings(picture.sheet)):
                _draw_cells(pen, window, error_map, steps)
            pen.rings(window.rings(picture.outlines), stroke=INK, width_mm=0.14)
            pen.rings(window.rings(picture.sheet), stroke=INK, width_mm=0.3)
        draw_rulers(pen, window)
        _legend(pen, top - height - 4.0, error_map, steps)

    flow.put(height + _LEGEND_MM, draw)
    flow.paragraph(worst_sentence(error_map))


def classes_of(error_map: ErrorMap) -> F64:
    """Return the edges of the classes, from 0 over the greatest deviation, round numbers [mm]."""
    worst = max(float(np.nanmax(error_map.deviation_mm)), 1e-6)
    step = nice_step(worst / len(MAP_RAMP))
    return np.linspace(0.0, len(MAP_RAMP) * step, len(MAP_RAMP) + 1)


def worst_sentence(error_map: ErrorMap) -> str:
    """Return where the deviation is greatest, how much, and whether it is over the limit."""
    values = error_map.deviation_mm
    row, column = np.unravel_index(int(np.nanargmax(values)), values.shape)
    x = error_map.x_mm[column : column + 2].mean()
    y = error_map.y_mm[row : row + 2].mean()
    worst, limit = float(values[row, column]), error_map.limit_mm
    said = say("ticket", "error_worst", worst=worst, x=float(x), y=float(y), limit=limit)
    return said if worst > limit else f"{said} {say('ticket', 'error_none_over')}"


def _draw_cells(pen: Pen, window: Window, error_map: ErrorMap, steps: F64) -> None:
    values = error_map.deviation_mm
    known = np.isfinite(values)
    kind = np.searchsorted(steps, np.where(known, values, 0.0), side="right") - 1
    kind = np.minimum(kind, len(MAP_RAMP) - 1)
    for k, colour in enumerate(MAP_RAMP):
        boxes = _boxes(window, error_map, known & (kind == k))
        if boxes:
            pen.boxes([_grown(b) for b in boxes], fill=colour)
    over = _boxes(window, error_map, known & (values > error_map.limit_mm))
    if over:
        rings = [box_ring(b) for b in over]
        _over_hatch(pen, rings)


def _over_hatch(pen: Pen, rings: Sequence[Ring]) -> None:
    """Hatch in red on white, so that it is seen on a dark cell and on a grey printer."""
    hatch(pen, rings, step_mm=1.8, turn_deg=45.0, colour=PAPER, width_mm=0.75)
    hatch(pen, rings, step_mm=1.8, turn_deg=45.0, colour=BAD, width_mm=0.4)


def _boxes(
    window: Window, error_map: ErrorMap, mask: BOOL
) -> list[tuple[float, float, float, float]]:
    x, y = error_map.x_mm, error_map.y_mm
    runs = list(runs_of(mask))
    low = window.to_page(np.array([(x[a], y[r]) for r, a, _ in runs]).reshape(-1, 2))
    high = window.to_page(np.array([(x[b], y[r + 1]) for r, _, b in runs]).reshape(-1, 2))
    return [(a, b, c, d) for a, b, c, d in np.column_stack((low, high)).tolist()]


def _grown(box: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = box
    return x0, y0, x1 + _OVERLAP_MM, y1 + _OVERLAP_MM


def _legend(pen: Pen, y: float, error_map: ErrorMap, steps: F64) -> None:
    x, width = LEFT_MM + 7.0, 13.0
    step = float(steps[1])
    decimals = max(0, -int(np.floor(np.log10(step) + 1e-9)))
    for k, colour in enumerate(MAP_RAMP):
        swatch(pen, (x + k * width, y, x + (k + 1) * width, y + 3.2), colour)
    for k, edge in enumerate(steps.tolist()):
        pen.text(
            x + k * width, y - 2.9, f"{edge:.{decimals}f}", size_pt=SMALL_PT - 0.5, anchor="middle"
        )
    words = say("ticket", "error_legend", level=100.0 * error_map.level)
    x += len(MAP_RAMP) * width + 3.0
    pen.text(x, y + 0.6, words, size_pt=SMALL_PT, colour=SOFT)
    box = (x, y - 3.9, x + 7.0, y - 0.7)
    swatch(pen, box, PAPER)
    _over_hatch(pen, [box_ring(box)])
    pen.text(x + 8.5, y - 3.2, say("ticket", "error_over"), size_pt=SMALL_PT, colour=SOFT)
