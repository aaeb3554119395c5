"""What the tip does above the stock, and rapids in it.

Between two strokes of one contour the tip may stay low, as long as it clears the top face; every
other way over the sheet is at the travel height. A rapid may go straight up out of the cut, and
straight down to the clearance over the stock; below that only feeds go down. A cutter may feed
down and up on a slant or a helix, and a wheel rolls down from the top face and up to it.
"""

from __future__ import annotations

import numpy as np

from kerfwright.errors import Finding
from kerfwright.verify.case import Case
from kerfwright.verify.columns import BOOL, F64
from kerfwright.verify.cutter_ways import cutter_stations
from kerfwright.verify.moves import Moves
from kerfwright.verify.saying import finding


def check_travel(case: Case) -> list[Finding]:
    """Return what is wrong with the ways between strokes, the lowest place of each kind."""
    moves, design, noise = case.moves, case.design, case.tolerances.program_mm
    z0, z1 = moves.begin[:, 2], moves.end[:, 2]
    known = moves.station >= 0
    lowest = np.minimum(z0, z1)
    goes_up = ~moves.aside & ~moves.turning & (z1 >= z0)
    in_stock = known & moves.rapid & ~goes_up & (lowest < case.face_z)
    between = known & ~in_stock & _has_part_above(moves) & ~_inside_a_cut(case) & ~_ramps(case)
    between &= ~_touches(case)
    height = np.maximum(lowest, design.top_z_mm)  # what is lower belongs to a stroke
    clear = design.top_z_mm + case.table.clearance_mm
    rapid_low = between & moves.rapid & ~goes_up & (height < clear - noise)
    too_low = between & ~rapid_low & moves.aside & (height < design.travel_z_mm - noise)
    kinds = (
        ("VER-151", in_stock, lowest, design.top_z_mm),
        ("VER-152", rapid_low, height, clear),
        ("VER-153", too_low, height, design.travel_z_mm),
    )
    return [_lowest(code, at, z, limit, moves) for code, at, z, limit in kinds if at.any()]


def _has_part_above(moves: Moves) -> BOOL:
    part: BOOL = (moves.low > 0.0) | (moves.high < 1.0)
    return part


def _ramps(case: Case) -> BOOL:
    """Return the feeds by which a cutter comes slanting or turning down into the stock or up again.

    They are blocks in a row that all go down until the tip is in the stock, or all up from there.
    """
    moves, n = case.moves, len(case.moves)
    is_cutter = cutter_stations(moves, case.design)[moves.station]
    feeds, in_stock = ~moves.rapid & is_cutter, np.append(moves.stroke >= 0, [False])
    down = feeds & (moves.end[:, 2] < moves.begin[:, 2])
    up = feeds & (moves.end[:, 2] > moves.begin[:, 2])
    place = np.arange(n)
    after = np.append(np.where(down, n, place), n)[::-1]
    after = np.minimum.accumulate(after)[::-1][:n]  # first block from there that does not go down
    before = np.maximum.accumulate(np.where(up, -1, place))  # last one before that does not go up
    reaches = in_stock[after] | in_stock[after - 1]
    comes = in_stock[before] | in_stock[np.minimum(before + 1, n)]
    slants: BOOL = (down & reaches) | (up & comes)
    return slants


def _touches(case: Case) -> BOOL:
    """Return the feeds by which a wheel rolls down from the top face, or up to it."""
    moves = case.moves
    highest = np.maximum(moves.begin[:, 2], moves.end[:, 2])
    rolls = ~moves.rapid & (moves.stroke >= 0) & moves.rolls[moves.station]
    touches: BOOL = rolls & (highest <= case.design.top_z_mm + case.tolerances.program_mm)
    return touches


def _inside_a_cut(case: Case) -> BOOL:
    """Return which blocks lie between two strokes that have a contour and the tool in common."""
    stroke, number = case.moves.stroke, case.moves.number
    strokes = int(stroke.max(initial=-1)) + 1
    if strokes == 0:
        return np.zeros(len(case.moves), bool)
    first = np.full(strokes, len(stroke), np.int64)
    part = np.flatnonzero(stroke >= 0)
    np.minimum.at(first, stroke[part], part)
    same_tool = number[first[1:]] == number[first[:-1]]
    # A gap for every stroke, before it, and one after the last.
    inside = np.concatenate(([False], _share_a_contour(case, strokes) & same_tool, [False]))
    before = np.maximum.accumulate(stroke)  # last stroke begun, -1 for none
    # A block that goes down belongs to its stroke, and begins above the gap before it.
    goes_down = (stroke >= 0) & (case.moves.low > 0.0)
    return inside[np.where(goes_down, before, before + 1)]


def _share_a_contour(case: Case, strokes: int) -> BOOL:
    """Return whether each stroke and the next one cut a contour both, shape (strokes - 1,)."""
    shared, rows = case.assignment.shared, max(case.rows, 1)
    stroke = case.slices.stroke[case.views.slice[shared]]
    cut = case.cutting.meetings
    also = case.cutting.ways.stroke[cut.way[cut.shares]]
    stroke = np.concatenate((stroke, also))
    row = np.concatenate((case.views.row[shared], cut.row[cut.shares]))
    key = np.unique(stroke * rows + row)
    common = np.isin(key, key + rows)  # the stroke before cuts that contour too
    out = np.zeros(strokes, bool)
    out[key[common] // rows] = True
    return out[1:]


def _lowest(code: str, wrong: BOOL, height: F64, limit: float, moves: Moves) -> Finding:
    index = np.flatnonzero(wrong)
    i = int(index[np.argmin(height[index])])
    return finding(
        code,
        xy=moves.begin[i, :2],
        measured=height[i],
        limit=limit,
        unit="mm",
        count=len(index),
        block=i + 1,
    )
