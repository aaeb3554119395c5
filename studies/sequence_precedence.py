"""Orders of random nested jobs against the rules told a second time, pair by pair: none broken."""

from __future__ import annotations

import numpy as np

from kerfwright.sequence import order
from studies._sequence_jobs import broken_rules, every_cut, make_table, random_job

DEFAULT_SIZE = 10000
SMALL_SIZE = 40


def run(seed, size, progress):
    """Return how many orders of how many cuts were looked at, and every broken rule."""
    table, failures, cuts, pairs, groups = make_table(), [], 0, 0, 0
    for case in range(size):
        rng = np.random.default_rng((seed, case))
        job = random_job(rng, n_cells=int(rng.integers(1, 6)))
        found = order(job.choices, **job.arguments(), table=table, travel_z_mm=25.0, seed=case)
        done = sorted(zip(found.contour, found.operation, found.pass_no.tolist(), strict=True))
        wrong = broken_rules(job, found)
        if wrong or done != every_cut(job):
            failures.append({"case": case, "wrong": wrong[:3], "cuts": len(done)})
        cuts += len(done)
        pairs += len(done) * (len(done) - 1) // 2
        groups += int(found.group.max(initial=-1)) + 1
        progress(case + 1, size)
    return {"cuts": cuts, "pairs": pairs, "tool_groups": groups, "failures": failures}
