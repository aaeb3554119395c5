"""Cut lines of a printed page, told apart from the lines of its art."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright.artwork.sorting import features_of, rule_of
from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.containment import containment_forest
from kerfwright.geometry.record import BOOL
from kerfwright.model.drawing import Drawing
from kerfwright.model.rules import RuleTable


def drop_printed_art(drawing: Drawing, rules: RuleTable) -> tuple[Drawing, tuple[Finding, ...]]:
    """Return a printed page with its cut lines only.

    A line is art where nothing sets it apart: no rule names it, it belongs to no processing step,
    and it is painted in no ink of its own. A line with a step or an ink that no rule names stays,
    so that it is asked for.

    Parameters
    ----------
    drawing : Drawing
        The page as read. One without art, as from a DXF file, comes back as it is.
    rules : RuleTable
        The rules.

    Returns
    -------
    drawing : Drawing
        The page without lines of art.
    findings : tuple of Finding
        How many lines were taken for art.
    """
    if drawing.art is None or not len(drawing.paths):
        return drawing, ()
    keep = _is_set_apart(drawing, rules)
    dropped = int(np.count_nonzero(~keep))
    if not dropped:
        return drawing, ()
    note = Finding(
        code="ART-160",
        severity=Severity.NOTE,
        where=Place(stage="artwork", page=drawing.art.page),
        params={"count": dropped, "left": int(np.count_nonzero(keep))},
    )
    return select_lines(drawing, keep), (note,)


def _is_set_apart(drawing: Drawing, rules: RuleTable) -> BOOL:
    decided: dict[tuple[str, ...], bool] = {}
    out = np.zeros(len(drawing.paths), bool)
    for k in range(len(drawing.paths)):
        features = features_of(drawing, k)
        if features not in decided:
            named = bool(drawing.step[k] or drawing.separation[k])
            decided[features] = named or rule_of(features, rules) is not None
        out[k] = decided[features]
    return out


def select_lines(drawing: Drawing, keep: BOOL) -> Drawing:
    """Return the drawing with the lines of a mask (K,), ids as they were."""
    paths = drawing.paths.select(np.flatnonzero(keep))
    rows = np.flatnonzero(keep).tolist()
    return replace(
        drawing,
        paths=paths,
        ids=tuple(drawing.ids[k] for k in rows),
        source=tuple(drawing.source[k] for k in rows),
        layer=tuple(drawing.layer[k] for k in rows),
        separation=tuple(drawing.separation[k] for k in rows),
        step=tuple(drawing.step[k] for k in rows),
        stroke=tuple(drawing.stroke[k] for k in rows),
        parent=containment_forest(paths, tolerance_mm=drawing.fit_tolerance_mm),
    )
