"""The order while it is being improved: places, chosen rows, and what a way between rows costs.

A *place* is a number in the order, a *stretch* the places from one to before another. The groups
of tools stand one behind the other, so each group is a stretch that its cuts never leave.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner
from kerfwright.sequence.cost import MM_PER_STEP, RAD_PER_STEP, STEPS_PER_TURN

LONGEST = 1000
"""Most cuts in a stretch that is turned round; longer ones gain next to nothing."""

LEAST_GAIN_S = 1e-9
"""Gains below it may be rounding and are none [s]."""

_FEW_PAIRS = 400  # most ways that are looked at to choose the rows of neighbours together


class Setting(NamedTuple):
    """What does not change: N cuts with R rows, and how they hang together.

    `ways` (R, 8) holds what `way_s` asks for, together because a kernel that is handed many arrays
    spends its time on handing them on: x, y, c of entry and exit [steps], time in the cut [s] and
    head of each row. `least_s` (N,) is the least time in each cut, `back` (R,) the row that does
    a row's cut the other way, `group_low` and `group_high` (N,) the stretch of a cut's group.
    `after` and `ahead` (N, L) are the cuts reached soonest from a cut and those from which it is
    reached soonest, `after_s` and `ahead_s` the times of these ways, `after_row` and `ahead_row`
    the rows of the cut itself at their ends; -1 and infinity stand where there are fewer.
    `inverse` holds the reciprocals of the law.
    """

    ways: F64
    least_s: F64
    first_row: I64
    back: I64
    group_low: I64
    group_high: I64
    after: I64
    after_s: F64
    after_row: I64
    ahead: I64
    ahead_s: F64
    ahead_row: I64
    inverse: F64


class Trail(NamedTuple):
    """The order as it stands, and room to work in; written by the kernels alone.

    `cut` (N,) and `row` (N,) stand at each place, `place` (N,) of each cut; `kept_cut` and
    `kept_row` are the order to go back to, and `touched` (2,) the stretch in which the two may
    differ. `queue` (N + 1,) is a ring of cuts to look at from `ends[0]` to before `ends[1]`,
    `queued` (N,) says which are in it. `new_cut`, `new_row`, `found`, `sums` and `came`
    are scratch.
    """

    cut: I64
    row: I64
    place: I64
    kept_cut: I64
    kept_row: I64
    touched: I64
    queue: I64
    ends: I64
    queued: BOOL
    new_cut: I64
    new_row: I64
    found: I64
    sums: F64
    came: I64


def make_trail(cuts: I64, rows: I64, most_rows: int) -> Trail:
    """Return the trail of an order (N,) with its rows (N,)."""
    n = len(cuts)
    place = np.zeros(n, np.int64)
    place[cuts] = np.arange(n)
    return Trail(
        cut=cuts.copy(),
        row=rows.copy(),
        place=place,
        kept_cut=cuts.copy(),
        kept_row=rows.copy(),
        touched=np.array((n, -1)),
        queue=np.zeros(n + 1, np.int64),
        ends=np.zeros(2, np.int64),
        queued=np.zeros(n, np.bool_),
        new_cut=np.zeros(LONGEST + 8, np.int64),
        new_row=np.zeros(LONGEST + 8, np.int64),
        found=np.zeros(8, np.int64),
        sums=np.zeros((4, most_rows)),
        came=np.zeros((4, most_rows), np.int64),
    )


def inverse_law(law: F64) -> F64:
    """Return what `way_s` multiplies steps by, shape (8,).

    Per step over x, over y and in C: time at full speed, then squared time at full acceleration;
    time per step along a rapid; time to rise and come down.
    """
    step = np.array((MM_PER_STEP, MM_PER_STEP, RAD_PER_STEP))
    rest = (MM_PER_STEP / law[3, 0], law[3, 1])
    return np.concatenate((step / law[:3, 0], step / law[:3, 1], rest))


@inner
def way_s(a: int, b: int, ways: F64, inverse: F64) -> float:
    """Return the time from the exit of row a to the entry of row b, 0 where there is none.

    This is `cost.link_s` with its divisions done beforehand.
    """
    if a < 0 or b < 0:
        return 0.0
    dx, dy = abs(ways[b, 0] - ways[a, 3]), abs(ways[b, 1] - ways[a, 4])
    turn = 0.0
    if ways[a, 7] == ways[b, 7]:
        turn = abs(ways[b, 2] - ways[a, 5])
        turn = min(turn, STEPS_PER_TURN - turn)
    if dx == 0.0 and dy == 0.0 and turn < 2.0:
        return 0.0
    slow = max(dx * inverse[0], dy * inverse[1], turn * inverse[2])
    slow = max(slow, np.sqrt(dx * dx + dy * dy) * inverse[6])
    hard = max(dx * inverse[3], dy * inverse[4], turn * inverse[5])
    if slow * slow >= hard:
        return float(inverse[7] + slow + hard / slow)
    return float(inverse[7] + 2.0 * np.sqrt(hard))


@inner
def row_at(place: int, row: I64) -> int:
    """Return the row at a place, -1 before the first and behind the last."""
    return row[place] if 0 <= place < len(row) else -1


@inner
def best_between(
    cut: int, before: int, behind: int, first_row: I64, ways: F64, inverse: F64
) -> tuple[int, float]:
    """Return the row that does a cut soonest between two rows, and the time of it and its ways."""
    best, least = -1, np.inf
    for row in range(first_row[cut], first_row[cut + 1]):
        time = ways[row, 6] + way_s(before, row, ways, inverse)
        if time < least:
            time += way_s(row, behind, ways, inverse)
            if time < least:
                best, least = row, time
    return best, least


@inner
def stretch_s(low: int, high: int, row: I64, ways: F64, inverse: F64) -> float:
    """Return the time of the cuts of a stretch and of all ways to, in and from it."""
    total = way_s(row_at(low - 1, row), row[low], ways, inverse)
    for i in range(low, high):
        total += ways[row[i], 6] + way_s(row[i], row_at(i + 1, row), ways, inverse)
    return total


@inner
def touch(low: int, high: int, trail: Trail) -> None:
    """Note that a stretch was written to."""
    trail.touched[0], trail.touched[1] = min(trail.touched[0], low), max(trail.touched[1], high)


@inner
def look_at(place: int, trail: Trail) -> None:
    """Put the cut at a place into the queue, unless it is there or there is no such place."""
    n = len(trail.cut)
    if 0 <= place < n and not trail.queued[trail.cut[place]]:
        trail.queued[trail.cut[place]] = True
        trail.queue[trail.ends[1]] = trail.cut[place]
        trail.ends[1] = (trail.ends[1] + 1) % (n + 1)


@inner
def settle(place: int, setting: Setting, trail: Trail) -> float:
    """Choose the rows at a place and its two neighbours anew; return the time gained.

    The three are chosen together where that takes few enough ways, else the middle one alone.
    """
    cut, row, ways, inverse = trail.cut, trail.row, setting.ways, setting.inverse
    low, high = max(place - 1, 0), min(place + 2, len(cut))
    pairs = 0
    for i in range(low + 1, high):
        pairs += _rows(cut[i], setting.first_row) * _rows(cut[i - 1], setting.first_row)
    if pairs > _FEW_PAIRS:
        low, high = place, place + 1
    before, old = stretch_s(low, high, row, ways, inverse), trail.new_row
    for i in range(low, high):
        old[i - low] = row[i]
    if high - low == 1:
        around = row_at(low - 1, row), row_at(high, row)
        row[low], _ = best_between(cut[low], *around, setting.first_row, ways, inverse)
    else:
        _choose(low, high, setting, trail)
    gain = before - stretch_s(low, high, row, ways, inverse)
    if gain > LEAST_GAIN_S:
        touch(low, high, trail)
        return gain
    for i in range(low, high):
        row[i] = old[i - low]
    return 0.0


@inner
def _rows(cut: int, first_row: I64) -> int:
    return int(first_row[cut + 1] - first_row[cut])


@inner
def _choose(low: int, high: int, setting: Setting, trail: Trail) -> None:
    """Give the cuts of a short stretch their best rows; the rows around it stay."""
    sums, came, cut = trail.sums, trail.came, trail.cut
    first_row, ways, inverse = setting.first_row, setting.ways, setting.inverse
    begin = row_at(low - 1, trail.row)
    for i in range(low, high):
        here, first = i - low, first_row[cut[i]]
        for k in range(_rows(cut[i], first_row)):
            least = np.inf
            if i == low:
                least = way_s(begin, first + k, ways, inverse)
            else:
                past = first_row[cut[i - 1]]
                for j in range(_rows(cut[i - 1], first_row)):
                    if sums[here - 1, j] < least:
                        time = sums[here - 1, j] + way_s(past + j, first + k, ways, inverse)
                        if time < least:
                            least, came[here, k] = time, j
            sums[here, k] = least + ways[first + k, 6]
    _trace_back(low, high, setting, trail)


@inner
def _trace_back(low: int, high: int, setting: Setting, trail: Trail) -> None:
    cut, row, first_row = trail.cut, trail.row, setting.first_row
    behind, last, best, least = row_at(high, row), high - 1 - low, 0, np.inf
    first = first_row[cut[high - 1]]
    for k in range(_rows(cut[high - 1], first_row)):
        time = trail.sums[last, k] + way_s(first + k, behind, setting.ways, setting.inverse)
        if time < least:
            best, least = k, time
    for i in range(high - 1, low - 1, -1):
        row[i] = first_row[cut[i]] + best
        best = trail.came[i - low, best]
