"""2-opt: a stretch is turned round, each of its cuts done the other way.

Where the precedence forbids that, cuts that wait for one another keep their order in the least
blocks that hold them, and the blocks are turned round: a hole still comes before its outline. The
rows at both ends are chosen anew, and the gain is counted exactly over the whole stretch, because
the way back need not take as long as the way there.
"""

from __future__ import annotations

from kerfwright.kernels import inner
from kerfwright.sequence.blocking import Bonds, turn_round
from kerfwright.sequence.trail import (
    LEAST_GAIN_S,
    LONGEST,
    Setting,
    Trail,
    best_between,
    look_at,
    row_at,
    stretch_s,
    touch,
    way_s,
)


@inner
def turn_stretch(cut: int, setting: Setting, trail: Trail, bonds: Bonds) -> float:
    """Turn round a stretch behind or ahead of a cut, the first that gains; return the gain."""
    here, row, ways, inverse = trail.place[cut], trail.row, setting.ways, setting.inverse
    for backwards in range(2):
        near = setting.ahead if backwards else setting.after
        near_s = setting.ahead_s if backwards else setting.after_s
        for k in range(near.shape[1]):
            if near[cut, k] < 0:
                break
            there = trail.place[near[cut, k]]
            low, high = (there, here) if backwards else (here + 1, there + 1)
            if not 1 < high - low <= LONGEST:
                continue
            before, behind = row_at(low - 1, row), row_at(high, row)
            broken = way_s(before, row[low], ways, inverse)
            broken += way_s(row[high - 1], behind, ways, inverse)
            if broken <= near_s[cut, k]:
                continue
            # The far end keeps its row here; whether choosing it anew helps is seen when trying.
            if backwards:
                far = way_s(before, setting.back[row[high - 1]], ways, inverse)
            else:
                far = way_s(setting.back[row[low]], behind, ways, inverse)
            if broken > near_s[cut, k] + far:
                gain = _try(low, high, setting, trail, bonds)
                if gain > 0.0:
                    return gain
    return 0.0


@inner
def _try(low: int, high: int, setting: Setting, trail: Trail, bonds: Bonds) -> float:
    """Turn a stretch of two or more cuts round if that gains; return the gain or 0."""
    turn_round(low, high, setting, trail, bonds)
    first_row, ways, inverse = setting.first_row, setting.ways, setting.inverse
    before, behind = row_at(low - 1, trail.row), row_at(high, trail.row)
    cut, row, last = trail.new_cut, trail.new_row, high - low - 1
    row[0], _ = best_between(cut[0], before, row[1], first_row, ways, inverse)
    row[last], _ = best_between(cut[last], row[last - 1], behind, first_row, ways, inverse)
    time = way_s(before, row[0], ways, inverse) + way_s(row[last], behind, ways, inverse)
    for i in range(last + 1):
        time += ways[row[i], 6]
        if i > 0:
            time += way_s(row[i - 1], row[i], ways, inverse)
    gain = stretch_s(low, high, trail.row, ways, inverse) - time
    if gain <= LEAST_GAIN_S:
        return 0.0
    put_back(low, high, trail)
    return gain


@inner
def put_back(low: int, high: int, trail: Trail) -> None:
    """Write the scratch over a stretch and look at its ends again."""
    for i in range(low, high):
        cut = trail.new_cut[i - low]
        trail.cut[i], trail.row[i], trail.place[cut] = cut, trail.new_row[i - low], i
    touch(low, high, trail)
    for i in (low - 1, low, high - 1, high):
        look_at(i, trail)
