"""From measures to findings: what is outside of its tolerance, contour by contour."""

from __future__ import annotations

import numpy as np

from kerfwright.errors import Finding
from kerfwright.verify.case import Case
from kerfwright.verify.columns import (
    BOOL,
    F64,
    I64,
    LENGTH,
    PLACE,
    RADIUS,
    ROW,
    SWEEP,
    UX,
    UY,
    X0,
    Y0,
)
from kerfwright.verify.covering import ANY, DEEP, REFERENCE
from kerfwright.verify.measures import Measures, Worst
from kerfwright.verify.saying import finding
from kerfwright.verify.wanted import Wanted

Found = list[tuple[int, Finding]]
"""Findings with the row they belong to."""


def uncut_of(measures: Measures, case: Case) -> F64:
    """Return the length of each contour the blade does not reach at the reference plane [mm]."""
    left = np.maximum(case.wanted.shape.length - measures.levels[REFERENCE].length, 0.0)
    return np.where(case.cutting.routed.is_routed, 0.0, left)


def judge_contours(measures: Measures, case: Case) -> list[Finding]:
    """Return the findings of every contour, in the order of the design."""
    t, over = case.tolerances, measures.overcut
    nick = Worst(value=over.part, xy=over.part_xy)
    found = _cover(measures, case) + _depth(measures, case)
    found += _over_limit("VER-113", measures.deviation, t.cut_mm, "mm", case)
    found += _over_limit("VER-114", nick, t.overcut_mm, "mm", case)
    found += _over_limit("VER-140", measures.aim, t.blade_rad, "rad", case)
    found += _over_limit("VER-141", measures.backwards, np.pi / 2.0, "rad", case)
    found += _over_limit("VER-142", measures.bevel, t.uncut_mm, "mm", case)
    found += _tools(measures, case)
    found.sort(key=lambda pair: pair[0])
    return [one for _, one in found]


def points_at(wanted: Wanted, rows: I64, place: F64) -> F64:
    """Return the point of each contour at a place along it; zero for contours without length."""
    shape = wanted.shape
    out = np.zeros((len(rows), 2))
    has = shape.length[rows] > 0.0
    rows, place = rows[has], place[has]
    # Places of all contours on one scale: contour number first, then how far along.
    scale = shape.length.max(initial=0.0) + 1.0
    starts = shape.links[:, ROW] * scale + shape.pieces[:, PLACE]
    p = shape.pieces[np.searchsorted(starts, rows * scale + place, side="right") - 1]
    along = np.clip(place - p[:, PLACE], 0.0, p[:, LENGTH])
    half = p[:, SWEEP] * along / p[:, LENGTH] / 2.0
    chord = np.where(p[:, RADIUS] == 0.0, along, 2.0 * p[:, RADIUS] * np.sin(half))
    ux = p[:, UX] * np.cos(half) - p[:, UY] * np.sin(half)
    uy = p[:, UX] * np.sin(half) + p[:, UY] * np.cos(half)
    out[has] = p[:, X0 : Y0 + 1] + chord[:, None] * np.column_stack((ux, uy))
    return out


def _over_limit(code: str, worst: Worst, limit: float, unit: str, case: Case) -> Found:
    return [
        (k, _of(code, k, case, worst.xy[k], worst.value[k], limit, unit))
        for k in np.flatnonzero(worst.value > limit).tolist()
    ]


def _cover(measures: Measures, case: Case) -> Found:
    wanted, limit = case.wanted, case.tolerances.uncut_mm
    length, rows = wanted.shape.length, np.arange(case.rows)
    reached, through = measures.levels[ANY], measures.levels[REFERENCE]
    bare = length <= 0.0
    mine = ~bare & ~case.cutting.routed.is_routed
    missing = mine & (reached.length <= np.minimum(limit, length / 2.0))
    shallow = ~missing & measures.shallow
    # Where the tip stays too high, that is what is said, and not that the chord is shorter there.
    left = length - np.where(shallow, measures.touched.length, through.length)
    left[_with_unknown_blade(case)] = 0.0
    gap = points_at(wanted, rows, np.where(shallow, measures.touched.gap, through.gap))
    start = points_at(wanted, rows, np.zeros(case.rows))
    place = points_at(wanted, rows, measures.levels[DEEP].gap)
    above = np.minimum(measures.tip_at_gap, case.design.top_z_mm) - wanted.target_z
    uncut = mine & ~missing & (left > limit)
    depth = case.tolerances.depth_mm
    return [
        *((k, _of("VER-115", k, case)) for k in np.flatnonzero(bare).tolist()),
        *_said("VER-110", missing, start, length, limit, case),
        *_said("VER-111", uncut, gap, left, limit, case),
        *_said("VER-120", shallow, place, above, depth, case),
    ]


def _said(code: str, wrong: BOOL, xy: F64, measured: F64, limit: float, case: Case) -> Found:
    rows = np.flatnonzero(wrong).tolist()
    return [(k, _of(code, k, case, xy[k], measured[k], limit, "mm")) for k in rows]


def _with_unknown_blade(case: Case) -> I64:
    """Return the contours cut by a blade whose width is not known: what it covers is not either."""
    main = case.assignment.main
    unknown = case.slices.blade[case.views.slice[main]] == len(case.moves.blades) - 1
    return np.unique(case.views.row[main[unknown]])


def _depth(measures: Measures, case: Case) -> Found:
    found = _over_limit("VER-121", measures.lowest, case.tolerances.depth_mm, "mm", case)
    # Where the blade strays from a contour its feet jump to and fro along it: no second cut.
    follows = measures.deviation.value <= case.tolerances.cut_mm
    again = np.flatnonzero((measures.repeated > 0.0) & follows)
    start = points_at(case.wanted, again, np.zeros(len(again)))
    for n, k in enumerate(again.tolist()):
        found.append((k, _of("VER-112", k, case, start[n], measures.repeated[k], 0.0, "mm")))
    return found


def _tools(measures: Measures, case: Case) -> Found:
    found: Found = []
    for k in np.flatnonzero(measures.wrong_tool >= 0).tolist():
        i = int(measures.wrong_tool[k])
        s = int(case.moves.station[case.slices.block[i]])
        one = finding(
            "VER-130",
            contour=case.design.contours[k],
            xy=case.slices.at[i, :2],
            used_tool=case.moves.stations[s].tool_id,
            used_head=case.moves.heads[s].kind.value,
            wanted_tool=case.design.tools[case.design.tool[k]].id,
            wanted_head=case.design.operations[case.design.operation[k]].head_kind.value,
        )
        found.append((k, one))
    return found


def _of(
    code: str,
    k: int,
    case: Case,
    xy: F64 | None = None,
    measured: float | None = None,
    limit: float | None = None,
    unit: str = "",
) -> Finding:
    return finding(
        code,
        contour=case.design.contours[k],
        xy=xy,
        measured=measured,
        limit=limit,
        unit=unit,
        operation=case.design.operations[case.design.operation[k]].id,
    )
