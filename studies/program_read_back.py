"""Programs written and read back against the plan, and the arc rule against the decimals written.

Places must agree within half of the last decimal; the arc rule of NISTIR 6556 (0.002 mm) is
checked on the text alone, in decimal arithmetic. `broken` is the share of arcs whose plain
rounding to 2, 3 and 4 decimals would break the rule: what the writer has to mend.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright.program import dialect_ids, load_dialect, read_program, write_program
from tests.program.checker import RULE_MM, worst_arc_mm
from tests.program.follow import Follower
from tests.program.motions import TABLE, random_motion, table_for

DEFAULT_SIZE = 120  # motions of 200 blocks
SMALL_SIZE = 6
ARCS_PER_MOTION = 10_000


def run(seed, size, progress):
    """Return the worst mismatch of radii, the share of broken arcs, and what failed."""
    rng = np.random.default_rng(seed)
    failures, worst = [], 0.0
    broken = dict.fromkeys(("2", "3", "4"), 0)
    for case in range(size):
        motion = random_motion(rng, 200)
        for dialect_id in dialect_ids():
            dialect = load_dialect(dialect_id)
            if not dialect.arcs:
                dialect = replace(dialect, arc_chord_mm=0.02)
            text = write_program(motion, table_for(dialect), dialect)
            worst = max(worst, float(worst_arc_mm(text)))
            if worst > RULE_MM or not is_followed(motion, text, dialect):
                failures.append({"seed": seed, "case": case, "dialect": dialect_id})
        arcs = rng.uniform(size=(ARCS_PER_MOTION, 5))
        for decimals in broken:
            broken[decimals] += int((mismatch_mm(arcs, int(decimals)) > float(RULE_MM)).sum())
        progress(case + 1, size)
    share = {d: n / (size * ARCS_PER_MOTION) for d, n in broken.items()}
    return {"worst_um": 1e3 * worst, "broken": share, "failures": failures}


def is_followed(motion, text, dialect):
    """Return whether what is read is the plan."""
    read = read_program(text, dialect)
    try:
        Follower(planned=motion, read=read, table=TABLE, dialect=dialect).check()
    except AssertionError:
        return False
    return True


def mismatch_mm(arcs, decimals):
    """Return the radii's difference of random arcs, 0.5 to 1000 mm, after plain rounding."""
    centre, radius = 1000.0 * arcs[:, :2], 0.5 + 999.5 * arcs[:, 2]
    start, end = (
        np.round(centre + radius[:, None] * np.stack((np.cos(a), np.sin(a)), axis=1), decimals)
        for a in (2.0 * np.pi * arcs[:, 3], 2.0 * np.pi * arcs[:, 4])
    )
    spoke = np.round(centre - start, decimals)
    return np.abs(np.hypot(*spoke.T) - np.hypot(*(start + spoke - end).T))
