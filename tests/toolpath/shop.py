"""Blades, operations, setups and shapes that the tests of this room share."""

from __future__ import annotations

from dataclasses import replace
from math import pi, radians

import numpy as np
from hypothesis import strategies as st

from kerfwright import toolpath
from kerfwright.geometry.paths import PathSet, join_sets, make_path
from kerfwright.model.cut import CutChoices, CutOrder, CutSetup
from kerfwright.model.motion import ToolMotion
from kerfwright.model.operation import HeadKind, Operation, Process, Tolerance
from kerfwright.model.tooling import Blade

BLADE = Blade(
    id="drag-60", width_mm=8.0, lead_rad=radians(60.0), trail_rad=pi / 2.0, tip_mm=1.0,
    reference_mm=0.5, bevel="both", free_length_mm=20.0,
    fits=(HeadKind.TANGENTIAL_KNIFE, HeadKind.OSCILLATING_KNIFE),
)  # fmt: skip
THROUGH = Operation(
    id="cut", process=Process.CUTTING, head_kind=HeadKind.TANGENTIAL_KNIFE, tool_id="drag-60",
    card_id="card", depth_mm=-0.3, depth_from="bottom",
    tolerance_mm=Tolerance(print_mm=0.3, size_mm=0.3),
)  # fmt: skip
KISS = replace(THROUGH, id="kiss", process=Process.PARTIAL_CUTTING, depth_mm=0.1, depth_from="top")
SETUP = CutSetup(
    bottom_z_mm=0.0, top_z_mm=3.0, feed_mm_s=200.0, plunge_mm_s=50.0, turn_rad_s=10.0,
    lift_angle_rad=radians(20.0), lift_z_mm=8.0, tolerance_mm=0.1,
)  # fmt: skip


class Job:
    """One operation on some paths, with both front doors at hand."""

    def __init__(
        self,
        paths: PathSet,
        side: int | list[int] = 0,
        *,
        blade: Blade = BLADE,
        operation: Operation = THROUGH,
        setup: CutSetup = SETUP,
    ) -> None:
        self.paths, self.blade, self.operation, self.setup = paths, blade, operation, setup
        self.side = np.broadcast_to(np.asarray(side, np.int64), (len(paths),))
        self.contours = tuple(f"c{k}" for k in range(len(paths)))
        self.work = {"contours": self.contours, "part_side": self.side, "setup": setup}

    def choices(self) -> CutChoices:
        return toolpath.choices(self.operation, self.blade, self.paths, **self.work)

    def plan(self, order: CutOrder) -> ToolMotion:
        return toolpath.plan(self.operation, self.blade, self.paths, order, **self.work)

    def order(self, rows: list[int], choices: CutChoices | None = None) -> CutOrder:
        """An order that takes these rows of the choices."""
        c = choices or self.choices()
        n = len(rows)
        return CutOrder(
            contour=tuple(c.contours[k] for k in c.contour[rows]),
            operation=(c.operation,) * n,
            pass_no=c.pass_no[rows],
            entry_s=c.entry_s[rows],
            reversed=c.reversed[rows],
            group=np.zeros(n, np.int64),
        )

    def cut(self, *rows: int) -> ToolMotion:
        """The motion of some rows of the choices; by default the first row of each cut."""
        c = self.choices()
        key = list(zip(c.contour.tolist(), c.pass_no.tolist(), strict=True))
        picked = list(rows) or [key.index(k) for k in dict.fromkeys(key)]
        return self.plan(self.order(picked, c))

    def row(self, *, reverse: bool, contour: int = 0) -> int:
        """The first choice of a contour that runs a way."""
        c = self.choices()
        return int(np.flatnonzero((c.contour == contour) & (c.reversed == reverse))[0])


def codes(made: CutChoices | ToolMotion) -> list[str]:
    return sorted(f.code for f in made.findings)


def polygon(*points: tuple[float, float]) -> PathSet:
    return make_path(points, closed=True)


def rectangle(
    x: float, y: float, width: float, height: float, *, clockwise: bool = False
) -> PathSet:
    corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
    return polygon(*(corners[::-1] if clockwise else corners))


def blades(*, bevels: tuple[str, ...] = ("both",)) -> st.SearchStrategy[Blade]:
    """Blades of any edge angles; wide enough that the full width is not reached."""
    angle = st.floats(radians(35.0), pi / 2.0) | st.just(pi / 2.0)
    return st.builds(
        lambda lead, trail, tip, at, bevel: replace(
            BLADE, lead_rad=lead, trail_rad=trail, tip_mm=tip, reference_mm=at, bevel=bevel,
            width_mm=20.0,
        ),
        angle, angle, st.floats(0.0, 1.5), st.floats(-2.0, 2.0), st.sampled_from(bevels),
    )  # fmt: skip


def setups() -> st.SearchStrategy[CutSetup]:
    return st.builds(
        lambda top, lift, tolerance: replace(
            SETUP, top_z_mm=top, lift_angle_rad=radians(lift), tolerance_mm=tolerance
        ),
        st.floats(0.5, 4.0), st.floats(5.0, 40.0), st.floats(0.05, 0.4),
    )  # fmt: skip


@st.composite
def rings(draw, *, arcs: bool = False, big: bool = False) -> PathSet:
    """Closed contours around a point, counter-clockwise: corners sharp and blunt, both ways."""
    n = draw(st.integers(3, 9))
    gap = draw(st.lists(st.floats(0.4, 1.0), min_size=n, max_size=n))
    angle = np.cumsum(gap) * 2.0 * np.pi / np.sum(gap)
    low = 20.0 if big else 8.0
    radius = np.array(draw(st.lists(st.floats(low, 40.0), min_size=n, max_size=n)))
    points = np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))
    bulges = np.zeros(n)
    if arcs:
        kinds = draw(st.lists(st.floats(-0.4, 0.4) | st.just(0.0), min_size=n, max_size=n))
        bulges = np.array(kinds)
    return make_path(points, bulges, closed=True)


@st.composite
def smooth_rings(draw) -> PathSet:
    """Rounded rectangles: lines and arcs that meet tangentially."""
    w, h = draw(st.floats(10.0, 60.0)), draw(st.floats(10.0, 60.0))
    r = draw(st.floats(0.5, 0.5 * min(w, h) * 0.999))
    return rounded(w, h, r)


def rounded(w: float, h: float, r: float) -> PathSet:
    b = np.tan(np.pi / 8.0)
    points = [(r, 0), (w - r, 0), (w, r), (w, h - r), (w - r, h), (r, h), (0, h - r), (0, r)]
    return make_path(points, [0, b, 0, b, 0, b, 0, b], closed=True)


def joined(*paths: PathSet) -> PathSet:
    return join_sets(paths)
