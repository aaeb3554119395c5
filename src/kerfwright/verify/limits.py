"""Axes, reach of the heads, the bed and its surface, places that must not be cut."""

from __future__ import annotations

import numpy as np
import shapely

from kerfwright.errors import Finding
from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.model.tooling import Cutter
from kerfwright.verify.case import Case
from kerfwright.verify.columns import (
    BREF,
    F64,
    I64,
    LENGTH,
    RADIUS,
    SWEEP,
    UX,
    UY,
    X0,
    Y0,
)
from kerfwright.verify.moves import Moves
from kerfwright.verify.outer_leads import tips_of
from kerfwright.verify.saying import finding

_ROUNDING_RAD = 1e-5  # four decimals of a degree, and as much again
_C = 3
_CHORDS = 32
_FLAT_MM = 0.005  # sagitta of keep-outs taken as polygons


def check_limits(case: Case) -> list[Finding]:
    """Return what goes beyond the axes, the reach of a head, or the bed."""
    found: list[Finding] = []
    moves, noise = case.moves, case.tolerances.program_mm
    boxes = _boxes(moves)
    for s in np.unique(moves.station[moves.station >= 0]).tolist():
        head, rows = moves.heads[s], np.flatnonzero(moves.station == s)
        cuts = rows[moves.stroke[rows] >= 0]
        found += _beyond("VER-160", 3, head.c_limits_rad, moves, rows, _ROUNDING_RAD)
        found += _outside("VER-161", boxes, head.reach, moves, rows, noise)
        found += _outside("VER-162", boxes, case.table.bed, moves, cuts, noise)
        found += _beyond("VER-163", 2, head.z_travel_mm, moves, rows, noise)
    return found


def check_surface(case: Case) -> list[Finding]:
    """Return whether a tip goes through what the sheet lies on, or deeper than a blade is long."""
    moves, noise = case.moves, case.tolerances.program_mm
    tip = np.minimum(moves.begin[:, 2], moves.end[:, 2])
    tip = np.where(moves.station >= 0, tip, np.inf)
    found: list[Finding] = []
    limit = -case.table.bed_surface_mm
    if (tip < limit - noise).any():
        i = int(np.argmin(tip))
        found.append(
            finding("VER-122", xy=moves.end[i, :2], measured=tip[i], limit=limit, unit="mm")
        )
    free = {t.id: t.free_length_mm for t in case.design.tools}
    for s in np.unique(moves.station[moves.station >= 0]).tolist():
        tool = moves.stations[s].tool_id
        depth = case.design.top_z_mm - np.where(moves.station == s, tip, np.inf)
        i = int(np.argmax(depth))
        if tool in free and depth[i] > free[tool] + noise:
            xy, most = moves.end[i, :2], free[tool]
            found.append(
                finding("VER-123", xy=xy, measured=depth[i], limit=most, unit="mm", tool=tool)
            )
    return found


def check_keep_outs(case: Case) -> list[Finding]:
    """Return which keep-outs are cut into by more than the tolerance of a cut."""
    if not len(case.design.keep_outs):
        return []
    areas = shapely.buffer(_polygons(case.design.keep_outs), -case.tolerances.cut_mm)
    at = np.vstack((case.slices.at, case.outer.slices.at))
    blade = np.concatenate((case.slices.blade, case.outer.slices.blade))
    tips = np.stack(tips_of(at, case.moves.blades[blade, BREF]), axis=1)
    chords, size = _chords(case)
    reach = np.concatenate((np.zeros(len(tips)), size))
    lines = shapely.linestrings(np.concatenate((tips, chords)))
    one, area = shapely.STRtree(areas).query(lines, predicate="dwithin", distance=reach)
    numbers, first = np.unique(area, return_index=True)
    begins = np.concatenate((tips, chords))[:, 0]
    return [
        finding("VER-154", xy=begins[one[i]], number=k + 1)
        for k, i in zip(numbers.tolist(), first.tolist(), strict=True)
    ]


def _chords(case: Case) -> tuple[F64, F64]:
    """Return what cutters do as chords, arcs halved five times, and how wide they are there."""
    ways = case.cutting.ways
    share = np.linspace(0.0, 1.0, _CHORDS + 1)
    p = ways.pieces
    half = p[:, SWEEP, None] * share / 2.0
    bent = p[:, RADIUS, None] != 0.0
    chord = np.where(bent, 2.0 * p[:, RADIUS, None] * np.sin(half), p[:, LENGTH, None] * share)
    x = p[:, X0, None] + chord * (p[:, UX, None] * np.cos(half) - p[:, UY, None] * np.sin(half))
    y = p[:, Y0, None] + chord * (p[:, UX, None] * np.sin(half) + p[:, UY, None] * np.cos(half))
    points = np.stack((x, y), axis=2)
    chords = np.stack((points[:, :-1], points[:, 1:]), axis=2).reshape(-1, 2, 2)
    depth = case.design.top_z_mm - ways.tips()
    size = np.zeros(len(ways))
    for t, tool in enumerate(case.design.tools):
        own = np.flatnonzero(ways.tool == t)
        if isinstance(tool, Cutter) and len(own):
            size[own] = np.interp(depth[own], tool.profile_mm[:, 1], tool.profile_mm[:, 0])
    return chords, np.repeat(size, _CHORDS)


def _polygons(paths: PathSet) -> np.ndarray:
    """Return closed paths as polygons, arcs as chords inside of them."""
    edges = edges_of(paths)
    out = []
    for k in np.flatnonzero(paths.closed).tolist():
        points = [
            _flattened(edges.start[i], edges.end[i], float(edges.bulge[i]))
            for i in np.flatnonzero(edges.path == k).tolist()
        ]
        ring = np.concatenate(points)
        if len(ring) > 2:
            out.append(shapely.make_valid(shapely.Polygon(ring)))
    return np.array(out, dtype=object)


def _flattened(start: F64, end: F64, bulge: float) -> F64:
    if bulge == 0.0:
        return start[None, :]
    chord = float(np.hypot(*(end - start)))
    radius = chord * (1.0 + bulge * bulge) / (4.0 * abs(bulge))
    sweep = 4.0 * np.arctan(bulge)
    step = 2.0 * np.arccos(max(1.0 - _FLAT_MM / radius, 0.0))
    count = max(int(np.ceil(abs(sweep) / step)), 1)
    part = sweep * np.arange(count) / count / 2.0
    ratio, turn = np.sin(part) / np.sin(sweep / 2.0), part - sweep / 2.0
    d = end - start
    cos, sin = np.cos(turn) * ratio, np.sin(turn) * ratio
    points: F64 = start + np.column_stack((d[0] * cos - d[1] * sin, d[0] * sin + d[1] * cos))
    return points


def _boxes(moves: Moves) -> F64:
    """Return x0, y0, x1, y1 of the C axis in each block, arcs with the points they reach."""
    low = np.minimum(moves.begin[:, :2], moves.end[:, :2])
    high = np.maximum(moves.begin[:, :2], moves.end[:, :2])
    arcs = np.flatnonzero(moves.sweep != 0.0)
    spoke = moves.begin[arcs, :2] - moves.centre[arcs]
    start, sweep = np.arctan2(spoke[:, 1], spoke[:, 0]), moves.sweep[arcs]
    rim = moves.end[arcs, :2] - moves.centre[arcs]
    radius = np.maximum(np.hypot(*spoke.T), np.hypot(*rim.T))
    for angle, x, y in ((0.0, 1, 0), (np.pi / 2, 0, 1), (np.pi, -1, 0), (-np.pi / 2, 0, -1)):
        ahead = np.mod((angle - start) * np.sign(sweep), 2.0 * np.pi)
        rows = arcs[ahead <= np.abs(sweep)]
        size = radius[ahead <= np.abs(sweep), None]
        point = moves.centre[rows] + size * np.array((x, y))
        low[rows], high[rows] = np.minimum(low[rows], point), np.maximum(high[rows], point)
    return np.hstack((low, high))


def _beyond(
    code: str,
    axis: int,
    limits: tuple[float, float] | None,
    moves: Moves,
    rows: I64,
    noise: float,
) -> list[Finding]:
    """Return the worst excess of one axis over its limits; the start of the first block counts."""
    if limits is None:
        return []
    value = np.concatenate((moves.begin[rows[:1], axis], moves.end[rows, axis]))
    excess = np.maximum(limits[0] - value, value - limits[1])
    i = int(np.argmax(excess))
    if excess[i] <= noise:
        return []
    limit = limits[0] if value[i] < limits[0] else limits[1]
    block = int(rows[max(i - 1, 0)])
    unit = "rad" if axis == _C else "mm"
    return [_say(code, block, moves, value[i], limit, unit)]


def _outside(
    code: str,
    boxes: F64,
    limits: tuple[float, float, float, float],
    moves: Moves,
    rows: I64,
    noise: float,
) -> list[Finding]:
    if not len(rows):
        return []
    own, box = boxes[rows], np.array(limits)
    excess = np.hstack((box[:2] - own[:, :2], own[:, 2:] - box[2:]))
    i, side = np.unravel_index(int(np.argmax(excess)), excess.shape)
    if excess[i, side] <= noise:
        return []
    return [_say(code, int(rows[i]), moves, own[i, side], box[side], "mm", axis="xyxy"[side])]


def _say(
    code: str,
    block: int,
    moves: Moves,
    measured: float,
    limit: float,
    unit: str,
    axis: str = "",
) -> Finding:
    s = int(moves.station[block])
    return finding(
        code,
        xy=moves.end[block, :2],
        measured=measured,
        limit=limit,
        unit=unit,
        head=moves.heads[s].id,
        station=moves.stations[s].number,
        block=block + 1,
        axis=axis,
    )
