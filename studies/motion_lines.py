"""Plans of random polylines in x, y, z, C against a linear programme solved by HiGHS.

Greatest sum of v^2 under the same limits; both must agree to 1e-10 of the greatest v^2, which is
how well HiGHS is asked to keep its rows.
"""

from __future__ import annotations

import numpy as np

from kerfwright.motion import naive_time_s, speed_profile, time_motion
from tests.motion.cases import random_limits, random_polyline
from tests.motion.oracles import polyline_squares

DEFAULT_SIZE = 2000  # polylines of 200 blocks
SMALL_SIZE = 15
MOST = 1e-10


def run(seed, size, progress):
    """Return the greatest difference, how much too short the naive time is, and what failed."""
    failures, worst, short = [], 0.0, []
    for case in range(size):
        rng = np.random.default_rng((seed, case))
        motion, limits = random_polyline(rng, 200), random_limits(rng)
        squares = polyline_squares(motion, limits)
        profile = speed_profile(motion, limits, per_leg=1)
        first = np.searchsorted(profile.block, np.arange(len(motion)))
        planned = np.append(profile.v[first] ** 2, 0.0)
        off = float(np.abs(planned - squares).max() / max(squares.max(), 1e-9))
        timed = time_motion(motion, limits)
        worst = max(worst, off)
        short.append(timed.time_high_s / naive_time_s(motion))
        if off > MOST or timed.time_low_s != timed.time_high_s:
            failures.append({"seed": seed, "case": case, "off": off})
        progress(case + 1, size)
    return {
        "worst_share_of_v2": worst,
        "true_over_naive_median": float(np.median(short)),
        "failures": failures,
    }
