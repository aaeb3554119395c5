"""Motions built by hand: squares cut side by side, circles in one go."""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.paths import make_circle, make_path
from kerfwright.model.motion import FeedKind, Kind, ToolMotion
from kerfwright.model.operation import HeadKind
from kerfwright.model.tooling import Blade

THICK, UP = 3.0, 10.0
UPRIGHT = Blade(
    id="upright", width_mm=2.0, lead_rad=np.pi / 2, trail_rad=np.pi / 2, tip_mm=2.0,
    reference_mm=0.0, bevel="both", free_length_mm=20.0, fits=(HeadKind.TANGENTIAL_KNIFE,),
)  # fmt: skip
SLANTED = Blade(
    id="slanted", width_mm=6.0, lead_rad=np.arctan(2.0), trail_rad=np.pi / 2, tip_mm=0.5,
    reference_mm=0.3, bevel="both", free_length_mm=20.0, fits=(HeadKind.TANGENTIAL_KNIFE,),
)  # fmt: skip


class Blocks:
    """Blocks put one after the other."""

    def __init__(self, tool=1):
        self.rows, self.at, self.tool, self.cut = [], (0.0, 0.0, UP, 0.0), tool, 0

    def put(self, kind, end, feed, *, centre=(np.nan, np.nan), sweep=0.0, dwell=0.0):
        feed_kind = FeedKind.PATH if feed else FeedKind.NONE
        self.rows.append((kind, end, centre, sweep, feed, feed_kind, dwell, self.cut, self.tool))
        self.at = end

    def over(self, x, y, c):
        self.put(Kind.RAPID, (*self.at[:2], UP, self.at[3]), 0.0)
        self.put(Kind.RAPID, (x, y, UP, c), 0.0)

    def down(self, z):
        self.put(Kind.LINE, (*self.at[:2], z, self.at[3]), 20.0)
        self.put(Kind.DWELL, self.at, 0.0, dwell=0.1)

    def line(self, x, y):
        self.put(Kind.LINE, (x, y, *self.at[2:]), 100.0)

    def arc(self, centre, sweep):
        x, y, z, c = self.at
        co, si = np.cos(sweep), np.sin(sweep)
        dx, dy = x - centre[0], y - centre[1]
        end = (centre[0] + co * dx - si * dy, centre[1] + si * dx + co * dy, z, c + sweep)
        self.put(Kind.ARC, end, 100.0, centre=centre, sweep=sweep)

    def turn(self, c):
        self.put(Kind.LINE, (*self.at[:3], c), 100.0)

    def motion(self, **changes):
        n = len(self.rows)
        kind, end, centre, sweep, feed, feed_kind, dwell, cut, tool = zip(*self.rows, strict=True)
        columns = {
            "start": (0.0, 0.0, UP, 0.0),
            "kind": kind,
            "end": np.array(end).reshape(n, 4),
            "centre": np.array(centre).reshape(n, 2),
            "sweep_rad": sweep,
            "feed": feed,
            "feed_kind": feed_kind,
            "dwell_s": dwell,
            "role": [0] * n,
            "cut": cut,
            "tool": tool,
        }
        return ToolMotion(**(columns | changes))


def square(x, y, side):
    """Return the nominal square, counter-clockwise."""
    return make_path([(x, y), (x + side, y), (x + side, y + side), (x, y + side)], closed=True)


def cut_side(blocks, a, b, blade, *, tip=-0.2, plane=0.0, stop=0.0):
    """Cut from a to b: the chord in a plane begins at a and ends `stop` before b."""
    a, b = np.asarray(a, float), np.asarray(b, float)
    ahead = (b - a) / np.hypot(*(b - a))
    back, front = blade.chord_mm(plane - tip)
    blocks.over(*(a - back * ahead), np.arctan2(ahead[1], ahead[0]))
    blocks.down(tip)
    blocks.line(*(b - (front + stop) * ahead))
    blocks.over(*blocks.at[:2], blocks.at[3])


def cut_corners(blocks, corners, blade, **how):
    """Cut a closed polygon side by side; one cut."""
    corners = np.asarray(corners, float)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        cut_side(blocks, a, b, blade, **how)
    blocks.cut += 1


def cut_circle(blocks, centre, radius, *, tip=-0.2, turn=2 * np.pi, offset=0.0):
    """Cut a circle with the axis on it, `offset` ahead of the blade's middle."""
    blocks.over(centre[0] + radius, centre[1] + offset, np.pi / 2)
    blocks.down(tip)
    blocks.arc(centre, turn / 2)
    blocks.arc(centre, turn / 2)
    blocks.over(*blocks.at[:2], blocks.at[3])
    blocks.cut += 1


def circle(centre, radius):
    """Return the nominal circle."""
    return make_circle(centre, radius)
