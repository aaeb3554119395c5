"""Motions to time, drawn or built, and their axes' loads worked out from the motion alone."""

from __future__ import annotations

import numpy as np

from kerfwright.model.motion import Event, EventCode, FeedKind, Kind, ToolMotion
from kerfwright.model.table import Limits

LOOSE = 1e9  # a limit that never binds


def make_limits(
    *, speed=LOOSE, acceleration=1000.0, jump=0.0, rapid_mm_s=LOOSE, block_time_s=0.0
) -> Limits:
    """Limits from numbers for all axes, or one per axis."""
    return Limits(
        speed=np.broadcast_to(speed, 4).astype(float),
        acceleration=np.broadcast_to(acceleration, 4).astype(float),
        jump=np.broadcast_to(jump, 4).astype(float),
        rapid_mm_s=rapid_mm_s,
        block_time_s=block_time_s,
    )


class Builder:
    """Adds blocks one after the other, each from where the last one ended."""

    def __init__(self, start=(0.0, 0.0, 0.0, 0.0)):
        self.start = np.array(start, dtype=float)
        self.at = self.start.copy()
        self.rows, self.events = [], []

    def _add(self, kind, end, *, feed, feed_kind, centre=(np.nan, np.nan), sweep=0.0, dwell=0.0):
        self.at = np.array(end, dtype=float)
        self.rows.append((kind, self.at, centre, sweep, feed, feed_kind, dwell))
        return self

    def line(self, x=None, y=None, z=None, c=None, *, feed=LOOSE, feed_kind=None):
        given = (x, y, z, c)
        end = [old if new is None else new for old, new in zip(self.at, given, strict=True)]
        turns_only = np.array_equal(end[:3], self.at[:3])
        kind = (
            (FeedKind.ROTARY if turns_only else FeedKind.PATH) if feed_kind is None else feed_kind
        )
        return self._add(Kind.LINE, end, feed=feed, feed_kind=kind)

    def rapid(self, x=None, y=None, z=None, c=None):
        given = (x, y, z, c)
        end = [old if new is None else new for old, new in zip(self.at, given, strict=True)]
        return self._add(Kind.RAPID, end, feed=0.0, feed_kind=FeedKind.NONE)

    def arc(self, centre, sweep, *, dz=0.0, dc=0.0, feed=LOOSE):
        centre = np.array(centre, dtype=float)
        arm = self.at[:2] - centre
        c, s = np.cos(sweep), np.sin(sweep)
        x, y = c * arm[0] - s * arm[1], s * arm[0] + c * arm[1]
        end = (centre[0] + x, centre[1] + y, self.at[2] + dz, self.at[3] + dc)
        return self._add(
            Kind.ARC, end, feed=feed, feed_kind=FeedKind.PATH, centre=centre, sweep=sweep
        )

    def dwell(self, seconds):
        return self._add(Kind.DWELL, self.at, feed=0.0, feed_kind=FeedKind.NONE, dwell=seconds)

    def event(self, code=EventCode.TOOL, value=1.0):
        self.events.append(Event(before_block=len(self.rows), code=code, value=value))
        return self

    def motion(self, *, cut=None) -> ToolMotion:
        n = len(self.rows)
        kind, end, centre, sweep, feed, feed_kind, dwell = zip(*self.rows, strict=True)
        return ToolMotion(
            start=self.start, kind=kind, end=end, centre=centre, sweep_rad=sweep, feed=feed,
            feed_kind=feed_kind, dwell_s=dwell, role=np.zeros(n),
            cut=np.full(n, -1) if cut is None else cut, tool=np.zeros(n),
            events=tuple(self.events),
        )  # fmt: skip


def circle(radius, sweep, *, start_rad=0.0, feed=LOOSE, dz=0.0, dc=0.0) -> ToolMotion:
    """One arc about the origin."""
    at = (radius * np.cos(start_rad), radius * np.sin(start_rad), 0.0, 0.0)
    return Builder(at).arc((0.0, 0.0), sweep, feed=feed, dz=dz, dc=dc).motion()


def random_polyline(rng, n, *, axes=4) -> ToolMotion:
    """Straight blocks in random directions, some in line, of lengths from 0.01 to 30."""
    build = Builder()
    way = rng.normal(size=4)
    for _ in range(n):
        if rng.random() < 0.7:
            way = way + rng.normal(size=4) * 10 ** rng.uniform(-3, 1)
        way[axes:] = 0.0
        step = way / np.linalg.norm(way[:3]) * 10 ** rng.uniform(-2, 1.5)
        build.line(*(build.at + step), feed=10 ** rng.uniform(1, 3))
        if rng.random() < 0.02:
            build.event()
    return build.motion()


def random_motion(rng, n) -> ToolMotion:
    """Arcs and lines, tangent and not, with z and C, rapids, turns, dwells, events."""
    build = Builder((*rng.uniform(-50, 50, 2), rng.uniform(0, 5), rng.uniform(-3, 3)))
    heading = rng.uniform(-3, 3)
    for _ in range(n):
        heading += rng.choice((0.0, 0.0, 0.05, 1.0, 3.0)) * rng.normal()
        feed = 10 ** rng.uniform(1, 3.2)
        dz = rng.choice((0.0, 0.0, 5.0)) * rng.normal()
        if rng.random() < 0.6:
            sizes = (rng.uniform(0.01, 1), np.pi / 2, rng.uniform(1, 8))
            sweep = rng.choice((-1.0, 1.0)) * rng.choice(sizes)
            arm = 10 ** rng.uniform(-1, 2.5) * np.sign(sweep)
            centre = build.at[:2] + arm * np.array((-np.sin(heading), np.cos(heading)))
            build.arc(centre, sweep, dz=dz, dc=rng.choice((0.0, 1.0)) * sweep, feed=feed)
            heading += sweep
        else:
            _random_straight(build, rng, heading, dz, feed)
        if rng.random() < 0.05:
            build.event()
        if rng.random() < 0.05:
            build.dwell(rng.uniform(0, 0.2))
    return build.motion(cut=np.arange(len(build.rows)) // 3 - 1)


def _random_straight(build, rng, heading, dz, feed):
    long = 10 ** rng.uniform(-2, 2)
    x, y = build.at[:2] + long * np.array((np.cos(heading), np.sin(heading)))
    c = build.at[3] + rng.choice((0.0, 1.0)) * rng.normal()
    what = rng.random()
    if what < 0.1:
        build.line(c=build.at[3] + rng.normal(), feed=10 ** rng.uniform(-1, 1.5))
    elif what < 0.25:
        build.rapid(x, y, build.at[2] + dz, c)
    else:
        build.line(x, y, build.at[2] + dz, c, feed=feed)


def random_limits(rng) -> Limits:
    """Limits in which any axis may be the slow one."""
    return Limits(
        speed=10 ** rng.uniform((1.5, 1.5, 1.0, 0.0), (3.0, 3.0, 3.0, 2.0)),
        acceleration=10 ** rng.uniform((2.0, 2.0, 2.0, 0.5), (4.0, 4.0, 4.0, 4.0)),
        jump=rng.choice((0.0, 1.0)) * 10 ** rng.uniform(-1, 1.3, 4),
        rapid_mm_s=10 ** rng.uniform(1.5, 3.5),
        block_time_s=rng.choice((0.0, 0.004)),
    )


def reversed_motion(motion) -> ToolMotion:
    """The same blocks from the end to the begin."""
    n = len(motion)
    back = slice(None, None, -1)
    ends = np.concatenate((motion.start[None], motion.end))[back]
    events = [
        Event(before_block=n - e.before_block, code=e.code, value=e.value)
        for e in reversed(motion.events)
    ]
    return ToolMotion(
        start=ends[0], end=ends[1:], kind=motion.kind[back], centre=motion.centre[back],
        sweep_rad=-motion.sweep_rad[back], feed=motion.feed[back],
        feed_kind=motion.feed_kind[back], dwell_s=motion.dwell_s[back], role=motion.role[back],
        cut=motion.cut[back], tool=motion.tool[back], events=tuple(events),
    )  # fmt: skip


def scaled_motion(motion, factor) -> ToolMotion:
    """The same motion in another unit of length."""
    unit = np.array((factor, factor, factor, 1.0))
    feed = np.where(motion.feed_kind == FeedKind.PATH, motion.feed * factor, motion.feed)
    return ToolMotion(
        start=motion.start * unit, end=motion.end * unit, kind=motion.kind,
        centre=motion.centre * factor, sweep_rad=motion.sweep_rad, feed=feed,
        feed_kind=motion.feed_kind, dwell_s=motion.dwell_s, role=motion.role, cut=motion.cut,
        tool=motion.tool, events=motion.events,
    )  # fmt: skip


def scaled_limits(limits, factor, *, axes=(1.0, 1.0, 1.0, 0.0)) -> Limits:
    """Limits times a factor on the axes of length (or on all that `axes` marks)."""
    unit = np.where(np.array(axes) > 0.0, factor, 1.0)
    return Limits(
        speed=limits.speed * unit, acceleration=limits.acceleration * unit,
        jump=limits.jump * unit, rapid_mm_s=limits.rapid_mm_s * factor,
        block_time_s=limits.block_time_s,
    )  # fmt: skip


def block_length(motion) -> np.ndarray:
    """Length of each block: of x, y, z, or of C where nothing else moves."""
    begin = motion.begins()
    move = np.abs(motion.end - begin)
    arc = motion.kind == Kind.ARC
    arm = np.where(arc[:, None], begin[:, :2] - motion.centre, 0.0)
    flat = np.hypot(move[:, 0], move[:, 1])
    flat = np.where(arc, np.hypot(arm[:, 0], arm[:, 1]) * np.abs(motion.sweep_rad), flat)
    path = np.hypot(flat, move[:, 2])
    return np.where(path >= 1e-9, path, move[:, 3])


def derivatives(motion, block, way) -> tuple[np.ndarray, np.ndarray]:
    """First and second derivative of x, y, z, c by length, at `way` into the blocks given."""
    begin = motion.begins()
    length = block_length(motion)
    safe = np.where(length > 0.0, length, 1.0)
    first = ((motion.end - begin) / safe[:, None])[block]
    second = np.zeros_like(first)
    arc = motion.kind[block] == Kind.ARC
    arm = (begin[:, :2] - motion.centre)[block][arc]
    rate = (motion.sweep_rad / safe)[block][arc]
    angle = np.arctan2(arm[:, 1], arm[:, 0]) + rate * np.asarray(way)[arc]
    radius = np.hypot(arm[:, 0], arm[:, 1])
    outward = np.column_stack((np.cos(angle), np.sin(angle)))
    first[arc, :2] = (radius * rate)[:, None] * np.column_stack((-outward[:, 1], outward[:, 0]))
    second[arc, :2] = -(radius * rate**2)[:, None] * outward
    return first, second


def axis_loads(motion, profile, limits) -> tuple[np.ndarray, np.ndarray]:
    """Acceleration and speed of each axis at each point, as shares of their limits, (G, 4)."""
    first, second = derivatives(motion, profile.block, profile.way)
    v = profile.v[:, None]
    acceleration = np.abs(first * profile.a[:, None] + second * v * v)
    return acceleration / limits.acceleration, np.abs(first) * v / limits.speed
