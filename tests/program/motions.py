"""A table and motions of every kind of block, invented, for the tests of this folder."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from hypothesis import strategies as st

from kerfwright.model.dialect import Dialect
from kerfwright.model.material import Range
from kerfwright.model.motion import Event, EventCode, FeedKind, Kind, ToolMotion
from kerfwright.model.operation import HeadKind
from kerfwright.model.table import Head, Limits, LoadPose, Pump, Station, Table, Zone

TRAVEL_MM = 25.0


def head(name: str, kind: HeadKind, offset_mm: tuple[float, ...], c_zero_rad: float) -> Head:
    return Head(
        id=name,
        kind=kind,
        offset_mm=np.array(offset_mm),
        offset_cov_mm2=np.eye(3) * 1e-4,
        c_zero_rad=c_zero_rad,
        c_limits_rad=None,
        mass_kg=4.0,
        depth_kind="bed",
        tools=("blade-a", "blade-b"),
        reach=(0.0, 0.0, 2000.0, 1500.0),
        z_travel_mm=(-3.0, 60.0),
    )


def a_range(value: float, unit: str) -> Range:
    return Range(low=value, high=value, unit=unit, source="invented", date="2026-01-01")


TABLE = Table(
    id="bench",
    name="Bench of the tests",
    bed=(0.0, 0.0, 2000.0, 1500.0),
    bed_surface="mat",
    bed_surface_mm=3.0,
    axes=Limits(
        speed=np.array([800.0, 800.0, 150.0, 15.0]),
        acceleration=np.array([3000.0, 3000.0, 1500.0, 150.0]),
        jump=np.full(4, 5.0),
        rapid_mm_s=800.0,
    ),
    gantry_kg=60.0,
    heads=(
        head("straight", HeadKind.TANGENTIAL_KNIFE, (-82.4137, 3.1718, 0.2501), 0.006),
        head("shaker", HeadKind.OSCILLATING_KNIFE, (-164.9, 2.5, -0.7), -0.004),
    ),
    stations=(
        Station(number=1, head_id="straight", tool_id="blade-a"),
        Station(number=2, head_id="straight", tool_id="blade-b"),
        Station(number=7, head_id="shaker", tool_id="blade-a"),
    ),
    zones=(Zone(number=1, box_mm=(0.0, 0.0, 1000.0, 1500.0)),),
    pump=Pump(
        id="p", kind="blower", vacuum_kpa=a_range(20.0, "kPa"), flow_m3_h=a_range(300.0, "m3/h")
    ),
    control="offsets-in-control-arcs",
    load_pose=LoadPose(x_mm=50.0, y_mm=50.0),
    z_reference="bed",
    travel_z_mm=TRAVEL_MM,
    clearance_mm=1.0,
)


def table_for(dialect: Dialect) -> Table:
    return replace(TABLE, control=dialect.id)


@dataclass
class Builder:
    """Collects blocks one by one."""

    place: np.ndarray = field(default_factory=lambda: np.array([10.0, 20.0, TRAVEL_MM, 0.0]))
    tool: int = 0
    rows: list[tuple] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.start = self.place.copy()

    def add(
        self, kind, end, *, feed=0.0, feed_kind=FeedKind.NONE, centre=None, sweep=0.0, dwell=0.0
    ):
        centre = (np.nan, np.nan) if centre is None else centre
        end = np.asarray(end, dtype=float)
        self.rows.append((kind, end, centre, sweep, feed, feed_kind, dwell, self.tool))
        self.place = end

    def rapid(self, x=0.0, y=0.0, z=0.0, c=0.0):
        self.add(Kind.RAPID, self.place + np.array([x, y, z, c]))

    def line(self, x=0.0, y=0.0, z=0.0, c=0.0, *, feed=100.0):
        self.add(Kind.LINE, self.place + np.array([x, y, z, c]), feed=feed, feed_kind=FeedKind.PATH)

    def turn(self, c, *, feed=10.0):
        self.add(
            Kind.LINE, self.place + np.array([0, 0, 0, c]), feed=feed, feed_kind=FeedKind.ROTARY
        )

    def arc(self, radius, angle, sweep, *, z=0.0, c=None, feed=80.0):
        """Add an arc that begins here; `angle` points from its centre to here."""
        centre = self.place[:2] - radius * np.array([np.cos(angle), np.sin(angle)])
        end = self.place + np.array([0.0, 0.0, z, sweep if c is None else c])
        end[:2] = centre + radius * np.array([np.cos(angle + sweep), np.sin(angle + sweep)])
        if abs(abs(sweep) - 2.0 * np.pi) < 1e-12:
            end[:2] = self.place[:2]
        kind = FeedKind.PATH
        self.add(Kind.ARC, end, feed=feed, feed_kind=kind, centre=centre, sweep=sweep)

    def dwell(self, seconds):
        self.add(Kind.DWELL, self.place, dwell=seconds)

    def event(self, code, value=0.0):
        self.events.append(Event(before_block=len(self.rows), code=code, value=value))
        if code is EventCode.TOOL:
            self.tool = int(value)

    def motion(self) -> ToolMotion:
        kind, end, centre, sweep, feed, feed_kind, dwell, tool = (
            zip(*self.rows, strict=True) if self.rows else ((),) * 8
        )
        n = len(self.rows)
        return ToolMotion(
            start=self.start,
            kind=np.array(kind, dtype=np.int64),
            end=np.array(end, dtype=float).reshape(n, 4),
            centre=np.array(centre, dtype=float).reshape(n, 2),
            sweep_rad=np.array(sweep, dtype=float),
            feed=np.array(feed, dtype=float),
            feed_kind=np.array(feed_kind, dtype=np.int64),
            dwell_s=np.array(dwell, dtype=float),
            role=np.zeros(n, dtype=np.int64),
            cut=np.zeros(n, dtype=np.int64),
            tool=np.array(tool, dtype=np.int64),
            events=tuple(self.events),
        )


def random_motion(rng: np.random.Generator, size: int) -> ToolMotion:
    """Return a long motion of cuts: rapid, plunge, lines, arcs, turns, lift."""
    build = Builder()
    build.event(EventCode.TOOL, 1)
    while len(build.rows) < size:
        build.add(Kind.RAPID, [*rng.uniform(100, 1400, 2), TRAVEL_MM, build.place[3]])
        build.turn(rng.uniform(0.1, 3.0) * rng.choice([-1, 1]))
        build.line(z=-TRAVEL_MM - 0.1, feed=20.0)
        for _ in range(8):
            build.line(*rng.uniform(-30, 30, 2), feed=float(rng.integers(20, 300)))
            build.arc(rng.uniform(0.2, 300), rng.uniform(-3, 3), rng.uniform(-2, 2) or 1.0)
        build.line(z=TRAVEL_MM - build.place[2], feed=60.0)
    return build.motion()


@st.composite
def motions(draw, *, spindle: bool) -> ToolMotion:
    """Motions of up to 25 blocks of every kind, with all events."""
    far = st.one_of(st.floats(-200.0, -0.02), st.floats(0.02, 200.0))
    masks = st.sampled_from([(1, 1, 1), (1, 1, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)])
    turn = st.floats(-7.0, 7.0)
    feed = st.floats(0.5, 500.0)

    def way() -> np.ndarray:
        return np.array(draw(st.tuples(far, far, far))) * draw(masks)

    build = Builder(place=np.array([700.0, 600.0, TRAVEL_MM, draw(turn)]))
    for _ in range(draw(st.integers(1, 25))):
        match draw(st.sampled_from(["line", "arc", "turn", "rapid", "dwell", "event", "tool"])):
            case "line":
                build.line(*way(), draw(turn), feed=draw(feed))
            case "arc":
                radius = draw(st.one_of(st.floats(0.05, 1.0), st.floats(1.0, 400.0)))
                least = 0.02 / radius
                sweep = draw(st.one_of(st.just(2 * np.pi), st.floats(least, 2 * np.pi)))
                sweep *= draw(st.sampled_from([-1.0, 1.0]))
                z, c = draw(st.tuples(st.sampled_from([0.0, -1.5]), st.one_of(st.none(), turn)))
                build.arc(radius, draw(turn), sweep, z=z, c=c, feed=draw(feed))
            case "turn":
                build.turn(
                    draw(turn.filter(lambda c: abs(c) > 1e-4)), feed=draw(st.floats(0.1, 20))
                )
            case "rapid":
                build.rapid(*way(), draw(turn))
            case "dwell":
                build.dwell(draw(st.floats(0.01, 5.0)))
            case "tool":
                build.event(EventCode.TOOL, draw(st.sampled_from([0, 1, 2, 7])))
                build.rapid(*way(), draw(turn))
            case "event":
                codes = [EventCode.OSCILLATION, EventCode.VACUUM, EventCode.PAUSE]
                codes += [EventCode.SPINDLE] if spindle else []
                code = draw(st.sampled_from(codes))
                value = {
                    EventCode.OSCILLATION: st.sampled_from([0.0, 33.5, 166.6667]),
                    EventCode.SPINDLE: st.sampled_from([0.0, 200.0, 300.5]),
                    EventCode.VACUUM: st.sampled_from([1.0, -1.0, 12.0, -12.0]),
                    EventCode.PAUSE: st.just(0.0),
                }[code]
                build.event(code, draw(value))
    return build.motion()
