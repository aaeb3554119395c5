"""From measures to findings: what is wrong with each routed contour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.errors import Finding
from kerfwright.model.motion import ToolMotion
from kerfwright.verify.assign import is_right_tool
from kerfwright.verify.columns import BOOL, F64, I64, LENGTH, X0, Y0
from kerfwright.verify.cutter_bites import Bites, bites_of
from kerfwright.verify.cutter_case import CutterCase, known_ways
from kerfwright.verify.cutter_running import Run, is_wrong_tool, run_of
from kerfwright.verify.cutter_spans import both, without
from kerfwright.verify.cutter_tabs import tab_faults, tabbed_rows
from kerfwright.verify.cutter_walls import Walls, longest, meets, walls_of
from kerfwright.verify.judging import points_at
from kerfwright.verify.saying import finding

Found = list[tuple[int, Finding]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutting:
    """What was found of routed contours; K rows, 0 for those of other tools.

    Parameters
    ----------
    worst : ndarray of shape (K,), float
        Greatest distance of the swept wall from the contour, to either side [mm].
    worst_xy : ndarray of shape (K, 2), float
        Where it is [mm].
    uncut, gouge : ndarray of shape (K,), float
        Length not cut to full depth; greatest reach into the part [mm].
    strays : ndarray of shape (S, 2), float
        Where each stroke that leaves all contours first does so [mm].
    findings : list of Finding
        In the order of the design, those of no contour first.
    """

    worst: F64
    worst_xy: F64
    uncut: F64
    gouge: F64
    strays: F64
    findings: list[Finding]


def judge_cutting(case: CutterCase, motion: ToolMotion) -> Cutting:
    """Measure and judge everything that cutters do."""
    rows = len(case.routed.radius)
    if not case.routed.is_routed.any() and not len(case.ways):
        none, nowhere = np.zeros(rows), np.zeros((rows, 2))
        return Cutting(
            worst=none, worst_xy=nowhere, uncut=none, gouge=none, strays=nowhere[:0], findings=[]
        )
    walls, bites, run = walls_of(case), bites_of(case), run_of(case, motion)
    tabbed = tabbed_rows(case)
    gaps = without(walls.domain, walls.passed)
    gaps = without(gaps[meets(gaps, without(walls.left, walls.tight))], walls.tight)
    found = _cover(case, walls, gaps, tabbed)
    found += _walls(case, walls, bites) + _depth(case) + _tools(case) + _run(case, run)
    found.sort(key=lambda pair: pair[0])
    strays, stray = _strays(case)
    uncut = np.where(tabbed, 0.0, case.scale.row_lengths(gaps))
    parts = np.column_stack((walls.worst, bites.own, bites.off))
    places = np.stack((xy_of(case, walls.worst_at), bites.own_xy, bites.off_xy), axis=1)
    which = np.argmax(parts, axis=1)
    return Cutting(
        worst=parts.max(axis=1),
        worst_xy=places[np.arange(rows), which],
        uncut=uncut,
        gouge=np.maximum(bites.own, bites.other),
        strays=strays,
        findings=[*stray, *(one for _, one in found)],
    )


def xy_of(case: CutterCase, at: F64) -> F64:
    """Return the points of places on the scale; 0, 0 for NaN."""
    out = np.zeros((len(at), 2))
    there = np.flatnonzero(np.isfinite(at))
    if len(there):
        row = case.scale.row[case.scale.find(at[there])]
        out[there] = points_at(case.wanted, row, at[there] - case.scale.ends()[0][row])
    return out


def _cover(case: CutterCase, walls: Walls, gaps: F64, tabbed: BOOL) -> Found:
    """Return contours never cut, cut in part, too shallow, or held by wrong tabs."""
    scale, limit = case.scale, case.tolerances.uncut_mm
    length = case.wanted.shape.length
    routed = case.routed.is_routed & (length > 0.0)
    # Of contours on which nothing stands at full depth no sets are kept.
    touched = np.where(walls.rows, scale.row_lengths(walls.touched), length)
    judged = routed & ~_with_unknown_tool(case)
    missing = judged & (touched <= np.minimum(limit, length / 2.0))
    plain = judged & ~missing & ~tabbed
    shallow, uncut = both(gaps, walls.touched), without(gaps, walls.touched)
    flat, bare = scale.row_lengths(shallow), scale.row_lengths(uncut)
    found = _said(case, "VER-210", missing, longest(case, walls.domain), length, limit)
    found += _said(case, "VER-211", plain & (bare > limit), longest(case, uncut), bare, limit)
    faults = judged & ~missing & tabbed & (walls.worst <= case.tolerances.cut_mm)
    tabs = tab_faults(case, walls, np.flatnonzero(faults))
    at = longest(case, shallow)
    for f in tabs:
        at[f.row] = f.at if f.code == "VER-220" else at[f.row]
    too_high = plain & (flat > limit)
    too_high[[f.row for f in tabs if f.code == "VER-220"]] = True
    tip = np.full(len(at), np.inf)
    tip[too_high] = case.lowest_tips(at[too_high])
    above = np.minimum(tip, case.design.top_z_mm) - case.wanted.target_z
    deep = case.routed.deep_z - case.wanted.target_z
    found += _said(case, "VER-220", too_high, at, above, deep)
    tabs = [f for f in tabs if f.code != "VER-220"]
    places = xy_of(case, np.array([f.at for f in tabs], float))
    for f, xy in zip(tabs, places, strict=True):
        found.append((f.row, _at(case, f.code, f.row, xy, f.measured, f.limit)))
    corners = scale.row_lengths(both(walls.left, walls.tight))
    noted = judged & ~missing & (corners > limit)
    places = xy_of(case, walls.tight_at)
    for k in _rows(noted):
        most = float(walls.tight_worst[k])
        found.append((k, _at(case, "VER-215", k, places[k], corners[k], limit, most=most)))
    return found


def _said(
    case: CutterCase, code: str, wrong: BOOL, at: F64, measured: F64, limit: F64 | float
) -> Found:
    """Return a finding for each contour that is wrong, at a place of the scale."""
    limits = np.broadcast_to(limit, len(wrong))
    xy = xy_of(case, np.where(wrong, at, np.nan))
    return [(k, _at(case, code, k, xy[k], measured[k], limits[k])) for k in _rows(wrong)]


def _walls(case: CutterCase, walls: Walls, bites: Bites) -> Found:
    t = case.tolerances
    found: Found = []
    for code, value, xy in (
        ("VER-212", walls.worst, xy_of(case, walls.worst_at)),
        ("VER-213", bites.own, bites.own_xy),
        ("VER-216", bites.off, bites.off_xy),
    ):
        wrong = _rows(value > t.cut_mm)
        found += [(k, _at(case, code, k, xy[k], value[k], t.cut_mm)) for k in wrong]
    for k in _rows(bites.other > t.cut_mm):
        j = int(bites.other_row[k])
        by = case.design.contours[j] if j >= 0 else "-"
        one = _at(case, "VER-214", k, bites.other_xy[k], bites.other[k], t.cut_mm, by=by)
        found.append((k, one))
    return found


def _depth(case: CutterCase) -> Found:
    """Return how far below full depth each contour is cut; where several share, the lowest."""
    meetings, ways = case.meetings, case.ways
    shared = np.flatnonzero(meetings.shares)
    way, row = meetings.way[shared], meetings.row[shared]
    limit = np.full(len(ways), np.inf)
    np.minimum.at(limit, way, case.wanted.target_z[row])
    has = np.flatnonzero(meetings.row_of >= 0)
    below = limit[has] - ways.tips()[has]
    if not len(ways):
        return []
    worst = np.full(len(case.routed.radius), -1, np.int64)
    order = has[np.argsort(below, kind="stable")]
    worst[meetings.row_of[order]] = order
    depth, most = np.where(worst >= 0, (limit - ways.tips())[worst], 0.0), case.tolerances.depth_mm
    found: Found = []
    for k in _rows(depth > most):
        i = int(worst[k])
        end = int(ways.heights[i, 1] <= ways.heights[i, 0])
        xy = ways.pieces[i, 2 * end : 2 * end + 2]
        found.append((k, _at(case, "VER-221", k, xy, depth[k], most)))
    return found


def _tools(case: CutterCase) -> Found:
    meetings, moves, found = case.meetings, case.moves, []
    station = moves.station[case.ways.block[meetings.way]]
    right = is_right_tool(meetings.row, station, moves, case.design)
    wrong = np.flatnonzero(is_wrong_tool(case, right))
    rows, first = np.unique(meetings.row_of[wrong], return_index=True)
    for k, n in zip(rows.tolist(), first.tolist(), strict=True):
        i = int(wrong[n])
        s = int(moves.station[case.ways.block[i]])
        one = finding(
            "VER-130",
            contour=case.design.contours[k],
            xy=case.ways.pieces[i, X0 : Y0 + 1],
            used_tool=moves.stations[s].tool_id,
            used_head=moves.heads[s].kind.value,
            wanted_tool=case.design.tools[case.design.tool[k]].id,
            wanted_head=case.design.operations[case.design.operation[k]].head_kind.value,
        )
        found.append((k, one))
    return found


def _run(case: CutterCase, run: Run) -> Found:
    ways, row_of, found = case.ways, case.meetings.row_of, []
    for k in _rows(run.against > np.maximum(case.routed.radius, case.tolerances.uncut_mm)):
        xy = ways.pieces[run.against_at[k], X0 : Y0 + 1]
        routing = case.design.operations[case.design.operation[k]].routing
        sense = "" if routing is None else routing.sense
        found.append((k, _at(case, "VER-240", k, xy, run.against[k], 0.0, sense=sense)))
    for code, index in (("VER-241", run.stopped), ("VER-242", run.plunges)):
        rows, first = np.unique(row_of[index], return_index=True)
        for k, n in zip(rows.tolist(), first.tolist(), strict=True):
            i = int(index[n])
            block = int(ways.block[i]) + 1
            name = case.design.contours[k] if k >= 0 else None
            one = finding(code, contour=name, xy=ways.pieces[i, X0 : Y0 + 1], block=block)
            found.append((k, one))
    for i in run.too_long.tolist():
        tool = case.design.tools[int(ways.tool[i])]
        depth = case.design.top_z_mm - float(ways.tips()[i])
        xy, most = ways.pieces[i, X0 : Y0 + 1], float(getattr(tool, "length_mm", 0.0))
        one = finding("VER-222", xy=xy, measured=depth, limit=most, unit="mm", tool=tool.id)
        found.append((-1, one))
    return found


def _strays(case: CutterCase) -> tuple[F64, list[Finding]]:
    ways = case.ways
    index = np.flatnonzero(case.meetings.row_of < 0)
    if not len(index):
        return np.zeros((0, 2)), []
    stroke, first = np.unique(ways.stroke[index], return_index=True)
    xy = ways.pieces[index[first], X0 : Y0 + 1]
    longest_mm = np.bincount(ways.stroke[index], weights=ways.pieces[index, LENGTH]).max()
    one = finding("VER-250", xy=xy[0], measured=longest_mm, limit=0.0, unit="mm", count=len(stroke))
    return xy, [one]


def _with_unknown_tool(case: CutterCase) -> BOOL:
    """Return the contours cut by a tool whose size nobody knows: what it leaves is not known."""
    out = np.zeros(len(case.routed.radius), bool)
    strange = ~known_ways(case.ways, np.arange(len(case.ways)))
    rows = case.meetings.row_of[strange]
    out[rows[rows >= 0]] = True
    return out


def _rows(wrong: BOOL) -> list[int]:
    index: I64 = np.flatnonzero(wrong)
    return [int(k) for k in index]


def _at(
    case: CutterCase,
    code: str,
    k: int,
    xy: F64,
    measured: float,
    limit: float,
    **params: str | float,
) -> Finding:
    return finding(
        code,
        contour=case.design.contours[k],
        xy=xy,
        measured=measured,
        limit=limit,
        unit="" if code == "VER-230" else "mm",
        operation=case.design.operations[case.design.operation[k]].id,
        **params,
    )
