"""Entry and direction of every cut of a fixed order, exact by dynamic programming.

The least time to be done with cut i by its row r depends on the cuts before it only through the
row of cut i - 1. So one sweep over the order, keeping the least time per row, finds the best of
all combinations for this order.
"""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.kernels import kernel
from kerfwright.sequence.cost import MM_PER_STEP, link_s, turn_rad
from kerfwright.sequence.cuts import Cuts


def best_entries(cuts: Cuts, order: I64, law: F64) -> tuple[I64, float]:
    """Return the row of each cut in the order, shape (N,), and the time of all cuts and links [s].

    Among equals the earlier row is taken.
    """
    rows, time_s = _sweep(
        cuts.pose_in, cuts.pose_out, cuts.time_s, cuts.first_row, cuts.head, order, law
    )
    return rows, float(time_s)


@kernel
def _sweep(
    pose_in: F64, pose_out: F64, time_s: F64, first_row: I64, head: I64, order: I64, law: F64
) -> tuple[I64, float]:
    total, came_from = time_s.copy(), np.full(len(time_s), -1)
    for i in range(1, len(order)):
        before, now = order[i - 1], order[i]
        turns = 1.0 if head[before] == head[now] else 0.0
        for row in range(first_row[now], first_row[now + 1]):
            best = np.inf
            for past in range(first_row[before], first_row[before + 1]):
                dx = abs(pose_in[row, 0] - pose_out[past, 0]) * MM_PER_STEP
                dy = abs(pose_in[row, 1] - pose_out[past, 1]) * MM_PER_STEP
                turn = turns * turn_rad(pose_out[past, 2], pose_in[row, 2])
                time = total[past] + link_s(dx, dy, turn, law)
                if time < best:
                    best, came_from[row] = time, past
            total[row] += best
    rows = np.zeros(len(order), np.int64)
    last = order[-1]
    rows[-1] = first_row[last] + np.argmin(total[first_row[last] : first_row[last + 1]])
    least = total[rows[-1]]
    for i in range(len(order) - 1, 0, -1):
        rows[i - 1] = came_from[rows[i]]
    return rows, least
