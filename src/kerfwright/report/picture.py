"""The sheet as it lies: parts with the state of their verdict, marks, zones, rulers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kerfwright.report.flow import Flow
from kerfwright.report.frame import Window, draw_rulers, height_of, window_at
from kerfwright.report.labels import draw_label, is_inside
from kerfwright.report.look import (
    BED,
    INK,
    LEFT_MM,
    PANEL,
    PAPER,
    SMALL_PT,
    SOFT,
    STATES,
    WIDTH_MM,
)
from kerfwright.report.pen import Pen, Ring, box_ring, hatch, text_width_mm
from kerfwright.report.symbols import registration_mark, state_mark, swatch
from kerfwright.report.ticket_lines import PartLine
from kerfwright.report.ticket_pictures import SheetPicture
from kerfwright.report.words import say

_LEGEND_MM = 6.5
_ZONE_PT = 5.5


def add_picture(
    flow: Flow,
    picture: SheetPicture,
    parts: Sequence[PartLine],
    zones_on: Sequence[int],
    *,
    most_mm: float,
) -> None:
    """Add the picture of the sheet and the legend of its states."""
    scale, height = height_of(picture.view_mm, width_mm=WIDTH_MM, most_mm=most_mm - _LEGEND_MM)

    def draw(pen: Pen, top: float) -> None:
        window = window_at(picture.view_mm, left_mm=LEFT_MM, top_mm=top, scale=scale)
        _draw_bed(pen, window, picture, zones_on)
        placed = parts_of(window, picture)
        with pen.inside([box_ring(window.box_mm)]):
            pen.rings(window.rings(picture.sheet), fill=PAPER, stroke=INK, width_mm=0.35)
            for row, rings in placed.items():
                draw_part(pen, rings, parts[row].state)
            for row, rings in placed.items():
                draw_label(pen, rings, str(row + 1), parts[row].state)
        for xy, used in zip(picture.marks_xy, picture.marks_used.tolist(), strict=True):
            x, y = window.to_page(xy)
            registration_mark(pen, (float(x), float(y)), is_used=used)
        draw_rulers(pen, window)
        _legend(pen, top - height - _LEGEND_MM + 2.6, picture)

    flow.put(height + _LEGEND_MM, draw)


def parts_of(window: Window, picture: SheetPicture) -> dict[int, list[Ring]]:
    """Return the contours of each part on the page, by row of the verdict table."""
    found: dict[int, list[Ring]] = {}
    for row, ring in zip(picture.part.tolist(), window.rings(picture.outlines), strict=True):
        found.setdefault(row, []).append(ring)
    return found


def draw_part(pen: Pen, rings: Sequence[Ring], state: str) -> None:
    """Draw a part in the fill, hatch and line of its state."""
    look = STATES[state]
    pen.rings(rings, fill=look.fill)
    for turn_deg in look.hatch_deg:
        hatch(pen, rings, step_mm=look.hatch_mm, turn_deg=turn_deg, colour=look.colour)
    pen.rings(rings, stroke=look.colour if look.hatch_deg else INK, width_mm=0.25)


def _draw_bed(pen: Pen, window: Window, picture: SheetPicture, zones_on: Sequence[int]) -> None:
    pen.box(window.box_mm, fill=BED)
    corners = picture.zone_box_mm.reshape(-1, 2, 2)
    for number, corner in zip(picture.zone.tolist(), corners, strict=True):
        box = tuple(window.to_page(corner).ravel().tolist())
        is_on = number in zones_on
        pen.box(box, fill=PANEL if is_on else None, stroke=SOFT, width_mm=0.12)
        word = f"zone {number} {'on' if is_on else 'off'}"
        place = _free_corner(box, window.rings(picture.sheet), word)
        if place is not None:
            pen.text(*place, word, size_pt=_ZONE_PT, colour=SOFT)


def _free_corner(
    box: Sequence[float], sheet: Sequence[Ring], word: str
) -> tuple[float, float] | None:
    """Return where in a zone its name is not hidden by the sheet, None where there is no place."""
    x0, y0, x1, y1 = box
    width, height = text_width_mm(word, size_pt=_ZONE_PT), 1.6
    for x in (x0 + 0.8, x1 - width - 0.8):
        for y in (y0 + 0.8, y1 - height - 0.8):
            corners = [(x + a, y + b) for a in (-0.5, width + 0.5) for b in (-0.5, height + 0.5)]
            if not any(is_inside(sheet, corner) for corner in corners):
                return x, y
    return None


def _legend(pen: Pen, y: float, picture: SheetPicture) -> None:
    x = LEFT_MM + 7.0
    for state, look in STATES.items():
        box = (x, y - 0.9, x + 7.0, y + 2.7)
        swatch(pen, box, look.fill)
        corners = np.array(((box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3])))
        for turn_deg in look.hatch_deg:
            hatch(
                pen, [(corners, True)], step_mm=look.hatch_mm, turn_deg=turn_deg, colour=look.colour
            )
        state_mark(pen, (x + 9.6, y + 0.9), state, radius_mm=1.35)
        word = say("states", state)
        pen.text(x + 12.0, y, word, size_pt=SMALL_PT)
        x += 15.5 + text_width_mm(word, size_pt=SMALL_PT)
    if len(picture.marks_xy):
        for used, word in ((True, "mark"), (False, "not used")):
            if used or not picture.marks_used.all():
                registration_mark(pen, (x + 1.5, y + 0.9), is_used=used)
                pen.text(x + 4.2, y, word, size_pt=SMALL_PT)
                x += 7.0 + text_width_mm(word, size_pt=SMALL_PT)
