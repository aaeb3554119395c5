"""Ways and bodies, one after the other, with the events between them."""

from __future__ import annotations

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.record import I64
from kerfwright.model.motion import Event, EventCode, FeedKind, Kind, Role, ToolMotion
from kerfwright.sequence.stations import Stations
from kerfwright.sequence.strokes import Bodies
from kerfwright.sequence.ways import OVER, TURN, Ways


def join(
    bodies: Bodies,
    own: Stations,
    ways: Ways,
    zones: tuple[int, ...],
    findings: tuple[Finding, ...],
) -> ToolMotion:
    """Return ways and bodies, one after the other, with the events between them."""
    n, m = len(bodies), len(bodies.blocks["kind"])
    row = np.concatenate((np.repeat(np.arange(n + 1), 3), np.repeat(np.arange(n), bodies.sizes)))
    order = np.argsort(row, kind="stable")
    keep = np.concatenate((ways.real.ravel(), np.ones(m, bool)))
    keep[3 * (n + 1) + bodies.first[:-1]] = ways.down
    before = np.cumsum(keep[order]) - keep[order]  # blocks that stand before each candidate
    place = np.zeros(len(order), np.int64)
    place[order] = before
    picked = order[keep[order]]
    columns = {
        name: np.concatenate((column, bodies.blocks[name]))[picked]
        for name, column in _way_columns(ways).items()
    }
    cut = np.concatenate((np.full(3 * (n + 1), -1), np.repeat(bodies.cut, bodies.sizes)))[picked]
    tool = np.concatenate((ways.station.ravel(), np.repeat(own.number, bodies.sizes)))[picked]
    events = _events(
        own,
        place[: 3 * (n + 1)].reshape(-1, 3),
        place[3 * (n + 1) + bodies.first[:-1]] + ways.down,
        zones,
    )
    return ToolMotion(
        start=ways.start, cut=cut, tool=tool, events=events, findings=findings, **columns
    )


def _way_columns(ways: Ways) -> dict[str, np.ndarray]:
    size = ways.real.size
    return {
        "kind": np.full(size, int(Kind.RAPID)),
        "end": ways.end.reshape(-1, 4),
        "centre": np.full((size, 2), np.nan),
        "sweep_rad": np.zeros(size),
        "feed": np.zeros(size),
        "feed_kind": np.full(size, int(FeedKind.NONE)),
        "dwell_s": np.zeros(size),
        "role": np.full(size, int(Role.LINK)),
    }


def _events(own: Stations, place: I64, plunge: I64, zones: tuple[int, ...]) -> tuple[Event, ...]:
    """Return what happens where: `place` (N + 1, 3) of each link block, `plunge` (N,).

    Blade and spindle stand still while tools are changed and at the end; in between they keep on
    from cut to cut, since starting takes longer than most ways.
    """
    change = np.flatnonzero(np.diff(own.number) != 0) + 1
    starts = [0, *change.tolist()]
    ends = [*change.tolist(), len(own.number)]
    events = [(0, -1, EventCode.VACUUM, float(zone)) for zone in zones]
    events += [(int(place[i, OVER]), 2, EventCode.TOOL, float(own.number[i])) for i in starts]
    for code, rate in (
        (EventCode.OSCILLATION, own.stroke_hz),
        (EventCode.SPINDLE, own.spindle_hz),
    ):
        previous = np.concatenate(([0.0], rate[:-1]))
        previous[starts] = 0.0
        switched = np.flatnonzero(rate != previous).tolist()
        events += [(int(plunge[i]), 3, code, float(rate[i])) for i in switched]
        events += [(int(place[i, TURN]), 1, code, 0.0) for i in ends if rate[i - 1] > 0.0]
    events.sort(key=lambda e: e[:2])
    return tuple(Event(before_block=at, code=code, value=value) for at, _, code, value in events)
