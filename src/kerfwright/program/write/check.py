"""What must hold before a motion may be written."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.record import BOOL
from kerfwright.model.dialect import Dialect
from kerfwright.model.motion import Event, EventCode, FeedKind, Kind, ToolMotion
from kerfwright.model.table import Table
from kerfwright.program.write.arcs import ARC_RULE_MM
from kerfwright.program.write.events import events_to_write, stations_called, word_key
from kerfwright.program.write.refuse import blocking

GREATEST_MM = 1e5
GREATEST_RAD = 1e6
MOST_DECIMALS = 9
"""Beyond this a count of the last decimal would not fit 64 bits."""
_LEAST_RATE = 5e-5
"""Rates below this would be written as 0, which means off [1/s]."""


def check_writable(
    motion: ToolMotion, table: Table, dialect: Dialect, *, any_control: bool = False
) -> tuple[Finding, ...]:
    """Return why a motion must not be written for a table; empty when it may.

    Parameters
    ----------
    motion, table, dialect, any_control
        As for `write_program`.

    Returns
    -------
    tuple of Finding
        At most one of each code, gravest first; each names the first block it holds for.
    """
    if motion.frame != "table":
        return (blocking("PRG-201", frame=motion.frame),)
    found = [*_of_control(motion, table, dialect, any_control=any_control)]
    found.extend(_of_numbers(motion))
    if not found:
        found.extend(_of_stations(motion, table))
        found.extend(_of_events(motion, dialect))
        found.extend(_of_feeds(motion))
        found.extend(_of_arcs(motion))
    return tuple(found)


def _of_control(
    motion: ToolMotion, table: Table, dialect: Dialect, *, any_control: bool
) -> Iterator[Finding]:
    if dialect.id != table.control and not any_control:
        yield blocking("PRG-204", dialect=dialect.id, table=table.id, control=table.control)
    decimals = max(dialect.decimals_mm, dialect.decimals_deg)
    if decimals > MOST_DECIMALS:
        yield blocking("PRG-213", measured=decimals, limit=MOST_DECIMALS, dialect=dialect.id)
    if motion.offsets_in == "program" and dialect.offsets_in == "control":
        yield blocking("PRG-214", dialect=dialect.id)


def _of_numbers(motion: ToolMotion) -> Iterator[Finding]:
    places = np.concatenate((motion.start[None, :], motion.end))
    limits = np.array([GREATEST_MM] * 3 + [GREATEST_RAD])
    beyond = np.argwhere(np.abs(places) > limits)
    if len(beyond):
        row, axis = beyond[0]
        yield blocking(
            "PRG-202",
            measured=float(places[row, axis]),
            limit=float(limits[axis]),
            unit="mm" if axis < 3 else "rad",
            block=max(int(row) - 1, 0),
            axis="xyzc"[axis],
        )
    begins = motion.begins()
    yield from _first(
        "PRG-215", motion, (motion.kind == Kind.DWELL) & (motion.end != begins).any(axis=1)
    )


def _of_stations(motion: ToolMotion, table: Table) -> Iterator[Finding]:
    known = {0, *(s.number for s in table.stations)}
    used = {int(t) for t in np.unique(motion.tool)} | {t for _, t in stations_called(motion)}
    if not used <= known:
        held = ", ".join(str(n) for n in sorted(known - {0})) or "none"
        yield blocking("PRG-203", station=min(used - known), table=table.id, held=held)
    wanted = np.zeros(len(motion), dtype=np.int64)
    for block, station in stations_called(motion):
        wanted[block:] = station
    yield from _first("PRG-205", motion, motion.tool != wanted)


def _of_events(motion: ToolMotion, dialect: Dialect) -> Iterator[Finding]:
    seen = set()
    if "end" not in dialect.words:
        yield blocking("PRG-206", word="end", dialect=dialect.id, block=len(motion))
    for event in events_to_write(motion):
        key = word_key(event, dialect.words)
        if key not in dialect.words and key not in seen:
            seen.add(key)
            yield blocking("PRG-206", word=key, dialect=dialect.id, block=event.before_block)
    odd = next((e for e in motion.events if not _is_sound(e)), None)
    if odd is not None:
        yield blocking("PRG-207", measured=odd.value, event=odd.code.value, block=odd.before_block)


def _is_sound(event: Event) -> bool:
    value = event.value
    match event.code:
        case EventCode.TOOL:
            return value >= 0.0 and value == int(value)
        case EventCode.VACUUM:
            return value != 0.0 and value == int(value)
        case EventCode.PAUSE:
            return value == 0.0
        case _:
            return value == 0.0 or _LEAST_RATE <= value <= 1e6


def _of_feeds(motion: ToolMotion) -> Iterator[Finding]:
    way = motion.end - motion.begins()
    is_arc = motion.kind == Kind.ARC
    fed = is_arc | (motion.kind == Kind.LINE)
    moves = (way[:, :3] != 0.0).any(axis=1) | is_arc
    turns = way[:, 3] != 0.0
    none, path = motion.feed_kind == FeedKind.NONE, motion.feed_kind == FeedKind.PATH
    rotary = motion.feed_kind == FeedKind.ROTARY
    wrong = (fed & none & (moves | turns)) | (~fed & ~none)
    wrong |= fed & ((path & turns & ~moves) | (rotary & moves & ~turns))
    yield from _first("PRG-209", motion, wrong)


def _of_arcs(motion: ToolMotion) -> Iterator[Finding]:
    """Refuse arcs whose start, centre, sweep and end do not belong together."""
    spoke = motion.begins()[:, :2] - motion.centre
    sin, cos = np.sin(motion.sweep_rad), np.cos(motion.sweep_rad)
    turned = np.stack(
        (cos * spoke[:, 0] - sin * spoke[:, 1], sin * spoke[:, 0] + cos * spoke[:, 1]), axis=1
    )
    gap = np.hypot(*(motion.centre + turned - motion.end[:, :2]).T)
    over = np.abs(motion.sweep_rad) > 2.0 * np.pi + 1e-9
    wrong = (motion.kind == Kind.ARC) & (~(gap <= ARC_RULE_MM) | over)
    for finding in _first("PRG-210", motion, wrong):
        block = int(finding.params["block"])
        yield blocking(
            "PRG-210",
            measured=float(gap[block]),
            limit=ARC_RULE_MM,
            unit="mm",
            xy_mm=finding.where.xy_mm,
            block=block,
        )


def _first(code: str, motion: ToolMotion, wrong: BOOL) -> Iterator[Finding]:
    rows = np.flatnonzero(wrong)
    if len(rows):
        row = int(rows[0])
        yield blocking(
            code,
            measured=len(rows),
            xy_mm=(float(motion.end[row, 0]), float(motion.end[row, 1])),
            block=row,
        )
