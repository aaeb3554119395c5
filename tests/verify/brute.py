"""The check once more: slowly, by dense sampling, without a line of the code it checks.

Contours are sampled in the sheet frame and mapped point by point; the program is sampled block by
block, the blade point by point along its chord, at the top face and at the reference plane. Every
sample of the blade is compared with every segment of its contour nearby. Tuned for one to a few
contours of some hundred millimetres: worst deviations agree within a micrometre with the truth
for radii of a millimetre and more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from kerfwright.model.design import Design, Tolerances
from kerfwright.model.motion import Kind, ToolMotion
from kerfwright.model.table import Table

CONTOUR_STEP = 0.05
MOTION_STEP = 0.08
BACK_MM = 1e-3
CHORD_POINTS = 7
REACH = 3.0
OVERRUN = 0.5
NEAR = 0.4  # segments that near are looked at first, all in reach only where that is not enough
NOTHING = 10.0**9


@dataclass
class Contour:
    """One mapped contour in short segments."""

    a: np.ndarray
    b: np.ndarray
    heading: np.ndarray
    place: np.ndarray
    length: float
    closed: bool
    corners: list  # (x, y, heading in or None, heading out or None, place)


@dataclass
class Samples:
    """The blade in the stock, sample by sample."""

    xy: np.ndarray
    z: np.ndarray
    c: np.ndarray
    stroke: np.ndarray
    station: np.ndarray
    way: np.ndarray  # direction of travel, NaN where it stays


@dataclass
class Answer:
    """What was found: worst deviation by contour, and codes with their contour."""

    worst: np.ndarray
    uncut: np.ndarray
    over_part: np.ndarray
    over_waste: np.ndarray
    codes: set
    aim: np.ndarray  # worst angle of the blade
    aim_way: np.ndarray  # samples with a blade too far off, in a row at most


def check(motion: ToolMotion, design: Design, table: Table, tolerances: Tolerances) -> Answer:
    corner = 3.0 * tolerances.blade_rad
    contours = [sample_contour(design, k, corner) for k in range(len(design.contours))]
    samples = sample_motion(motion, design, table, tolerances)
    region = part_region(design, contours)
    owner = {s: owner_of(samples, s, contours, design, table) for s in np.unique(samples.stroke)}
    k_of = np.array([owner[s] for s in samples.stroke], int)
    n = len(contours)
    out = Answer(
        np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), set(), np.zeros(n), np.zeros(n)
    )
    for k in range(n):
        one_contour(k, k_of == k, samples, contours, region, design, table, tolerances, out)
    if (k_of < 0).any():
        out.codes.add(("VER-150", None))
    return out


# ---------------------------------------------------------------- sampling


def sample_contour(design: Design, k: int, corner: float) -> Contour:
    first, last = design.nominal.starts[k], design.nominal.starts[k + 1]
    points, bulges = design.nominal.points[first:last], design.nominal.bulges[first:last]
    closed, plane_map = bool(design.nominal.closed[k]), design.maps[design.map[k]]
    edges = []
    for i in range(len(points) if closed else len(points) - 1):
        p, q, bulge = points[i], points[(i + 1) % len(points)], bulges[i]
        chord = np.hypot(*(q - p))
        sweep = 4.0 * np.arctan(bulge)
        size = chord if bulge == 0.0 else chord * (sweep / 2.0) / np.sin(sweep / 2.0)
        n = max(int(np.ceil(size / CONTOUR_STEP)), 1)
        curve = plane_map.map_points(along_edge(p, q, sweep, np.linspace(0.0, 1.0, n + 1)))
        tiny = 1e-4 / size
        start = plane_map.map_points(along_edge(p, q, sweep, np.array((0.0, tiny))))
        end = plane_map.map_points(along_edge(p, q, sweep, np.array((1.0 - tiny, 1.0))))
        edges.append((curve, direction(*start), direction(*end)))
    a = np.concatenate([e[0][:-1] for e in edges])
    b = np.concatenate([e[0][1:] for e in edges])
    d = b - a
    size = np.hypot(*d.T)
    place = np.concatenate(([0.0], np.cumsum(size)))
    ends = np.cumsum([len(e[0]) - 1 for e in edges])
    corners = []
    for i, edge in enumerate(edges):
        after = edges[(i + 1) % len(edges)] if closed or i + 1 < len(edges) else None
        if after is None:
            corners.append((*edge[0][-1], edge[2], None, place[-1]))
        elif abs(wrap(after[1] - edge[2])) > corner:
            corners.append((*edge[0][-1], edge[2], after[1], place[ends[i]]))
    if not closed:
        corners.append((*edges[0][0][0], None, edges[0][1], 0.0))
    return Contour(a, b, np.arctan2(d[:, 1], d[:, 0]), place[:-1], place[-1], closed, corners)


def along_edge(p, q, sweep, share):
    if sweep == 0.0:
        return p + share[:, None] * (q - p)
    d = q - p
    centre = (p + q) / 2.0 + np.array((-d[1], d[0])) / (2.0 * np.tan(sweep / 2.0))
    angle = sweep * share
    spoke = p - centre
    co, si = np.cos(angle), np.sin(angle)
    return centre + np.column_stack((co * spoke[0] - si * spoke[1], si * spoke[0] + co * spoke[1]))


def sample_motion(motion, design, table, tolerances) -> Samples:
    rows, at, stroke, open_stroke = [], motion.start.copy(), -1, False
    last_tool = 0
    face = design.top_z_mm - tolerances.program_mm
    for i in range(len(motion)):
        tool = int(motion.tool[i])
        begin, end = at.copy(), motion.end[i].copy()
        at = motion.end[i].copy()
        centre = motion.centre[i].copy()
        if tool == 0:
            open_stroke, last_tool = False, 0
            continue
        head = table.head(table.station(tool).head_id)
        if motion.offsets_in == "program":
            shift = np.array((*head.offset_mm, head.c_zero_rad))
            begin, end, centre = begin - shift, end - shift, centre - shift[:2]
        if table.z_reference == "top":
            begin[2] += design.top_z_mm
            end[2] += design.top_z_mm
        if tool != last_tool:
            begin[2] = max(begin[2], end[2])
            open_stroke = False
        last_tool = tool
        if motion.kind[i] == Kind.DWELL:
            continue
        block = sample_block(begin, end, centre, motion.sweep_rad[i], face)
        for sample in block:
            inside = sample[2] < face
            if inside and not open_stroke:
                stroke += 1
            open_stroke = inside
            if inside:
                rows.append((*sample, stroke, tool))
    table_of = np.array(rows, float).reshape(-1, 7)
    return Samples(
        table_of[:, :2], table_of[:, 2], table_of[:, 3], table_of[:, 5].astype(int),
        table_of[:, 6].astype(int), table_of[:, 4],
    )  # fmt: skip


def sample_block(begin, end, centre, sweep, face) -> np.ndarray:
    turn = abs(end[3] - begin[3])
    way = np.hypot(*(end - begin)[:2])
    if sweep != 0.0:
        way = abs(sweep) * np.hypot(*(begin[:2] - centre))
    n = max(int(np.ceil(max(way, 4.0 * turn) / MOTION_STEP)), 2)
    t = np.linspace(0.0, 1.0, n + 1)
    if begin[2] != end[2]:
        cross = (face - begin[2]) / (end[2] - begin[2])
        if 0.0 < cross < 1.0:
            t = np.unique(
                np.concatenate((t, [cross, min(cross + 1e-9, 1.0), max(cross - 1e-9, 0)]))
            )
    place = begin + (end - begin) * t[:, None]
    direction_of = np.full(len(t), np.nan)
    if sweep != 0.0:
        spoke, reached = begin[:2] - centre, end[:2] - centre
        angle = np.arctan2(spoke[1], spoke[0]) + sweep * t
        radius = np.hypot(*spoke) + (np.hypot(*reached) - np.hypot(*spoke)) * t
        place[:, 0] = centre[0] + radius * np.cos(angle)
        place[:, 1] = centre[1] + radius * np.sin(angle)
        direction_of = angle + np.sign(sweep) * np.pi / 2.0
    elif way > 1e-3:
        direction_of[:] = np.arctan2(end[1] - begin[1], end[0] - begin[0])
    return np.column_stack((place, direction_of))


# ---------------------------------------------------------------- small geometry


def wrap(angle):
    return (angle + np.pi) % (2.0 * np.pi) - np.pi


def fold(angle):
    return (angle + np.pi / 2.0) % np.pi - np.pi / 2.0


def direction(p, q):
    return float(np.arctan2(q[1] - p[1], q[0] - p[0]))


def blade_of(samples, i, design, table):
    tool_id = table.station(int(samples.station[i])).tool_id
    return next((t for t in design.tools if t.id == tool_id), None)


def chord_points(samples, index, blade, plane, count):
    """Return (len(index), count, 2) points of the chord at a plane; never below the tip."""
    reach = np.array([blade.chord_mm(max(plane - z, 0.0)) for z in samples.z[index]])
    s = reach[:, :1] + (reach[:, 1:] - reach[:, :1]) * np.linspace(0.0, 1.0, count)
    u = np.column_stack((np.cos(samples.c[index]), np.sin(samples.c[index])))
    return samples.xy[index][:, None, :] + s[:, :, None] * u[:, None, :], reach


def nearest(contour: Contour, q, c):
    """Return distance, place and heading of the nearest segment aligned with the blade."""
    found = _nearest(contour, q, c, NEAR)
    return found if found[0].max() < NEAR else _nearest(contour, q, c, REACH + 1.0)


def _nearest(contour: Contour, q, c, margin):
    distance, place = np.full(len(q), NOTHING), np.zeros(len(q))
    heading = np.zeros(len(q))
    low, high = q.min(axis=0) - margin, q.max(axis=0) + margin
    keep = (
        (np.maximum(contour.a, contour.b) >= low) & (np.minimum(contour.a, contour.b) <= high)
    ).all(axis=1)
    if not keep.any():
        return distance, place, heading
    a, b, head = contour.a[keep], contour.b[keep], contour.heading[keep]
    d = b - a
    size = np.hypot(*d.T)
    u = d / size[:, None]
    dx, dy = q[:, None, 0] - a[None, :, 0], q[:, None, 1] - a[None, :, 1]
    along = np.clip(dx * u[:, 0] + dy * u[:, 1], 0.0, size)
    off = np.hypot(dx - along * u[:, 0], dy - along * u[:, 1])
    skew = fold(head[None, :] - c[:, None])
    across = np.abs(skew) > np.pi / 4.0
    all_across = across.all(axis=1)
    off = np.where(across & ~all_across[:, None], NOTHING, off)
    distance = off.min(axis=1)
    askew = np.maximum(np.abs(np.sin(skew)) - 0.3, 0.0)
    best = np.argmin(off + 4.0 * askew**2, axis=1)
    i = np.arange(len(q))
    return distance, contour.place[keep][best] + along[i, best], head[best]


def past_corners(contour: Contour, q, c, limit, tolerances, distance):
    """Return, per point, least sideways distance to what goes on past a corner, and the overrun.

    Where the blade points in between the headings at a corner, the continuation is its own
    direction; where it points at most ten times the allowed angle away from one, it is that one.
    A point is past the corner when that is nearer than the contour by the overrun times that
    angle, or by half the tolerance; a blade that turns keeps the corner within its chord. Its
    deviation is the smaller of both distances anyway.
    """
    off, over, least = distance.copy(), np.zeros(len(q)), np.full(len(q), np.inf)
    place, heading, tip = np.zeros(len(q)), np.zeros(len(q)), q.copy()
    for x, y, into, out, at in contour.corners:
        d = q - (x, y)
        close = np.hypot(*d.T) > 1e-9
        for sign, own, other in ((1.0, into, out), (-1.0, out, into)):
            if own is None:
                continue
            skew = fold(c - own)
            fine = np.abs(skew) <= 10.0 * tolerances.blade_rad
            ahead, most, turns = np.full(len(q), own), limit, np.zeros(len(q), bool)
            if other is not None:
                fine &= np.abs(skew) <= np.abs(fold(c - other)) + 5e-6
                turn = wrap(out - into)
                for m in (-1.0, 0.0, 1.0):
                    way = fold(c - into) + m * np.pi
                    inside = (min(turn, 0) + 5e-6 < way) & (way < max(turn, 0) - 5e-6)
                    ahead = np.where(inside, into + way, ahead)
                    most = np.where(inside, limit - OVERRUN + 1e-3, most)
                    fine |= inside
                    turns |= inside
            ux, uy = np.cos(ahead), np.sin(ahead)
            past = sign * (d[:, 0] * ux + d[:, 1] * uy)
            aside = np.abs(d[:, 0] * uy - d[:, 1] * ux)
            better = fine & close & (past > 0.0) & (past <= limit) & (aside < least)
            least = np.where(better, aside, least)
            off = np.where(better & (aside < off - 1e-9), aside, off)
            clear = np.minimum(past * 10.0 * tolerances.blade_rad, tolerances.cut_mm / 2.0)
            clear = np.where(turns, np.maximum(clear, distance / 2.0), clear)
            apart = better & (past <= most) & (aside < distance - np.maximum(clear, 1e-9))
            over, place = np.where(apart, past, over), np.where(apart, at, place)
            heading = np.where(apart, ahead, heading)
            straight = np.column_stack((x + sign * past * ux, y + sign * past * uy))
            tip = np.where(apart[:, None], straight, tip)
    return off, over, place, heading, tip


def belongs(contour, q, c, limit, tolerances):
    """Return deviation, overrun, place and heading of points of the blade.

    And where they would be, past a corner, if they were not off sideways.
    """
    out = [*(np.zeros(len(q)) for _ in range(4)), q.copy()]
    for i in range(0, len(q), 300):
        part = slice(i, i + 300)
        distance, place, heading = nearest(contour, q[part], c[part])
        off, over, at, ahead, tip = past_corners(
            contour, q[part], c[part], limit[part], tolerances, distance
        )
        past = over > 0.0
        out[0][part] = off
        out[1][part] = np.where(past, over, 0.0)
        out[2][part] = np.where(past, at, place)
        out[3][part] = np.where(past, ahead, heading)
        out[4][part] = np.where(past[:, None], tip, q[part])
    return out


# ---------------------------------------------------------------- what belongs to what


def owner_of(samples, stroke, contours, design, table) -> int:
    index = np.flatnonzero(samples.stroke == stroke)
    index = index[:: max(len(index) // 60, 1)]
    blade = blade_of(samples, index[0], design, table)
    ahead = blade.reference_mm if blade else 0.0
    u = np.column_stack((np.cos(samples.c[index]), np.sin(samples.c[index])))
    tip = samples.xy[index] + ahead * u
    best, least = -1, np.inf
    low = samples.z[samples.stroke == stroke].min()
    for k, contour in enumerate(contours):
        distance, _, head = nearest(contour, tip, samples.c[index])
        skew = np.abs(np.sin(head - samples.c[index]))
        moving = np.isfinite(samples.way[index])
        skew[moving] = np.minimum(skew, np.abs(np.sin(head - samples.way[index])))[moving]
        if np.median(distance) > REACH or np.median(skew) > np.sin(np.pi / 3.0):
            continue
        operation = design.operations[design.operation[k]]
        station = table.station(int(samples.station[index[0]]))
        head_kind = table.head(station.head_id).kind
        fits = station.tool_id == design.tools[design.tool[k]].id
        fits &= head_kind is operation.head_kind
        full = design.top_z_mm - target_of(design, k)
        steps = design.top_z_mm - full * np.arange(1, operation.passes + 1) / operation.passes
        deep = np.abs(steps - low).min() <= 0.1
        cost = np.minimum(distance, 2 * REACH).mean() + 0.25 * (not fits) + 0.25 * (not deep)
        if cost < least - 1e-6:
            best, least = k, cost
    return best


def target_of(design, k):
    operation = design.operations[design.operation[k]]
    return design.bottom_z_mm + operation.tip_z_mm(design.top_z_mm - design.bottom_z_mm)


def part_region(design, contours):
    """Return the parts by the even-odd rule over closed through cuts; None where there are none."""
    region = None
    for k, contour in enumerate(contours):
        operation = design.operations[design.operation[k]]
        if contour.closed and operation.process.value == "cutting":
            ring = shapely.make_valid(shapely.Polygon(contour.a))
            region = ring if region is None else region.symmetric_difference(ring)
    return region


# ---------------------------------------------------------------- one contour


def one_contour(k, mine, samples, contours, region, design, table, tolerances, out) -> None:
    contour, operation = contours[k], design.operations[design.operation[k]]
    target = target_of(design, k)
    through = operation.process.value == "cutting"
    reference = design.bottom_z_mm if through else target
    reached = reference + (tolerances.program_mm if through else tolerances.depth_mm)
    deep = target + tolerances.depth_mm
    index = np.flatnonzero(mine)
    if not len(index):
        out.uncut[k] = contour.length
        out.codes.add(("VER-110", k))
        return
    blade = blade_of(samples, index[0], design, table)
    _tools(k, index, samples, design, table, out)
    q, reach = chord_points(samples, index, blade, design.top_z_mm, CHORD_POINTS)
    limit = np.repeat(reach[:, 1] - reach[:, 0] + OVERRUN, CHORD_POINTS)
    c = np.repeat(samples.c[index], CHORD_POINTS)
    off, over, place_top, _, straight = belongs(contour, q.reshape(-1, 2), c, limit, tolerances)
    at = reference_chord(samples, index, blade, reference)
    off_low, _, place, _, _ = belongs(
        contour,
        at.reshape(-1, 2),
        np.repeat(samples.c[index], 2),
        np.repeat(np.hypot(*(at[:, 1] - at[:, 0]).T) + OVERRUN, 2),
        tolerances,
    )
    out.worst[k] = max(off.max(), off_low.max())
    if out.worst[k] > tolerances.cut_mm:
        out.codes.add(("VER-113", k))
    _overcut(k, straight, over, contours, region, design, tolerances, out)
    place = place.reshape(-1, 2)
    at_top = place_top.reshape(-1, CHORD_POINTS)[:, [0, -1]]
    z, stroke = samples.z[index], samples.stroke[index]
    tip_chord = blade.chord_mm(max(reference - z.min(), 0.0))
    spans = {}
    for name, level in (("any", np.inf), ("reference", reached), ("deep", deep)):
        spans[name] = spans_of(place, stroke, z <= level, contour, tip_chord[1] - tip_chord[0])
    spans["touched"] = spans_of(
        at_top, stroke, np.ones(len(z), bool), contour, reach[:, 1].max() - reach[:, 0].min()
    )
    _cover(k, spans, contour, tolerances, out)
    if z.min() < target - tolerances.depth_mm:
        out.codes.add(("VER-121", k))
    if out.worst[k] <= tolerances.cut_mm:
        chord = tip_chord[1] - tip_chord[0]
        _twice(k, spans["deep"], chord, operation, design, tolerances, contour, out)
    _aim(k, index, samples, blade, contour, design.top_z_mm - target, tolerances, out)
    _bevel(k, index, samples, blade, place, contour, region, tolerances, out)


def reference_chord(samples, index, blade, reference):
    return chord_points(samples, index, blade, reference, 2)[0]


def _tools(k, index, samples, design, table, out) -> None:
    operation = design.operations[design.operation[k]]
    for number in np.unique(samples.station[index]):
        station = table.station(int(number))
        kind = table.head(station.head_id).kind
        if station.tool_id != operation.tool_id or kind is not operation.head_kind:
            out.codes.add(("VER-130", k))


def _overcut(k, q, over, contours, region, design, tolerances, out) -> None:
    past = over > 2.0 * tolerances.program_mm
    if not past.any():
        return
    q, over = q[past], over[past]
    inside = np.ones(len(q), bool) if region is None else shapely.contains_xy(region, *q.T)
    depth = np.full(len(q), np.inf)
    for j, contour in enumerate(contours):
        operation = design.operations[design.operation[j]]
        if j != k and not (contour.closed and operation.process.value == "cutting"):
            continue
        lines = shapely.multilinestrings(np.stack((contour.a, contour.b), axis=1))
        depth = np.minimum(depth, shapely.distance(shapely.points(q), lines))
    out.over_part[k] = np.where(inside, depth, 0.0).max()
    out.over_waste[k] = np.where(inside, 0.0, over).max()
    if out.over_part[k] > tolerances.overcut_mm:
        out.codes.add(("VER-114", k))


def unwrapped(place, origin, contour):
    if not contour.closed:
        return place
    return place - contour.length * np.round((place - origin) / contour.length)


def spans_of(place, stroke, usable, contour, chord):
    """Return stretches (stroke, low, high): what the chord covers from each sample to the next.

    Nothing where its ends lie opposite places farther apart than it could cover.
    """
    out = []
    for i in range(len(place)):
        if not usable[i]:
            continue
        feet = [place[i, 0], unwrapped(place[i, 1], place[i, 0], contour)]
        if i + 1 < len(place) and stroke[i + 1] == stroke[i] and usable[i + 1]:
            feet += [unwrapped(p, place[i, 0], contour) for p in place[i + 1]]
        if max(feet) - min(feet) <= 1.5 * (MOTION_STEP + chord) + 0.05:
            out.append((stroke[i], min(feet), max(feet)))
    return out


def total_of(spans, contour):
    """Return the length of the union of stretches."""
    length, pieces = contour.length, []
    for _, low, high in spans:
        if contour.closed:
            shift = np.floor(low / length) * length
            begin, end = low - shift, min(high - shift, low - shift + length)
            pieces.append((begin, min(end, length)))
            if end > length:
                pieces.append((0.0, end - length))
        else:
            pieces.append((max(low, 0.0), min(high, length)))
    total, reached = 0.0, 0.0
    for low, high in sorted(pieces):
        total += max(high - max(low, reached), 0.0)
        reached = max(reached, high)
    return total


def _cover(k, spans, contour, tolerances, out) -> None:
    total = {name: total_of(s, contour) for name, s in spans.items()}
    out.uncut[k] = max(contour.length - total["reference"], 0.0)
    limit = tolerances.uncut_mm
    if total["any"] <= min(limit, contour.length / 2.0):
        out.codes.add(("VER-110", k))
    elif total["any"] - total["deep"] > limit:
        out.codes.add(("VER-120", k))
        if contour.length - total["touched"] > limit:
            out.codes.add(("VER-111", k))
    elif out.uncut[k] > limit:
        out.codes.add(("VER-111", k))


def _twice(k, spans, chord, operation, design, tolerances, contour, out) -> None:
    """Mark places every 20 um by stroke; strokes with more in common than allowed are a repeat."""
    n = max(int(contour.length / 0.02), 50)
    marks, gone = {}, {}
    for stroke, low, high in spans:
        mark = marks.setdefault(stroke, np.zeros(n, bool))
        places = np.arange(
            np.ceil(low / contour.length * n), np.floor(high / contour.length * n) + 1
        )
        places = places.astype(int)
        mark[places % n if contour.closed else np.clip(places, 0, n - 1)] = True
        before = gone.setdefault(stroke, [0.0, None])
        if before[1] is not None:
            before[0] += abs(unwrapped(low, before[1], contour) - before[1])
        before[1] = low
    step = contour.length / n
    full = design.top_z_mm - target_of(design, k)
    steps = full * (1.0 - np.arange(1, operation.passes + 1) / operation.passes)
    allowed = int((steps <= tolerances.depth_mm + 1e-12).sum())
    for one, mark in marks.items():
        size = mark.sum() * step
        if gone[one][0] - size > max(size / 2.0, chord) + step:
            out.codes.add(("VER-112", k))
        count = 1
        for other, mark_too in marks.items():
            common = (mark & mark_too).sum() * step
            half = min(size, mark_too.sum() * step) / 2.0
            count += other != one and common > half and common > chord + step
        if count > allowed:
            out.codes.add(("VER-112", k))


def _aim(k, index, samples, blade, contour, depth, tolerances, out) -> None:
    back, front = blade.chord_mm(depth)
    s = np.linspace(back, front, CHORD_POINTS)
    c = samples.c[index]
    u = np.column_stack((np.cos(c), np.sin(c)))
    q = samples.xy[index][:, None, :] + s[None, :, None] * u[:, None, :]
    limit = np.full(q[..., 0].size, front - back + OVERRUN)
    off, _, _, heading, _ = belongs(
        contour, q.reshape(-1, 2), np.repeat(c, CHORD_POINTS), limit, tolerances
    )
    skew = fold(heading.reshape(-1, CHORD_POINTS) - c[:, None])
    skew[off.reshape(-1, CHORD_POINTS) > REACH] = 0.0
    least = np.abs(skew).min(axis=1)
    changes = (skew[:, 1:] * skew[:, :-1] < 0.0) & (np.abs(skew[:, 1:]) < 1.4)
    changes &= np.abs(skew[:, :-1]) < 1.4
    least[changes.any(axis=1)] = 0.0
    out.aim[k] = least.max()
    if least.max() > tolerances.blade_rad:
        out.codes.add(("VER-140", k))
        ends = np.flatnonzero(np.append(least <= tolerances.blade_rad, True))
        out.aim_way[k] = np.diff(ends, prepend=-1).max() - 1
    if goes_back(q[:, CHORD_POINTS // 2], c, samples.stroke[index]) > BACK_MM:
        out.codes.add(("VER-141", k))


def goes_back(middle, c, stroke) -> float:
    """Return the longest way the middle of the chord goes against where the blade points."""
    back, longest = 0.0, 0.0
    for i in range(len(middle) - 1):
        heading = (c[i] + c[i + 1]) / 2.0
        step = (middle[i + 1] - middle[i]) @ np.array((np.cos(heading), np.sin(heading)))
        back = back - step if stroke[i] == stroke[i + 1] and step < 0.0 else 0.0
        longest = max(longest, back)
    return longest


def _bevel(k, index, samples, blade, place, contour, region, tolerances, out) -> None:
    if blade.bevel == "both" or region is None or not contour.closed:
        return
    middle = len(contour.a) // 2
    left = np.array((-np.sin(contour.heading[middle]), np.cos(contour.heading[middle])))
    point = (contour.a[middle] + contour.b[middle]) / 2.0
    if shapely.distance(shapely.Point(point), region.boundary) > 0.01:
        return
    part = [bool(shapely.contains_xy(region, *(point + e * left))) for e in (1e-3, -1e-3)]
    if part[0] == part[1]:
        return
    stroke, wrong = samples.stroke[index], 0.0
    for i in range(len(place) - 1):
        if stroke[i] == stroke[i + 1]:
            gone = unwrapped(place[i + 1, 0], place[i, 0], contour) - place[i, 0]
            part_is_left = part[0] if gone > 0.0 else part[1]
            if part_is_left == (blade.bevel == "left"):
                wrong += abs(gone)
    if wrong > tolerances.uncut_mm:
        out.codes.add(("VER-142", k))
