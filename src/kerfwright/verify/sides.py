"""The right blade, with its flat side on the part."""

from __future__ import annotations

import numpy as np

from kerfwright.model.tooling import Blade, Tool
from kerfwright.verify.assign import is_right_tool
from kerfwright.verify.case import Case
from kerfwright.verify.columns import F64, I64
from kerfwright.verify.covering import Stretches
from kerfwright.verify.nesting import Nesting

_GROUND = {"left": 1, "right": -1, "both": 0}


def wrong_bevels(case: Case, stretches: Stretches, nesting: Nesting) -> tuple[F64, I64]:
    """Return the length of each contour cut with the ground side on the part, and a slice of it.

    The side is seen along the way the blade really goes, not along the drawn direction.
    """
    ground = np.array([*(_ground(t) for t in case.design.tools), 0], np.int64)
    shared = case.assignment.shared
    own, row = case.views.slice[shared], case.views.row[shared]
    advance = np.where(np.isfinite(stretches.advance), stretches.advance, 0.0)
    part = nesting.side[row] * np.sign(advance).astype(np.int64)
    is_main = case.assignment.row[own] == row
    wrong = is_main & (part != 0) & (ground[case.slices.blade[own]] == part)
    length = np.bincount(row[wrong], weights=np.abs(advance[wrong]), minlength=case.rows)
    return length.astype(np.float64), _first_of(row[wrong], own[wrong], case.rows)


def wrong_tools(case: Case) -> I64:
    """Return, per contour, a slice cut with another tool or head than asked for, -1 for none."""
    main = case.assignment.main
    own, row = case.views.slice[main], case.views.row[main]
    station = case.moves.station[case.slices.block[own]]
    wrong = ~is_right_tool(row, station, case.moves, case.design)
    return _first_of(row[wrong], own[wrong], case.rows)


def _ground(tool: Tool) -> int:
    return _GROUND[tool.bevel] if isinstance(tool, Blade) else 0


def _first_of(row: I64, value: I64, rows: int) -> I64:
    out = np.full(rows, -1, np.int64)
    found, first = np.unique(row, return_index=True)
    out[found] = value[first]
    return out
