"""A routed operation made ready: rings beside the contours, tabs on them, what cannot be done."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import tan

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.offset import offset_regions
from kerfwright.geometry.paths import PathSet, join_sets
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.cut import CutSetup
from kerfwright.model.operation import Operation
from kerfwright.model.routing import Routing
from kerfwright.model.tooling import Cutter
from kerfwright.toolpath.router_blocks import Rates
from kerfwright.toolpath.router_checks import blocking, finding, first_point, left_by_cutter
from kerfwright.toolpath.router_cuts import (
    HELIX,
    PLUNGE,
    RAMP,
    Manner,
    Rings,
    feet_on_rings,
    lead_radii,
)
from kerfwright.toolpath.router_ring import BEGIN, CX, CY, LENGTH, SWEEP, X0, X1, Y0, Y1, ring_rows
from kerfwright.toolpath.router_tabs import place_tabs
from kerfwright.toolpath.work import check_paths

_WAYS = {"plunge": PLUNGE, "ramp": RAMP, "helix": HELIX}
_BLEND = 4.0
"""The finishing lap is come to over so many times what is left for it."""
_LEAST_LEAD_MM = 0.1
"""A lead circle that has no more room than this is none."""


@dataclass(frozen=True, slots=True)
class RouterWork:
    """One routed operation on K contours, prepared.

    Parameters
    ----------
    contours : tuple of str
        Ids.
    paths : PathSet
        Contours as given, table frame [mm].
    rough, finish : Rings
        Paths of the cutter's centre for the passes and for the finishing lap, K each; a contour
        that cannot be cut has none.
    reversed : ndarray of shape (K,), bool
        Whether travel is against the drawn direction.
    usable : ndarray of shape (K,), bool
        Whether a contour can be cut.
    tabs : tuple of ndarray of shape (T, 2), float
        Middle of each tab as a share of the contour's length, and width [mm].
    manner : Manner
        How they are cut.
    lead_mm : float
        Lead asked for; on the line there is none [mm].
    plunges : bool
        Whether the cutter may go straight down.
    levels : ndarray of shape (P,), float
        Heights of the tip, pass after pass [mm].
    rates : Rates
        Feeds and heights.
    findings : tuple of (int, Finding)
        What is wrong, by contour; -1 for all.
    """

    contours: tuple[str, ...]
    paths: PathSet
    rough: Rings
    finish: Rings
    reversed: BOOL
    usable: BOOL
    tabs: tuple[F64, ...]
    manner: Manner
    lead_mm: float
    plunges: bool
    levels: F64
    rates: Rates
    findings: tuple[tuple[int, Finding], ...]

    def said(self, asked: BOOL) -> tuple[Finding, ...]:
        """Return the findings of the contours asked for, and those of all."""
        return tuple(f for k, f in self.findings if k < 0 or asked[k])

    def places(self, path: I64, entry_s: F64) -> F64:
        """Return where on a contour's ring entries lie, given as shares of the contour [mm]."""
        points = points_at(self.paths, path, entry_s)
        return feet_on_rings(self.rough, path, points)

    def can_enter(self, lead_mm: F64) -> BOOL:
        """Return whether the cutter gets down with each lead: a helix without one is a plunge."""
        can: BOOL = (lead_mm > 0.0) | (self.manner.down != HELIX) | self.plunges
        return can

    def leads(self, path: I64, place: F64) -> F64:
        """Return the lead at each place [mm].

        A ramp needs no room for one; else it is the lead circle that has room, 0 for none.
        """
        if self.manner.down == RAMP or self.lead_mm <= 0.0:
            return np.full(len(path), self.lead_mm)
        return lead_radii(
            self.rough, path, place, self.manner.waste_side, self.lead_mm, _LEAST_LEAD_MM
        )


def prepare(
    operation: Operation,
    cutter: Cutter,
    paths: PathSet,
    contours: tuple[str, ...],
    part_side: I64 | Sequence[int],
    setup: CutSetup,
) -> RouterWork:
    """Prepare a routed operation.

    Raises
    ------
    UsageError
        If there is not one id and one side per path, an id stands twice, or a side is none.
    """
    check_paths(paths, contours, np.asarray(part_side, dtype=np.int64))
    routing = operation.routing or Routing()
    tip = setup.bottom_z_mm + operation.tip_z_mm(setup.top_z_mm - setup.bottom_z_mm)
    found: list[tuple[int, Finding]] = [(-1, f) for f in blocking(operation, cutter, setup, tip)]
    radius = cutter.radius_at_mm(setup.top_z_mm - tip)
    turn = _turn(operation, routing)
    whole = np.full(len(paths), not found)
    last = _rings(operation, paths, whole, radius, turn, found, contours)
    first, has_finish = last, routing.allowance_mm > 0.0 and operation.side != "on"
    if has_finish:
        whole = np.array([r is not None for r in last], bool)
        wide = radius + routing.allowance_mm
        first = _rings(operation, paths, whole, wide, turn, found, contours)
        last = [r if first[k] is not None else None for k, r in enumerate(last)]
    found += left_by_cutter(operation, paths, last, contours, radius)
    _drop((k for k, f in found if f.code == "TLP-202"), first, last)
    spans = place_tabs(paths, routing.tabs, radius, [r is not None for r in first])
    no_room = np.array([s is None for s in spans], bool)
    found += _all("TLP-204", no_room, operation, paths, contours)
    _drop(np.flatnonzero(no_room).tolist(), first, last)
    rough = _packed(first, paths, spans)
    finish = _packed(last if has_finish else [None] * len(paths), paths, spans)
    share = np.arange(1, operation.passes + 1) / operation.passes
    return RouterWork(
        contours=contours,
        paths=paths,
        rough=rough,
        finish=finish,
        reversed=_against(operation, turn, paths),
        usable=np.array([r is not None for r in first], bool),
        tabs=tuple(np.zeros((0, 2)) if s is None else s for s in spans),
        manner=Manner(
            down=_WAYS[routing.entry],
            waste_side=1.0 if routing.sense == "climb" else -1.0,
            tab_z=setup.bottom_z_mm + (routing.tabs.height_mm if routing.tabs else 0.0),
            blend=_BLEND * routing.allowance_mm,
        ),
        lead_mm=0.0 if operation.side == "on" else routing.lead_mm,
        plunges=cutter.plunges,
        levels=setup.top_z_mm - (setup.top_z_mm - tip) * share,
        rates=Rates(
            setup.feed_mm_s,
            setup.plunge_mm_s,
            setup.lift_z_mm,
            setup.top_z_mm,
            tan(min(routing.entry_rad, 1.5)),
        ),
        findings=tuple(found),
    )


def _rings(
    operation: Operation,
    paths: PathSet,
    usable: BOOL,
    distance_mm: float,
    turn: int,
    found: list[tuple[int, Finding]],
    contours: tuple[str, ...],
) -> list[PathSet | None]:
    """Return the path of the cutter's centre beside each contour, None where it has none."""
    out: list[PathSet | None] = [None] * len(paths)
    points = np.diff(paths.starts) == 1
    found += _all("TLP-101", usable & points, operation, paths, contours)
    usable = usable & ~points
    if operation.side == "on":
        return [paths.select([k]) if usable[k] else None for k in range(len(paths))]
    found += _all("TLP-206", usable & ~paths.closed, operation, paths, contours)
    rows = np.flatnonzero(usable & paths.closed)
    sign = 1.0 if operation.side == "outside" else -1.0
    made = offset_regions(paths.select(rows), np.full(len(rows), sign * distance_mm))
    rings = made.paths.reversed_where() if turn < 0 else made.paths
    is_outer = made.paths.areas_mm2() > 0.0
    for n, k in enumerate(rows.tolist()):
        own = np.flatnonzero(made.region == n)
        code = "TLP-209" if n in made.unmade else _fault(int(is_outer[own].sum()), len(own))
        if code:
            at = first_point(paths, k)
            found.append((k, finding(code, contours[k], at, operation, limit=2.0 * distance_mm)))
        else:
            out[k] = rings.select(own)
    return out


def _drop(rows: Iterable[int], *rings: list[PathSet | None]) -> None:
    for k in rows:
        for own in rings:
            own[k] = None


def _all(
    code: str, which: BOOL, operation: Operation, paths: PathSet, contours: tuple[str, ...]
) -> list[tuple[int, Finding]]:
    rows = np.flatnonzero(which).tolist()
    return [(k, finding(code, contours[k], first_point(paths, k), operation)) for k in rows]


def _fault(outer: int, rings: int) -> str:
    """Return the code of what is wrong with the rings beside a contour, empty for nothing."""
    if not outer:
        return "TLP-201"
    return "TLP-202" if rings > 1 else ""


def _turn(operation: Operation, routing: Routing) -> int:
    """Return how rings are run: +1 counter-clockwise; climb has the part on the right of travel."""
    return -1 if (operation.side == "outside") == (routing.sense == "climb") else 1


def _against(operation: Operation, turn: int, paths: PathSet) -> BOOL:
    """Return whether travel is against the drawn direction."""
    if operation.side == "on":
        return np.zeros(len(paths), bool)
    against: BOOL = paths.areas_mm2() * turn < 0.0
    return against


def _packed(rings: Sequence[PathSet | None], paths: PathSet, spans: Sequence[F64 | None]) -> Rings:
    """Return rings in the direction of travel with the stretches of their tabs."""
    sets = [r for r in rings if r is not None]
    edge, begins = ring_rows(join_sets(sets))
    has = np.array([r is not None for r in rings], bool)
    first = begins[np.concatenate(([0], np.cumsum(has)))]
    bare = Rings(edge, first, paths.closed.copy(), np.zeros((0, 2)), np.zeros_like(first))
    rows = [s if has[k] and s is not None else np.zeros((0, 2)) for k, s in enumerate(spans)]
    counts = np.array([len(r) for r in rows], np.int64)
    if not counts.sum():
        return bare
    owner = np.repeat(np.arange(len(rows)), counts)
    share, width = np.concatenate(rows).T
    middle = feet_on_rings(bare, owner, points_at(paths, owner, share))
    return bare._replace(
        tab=np.column_stack((middle - width / 2.0, middle + width / 2.0)),
        first_tab=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
    )


def points_at(paths: PathSet, path: I64, share: F64) -> F64:
    """Return the point of a contour at a share of its length, for N of them, shape (N, 2) [mm]."""
    edge, first = ring_rows(paths)
    ends = edge[:, BEGIN] + edge[:, LENGTH]
    counts = np.diff(first)
    length = np.zeros(len(paths))
    length[counts > 0] = ends[first[1:][counts > 0] - 1]
    scale = ends.max(initial=0.0) + 1.0
    owner = np.repeat(np.arange(len(paths)), counts)
    at = share * length[path]
    row = np.searchsorted(owner * scale + edge[:, BEGIN], path * scale + at, side="right") - 1
    e = edge[row]
    part = np.clip((at - e[:, BEGIN]) / e[:, LENGTH], 0.0, 1.0)
    turn = part * e[:, SWEEP]
    arm = e[:, X0 : Y0 + 1] - e[:, CX : CY + 1]
    turned = np.column_stack(
        (
            arm[:, 0] * np.cos(turn) - arm[:, 1] * np.sin(turn),
            arm[:, 0] * np.sin(turn) + arm[:, 1] * np.cos(turn),
        )
    )
    straight = e[:, X0 : Y0 + 1] + part[:, None] * (e[:, X1 : Y1 + 1] - e[:, X0 : Y0 + 1])
    is_line = (e[:, SWEEP] == 0.0)[:, None]
    out: F64 = np.where(is_line, straight, e[:, CX : CY + 1] + turned)
    return out
