"""What is wrong with the lines of a drawing, said before material is spent."""

from __future__ import annotations

from collections import Counter

import numpy as np
from scipy.spatial import cKDTree

from kerfwright.artwork.copies import copy_finding
from kerfwright.artwork.crossings import find_meetings
from kerfwright.artwork.sorting import COPY, NO_RULE, NOTHING_TO_CUT, features_of, sort_lines
from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.drawing import Drawing
from kerfwright.model.rules import RuleTable

NEARLY_CLOSED_MM = 2.0
"""A through cut open by less than this was meant to be closed."""
TINY_MM = 1.0
"""A contour shorter than this all round is rather dirt of the drawing than a wish."""


def check(drawing: Drawing, rules: RuleTable, operation: I64 | None = None) -> list[Finding]:
    """Return what is wrong with the lines of a drawing.

    Parameters
    ----------
    drawing : Drawing
        K lines, joined where they meet.
    rules : RuleTable
        The rules, with the tolerances for joints and copies.
    operation : ndarray of shape (K,), int, optional
        What `sort_lines` returned, where it is at hand.

    Returns
    -------
    list of Finding
        Lines no rule covers (blocks), open or self-crossing contours (hold their part), copies,
        lines on top of each other, points and tiny contours.
    """
    sorted_to = sort_lines(drawing, rules) if operation is None else operation
    through = np.array([o.bounds_part for o in rules.operations], bool)
    is_through = (sorted_to >= 0) & through[np.maximum(sorted_to, 0)]
    return [
        *_without_rule(drawing, sorted_to),
        *_nothing_drawn(drawing, sorted_to),
        *_open_contours(drawing, is_through),
        *_copies(drawing, sorted_to, rules.duplicate_tolerance_mm),
        *_meetings(drawing, sorted_to, is_through, rules.duplicate_tolerance_mm),
        *_nothing_to_cut(drawing, sorted_to),
        *_tiny(drawing, sorted_to),
    ]


def _finding(
    code: str,
    severity: Severity,
    drawing: Drawing,
    k: int | None = None,
    xy: F64 | None = None,
    measured: float | None = None,
    limit: float | None = None,
    **params: str | float,
) -> Finding:
    return Finding(
        code=code,
        severity=severity,
        where=Place(
            stage="artwork",
            contour=None if k is None else drawing.ids[k],
            xy_mm=None if xy is None else (float(xy[0]), float(xy[1])),
        ),
        measured=measured,
        limit=limit,
        unit="" if measured is None else "mm",
        params=params,
    )


def _without_rule(drawing: Drawing, operation: I64) -> list[Finding]:
    rows = np.flatnonzero(operation == NO_RULE).tolist()
    groups = Counter(features_of(drawing, k) for k in rows)
    return [
        _finding(
            "ART-110",
            Severity.BLOCKS,
            drawing,
            layer=layer,
            colour=colour or "none",
            names=", ".join(names) or "none",
            count=count,
        )
        for (layer, colour, *names), count in groups.items()
    ]


def _nothing_drawn(drawing: Drawing, operation: I64) -> list[Finding]:
    if (operation >= 0).any() or (operation == NO_RULE).any():
        return []
    return [_finding("ART-111", Severity.BLOCKS, drawing, count=len(drawing.paths))]


def _open_contours(drawing: Drawing, is_through: BOOL) -> list[Finding]:
    paths = drawing.paths
    rows = np.flatnonzero(is_through & ~paths.closed)
    if not rows.size:
        return []
    first, last = paths.points[paths.starts[rows]], paths.points[paths.starts[rows + 1] - 1]
    ends = np.concatenate((first, last))
    gaps = _to_other_end(ends)
    found = []
    for place, k in enumerate(rows.tolist()):
        gap = float(min(gaps[place], gaps[place + len(rows)]))
        if gap < NEARLY_CLOSED_MM:
            found.append(
                _finding(
                    "ART-120",
                    Severity.HOLDS_PART,
                    drawing,
                    k,
                    last[place],
                    gap,
                    0.0,
                )
            )
    slits = len(rows) - len(found)
    if slits:
        found.append(_finding("ART-121", Severity.NOTE, drawing, count=slits))
    return found


def _to_other_end(ends: F64) -> F64:
    """Return the distance from each end to the nearest other end [mm]."""
    if len(ends) < 2:
        return np.full(len(ends), np.inf)
    distance: F64 = cKDTree(ends).query(ends, k=2)[0][:, 1]
    return distance


def _copies(drawing: Drawing, operation: I64, tolerance_mm: float) -> list[Finding]:
    rows = np.flatnonzero(operation == COPY).tolist()
    starts = drawing.paths.points[drawing.paths.starts[:-1]]
    return [copy_finding(drawing, k, starts[k], tolerance_mm) for k in rows]


def _meetings(
    drawing: Drawing, operation: I64, is_through: BOOL, tolerance_mm: float
) -> list[Finding]:
    rows = np.flatnonzero(operation >= 0)
    if not rows.size:
        return []
    met = find_meetings(drawing.paths.select(rows), tolerance_mm=tolerance_mm)
    found: list[Finding] = []
    said: set[tuple[int, int, bool]] = set()
    for i in range(len(met.one)):
        one, two = int(rows[met.one[i]]), int(rows[met.two[i]])
        runs_together = bool(met.overlap_mm[i] > 0.0)
        if (one, two, runs_together) in said:
            continue
        said.add((one, two, runs_together))
        both_through = bool(is_through[one] and is_through[two])
        if one == two and is_through[one]:
            found.append(_finding("ART-140", Severity.HOLDS_PART, drawing, one, met.xy[i]))
        elif runs_together and operation[one] == operation[two]:
            other, length = drawing.ids[one], float(met.overlap_mm[i])
            limit = 10.0 * tolerance_mm
            found.append(
                _finding(
                    "ART-131", Severity.WARN, drawing, two, met.xy[i], length, limit, other=other
                )
            )
        elif both_through and drawing.paths.closed[one] and drawing.paths.closed[two]:
            other = drawing.ids[one]
            found.append(_finding("ART-141", Severity.WARN, drawing, two, met.xy[i], other=other))
    return found


def _nothing_to_cut(drawing: Drawing, operation: I64) -> list[Finding]:
    rows = np.flatnonzero(operation == NOTHING_TO_CUT).tolist()
    starts = drawing.paths.points[drawing.paths.starts[:-1]]
    return [_finding("ART-150", Severity.WARN, drawing, k, starts[k], 0.0, TINY_MM) for k in rows]


def _tiny(drawing: Drawing, operation: I64) -> list[Finding]:
    length = drawing.paths.lengths_mm()
    starts = drawing.paths.points[drawing.paths.starts[:-1]]
    rows = np.flatnonzero((operation >= 0) & (length < TINY_MM)).tolist()
    return [
        _finding("ART-151", Severity.WARN, drawing, k, starts[k], float(length[k]), TINY_MM)
        for k in rows
    ]
