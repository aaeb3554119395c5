"""A small maker of router programs, whose offsets are worked out by hand.

A *track* is the closed way of the axis: the offset of a rectangle, a rounded rectangle or a circle
is one of these again, with its corners rolled round outside and left sharp inside. A program goes
round it pass by pass; over tabs it rises straight up and comes straight down.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import atan

import numpy as np

from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.model.motion import EventCode, FeedKind, Kind, ToolMotion
from kerfwright.model.operation import Operation
from tests.verify.planner import Program
from tests.verify.router_bench import BOTTOM, CUTTERS, DEPTH, STATION, TABS, TOP, TRAVEL
from tests.verify.shapes import circle, rectangle, rounded

CLEAR = TOP + 3.0
TAB_Z = TABS.height_mm


@dataclass
class Router(Program):
    """Blocks of a spindle, which leaves C alone."""

    at: tuple[float, float, float, float] = (0.0, 0.0, TRAVEL, 0.0)

    def arc(self, centre, sweep, *, z=None) -> None:
        x, y, height, c = self.at
        dx, dy = x - centre[0], y - centre[1]
        co, si = np.cos(sweep), np.sin(sweep)
        end = (
            centre[0] + co * dx - si * dy,
            centre[1] + si * dx + co * dy,
            height if z is None else z,
            c,
        )
        self._put(Kind.ARC, end, 40.0, FeedKind.PATH, tuple(centre), sweep)

    def start(self, tool: str, *, spindle: float = 300.0) -> None:
        if self.tool != STATION[tool]:
            self.rapid(z=TRAVEL)
            self.event(EventCode.SPINDLE, 0.0)
            self.event(EventCode.TOOL, STATION[tool])
            self.event(EventCode.SPINDLE, spindle)
            self.at = (*self.at[:2], TRAVEL, 0.0)

    def finish(self) -> ToolMotion:
        self.rapid(z=TRAVEL)
        self.event(EventCode.SPINDLE, 0.0)
        return self.motion(start=np.array((0.0, 0.0, TRAVEL, 0.0)))


@dataclass(frozen=True)
class Leg:
    """A line or arc of a track: ends, centre, sweep (0 for a line)."""

    start: np.ndarray
    end: np.ndarray
    centre: np.ndarray
    sweep: float

    @property
    def length(self) -> float:
        if self.sweep == 0.0:
            return float(np.hypot(*(self.end - self.start)))
        return abs(self.sweep) * float(np.hypot(*(self.start - self.centre)))

    def at(self, share: float) -> np.ndarray:
        if self.sweep == 0.0:
            return self.start + share * (self.end - self.start)
        co, si = np.cos(self.sweep * share), np.sin(self.sweep * share)
        d = self.start - self.centre
        return self.centre + np.array((co * d[0] - si * d[1], si * d[0] + co * d[1]))

    def part(self, low: float, high: float) -> Leg:
        return Leg(self.at(low), self.at(high), self.centre, self.sweep * (high - low))


def legs_of(path: PathSet) -> list[Leg]:
    edges, out = edges_of(path), []
    for a, b, bulge in zip(edges.start, edges.end, edges.bulge, strict=True):
        sweep, d, centre = 4.0 * atan(bulge), b - a, np.zeros(2)
        if bulge:
            height = (1.0 - bulge * bulge) / (4.0 * bulge)
            centre = (a + b) / 2.0 + height * np.array((-d[1], d[0]))
        out.append(Leg(a, b, centre, sweep))
    return out


def reversed_legs(legs: list[Leg]) -> list[Leg]:
    return [Leg(g.end, g.start, g.centre, -g.sweep) for g in legs[::-1]]


def track_of(kind: str, figures: tuple[float, ...], offset: float) -> list[Leg]:
    """Return the axis beside a contour, outside by an offset or inside by a negative one.

    Counter-clockwise, which is conventional round a part and climb round a hole.
    """
    x, y, *rest = figures
    if kind == "circle":
        return legs_of(circle((x, y), rest[0] + offset))
    w, h = rest[0] + 2.0 * offset, rest[1] + 2.0 * offset
    radius = (rest[2] if kind == "rounded" else 0.0) + offset
    if radius > 1e-9:
        return legs_of(rounded(x - offset, y - offset, w, h, radius))
    return legs_of(rectangle(x - offset, y - offset, w, h))


def contour_of(kind: str, figures: tuple[float, ...]) -> PathSet:
    x, y, *rest = figures
    makers = {"circle": lambda: circle((x, y), rest[0]), "rounded": lambda: rounded(x, y, *rest)}
    return makers[kind]() if kind in makers else rectangle(x, y, *rest)


def go_round(
    program: Router, legs: list[Leg], z: float, gaps: list[tuple[float, float]], tab_z: float
) -> None:
    """Follow a track at a height; between two places of a gap at the height of the tabs."""
    place = 0.0
    for leg in legs:
        length = leg.length
        cuts = {0.0, 1.0}
        for ends in gaps:
            cuts |= {c for c in ((e - place) / length for e in ends) if 1e-9 < c < 1.0 - 1e-9}
        shares = sorted(cuts)
        for low, high in pairwise(shares):
            middle = place + (low + high) / 2.0 * length
            over = any(a < middle < b for a, b in gaps)
            height = max(z, tab_z) if over else z
            if abs(program.at[2] - height) > 1e-12:
                program.line(z=height)
            part = leg.part(low, high)
            if part.sweep == 0.0:
                program.line(x=part.end[0], y=part.end[1])
            else:
                program.arc(part.centre, part.sweep)
        place += length


def route(
    program: Router,
    legs: list[Leg],
    *,
    heights: tuple[float, ...] = (TOP / 2.0, DEPTH),
    gaps: list[tuple[float, float]] | None = None,
    tab_z: float = TAB_Z,
    ramp: bool = False,
) -> None:
    """Go down beside a contour and round it, pass by pass, and up again."""
    x, y = legs[0].start
    program.rapid(z=TRAVEL)
    program.rapid(x=x, y=y)
    program.rapid(z=CLEAR)
    program.line(z=TOP)
    for z in heights:
        if ramp:
            leg = legs[0]
            if leg.sweep == 0.0:
                program.line(x=leg.end[0], y=leg.end[1], z=z)
            else:
                program.arc(leg.centre, leg.sweep, z=z)
            go_round(program, legs[1:], z, [], tab_z)
        elif abs(program.at[2] - z) > 1e-12:
            program.line(z=z)
        go_round(program, legs, z, gaps or [], tab_z)
    program.line(z=CLEAR)
    program.rapid(z=TRAVEL)


@dataclass(frozen=True)
class Spec:
    """A contour by kind and figures, and what is done to it."""

    kind: str
    figures: tuple[float, ...]
    operation: Operation

    @property
    def sign(self) -> float:
        return {"outside": 1.0, "inside": -1.0, "on": 0.0}[self.operation.side]

    def path(self) -> PathSet:
        return contour_of(self.kind, self.figures)

    def legs(self, offset: float) -> list[Leg]:
        """Return the track that far to the allowed side, the part on its left; on: as drawn."""
        legs = track_of(self.kind, self.figures, self.sign * offset)
        return reversed_legs(legs) if self.sign < 0.0 else legs

    def target_z(self) -> float:
        return BOTTOM + self.operation.tip_z_mm(TOP - BOTTOM)

    def heights(self) -> tuple[float, ...]:
        n = self.operation.passes
        return tuple(TOP - (TOP - self.target_z()) * (i + 1) / n for i in range(n))

    def gaps(self, offset: float, length: float | None = None) -> list[tuple[float, float]]:
        """Return the places of the tabs asked for: middles of lines, or evenly on a circle."""
        tabs = self.operation.routing.tabs
        if tabs is None:
            return []
        legs = self.legs(offset)
        ends = np.cumsum([g.length for g in legs])
        count = tabs.count_for(float(self.path().lengths_mm()[0]))
        size = tabs.length_mm if length is None else length
        if self.kind == "circle":
            size *= (self.figures[2] + self.sign * offset) / self.figures[2]
            middles = (np.arange(count) + 0.5) / count * ends[-1]
        else:
            lines = [i for i, g in enumerate(legs) if g.sweep == 0.0]
            middles = np.array([ends[i] - legs[i].length / 2.0 for i in lines[:count]])
            assert len(middles) == count, "one tab per line at most"
        return [(m - size / 2.0, m + size / 2.0) for m in middles]


def cut_spec(program: Router, spec: Spec, **changes: object) -> None:
    """Cut one contour as its operation says, but for changes.

    `tool`, `offset`, `backwards`, `rough` (offset of an earlier pass at full depth), `gaps`,
    `heights`, `tab_z`, `ramp`, and `legs` for another track altogether.
    """
    tool = changes.get("tool", spec.operation.tool_id)
    program.start(tool, spindle=changes.get("spindle", 300.0))
    offset = changes.get("offset", CUTTERS[spec.operation.tool_id].radius_mm)
    heights = changes.get("heights", spec.heights())
    gaps = changes.get("gaps", spec.gaps(offset))
    legs = changes.get("legs", spec.legs(offset))
    if changes.get("backwards"):
        legs = reversed_legs(legs)
    extra = {k: changes[k] for k in ("tab_z", "ramp") if k in changes}
    if "rough" in changes:
        route(program, spec.legs(changes["rough"]), heights=heights, **extra)
        heights = heights[-1:]
    if heights:
        route(program, legs, heights=heights, gaps=gaps, **extra)


def plan(specs: list[Spec], **changes: dict) -> ToolMotion:
    """Return a program for all contours; `c3={...}` changes the fourth, None leaves it out."""
    program = Router()
    for i, spec in enumerate(specs):
        own = changes.get(f"c{i}", {})
        if own is not None:
            cut_spec(program, spec, **own)
    return program.finish()
