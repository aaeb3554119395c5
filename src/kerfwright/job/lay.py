"""Where parts, marks, label and arrow stand on the nominal sheet.

Parts are nested, marks placed in what is left over, and parts nested again around the marks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import pi

import numpy as np

from kerfwright import layout, registration
from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.paths import PathSet, empty_paths, join_sets, make_path
from kerfwright.job.context import JobContext
from kerfwright.job.place import lay_as_drawn
from kerfwright.job.progress import Progress
from kerfwright.job.results import Furniture, LayoutResult
from kerfwright.model.marks import MarkLayout
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout, Sheet

LABEL_MM = 40.0
"""Side of the sheet label with its quiet zone: modules of 0.8 mm at the longest text."""
ARROW_MM = (60.0, 16.0)
_EDGE_MM = 4.0
_QUARTERS = tuple(n * pi / 2.0 for n in range(4))


def lay_out(parts: Sequence[Part], context: JobContext, *, progress: Progress) -> LayoutResult:
    """Return where everything of the job stands on its sheet.

    Parameters
    ----------
    parts : sequence of Part
        Parts in the artwork frame.
    context : JobContext
        Job and books.
    progress : Progress
        Told at every step.

    Returns
    -------
    LayoutResult
        Placements, marks where the job has them, and findings about what found no place.
    """
    choices = context.job.choices
    if not choices.nest:
        drawn = lay_as_drawn(parts, choices.sheet)
        asked = tuple(_asked_more_often(part) for part in parts if part.quantity > 1)
        drawn = replace(drawn, findings=(*drawn.findings, *asked))
        return drawn if choices.marks is None else _with_marks(parts, drawn, context)
    turned = [replace(part, rotations_rad=_QUARTERS) for part in parts]
    if choices.marks is None:
        laid = _nest(turned, choices.sheet, context)
        wrong = layout.check_layout(turned, laid, spacing_mm=choices.spacing_mm)
        return LayoutResult(layout=laid, findings=tuple(wrong))
    furniture = furniture_of(choices.sheet)
    around = with_keep_outs(choices.sheet, furniture_paths(furniture))
    progress("layout", 0, 3)
    first = _nest(turned, around, context)
    progress("layout", 1, 3)
    marks = _marks(turned, first, around, context)
    progress("layout", 2, 3)
    second = _nest(turned, with_keep_outs(around, marks.zones), context)
    laid = replace(second, sheets=tuple(choices.sheet for _ in second.sheets))
    found = layout.check_layout(turned, second, spacing_mm=choices.spacing_mm)
    return LayoutResult(
        layout=laid, marks=marks, furniture=furniture, findings=(*found, *marks.findings)
    )


def furniture_of(sheet: Sheet) -> Furniture:
    """Return places for label and arrow at the operator's edge, away from the corners."""
    x0, y0, x1, _ = sheet.outline.box_mm()
    y = y0 + max(sheet.margin_mm, _EDGE_MM)
    left = x0 + 0.62 * (x1 - x0)
    return Furniture(
        label_box_mm=(left, y, left + LABEL_MM, y + LABEL_MM),
        arrow_xy_mm=(x0 + 0.4 * (x1 - x0), y),
    )


def furniture_paths(furniture: Furniture) -> PathSet:
    """Return the boxes of label and arrow as closed paths, sheet frame [mm]."""
    x, y = furniture.arrow_xy_mm
    w, h = ARROW_MM
    boxes = (furniture.label_box_mm, (x - w / 2.0, y, x + w / 2.0, y + h))
    return join_sets([_box_path(box) for box in boxes])


def with_keep_outs(sheet: Sheet, paths: PathSet) -> Sheet:
    """Return the sheet with more places that parts keep out of."""
    every = [paths] if not len(sheet.keep_outs) else [sheet.keep_outs, paths]
    return replace(sheet, keep_outs=join_sets(every))


def placed_outlines(parts: Sequence[Part], laid: Layout) -> PathSet:
    """Return the outline of each placement, or its lines where it has none, sheet frame [mm]."""
    sets = []
    for which, affine in zip(laid.part.tolist(), laid.sheet_from_part, strict=True):
        part = parts[which]
        paths = part.paths
        if part.outline >= 0:
            paths = paths.select(np.array([part.outline]))
        sets.append(paths.transformed(affine))
    return join_sets(sets) if sets else empty_paths()


def _box_path(box: tuple[float, float, float, float]) -> PathSet:
    x0, y0, x1, y1 = box
    return make_path([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], closed=True)


def _nest(parts: Sequence[Part], sheet: Sheet, context: JobContext) -> Layout:
    choices = context.job.choices
    return layout.nest(
        parts,
        [sheet],
        spacing_mm=choices.spacing_mm,
        time_limit_s=choices.layout_time_s,
        seed=context.job.seeds.get("layout", 0),
    )


def _marks(parts: Sequence[Part], laid: Layout, sheet: Sheet, context: JobContext) -> MarkLayout:
    how = context.job.choices.marks
    assert how is not None  # noqa: S101 - asked for by the caller
    limits = [o.tolerance_mm.print_mm for part in parts for o in part.operations]
    return registration.place_marks(
        sheet,
        placed_outlines(parts, laid),
        count=how.count,
        prior=how.prior,
        field_of_view_mm=how.field_of_view_mm,
        throw_rad=how.throw_rad,
        tolerance_mm=min(limits, default=None),
        keep_outs=sheet.keep_outs,
        face_down=how.face_down,
        diameter_mm=how.diameter_mm,
        seed=context.job.seeds.get("marks", 0),
    )


def _with_marks(parts: Sequence[Part], drawn: LayoutResult, context: JobContext) -> LayoutResult:
    sheet = context.job.choices.sheet
    furniture = furniture_of(sheet)
    around = with_keep_outs(sheet, furniture_paths(furniture))
    marks = _marks(parts, drawn.layout, around, context)
    return replace(
        drawn, marks=marks, furniture=furniture, findings=(*drawn.findings, *marks.findings)
    )


def _asked_more_often(part: Part) -> Finding:
    return Finding(
        code="JOB-112",
        severity=Severity.BLOCKS,
        where=Place(stage="layout"),
        measured=float(part.quantity),
        limit=1.0,
        params={"part": part.id},
    )
