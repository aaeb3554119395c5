"""Plans of random motions against their own limits, and the bracket of the time against the plan.

Each motion has up to 60 blocks of all kinds, under limits of which any may bind. Along the plan no
axis may be over its acceleration or speed by more than 1e-9; the lower bound must close upon the
plan to 1e-6; causes must add up to the time; backwards must take as long.
"""

from __future__ import annotations

import numpy as np

from kerfwright.motion import speed_profile, time_motion
from tests.motion.cases import axis_loads, random_limits, random_motion, reversed_motion

DEFAULT_SIZE = 20_000  # motions
SMALL_SIZE = 60
MOST_LOAD = 1.0 + 1e-9
BRACKET = 1e-6


def run(seed, size, progress):
    """Return the greatest load, the widest first bracket, and what failed."""
    failures, worst = [], {"acceleration": 0.0, "speed": 0.0, "bracket": 0.0, "backwards": 0.0}
    for case in range(size):
        rng = np.random.default_rng((seed, case))
        found = loads(random_motion(rng, 1 + case % 60), random_limits(rng))
        worst = {name: max(worst[name], found[name]) for name in worst}
        wrong = max(found["acceleration"], found["speed"]) > MOST_LOAD
        if wrong or found["bracket"] > BRACKET or found["backwards"] > 1e-9:
            failures.append({"seed": seed, "case": case, **found})
        if case % 10 == 9 or case + 1 == size:
            progress(case + 1, size)
    over = {f"over_{name}": worst[name] - 1.0 for name in ("acceleration", "speed")}
    return {**worst, **over, "failures": failures}


def loads(motion, limits):
    """Return the figures of one motion."""
    timed = time_motion(motion, limits, bracket=BRACKET)
    back = time_motion(reversed_motion(motion), limits)
    acceleration, speed = axis_loads(motion, speed_profile(motion, limits, per_leg=30), limits)
    high = timed.time_high_s
    missing = abs(sum(timed.by_cause.values()) - high)
    return {
        "acceleration": float(acceleration.max(initial=0.0)),
        "speed": float(speed.max(initial=0.0)),
        "bracket": (high - timed.time_low_s) / high + (1.0 if missing > 1e-9 else 0.0),
        "backwards": abs(back.time_high_s - high) / high,
    }
