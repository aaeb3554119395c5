"""The exact check of a layout: distances of outlines, and nothing one inside another.

It shares no code with the search beyond what a part's outline is. Arcs stay arcs wherever a
distance is wanted; only where outlines may touch (no distance is wanted) overlaps are measured
as areas, with chords.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.containment import containment_forest, contains_points
from kerfwright.geometry.distance import distances_mm, pairs_within
from kerfwright.geometry.flatten import flatten
from kerfwright.geometry.paths import PathSet, join_sets
from kerfwright.geometry.record import F64, I64
from kerfwright.layout.outlines import gap_wanted_mm, has_outline, outline_of, turn_matrix
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout, Sheet

_CHORD_MM = 1e-4


def check_layout(
    parts: Sequence[Part],
    layout: Layout,
    *,
    spacing_mm: float,
    tolerance_mm: float = 1e-6,
) -> list[Finding]:
    """Return what is wrong with a layout, and which copies have no place.

    Parameters
    ----------
    parts : sequence of Part
        The parts the layout was made of.
    layout : Layout
        The layout.
    spacing_mm : float
        Least distance between outlines [mm].
    tolerance_mm : float, default 1e-6
        How much nearer is still right [mm].

    Returns
    -------
    list of Finding
        Parts too near one another (LAY-120), over the margin of the sheet or a hole (LAY-121), on
        a keep-out (LAY-122), copies without a place (LAY-110 larger than every sheet used,
        LAY-111 no room left), parts kept by their box (LAY-130).
    """
    found: list[Finding] = []
    for s, sheet in enumerate(layout.sheets):
        rows = np.flatnonzero(layout.sheet == s)
        found += _check_sheet(parts, layout, rows, sheet, spacing_mm, tolerance_mm)
    found += _unplaced(parts, layout)
    found += [_finding("LAY-130", Severity.NOTE, part=p.id) for p in parts if not has_outline(p)]
    return found


def _check_sheet(
    parts: Sequence[Part],
    layout: Layout,
    rows: I64,
    sheet: Sheet,
    spacing_mm: float,
    tolerance_mm: float,
) -> Iterator[Finding]:
    own = [parts[p] for p in layout.part[rows].tolist()]
    outlines = join_sets(
        outline_of(p).transformed(m) for p, m in zip(own, layout.sheet_from_part[rows], strict=True)
    )
    if not len(outlines):
        return
    bleeds = np.array([p.bleed_mm for p in own])
    middles = (outlines.bounds_mm()[:, :2] + outlines.bounds_mm()[:, 2:]) / 2.0
    for i, j, gap, wanted in _too_near(outlines, bleeds, spacing_mm, tolerance_mm):
        yield _finding(
            "LAY-120",
            Severity.BLOCKS,
            sheet=sheet,
            xy=middles[i],
            measured=gap,
            limit=wanted,
            part=own[i].id,
            other=own[j].id,
        )
    margin = np.full(len(own), sheet.margin_mm)
    for code, solids, gaps, is_free in (
        ("LAY-121", sheet.outline, margin, True),
        ("LAY-121", sheet.holes, margin, False),
        ("LAY-122", sheet.keep_outs, bleeds, False),
    ):
        for i, gap in _off_limits(outlines, solids, gaps, tolerance_mm, is_free=is_free):
            yield _finding(
                code,
                Severity.BLOCKS,
                sheet=sheet,
                xy=middles[i],
                measured=gap,
                limit=float(gaps[i]),
                part=own[i].id,
            )


def _too_near(
    outlines: PathSet, bleeds: F64, spacing_mm: float, tolerance_mm: float
) -> Iterator[tuple[int, int, float, float]]:
    """Yield pairs that are nearer than wanted, with the distance (0 for overlaps) and the wish."""
    most = gap_wanted_mm(spacing_mm, *np.resize(np.sort(bleeds)[::-1], 2).tolist())
    pairs, gaps = pairs_within(outlines, most + tolerance_mm)
    for (i, j), gap in zip(pairs.tolist(), gaps.tolist(), strict=True):
        wanted = gap_wanted_mm(spacing_mm, float(bleeds[i]), float(bleeds[j]))
        if gap < wanted - tolerance_mm or (
            gap <= tolerance_mm and _overlap(outlines, i, outlines, j, tolerance_mm)
        ):
            yield i, j, gap, wanted
    parents = containment_forest(outlines, tolerance_mm=tolerance_mm)
    for i in np.flatnonzero(parents >= 0).tolist():
        j = int(parents[i])
        yield i, j, 0.0, gap_wanted_mm(spacing_mm, float(bleeds[i]), float(bleeds[j]))


def _off_limits(
    outlines: PathSet, others: PathSet, wanted: F64, tolerance_mm: float, *, is_free: bool
) -> Iterator[tuple[int, float]]:
    """Yield outlines that come too near to paths, or lie on their wrong side.

    Allowed is the inside of the paths where `is_free`, else their outside.
    """
    count = len(outlines)
    both = join_sets((outlines, others))
    for k in range(len(others)):
        pairs = np.column_stack((np.arange(count), np.full(count, count + k)))
        gaps = distances_mm(both, pairs)
        first = outlines.points[outlines.starts[:-1]]
        inside = contains_points(others.select([k]), first)
        for i, gap in enumerate(gaps.tolist()):
            if gap <= tolerance_mm and wanted[i] <= tolerance_mm:
                wrong = _overlap(outlines, i, others, k, tolerance_mm, is_free=is_free)
            elif is_free:
                wrong = not inside[i]
            else:
                around = contains_points(outlines.select([i]), others.points[others.starts[[k]]])
                wrong = bool(inside[i]) or bool(around[0])
            if wrong or gap < wanted[i] - tolerance_mm:
                yield i, 0.0 if wrong else gap


def _overlap(
    some: PathSet, i: int, others: PathSet, j: int, tolerance_mm: float, *, is_free: bool = False
) -> bool:
    """Return whether two touching shapes overlap deeper than the tolerance.

    With `is_free` the first one must lie inside the second.
    """
    one, two = some.select([i]), others.select([j])
    chord = 0.0 if not (one.bulges.any() or two.bulges.any()) else _CHORD_MM
    a, b = (shapely.Polygon(flatten(p, tolerance_mm=_CHORD_MM).points) for p in (one, two))
    wrong = a.difference(b) if is_free else a.intersection(b)
    # area over half the outline: what a thin strip is deep
    return bool(wrong.area > (tolerance_mm + chord) * wrong.length / 2.0)


def _unplaced(parts: Sequence[Part], layout: Layout) -> Iterator[Finding]:
    by_id = {p.id: p for p in parts}
    for name, count in Counter(layout.unplaced).items():
        part = by_id[name]
        too_large = bool(layout.sheets) and not any(_may_fit(part, s) for s in layout.sheets)
        yield _finding(
            "LAY-110" if too_large else "LAY-111",
            Severity.HOLDS_PART,
            part=name,
            count=count,
            wanted=part.quantity,
        )


def _may_fit(part: Part, sheet: Sheet) -> bool:
    """Return whether a part's box in one of its turns is no larger than the sheet's free box."""
    outline = outline_of(part)
    room = np.ptp(sheet.outline.bounds_mm()[0].reshape(2, 2), axis=0) - 2.0 * sheet.margin_mm
    for turn in part.rotations_rad:
        turned = outline.transformed(np.column_stack((turn_matrix(turn), np.zeros(2))))
        if (np.ptp(turned.bounds_mm()[0].reshape(2, 2), axis=0) <= room + 1e-6).all():
            return True
    return False


def _finding(
    code: str,
    severity: Severity,
    *,
    sheet: Sheet | None = None,
    xy: F64 | None = None,
    measured: float | None = None,
    limit: float | None = None,
    **params: str | float,
) -> Finding:
    return Finding(
        code=code,
        severity=severity,
        where=Place(
            stage="layout",
            sheet=None if sheet is None else sheet.id,
            xy_mm=None if xy is None else (float(xy[0]), float(xy[1])),
            frame="sheet",
        ),
        measured=measured,
        limit=limit,
        unit="" if measured is None else "mm",
        params=params,
    )
