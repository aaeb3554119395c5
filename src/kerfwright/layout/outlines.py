"""What of a part has to keep its distance, and how far."""

from __future__ import annotations

import math

import numpy as np

from kerfwright.geometry.paths import PathSet, make_path
from kerfwright.geometry.record import F64
from kerfwright.model.part import Part

LEAST_SIDE_MM = 1e-3
"""A part without an outline is kept by its box; a box of no width could lie anywhere."""


def has_outline(part: Part) -> bool:
    """Return whether a closed line frees the part."""
    return part.outline >= 0 and bool(part.paths.closed[part.outline])


def outline_of(part: Part) -> PathSet:
    """Return the closed line a part is kept apart by, counter-clockwise.

    It is the line that frees the part; where none does, or it is open, the box around all lines
    of the part, at least `LEAST_SIDE_MM` wide and high.
    """
    if has_outline(part):
        outline = part.paths.select([part.outline])
        return outline.reversed_where() if outline.areas_mm2()[0] < 0.0 else outline
    x0, y0, x1, y1 = part.paths.box_mm()
    wide = max(LEAST_SIDE_MM - (x1 - x0), 0.0) / 2.0
    high = max(LEAST_SIDE_MM - (y1 - y0), 0.0) / 2.0
    x0, y0, x1, y1 = x0 - wide, y0 - high, x1 + wide, y1 + high
    return make_path([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], closed=True)


def turn_matrix(turn_rad: float) -> F64:
    """Return the matrix of a turn, shape (2, 2); quarter turns are exact."""
    quarter = turn_rad / (math.pi / 2.0)
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    if abs(quarter - round(quarter)) < 1e-12:
        c, s = float(round(c)), float(round(s))
    return np.array(((c, -s), (s, c)))


def gap_wanted_mm(spacing_mm: float, one_bleed_mm: float, two_bleed_mm: float) -> float:
    """Return the least distance of two outlines: the spacing, and bleeds must not overlap [mm]."""
    return max(spacing_mm, one_bleed_mm + two_bleed_mm)
