"""A small planner of its own, for programs whose faults are known because they were planted.

A contour is split at its corners into runs. A stroke follows a run with the middle of the blade's
chord at the top face; its chord at the reference plane begins exactly at one end of the run and
ends exactly at the other. Arcs and lines stay what they are under a similarity; under any other
map the curve is sampled and cut in short lines with C turning along.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import atan, atan2, ceil, cos, hypot, pi, sin

import numpy as np

from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.model.design import Design
from kerfwright.model.motion import Event, EventCode, FeedKind, Kind, ToolMotion
from kerfwright.model.table import Table
from kerfwright.model.tooling import Blade
from tests.verify.bench import LIFT, STATIONS, TOP, TRAVEL

CORNER = 0.03
SAMPLE_MM = 0.1


@dataclass
class Program:
    """Blocks put one after the other."""

    blocks: list[tuple] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    tool: int = 0
    at: tuple[float, float, float, float] = (0.0, 0.0, TRAVEL, 0.0)

    def event(self, code: EventCode, value: float) -> None:
        self.events.append(Event(before_block=len(self.blocks), code=code, value=value))
        if code is EventCode.TOOL:
            self.tool = int(value)

    def _put(self, kind, end, feed, feed_kind, centre=(np.nan, np.nan), sweep=0.0, dwell=0.0):
        self.blocks.append((kind, end, centre, sweep, feed, feed_kind, dwell, self.tool))
        self.at = end

    def rapid(self, x=None, y=None, z=None, c=None) -> None:
        end = tuple(n if n is not None else o for n, o in zip((x, y, z, c), self.at, strict=True))
        self._put(Kind.RAPID, end, 0.0, FeedKind.NONE)

    def line(self, x=None, y=None, z=None, c=None, feed=100.0) -> None:
        end = tuple(n if n is not None else o for n, o in zip((x, y, z, c), self.at, strict=True))
        self._put(Kind.LINE, end, feed, FeedKind.PATH)

    def turn(self, c: float) -> None:
        self._put(Kind.LINE, (*self.at[:3], c), 5.0, FeedKind.ROTARY)

    def arc(self, centre, sweep, *, z=None) -> None:
        x, y, height, c = self.at
        dx, dy = x - centre[0], y - centre[1]
        co, si = cos(sweep), sin(sweep)
        end = (
            centre[0] + co * dx - si * dy,
            centre[1] + si * dx + co * dy,
            height if z is None else z,
            c + sweep,
        )
        self._put(Kind.ARC, end, 100.0, FeedKind.PATH, centre, sweep)

    def dwell(self, seconds: float) -> None:
        self._put(Kind.DWELL, self.at, 0.0, FeedKind.NONE, dwell=seconds)

    def over(self, x: float, y: float, c: float, height: float = TRAVEL) -> None:
        """Go up, over, and down to the lift height."""
        if self.at[2] < height:
            self.rapid(z=height)
        self.rapid(x=x, y=y, c=c)

    def motion(self, **changes) -> ToolMotion:
        n = len(self.blocks)
        columns = list(zip(*self.blocks, strict=True)) if n else [[] for _ in range(8)]
        fields = {
            "start": np.array((0.0, 0.0, TRAVEL, 0.0)),
            "kind": np.array(columns[0], np.int64),
            "end": np.array(columns[1], float).reshape(-1, 4),
            "centre": np.array(columns[2], float).reshape(-1, 2),
            "sweep_rad": np.array(columns[3], float),
            "feed": np.array(columns[4], float),
            "feed_kind": np.array(columns[5], np.int64),
            "dwell_s": np.array(columns[6], float),
            "role": np.zeros(n, np.int64),
            "cut": np.full(n, -1),
            "tool": np.array(columns[7], np.int64),
            "events": tuple(self.events),
        }
        return ToolMotion(**fields | changes)


@dataclass(frozen=True)
class Piece:
    """A line or arc of a run: start, heading there, length, signed curvature.

    A short line that stands for a stretch of a curve has C turn along it by `turn`, from `lead`
    off its own heading.
    """

    x: float
    y: float
    heading: float
    length: float
    bend: float = 0.0
    lead: float = 0.0
    turn: float = 0.0

    def at(self, s: float) -> tuple[float, float, float]:
        half = self.bend * s / 2.0
        chord = s if abs(half) < 1e-12 else s * sin(half) / half
        return (
            self.x + chord * cos(self.heading + half),
            self.y + chord * sin(self.heading + half),
            self.heading + 2.0 * half + self.lead + self.turn * s / self.length,
        )

    def reversed(self) -> Piece:
        x, y, heading = self.at(self.length)
        last = self.lead + self.turn
        return replace(
            self, x=x, y=y, heading=heading - last + pi, bend=-self.bend, lead=last, turn=-self.turn
        )


def pieces_of(path: PathSet, plane_map: PlaneMap) -> list[Piece]:
    """Return a path's pieces on the table: exact under a similarity, else short lines."""
    points, bulges, closed = path.points, path.bulges, bool(path.closed[0])
    after = np.roll(points, -1, axis=0) if closed else points[1:]
    edges = list(zip(points[: len(after)], after, bulges[: len(after)], strict=True))
    if plane_map.is_similarity:
        sign = 1.0 if np.linalg.det(plane_map.affine[:, :2]) > 0 else -1.0
        return [_exact(*plane_map.map_points(np.array([a, b])), sign * k) for a, b, k in edges]
    return [p for a, b, k in edges for p in _sampled(a, b, k, plane_map)]


def _exact(a, b, bulge) -> Piece:
    dx, dy = b[0] - a[0], b[1] - a[1]
    chord, sweep = hypot(dx, dy), 4.0 * atan(bulge)
    length = chord if sweep == 0.0 else chord * (sweep / 2.0) / sin(sweep / 2.0)
    return Piece(a[0], a[1], atan2(dy, dx) - sweep / 2.0, length, sweep / length)


def _sampled(a, b, bulge, plane_map) -> list[Piece]:
    whole = _exact(a, b, bulge)
    count = max(ceil(whole.length / SAMPLE_MM), 2)
    places = np.array([whole.at(whole.length * i / count)[:2] for i in range(count + 1)])
    points = plane_map.map_points(places)
    ends = [_exact(p, q, 0.0) for p, q in pairwise(points)]
    near = [plane_map.map_points(np.array([whole.at(s - 1e-4)[:2], whole.at(s + 1e-4)[:2]]))
            for s in np.linspace(0.0, whole.length, count + 1)]  # fmt: skip
    tangent = [atan2(*(q - p)[::-1]) for p, q in near]
    out = []
    for i, piece in enumerate(ends):
        lead, last = _wrap(tangent[i] - piece.heading), _wrap(tangent[i + 1] - piece.heading)
        out.append(replace(piece, lead=lead, turn=last - lead))
    return out


def _wrap(angle: float) -> float:
    return (angle + pi) % (2.0 * pi) - pi


def runs_of(pieces: list[Piece], *, closed: bool) -> list[list[Piece]]:
    """Return the runs between corners; a closed path without any is one run."""
    breaks = []
    for i, piece in enumerate(pieces):
        if i == 0 and not closed:
            continue
        before = pieces[i - 1]
        turn = piece.at(0.0)[2] - before.at(before.length)[2]
        if abs(_wrap(turn)) > CORNER:
            breaks.append(i)
    if not breaks:
        return [pieces]
    if not closed:
        breaks = [0, *breaks]
    ends = [*breaks[1:], breaks[0] + len(pieces) if closed else len(pieces)]
    n = len(pieces)
    return [[pieces[j % n] for j in range(i, e)] for i, e in zip(breaks, ends, strict=True)]


@dataclass(frozen=True)
class Chords:
    """A blade at a depth: chord at the reference plane seen from the tracked point, and axis."""

    back: float
    front: float
    track: float
    tip_z: float
    half: float


def chords(blade: Blade, tip_z: float, reference_z: float, top_z: float) -> Chords:
    top_back, top_front = blade.chord_mm(top_z - tip_z)
    back, front = blade.chord_mm(reference_z - tip_z)
    track = (top_back + top_front) / 2.0
    return Chords(track - back, front - track, track, tip_z, (top_front - top_back) / 2.0)


def _in_from(piece: Piece, reach: float) -> float:
    """Return the way along a first piece at which a point `reach` back is over its start."""
    if piece.bend == 0.0:
        return reach
    return atan(reach * abs(piece.bend)) / abs(piece.bend)


def stroke(
    program: Program,
    run: list[Piece],
    chord: Chords,
    *,
    stop: float | None = None,
    loop: bool = False,
    lift: float = LIFT,
    rapid_up: bool = True,
    low: float = LIFT,
) -> None:
    """Cut one run, or its beginning up to `stop`; a loop has no ends."""
    total = sum(p.length for p in run)
    begin = 0.0 if loop else _in_from(run[0], chord.back)
    end = total if loop else total - _in_from(run[-1].reversed(), chord.front)
    if stop is not None:
        end = stop - chord.front
    run, added = _with_tails(run, -begin, end - total)
    begin, end = begin + added, end + added
    x, y, heading = _along(run, begin)
    ax, ay = _axis(x, y, heading, chord)
    c = _near(heading, program.at[3] if low < TRAVEL else 0.0)
    program.over(ax, ay, c, height=low)
    program.line(z=chord.tip_z, feed=30.0)
    s = 0.0
    for piece in run:
        here, there = max(begin - s, 0.0), min(end - s, piece.length)
        s += piece.length
        if there - here <= 1e-9:
            continue
        x, y, heading = piece.at(here)
        turn = _near(heading, program.at[3]) - program.at[3]
        if abs(turn) > 1e-9 and abs(piece.bend) > 0.0:
            program.turn(program.at[3] + turn)
        if piece.bend == 0.0:
            x, y, heading = piece.at(there)
            ax, ay = _axis(x, y, heading, chord)
            program.line(x=ax, y=ay, c=_near(heading, program.at[3]))
        else:
            cx = piece.x - sin(piece.heading) / piece.bend
            cy = piece.y + cos(piece.heading) / piece.bend
            program.arc((cx, cy), piece.bend * (there - here))
    if rapid_up:
        program.rapid(z=lift)


def _with_tails(run: list[Piece], before: float, after: float) -> tuple[list[Piece], float]:
    """Return the run gone on straight before its start and past its end, and what that adds."""
    out, added = list(run), 0.0
    if before > 0.0:
        x, y, heading = run[0].at(0.0)
        out.insert(0, Piece(x - before * cos(heading), y - before * sin(heading), heading, before))
        added = before
    if after > 0.0:
        out.append(Piece(*run[-1].at(run[-1].length), after))
    return out, added


def _along(run: list[Piece], s: float) -> tuple[float, float, float]:
    for piece in run:
        if s <= piece.length:
            return piece.at(s)
        s -= piece.length
    return run[-1].at(run[-1].length)


def _axis(x: float, y: float, heading: float, chord: Chords) -> tuple[float, float]:
    return x - chord.track * cos(heading), y - chord.track * sin(heading)


def _near(angle: float, other: float) -> float:
    return angle + 2.0 * pi * round((other - angle) / (2.0 * pi))


def cut_contour(
    program: Program, design: Design, k: int, *, way: str = "forward", tip_z: float | None = None
) -> None:
    """Cut one contour: 'forward', 'reversed', or 'corners' (from every corner to mid-side)."""
    operation = design.operations[design.operation[k]]
    blade = design.tools[design.tool[k]]
    bottom, top = design.bottom_z_mm, design.top_z_mm
    full = bottom + operation.tip_z_mm(top - bottom)
    reference = bottom if operation.process.value == "cutting" else full
    levels = [top - (top - full) * (p + 1) / operation.passes for p in range(operation.passes)]
    path = design.nominal.select([k])
    closed = bool(path.closed[0])
    pieces = pieces_of(path, design.maps[design.map[k]])
    for level in levels if tip_z is None else [tip_z]:
        chord = chords(blade, level, max(reference, level), top)
        back = [p.reversed() for p in reversed(pieces)]
        turned = back if way == "reversed" else pieces
        runs = runs_of(turned, closed=closed)
        loop = closed and len(runs) == 1 and _is_loop(turned)
        first = True
        for run in runs:
            low = TRAVEL if first else LIFT
            first = False
            if way != "corners" or loop:
                stroke(program, run, chord, loop=loop, low=low)
                continue
            half = sum(p.length for p in run) / 2.0 + 0.05
            stroke(program, run, chord, stop=half, low=low)
            back = [p.reversed() for p in reversed(run)]
            stroke(program, back, chord, stop=half)


def _is_loop(pieces: list[Piece]) -> bool:
    return abs(_wrap(pieces[0].at(0.0)[2] - pieces[-1].at(pieces[-1].length)[2])) <= CORNER


def plan(design: Design, ways: list[str] | None = None, **changes) -> ToolMotion:
    """Return a program that cuts every contour, in order."""
    return plan_program(design, ways).motion(**changes)


def plan_program(design: Design, ways: list[str] | None = None) -> Program:
    program = Program()
    for k in range(len(design.contours)):
        start_tool(program, design, k)
        cut_contour(program, design, k, way=ways[k] if ways else "forward")
    finish(program)
    return program


def start_tool(program: Program, design: Design, k: int) -> None:
    """Call the tool of a contour, if it is not in hand."""
    operation = design.operations[design.operation[k]]
    station = STATIONS[operation.id]
    if program.tool != station:
        if program.at[2] < TRAVEL:
            program.rapid(z=TRAVEL)
        program.event(EventCode.TOOL, station)
        if operation.head_kind.value == "oscillating_knife":
            program.event(EventCode.OSCILLATION, 150.0)


def finish(program: Program) -> None:
    program.rapid(z=TRAVEL)
    program.rapid(x=0.0, y=0.0)


def moved(motion: ToolMotion, dx: float = 0.0, dy: float = 0.0, dz: float = 0.0, dc: float = 0.0):
    """Return the whole program shifted; C turned on the spot."""
    shift = np.array((dx, dy, dz, dc))
    return replace(
        motion,
        start=motion.start + shift,
        end=motion.end + shift,
        centre=motion.centre + shift[:2],
    )


def sunk(motion: ToolMotion, by: float) -> ToolMotion:
    """Return the program with every tip in the stock lower by an amount."""
    end = motion.end.copy()
    end[end[:, 2] < TOP, 2] -= by
    return replace(motion, end=end)


def turned(motion: ToolMotion, angle: float, dx: float, dy: float) -> ToolMotion:
    """Return the program turned about the origin, then moved."""
    m = np.array([[cos(angle), -sin(angle)], [sin(angle), cos(angle)]])

    def places(p):
        out = p.copy()
        out[..., :2] = p[..., :2] @ m.T + (dx, dy)
        out[..., 3] += angle
        return out

    return replace(
        motion,
        start=places(motion.start),
        end=places(motion.end),
        centre=motion.centre @ m.T + (dx, dy),
    )


def with_offsets(motion: ToolMotion, table: Table) -> ToolMotion:
    """Return the program as it reads when it holds the head offsets itself."""
    shift = np.zeros((len(motion), 4))
    for station in table.stations:
        head = table.head(station.head_id)
        shift[motion.tool == station.number] = (*head.offset_mm, head.c_zero_rad)
    return replace(
        motion,
        end=motion.end + shift,
        centre=motion.centre + shift[:, :2],
        offsets_in="program",
    )
