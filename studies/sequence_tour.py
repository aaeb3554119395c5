"""Air travel of orders against the near-optimal tour through the drawn starts of the contours.

Both are found by the same search: the reference has one entry per contour, no C and far more
disturbances. How good it is at that is told by pr1002 of TSPLIB, proven optimum 259045 (the figure
of its list of solutions), in the folder named by KERFWRIGHT_EXTRA_DATA; unset, or on
smaller sizes than the default, it is left out. Its
closed tour is asked for as a way that begins at the first point and ends at a second one in the
same place.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np

from kerfwright.sequence import order
from studies._sequence_nests import air_mm, drawn_starts, length_table, points_job, random_nest

DEFAULT_SIZE = 1000
SMALL_SIZE = 100

_REFERENCE = 60
_OPTIMUM = 259045
_MOST = 0.80


def run(seed, size, progress):
    """Return the ratio of air travel to the reference for one nest of `size` contours."""
    job, table = random_nest(np.random.default_rng(seed), size), length_table()
    found = _ordered(job, table, seed)
    progress(1, 3)
    fixed = drawn_starts(job)
    tour_mm = air_mm(fixed, _ordered(fixed, table, seed, iterations=_REFERENCE))
    progress(2, 3)
    ratio = air_mm(job, found) / tour_mm
    failures = [] if ratio <= _MOST else [{"ratio": ratio, "limit": _MOST}]
    found = {"ratio": ratio, "tour_mm": tour_mm, "failures": failures}
    folder = os.environ.get("KERFWRIGHT_EXTRA_DATA", "")
    if folder and size >= DEFAULT_SIZE:  # too long for the small sample
        found["pr1002_gap"] = _pr1002_gap(Path(folder), seed)
    progress(3, 3)
    return found


def _ordered(job, table, seed, **others):
    return order(job.choices, **job.arguments(), table=table, travel_z_mm=25.0, seed=seed, **others)


def _pr1002_gap(folder, seed):
    """Return how far the tour found is above the optimum."""
    file = folder / "nesting" / "sequence" / "pr1002.tsp"
    lines = file.read_text(encoding="ascii").split("NODE_COORD_SECTION")[1].split("EOF")[0]
    xy = np.array(lines.split(), float).reshape(-1, 3)[:, 1:]
    n = len(xy)
    job = points_job(np.concatenate((xy, xy[:1])) / 10.0)
    inside = np.arange(1, n)
    before = np.concatenate(
        (
            np.column_stack((np.zeros(n - 1, np.int64), inside)),
            np.column_stack((inside, np.full(n - 1, n))),
        )
    )
    job = replace(job, choices=(replace(job.choices[0], before=before),))
    found = _ordered(job, length_table(), seed, iterations=_REFERENCE)
    stops = [int(name[1:]) for name in found.contour]
    tour = np.concatenate((xy, xy[:1]))[stops]
    # TSPLIB rounds each distance (EUC_2D).
    length = np.floor(np.hypot(*np.diff(tour, axis=0).T) + 0.5).sum()
    return float(length / _OPTIMUM - 1.0)
