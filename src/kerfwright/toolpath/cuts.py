"""Whole cuts: every section of a contour from an entry on, in one sense and one pass."""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.toolpath.blade import Step, step_of
from kerfwright.toolpath.sections import BEGIN, END, LOOP, STEPPED
from kerfwright.toolpath.shapes import BACK, FORTH, Contour, Run, total_of
from kerfwright.toolpath.steps import step_along
from kerfwright.toolpath.strokes import follow
from kerfwright.toolpath.ways import cut_section
from kerfwright.toolpath.writing import COLUMNS, CUT, STATE, Out

PATH, PASS, SENSE, ENTRY = range(4)
"""Columns of a cut: contour, pass, +1 along or -1 against the drawn direction, and the entry as
a fraction of the length from the drawn start."""


@kernel
def make(
    cuts: F64,
    counts: I64,
    edges: F64,
    first: I64,
    closed: BOOL,
    sections: F64,
    begun: I64,
    steps: F64,
) -> tuple[F64, F64]:
    """Make N cuts; return where each ends, shape (N, 9), and their rows one after the other.

    `counts` (N,) is the number of rows of each as measured by a first call without counts, which
    returns no rows.
    """
    total = 0
    for count in counts:
        total += count
    rows = np.zeros((total, COLUMNS))
    ends = np.zeros((len(cuts), STATE))
    done = 0
    for n in range(len(cuts)):
        path = int(cuts[n, PATH])
        after = done + (counts[n] if len(counts) else 0)
        _cut(
            Out(rows[done:after], ends[n]),
            Contour(edges[first[path] : first[path + 1]], closed[path]),
            sections[begun[path] : begun[path + 1]],
            FORTH if cuts[n, SENSE] > 0.0 else BACK,
            cuts[n, ENTRY],
            step_of(steps[int(cuts[n, PASS])]),
        )
        for i in range(done, after):
            rows[i, CUT] = n
        done = after
    return ends, rows


@inner
def _cut(
    out: Out,
    contour: Contour,
    sections: F64,
    sense: int,
    entry: float,
    step: Step,
) -> None:
    s = entry * total_of(contour.edge)
    if sections[0, LOOP]:
        _loop(out, contour, sections[0], s, sense, step)
        return
    start = _nearest(contour, sections, s, sense)
    for j in range(len(sections)):
        section = sections[(start + sense * j) % len(sections)]
        cut_section(out, contour, section, sense, step)


@inner
def _loop(out: Out, contour: Contour, section: F64, s: float, sense: int, step: Step) -> None:
    """Cut a lap and a little more; what comes before and after is the contour too."""
    total = total_of(contour.edge)
    run = Run(contour, s, sense, 3.0 * total + step.overlap)
    length = total + step.overlap
    if section[STEPPED]:
        step_along(out, run, total, total + length, step)
    else:
        under = max(step.back + step.front - length, 0.0) / 2.0
        follow(out, run, total, total + length, under, step)


@inner
def _nearest(contour: Contour, sections: F64, s: float, sense: int) -> int:
    """Return the section whose start, as cut, is nearest to a place."""
    if not contour.closed:
        return 0 if sense > 0 else len(sections) - 1
    total = total_of(contour.edge)
    best, nearest = total, 0
    for i in range(len(sections)):
        gap = abs(sections[i, BEGIN if sense > 0 else END] - s) % total
        gap = min(gap, total - gap)
        if gap < best:
            best, nearest = gap, i
    return nearest
