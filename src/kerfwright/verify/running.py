"""Tools called, and what runs, waits or changes while the blade is in the stock."""

from __future__ import annotations

import numpy as np

from kerfwright.errors import Finding
from kerfwright.model.motion import EventCode, Kind, ToolMotion
from kerfwright.model.operation import HeadKind
from kerfwright.verify.case import Case
from kerfwright.verify.columns import BOOL
from kerfwright.verify.saying import finding


def check_tools(case: Case) -> list[Finding]:
    """Return calls of tools the table does not hold, blades down without one, late calls."""
    return _unknown_tools(case) + _without_tool(case) + _changed_in_stock(case)


def check_running(case: Case) -> list[Finding]:
    """Return cuts of an oscillating blade that stands still, and cuts that wait on the way."""
    moves, motion = case.moves, case.motion
    kinds = np.array([*(h.kind is HeadKind.OSCILLATING_KNIFE for h in moves.heads), False])
    still = kinds[moves.station] & ~_oscillates(motion)
    waits = motion.kind == Kind.DWELL
    pauses = [e.before_block for e in motion.events if e.code is EventCode.PAUSE]
    inside = np.array([i for i in pauses if 0 < i < len(moves)], np.int64)
    waits[inside[moves.stroke[inside] == moves.stroke[inside - 1]]] = True
    return _per_contour("VER-143", still, case) + _per_contour("VER-144", waits, case)


def _unknown_tools(case: Case) -> list[Finding]:
    moves = case.moves
    known = ", ".join(str(s.number) for s in moves.stations)
    strange = (moves.station < 0) & (moves.number != 0)
    numbers, first = np.unique(moves.number[strange], return_index=True)
    blocks = np.flatnonzero(strange)[first]
    return [
        finding("VER-132", xy=moves.begin[i, :2], number=number, known=known, block=i + 1)
        for number, i in zip(numbers.tolist(), blocks.tolist(), strict=True)
    ]


def _without_tool(case: Case) -> list[Finding]:
    """Return whether anything moves below the top face, save straight up, with no tool in hand."""
    moves = case.moves
    lowest = np.minimum(moves.begin[:, 2], moves.end[:, 2])
    goes_down = moves.end[:, 2] < moves.begin[:, 2]
    bare = (moves.station < 0) & (lowest < case.face_z) & (goes_down | moves.aside)
    if not bare.any():
        return []
    i = int(np.argmax(bare))
    return [
        finding(
            "VER-131",
            xy=moves.begin[i, :2],
            measured=lowest[i],
            limit=case.design.top_z_mm,
            unit="mm",
            block=i + 1,
            count=int(bare.sum()),
        )
    ]


def _changed_in_stock(case: Case) -> list[Finding]:
    """Return whether a tool is called while the tip of the one before is below the top face."""
    moves = case.moves
    calls = [e.before_block for e in case.motion.events if e.code is EventCode.TOOL]
    after = np.array([i - 1 for i in calls if i > 0], np.int64)
    after = after[(moves.station[after] >= 0) & (moves.end[after, 2] < case.face_z)]
    if not len(after):
        return []
    i = int(after[0])
    return [finding("VER-133", xy=moves.end[i, :2], block=i + 1, count=len(after))]


def _oscillates(motion: ToolMotion) -> BOOL:
    """Return whether oscillation is on in each block."""
    events = [e for e in motion.events if e.code is EventCode.OSCILLATION]
    value = np.array([0.0, *(e.value for e in events)])
    place = np.array([e.before_block for e in events], np.int64)
    on: BOOL = value[np.searchsorted(place, np.arange(len(motion)), side="right")] > 0.0
    return on


def _per_contour(code: str, wrong: BOOL, case: Case) -> list[Finding]:
    """Return one finding per contour for wrong blocks in a cut, and one for those in strays."""
    blocks = np.flatnonzero(wrong & (case.moves.stroke >= 0))
    row = case.stroke_row[case.moves.stroke[blocks]]
    rows, first = np.unique(row, return_index=True)
    return [
        finding(
            code,
            contour=case.design.contours[k] if k >= 0 else None,
            xy=case.moves.end[blocks[first[n]], :2],
        )
        for n, k in enumerate(rows.tolist())
    ]
