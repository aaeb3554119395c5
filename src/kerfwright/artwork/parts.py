"""Contours inside contours become parts.

Closed through cuts are nested: at even depth a contour frees a part, at odd depth it is an opening
of the part around it. Every other line belongs to the part it lies in; one that lies in none is a
part of its own without outline.
"""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.containment import containment_forest
from kerfwright.geometry.record import BOOL, I64
from kerfwright.model.drawing import Drawing
from kerfwright.model.part import Part
from kerfwright.model.rules import RuleTable


def make_parts(drawing: Drawing, operation: I64, rules: RuleTable) -> tuple[Part, ...]:
    """Group the lines that have an operation into parts, in the order of the drawing.

    Parameters
    ----------
    drawing : Drawing
        K lines.
    operation : ndarray of shape (K,), int
        What `sort_lines` returned; lines below 0 are left out.
    rules : RuleTable
        Holds the operations.

    Returns
    -------
    tuple of Part
        Parts ``p1`` and on.
    """
    rows = np.flatnonzero(operation >= 0)
    if not rows.size:
        return ()
    paths = drawing.paths.select(rows)
    through = np.array([o.bounds_part for o in rules.operations], bool)
    frees = paths.closed & through[operation[rows]]
    holder = _holders(containment_forest(paths, tolerance_mm=drawing.fit_tolerance_mm), frees)
    owner = _owners(holder, frees)
    order = np.argsort(owner, kind="stable")
    cuts = np.flatnonzero(np.diff(owner[order])) + 1
    return tuple(
        _part(f"p{n + 1}", drawing, rows[group], operation, rules, outline)
        for n, (group, outline) in enumerate(
            (
                group,
                int(np.flatnonzero(group == owner[group[0]])[0]) if frees[owner[group[0]]] else -1,
            )
            for group in np.split(order, cuts)
        )
    )


def _holders(parent: I64, frees: BOOL) -> I64:
    """Return the smallest freeing contour around each line, -1 for none."""
    holder = parent.copy()
    for _ in range(len(parent)):
        skip = (holder >= 0) & ~frees[np.maximum(holder, 0)]
        if not skip.any():
            break
        holder[skip] = parent[holder[skip]]
    return holder


def _owners(holder: I64, frees: BOOL) -> I64:
    """Return the outline each line belongs to, or the line itself where it stands alone."""
    depth = np.zeros(len(holder), np.int64)
    at = holder.copy()
    while (at >= 0).any():
        depth += at >= 0
        at = np.where(at >= 0, holder[np.maximum(at, 0)], -1)
    own = np.arange(len(holder))
    is_outline = frees & (depth % 2 == 0)
    around = np.where(holder >= 0, holder, own)
    inside_part = (holder >= 0) & is_outline[around]
    return np.where(is_outline, own, np.where(inside_part, around, own))


def _part(
    part_id: str, drawing: Drawing, rows: I64, operation: I64, rules: RuleTable, outline: int
) -> Part:
    used = tuple(dict.fromkeys(operation[rows].tolist()))
    return Part(
        id=part_id,
        paths=drawing.paths.select(rows),
        contour_ids=tuple(drawing.ids[k] for k in rows.tolist()),
        operations=tuple(rules.operations[i] for i in used),
        operation=np.array([used.index(i) for i in operation[rows].tolist()], np.int64),
        outline=outline,
        art=drawing.art,
    )
