"""What is drawn beside the art: marks, the label, the arrow at the operator's edge."""

from __future__ import annotations

from typing import Final

import numpy as np

from kerfwright.formats.print.letters import text_strokes, text_width_mm
from kerfwright.formats.print.lines import path_operators
from kerfwright.formats.print.numbers import number, numbers
from kerfwright.formats.sheet_label import QUIET_MODULES, SheetLabel, label_modules, label_text
from kerfwright.geometry.paths import PathSet, join_sets, make_circle, make_path
from kerfwright.geometry.record import F64
from kerfwright.model.marks import MarkLayout

Box = tuple[float, float, float, float]

BLACK: Final = "0 g 0 G"  # one ink: a black of four would move with the register of its plates
WHITE: Final = "1 g 1 G"
_ARROW_MM: Final = (5.0, 8.0)  # width, height
_WORDS: Final = "operator side"
_ROWS_MM: Final = ((4.4, 3.2), (0.6, 2.4))  # base line over the tip, height of the letters
_GAP_MM: Final = 2.0
_PEN_SHARE: Final = 0.14  # width of a letter's stroke by its height


def mark_operators(marks: MarkLayout) -> list[str]:
    """Return white quiet discs and, over all of them, the marks in one ink."""
    radius = marks.diameter_mm / 2.0
    rows = [WHITE]
    for size in (radius + marks.quiet_mm, radius):
        discs = [make_circle(xy, size) for xy in marks.xy]
        rows += [*path_operators(join_sets(discs)), "f", BLACK]
    return rows


def label_operators(label: SheetLabel, box_mm: Box) -> list[str]:
    """Return the label on white: the QR code with its quiet zone, as large as the box allows."""
    modules = label_modules(label_text(label))
    module = module_mm(label, box_mm)
    top = box_mm[1] + module * (len(modules) + QUIET_MODULES)
    left = box_mm[0] + module * QUIET_MODULES
    rows = [WHITE, f"{_rectangle(box_mm)} f", BLACK]
    for i, row in enumerate(modules):
        edge = np.flatnonzero(np.diff(np.concatenate(([0], row, [0])).astype(np.int8)))
        for a, b in edge.reshape(-1, 2):  # runs of dark modules
            run = (left + a * module, top - (i + 1) * module, (b - a) * module, module)
            rows.append(numbers(run) + " re")
    return [*rows, "f"]


def module_mm(label: SheetLabel, box_mm: Box) -> float:
    """Return the width of one module of the QR code [mm]."""
    side = min(box_mm[2] - box_mm[0], box_mm[3] - box_mm[1])
    return side / (len(label_modules(label_text(label))) + 2 * QUIET_MODULES)


def arrow_operators(label: SheetLabel, tip_mm: tuple[float, float]) -> list[str]:
    """Return the arrow that points at the operator, and words beside it, all without a font."""
    x, y = tip_mm
    w, h = _ARROW_MM
    corners = [(0, 0), (w / 2, h / 2), (w / 5, h / 2), (w / 5, h)]
    corners += [(-a, b) for a, b in reversed(corners[1:])]
    arrow = make_path(np.array(corners) + np.array(tip_mm), closed=True)
    rows = [WHITE, f"{_rectangle(arrow_box_mm(label, tip_mm))} f", BLACK]
    rows += [*path_operators(arrow), "f", "1 J 1 j"]
    for text, (base, height) in zip(_texts(label), _ROWS_MM, strict=True):
        at = (x + w / 2 + _GAP_MM, y + base)
        rows.append(f"{number(height * _PEN_SHARE)} w")
        rows += [*path_operators(text_strokes(text, at_mm=at, height_mm=height)), "S"]
    return rows


def arrow_box_mm(label: SheetLabel, tip_mm: tuple[float, float]) -> Box:
    """Return the box of arrow and words, in the sheet frame [mm]."""
    x, y = tip_mm
    w, h = _ARROW_MM
    widths = [
        text_width_mm(text, height_mm=height)
        for text, (_, height) in zip(_texts(label), _ROWS_MM, strict=True)
    ]
    return (x - w / 2, y, x + w / 2 + _GAP_MM + max(widths), y + h)


def box_path(box_mm: Box) -> PathSet:
    """Return a box as one closed path."""
    x0, y0, x1, y1 = box_mm
    return make_path([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], closed=True)


def corners_of(box_mm: Box) -> F64:
    """Return the corners of a box, shape (4, 2)."""
    return np.array(box_path(box_mm).points)


def _texts(label: SheetLabel) -> tuple[str, str]:
    serial = f" no {label.serial}" if label.serial else ""
    return _WORDS, f"{label.job} / {label.sheet}{serial} / {label.side}"


def _rectangle(box_mm: Box) -> str:
    x0, y0, x1, y1 = box_mm
    return numbers((x0, y0, x1 - x0, y1 - y0)) + " re"
