"""Bounds on the planar friction limit of random outlines: close, and agreeing with small pads.

Every case is a star-shaped outline, often notched, under a random force and moment. The bounds
must lie within 0.5 %; each tenth case is also worked out with small pads and a general minimiser.
"""

from __future__ import annotations

import numpy as np

from tests.mechanics.shapes import oracle_use, star, use_of

DEFAULT_SIZE = 5000
SMALL_SIZE = 20
MOST_GAP = 5e-3
MOST_OFF = 1e-2  # of the pads: their edge is a staircase


def run(seed, size, progress):
    """Return the greatest gap between the bounds and the greatest distance from the pads."""
    failures, gap, off = [], 0.0, 0.0
    for case in range(size):
        rng = np.random.default_rng((seed, case))
        ring = star(rng, int(rng.integers(3, 40)))
        load = rng.normal(size=3) * (1.0, 1.0, 10.0 ** rng.uniform(-2.0, 3.0))
        middle = ring.mean(axis=0)
        load[2] += middle[0] * load[1] - middle[1] * load[0]
        found = use_of([ring], load, tolerance=1e-5)
        mine = found.high[0] / found.low[0] - 1.0
        far = abs(oracle_use(ring, load) / found.low[0] - 1.0) if case % 10 == 0 else 0.0
        gap, off = max(gap, float(mine)), max(off, float(far))
        if not -1e-12 <= mine <= MOST_GAP or far > MOST_OFF:
            failures.append({"seed": seed, "case": case, "gap": float(mine), "off": float(far)})
        progress(case + 1, size)
    return {"worst_gap": gap, "worst_off_pads": off, "failures": failures}
