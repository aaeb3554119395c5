"""The bridges that hold a routed piece: how many, how high, how long.

A tab is a stretch of the contour that is not cut to full depth. Its foot is as long as the axis
goes beside the contour without being at full depth. It must not be shorter than asked for, by
more than twice the tolerance of a cut, and not longer than that by more than the cutter is wide
and two ramps of the steepest slope allowed are long. Somewhere its top must be as high as asked
for, nowhere higher, both within the tolerance of a depth.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import tan

import numpy as np

from kerfwright.model.routing import Routing
from kerfwright.verify.columns import BOOL, F64, I64
from kerfwright.verify.cutter_case import CutterCase
from kerfwright.verify.cutter_spans import both, joined, without
from kerfwright.verify.cutter_walls import Walls, left_at, longest, meets, passed_at


@dataclass(frozen=True, slots=True, kw_only=True)
class TabFault:
    """Something wrong with the tabs of one contour.

    Parameters
    ----------
    code : str
        Code of the finding.
    row : int
        Contour.
    at : float
        Where on the scale.
    measured, limit : float
        What is and what should be [mm, or a number of tabs].
    """

    code: str
    row: int
    at: float
    measured: float
    limit: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    row: int
    counts: frozenset[int]
    least_mm: float
    most_mm: float
    top_z: float
    low_z: float


def tabbed_rows(case: CutterCase) -> BOOL:
    """Return which rows ask for tabs that are higher than what is left below their full depth."""
    return np.array([_routing(case, k) is not None for k in range(len(case.routed.radius))], bool)


def tab_faults(case: CutterCase, walls: Walls, rows: I64) -> list[TabFault]:
    """Return what is wrong with the tabs of some rows, which ask for them."""
    if not len(rows):
        return []
    asked = {k: _asked(case, k) for k in rows.tolist()}
    lows, tops = (
        np.full(len(case.routed.radius), -np.inf),
        np.full(len(case.routed.radius), -np.inf),
    )
    for k, one in asked.items():
        lows[k], tops[k] = one.low_z, one.top_z + case.tolerances.depth_mm
    held = np.zeros(len(lows), bool)
    held[rows] = True
    feet = _stretches(case, without(walls.domain, walls.passed), walls.left, walls.tight)
    held &= walls.rows
    domain = case.scale.domain(np.flatnonzero(held[case.scale.row]))
    high = _stretches(case, *_standing(case, domain, lows, held), walls.tight)
    tall = without(both(*_standing(case, domain, tops, held)), walls.tight)
    tall_row, tall_ends = case.scale.holes(tall)
    found: list[TabFault] = []
    for k, one in asked.items():
        own = (feet[1][feet[0] == k], high[1][high[0] == k], tall_ends[tall_row == k])
        found += _judge(case, one, *own)
    shallow = {f.row for f in found if f.code == "VER-220"}
    tall_length, tall_at = case.scale.row_lengths(tall), longest(case, tall)
    wrong = rows[tall_length[rows] > case.tolerances.uncut_mm]
    tips = np.minimum(case.lowest_tips(tall_at[wrong]), case.design.top_z_mm)
    for k, tip in zip(wrong.tolist(), tips.tolist(), strict=True):
        height = tip - case.design.bottom_z_mm
        limit = asked[k].top_z - case.design.bottom_z_mm
        if k not in shallow:
            found.append(
                TabFault(code="VER-234", row=k, at=tall_at[k], measured=height, limit=limit)
            )
    return found


def _standing(case: CutterCase, domain: F64, limit_z: F64, rows: BOOL) -> tuple[F64, F64]:
    """Return where no cutter goes along at a height, and where material stands there."""
    return without(domain, passed_at(case, limit_z, rows)), left_at(case, limit_z, rows)


def _judge(case: CutterCase, one: _Asked, feet: F64, high: F64, tall: F64) -> list[TabFault]:
    """Return what is wrong with the tabs of a row: of their feet, what is high enough, too high."""
    found, k, bottom = [], one.row, case.design.bottom_z_mm
    middle = case.scale.wrap(feet.mean(axis=1), np.full(len(feet), k)) if len(feet) else feet[:, 0]
    size = feet[:, 1] - feet[:, 0]
    has_top = _over(feet, high, case, k)
    for i in range(len(feet)):
        code, at, measured, limit = "", middle[i], size[i], one.least_mm
        if size[i] > one.most_mm:
            low = _flat(feet[i], high, tall, one.most_mm)
            code, limit = ("VER-233", one.most_mm) if low is None else ("VER-220", 0.0)
            at = at if low is None else float(case.scale.wrap(np.array([low]), np.array([k]))[0])
        elif not has_top[i]:
            tip = float(case.lowest_tips(middle[i : i + 1])[0])
            code, measured, limit = "VER-231", tip - bottom, one.top_z - bottom
        elif size[i] < one.least_mm:
            code = "VER-232"
        if code:
            found.append(TabFault(code=code, row=k, at=at, measured=measured, limit=limit))
    shallow = any(f.code == "VER-220" for f in found)
    if not shallow and len(feet) not in one.counts:
        at, wanted = middle[0] if len(middle) else np.nan, float(min(one.counts))
        count = float(len(feet))
        found.append(TabFault(code="VER-230", row=k, at=at, measured=count, limit=wanted))
    return found


def _flat(foot: F64, high: F64, tall: F64, most_mm: float) -> float | None:
    """Return the middle of a stretch too long to be a tab, at another height than one; or None.

    What is lower than tabs, or higher, is not a tab that is too long but a cut too shallow.
    """
    lone = foot[None]
    rest = np.concatenate((without(lone, joined(high)), both(lone, joined(tall))))
    rest = rest[rest[:, 1] - rest[:, 0] > most_mm]
    return float(rest[0].mean()) if len(rest) else None


def _over(one: F64, two: F64, case: CutterCase, row: int) -> BOOL:
    """Return which stretches of a contour meet any of others, both perhaps over the seam."""
    length = case.wanted.shape.length[row]
    out = np.zeros(len(one), bool)
    for turn in (-length, 0.0, length):
        low = np.maximum(one[:, None, 0], two[None, :, 0] + turn)
        high = np.minimum(one[:, None, 1], two[None, :, 1] + turn)
        out |= (high - low > 0.0).any(axis=1)
    return out


def _stretches(case: CutterCase, gaps: F64, left: F64, tight: F64) -> tuple[I64, F64]:
    """Return contour and ends of the gaps in which material stands that could be reached."""
    gaps = gaps[meets(gaps, without(left, tight))] if len(gaps) else gaps
    return case.scale.holes(gaps)


def _routing(case: CutterCase, row: int) -> Routing | None:
    routing = case.design.operations[case.design.operation[row]].routing
    if not case.routed.is_routed[row] or routing is None or routing.tabs is None:
        return None
    low = case.design.bottom_z_mm + routing.tabs.height_mm - case.tolerances.depth_mm
    return routing if low > case.routed.deep_z[row] else None


def _asked(case: CutterCase, row: int) -> _Asked:
    routing = _routing(case, row)
    if routing is None or routing.tabs is None:
        msg = f"row {row} asks for no tabs"
        raise AssertionError(msg)
    tabs, tolerances, design = routing.tabs, case.tolerances, case.design
    nominal = float(design.nominal.lengths_mm()[row])
    lengths = (float(case.wanted.shape.length[row]), nominal)
    top = design.bottom_z_mm + tabs.height_mm
    ramp = (top - float(case.wanted.target_z[row])) / tan(routing.entry_rad)
    return _Asked(
        row=row,
        counts=frozenset(tabs.count_for(n) for n in lengths),
        least_mm=tabs.length_mm - 2.0 * tolerances.cut_mm,
        most_mm=tabs.length_mm + 2.0 * float(case.routed.radius[row]) + 2.0 * ramp,
        top_z=top,
        low_z=top - tolerances.depth_mm,
    )
