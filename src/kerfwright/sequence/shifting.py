"""Or-opt: a run of up to three cuts goes elsewhere, as it is or turned round.

At the end that comes next to a near cut, the row nearest to that cut is tried besides the one it
has; all rows are looked at once the run is there. The gain is counted exactly. Of all runs that
begin or end with a cut, and all places next to the cuts near their ends, the best move is made.
"""

from __future__ import annotations

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import inner
from kerfwright.sequence.blocking import Bonds, may_swap, may_turn
from kerfwright.sequence.trail import (
    LEAST_GAIN_S,
    Setting,
    Trail,
    look_at,
    row_at,
    stretch_s,
    touch,
    way_s,
)

_LONGEST_RUN = 3


@inner
def shift_run(cut: int, setting: Setting, trail: Trail, bonds: Bonds) -> float:
    """Make the best shift of a run that begins or ends with a cut; return the time gained."""
    place, best = trail.place[cut], LEAST_GAIN_S
    trail.found[0] = -1
    for size in range(1, _LONGEST_RUN + 1):
        best = _shifts_of(place, size, best, setting, trail, bonds)
        if size > 1:
            best = _shifts_of(place - size + 1, size, best, setting, trail, bonds)
    if trail.found[0] < 0:
        return 0.0
    begin, size, to, turned = trail.found[0], trail.found[1], trail.found[2], trail.found[3]
    for i in range(size):
        trail.new_cut[i] = trail.cut[begin + size - 1 - i if turned else begin + i]
        trail.new_row[i] = trail.found[4 + i]
    move_run(begin, size, to, trail)
    return best


@inner
def _shifts_of(
    begin: int, size: int, best: float, setting: Setting, trail: Trail, bonds: Bonds
) -> float:
    """Look for shifts of one run that gain more than the best so far; return the new best."""
    end, cut = begin + size, trail.cut[max(begin, 0)]
    if begin < setting.group_low[cut] or end > setting.group_high[cut]:
        return best
    row, ways, inverse = trail.row, setting.ways, setting.inverse
    around = way_s(row_at(begin - 1, row), row_at(end, row), ways, inverse)
    freed = stretch_s(begin, end, row, ways, inverse) - around
    for turned in range(min(size, 2)):
        first, last = trail.cut[begin], trail.cut[end - 1]
        if turned:
            first, last = last, first
        inside = setting.least_s[first]
        if size > 1:
            inside = _inside_s(begin, size, turned, row, setting.back, ways, inverse)
        run = (begin, size, turned)
        for backwards in range(2):
            near, near_s = setting.after, setting.after_s
            end_cut, other_s = last, setting.ahead_s[first, 0]
            if backwards:
                near, near_s = setting.ahead, setting.ahead_s
                end_cut, other_s = first, setting.after_s[last, 0]
            rest = freed - inside - other_s
            for k in range(near.shape[1]):
                if near[end_cut, k] < 0:
                    break
                to = trail.place[near[end_cut, k]] + backwards
                if begin <= to <= end:
                    continue
                broken = way_s(row_at(to - 1, row), row_at(to, row), ways, inverse)
                if rest + broken - near_s[end_cut, k] > best:
                    hint = setting.ahead_row[first, k] if backwards else setting.after_row[last, k]
                    gain = freed + broken
                    gain -= _joined_s(run, to, backwards, hint, setting, trail)
                    if gain > best and _may_shift(run, to, trail, bonds):
                        best = gain
                        _note(run, to, trail)
    return best


@inner
def _inside_s(
    begin: int, size: int, turned: int, row: I64, back: I64, ways: F64, inverse: F64
) -> float:
    """Return the time of a run alone with the rows it has."""
    total = 0.0
    for i in range(begin, begin + size):
        here = back[row[i]] if turned else row[i]
        total += ways[here, 6]
        if i > begin and turned:
            total += way_s(here, back[row[i - 1]], ways, inverse)
        elif i > begin:
            total += way_s(row[i - 1], here, ways, inverse)
    return total


@inner
def _joined_s(
    run: tuple[int, int, int],
    to: int,
    backwards: int,
    hint: int,
    setting: Setting,
    trail: Trail,
) -> float:
    """Write the rows of a run put before a place into the scratch; return the time it takes.

    `hint` is tried as row of its last cut, or of its first one if the near cut stands before it.
    """
    begin, size, turned = run
    row, new, ways, inverse = trail.row, trail.new_row, setting.ways, setting.inverse
    before, behind, last = row_at(to - 1, row), row_at(to, row), size - 1
    for i in range(size):
        new[i] = setting.back[row[begin + last - i]] if turned else row[begin + i]
    at = 0 if backwards else last
    left = before if at == 0 else new[at - 1]
    right = behind if at == last else new[at + 1]
    old = ways[new[at], 6] + way_s(left, new[at], ways, inverse)
    old += way_s(new[at], right, ways, inverse)
    other = ways[hint, 6] + way_s(left, hint, ways, inverse) + way_s(hint, right, ways, inverse)
    if other < old:
        new[at] = hint
    time = way_s(before, new[0], ways, inverse) + way_s(new[last], behind, ways, inverse)
    for i in range(size):
        time += ways[new[i], 6]
        if i > 0:
            time += way_s(new[i - 1], new[i], ways, inverse)
    return time


@inner
def _may_shift(run: tuple[int, int, int], to: int, trail: Trail, bonds: Bonds) -> bool:
    """Return whether the precedence lets a run go to before a place."""
    begin, size, turned = run
    end = begin + size
    if turned and not may_turn(begin, end, trail, bonds):
        return False
    return may_swap(min(begin, to), begin if to < begin else end, max(end, to), trail, bonds)


@inner
def _note(run: tuple[int, int, int], to: int, trail: Trail) -> None:
    """Note the best shift so far, with the rows in the scratch."""
    trail.found[0], trail.found[1], trail.found[3] = run
    trail.found[2] = to
    for i in range(run[1]):
        trail.found[4 + i] = trail.new_row[i]


@inner
def move_run(begin: int, size: int, to: int, trail: Trail) -> None:
    """Take a run out and put what stands in the scratch, as many cuts, before a place."""
    end = begin + size
    low, high = min(begin, to), max(end, to)
    if to < begin:
        for i in range(begin - 1, to - 1, -1):
            _set(i + size, trail.cut[i], trail.row[i], trail)
        at = to
    else:
        for i in range(end, to):
            _set(i - size, trail.cut[i], trail.row[i], trail)
        at = to - size
    for i in range(size):
        _set(at + i, trail.new_cut[i], trail.new_row[i], trail)
    touch(low, high, trail)
    gap = begin if to > begin else end
    for i in (gap - 1, gap, at - 1, at, at + size - 1, at + size):
        look_at(i, trail)


@inner
def _set(place: int, cut: int, row: int, trail: Trail) -> None:
    trail.cut[place], trail.row[place], trail.place[cut] = cut, row, place
