"""Compares motion that was read with the motion that was planned, block by block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.model.dialect import Dialect
from kerfwright.model.motion import FeedKind, Kind, ToolMotion
from kerfwright.model.table import Table


def offset_of(table: Table, dialect: Dialect, tool: int) -> np.ndarray:
    """What the numbers of a program hold beyond the table's."""
    if dialect.offsets_in == "control" or tool == 0:
        return np.zeros(4)
    head = table.head(table.station(tool).head_id)
    return np.append(head.offset_mm, head.c_zero_rad)


@dataclass
class Follower:
    """Walks through both; a planned block is read as itself, its halves or its chords."""

    planned: ToolMotion
    read: ToolMotion
    table: Table
    dialect: Dialect

    def __post_init__(self) -> None:
        dialect, planned = self.dialect, self.planned
        self.mm = 10.0**-dialect.decimals_mm
        self.rad = np.radians(10.0**-dialect.decimals_deg)
        self.slack = np.array([0.501 * self.mm] * 3 + [0.501 * self.rad]) + 1e-9
        offsets = [offset_of(self.table, dialect, t) for t in planned.tool]
        self.offsets = np.array(offsets).reshape(-1, 4)
        self.begins, self.ends = planned.begins() + self.offsets, planned.end + self.offsets

    def check(self) -> None:
        first = self.offsets[0] if len(self.planned) else 0.0
        assert self.is_near(self.read.start, self.planned.start + first)
        places, at = [0], 0
        for block in range(len(self.planned)):
            at += self.pieces(block, at)
            places.append(at)
        assert at == len(self.read), "blocks were read that nobody planned"
        assert len(self.read.events) == len(self.planned.events)
        for got, event in zip(self.read.events, self.planned.events, strict=True):
            assert (got.before_block, got.code) == (places[event.before_block], event.code)
            assert abs(got.value - event.value) <= 1e-4

    def is_near(self, a: np.ndarray, b: np.ndarray) -> bool:
        return bool((np.abs(a - b) <= self.slack).all())

    def pieces(self, block: int, at: int) -> int:
        """Return how many blocks read make up one planned block, after checking them."""
        kind = self.planned.kind[block]
        if kind == Kind.ARC:
            return self.arc_pieces(block, at)
        is_there = at < len(self.read) and self.read.kind[at] == kind
        if is_there and self.is_near(self.read.end[at], self.ends[block]):
            self.check_straight(block, at)
            return 1
        assert (np.abs(self.ends[block] - self.begins[block]) <= 2 * self.slack).all(), block
        return 0

    def check_straight(self, block: int, at: int) -> None:
        planned, read = self.planned, self.read
        assert read.tool[at] == planned.tool[block]
        assert abs(read.dwell_s[at] - planned.dwell_s[block]) <= 5.1e-5
        assert read.feed_kind[at] == planned.feed_kind[block]
        self.check_feed(block, at)

    def check_feed(self, block: int, at: int) -> None:
        """F has three decimals per minute; inverse time has six, over the turn as written."""
        want, got = self.planned.feed[block], self.read.feed[at]
        slack = 0.00051 / 60.0 + 1e-12 * want
        if self.planned.feed_kind[block] == FeedKind.ROTARY:
            slack = np.radians(slack) + 1e-12 * want
            if self.dialect.c_feed == "inverse_time":
                slack += abs(self.ends[block, 3] - self.begins[block, 3]) * 0.51e-6 / 60.0
        assert abs(got - want) <= slack, (block, got, want)

    def arc_pieces(self, block: int, at: int) -> int:
        """Follow an arc piece by piece until its turn is used up."""
        centre = self.planned.centre[block] + self.offsets[block, :2]
        begin, end = self.begins[block], self.ends[block]
        radius, sweep = np.hypot(*(begin[:2] - centre)), self.planned.sweep_rad[block]
        # Rounding moves each end by 0.71 units and the centre by 0.71; two more units each way
        # are its own, to obey the arc rule. The turn is the difference of two spokes.
        noise, done = 2.0 * (0.71 + 0.71 + 2.83) * self.mm / radius, 0.0
        for row in range(at, len(self.read)):
            here = self.read.end[row]
            start = self.read.start if row == 0 else self.read.end[row - 1]
            turn = self.piece_turn(row, start[:2] - centre, here[:2] - centre, sweep)
            self.check_gap(row, radius, turn)
            self.check_feed(block, row)
            assert self.read.tool[row] == self.planned.tool[block]
            done += turn
            assert done <= abs(sweep) + noise
            way = (end - begin)[2:]
            off = here[2:] - begin[2:] - done / abs(sweep) * way
            assert (np.abs(off) <= 2 * self.slack[2:] + noise / abs(sweep) * np.abs(way)).all()
            # What the plan itself may miss its circle by, and rounding.
            assert abs(np.hypot(*(here[:2] - centre)) - radius) <= 0.002 + self.mm
            if abs(done - abs(sweep)) <= noise and self.is_near(here, end):
                return row + 1 - at
        raise AssertionError(f"arc {block} was not read to its end")

    def piece_turn(self, row: int, spoke: np.ndarray, to: np.ndarray, sweep: float) -> float:
        if self.read.kind[row] == Kind.ARC:
            assert self.dialect.arcs
            assert (self.read.sweep_rad[row] > 0.0) == (sweep > 0.0)
            return abs(self.read.sweep_rad[row])
        assert self.read.kind[row] == Kind.LINE
        angle = np.arctan2(spoke[0] * to[1] - spoke[1] * to[0], spoke @ to)
        return float((angle * np.sign(sweep)) % (2.0 * np.pi))

    def check_gap(self, row: int, radius: float, turn: float) -> None:
        if self.read.kind[row] == Kind.LINE:
            gap = radius * (1.0 - np.cos(turn / 2.0))
            assert gap <= self.dialect.arc_chord_mm + 0.71 * self.mm
