"""What is wrong with a print: things over the edge or over a mark, art that was left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.formats.print.figures import Box, arrow_box_mm, module_mm
from kerfwright.formats.sheet_label import SheetLabel
from kerfwright.model.marks import MarkLayout
from kerfwright.model.sheet import Sheet

_STAGE: Final = "formats"
LEAST_MODULE_MM: Final = 0.5
"""Module of a QR code below which dirt and blur make reading unsure; common practice, no source."""
_PRINTED_STEPS: Final = ("White", "Varnish")
_SLACK_MM: Final = 1e-6
_LEFT_OUT: Final = {"step": "PRT-130", "ink": "PRT-132", "hidden": "PRT-133"}


def check_places(
    sheet: Sheet,
    *,
    marks: MarkLayout,
    label: SheetLabel,
    label_box_mm: Box,
    arrow_xy_mm: tuple[float, float],
) -> list[Finding]:
    """Return what lies over the sheet's edge, over a mark's quiet zone, or is too small."""
    outer = sheet.outline.box_mm()
    boxes = {"label": label_box_mm, "arrow": arrow_box_mm(label, arrow_xy_mm)}
    found = [*_marks_over_edge(sheet, outer, marks)]
    for what, box in boxes.items():
        over = _over(box, outer)
        if over > _SLACK_MM:
            found.append(_finding("PRT-111", sheet.id, over, 0.0, box[:2], what=what))
        found += _on_marks(sheet, what, box, marks)
    module = module_mm(label, label_box_mm)
    if module < LEAST_MODULE_MM:
        found.append(_finding("PRT-120", sheet.id, module, LEAST_MODULE_MM, label_box_mm[:2]))
    return found


def check_page(
    pages: Sequence[Mapping[str, Any]],
    *,
    boxes: Sequence[tuple[int, Box]],
    sheet: str,
    user_unit: int,
) -> list[Finding]:
    """Return what of the art was left out or is missing, page by page."""
    found: list[Finding] = []
    for i, page in enumerate(pages):
        where = Place(stage=_STAGE, file=page["name"], page=page["page"], sheet=sheet)
        found += [_left_out(where, *what) for what in page["left_out"]]
        if page["notes"]:
            found.append(_of_page("PRT-134", where, page["notes"]))
        over = max((_over(box, page["media_mm"]) for k, box in boxes if k == i), default=0.0)
        if over > _SLACK_MM:
            found.append(_of_page("PRT-141", where, over, 0.0, "mm"))
    if user_unit != 1:
        where = Place(stage=_STAGE, sheet=sheet)
        found.append(_of_page("PRT-140", where, float(user_unit), 1.0))
    return found


def _marks_over_edge(sheet: Sheet, outer: Box, marks: MarkLayout) -> list[Finding]:
    radius = marks.diameter_mm / 2.0
    low, high = np.array(outer[:2]), np.array(outer[2:])
    over = np.maximum(low + radius - marks.xy, marks.xy + radius - high).max(axis=1)
    rows = np.flatnonzero(over > _SLACK_MM)
    return [_finding("PRT-110", sheet.id, over[i], 0.0, marks.xy[i], mark=int(i) + 1) for i in rows]


def _on_marks(sheet: Sheet, what: str, box: Box, marks: MarkLayout) -> list[Finding]:
    nearest = np.clip(marks.xy, box[:2], box[2:])
    gap = np.hypot(*(marks.xy - nearest).T)
    limit = marks.diameter_mm / 2.0 + marks.quiet_mm
    rows = np.flatnonzero(gap < limit - _SLACK_MM)
    return [
        _finding("PRT-112", sheet.id, gap[i], limit, marks.xy[i], mark=int(i) + 1, what=what)
        for i in rows
    ]


def _over(box: Box, outer: Box) -> float:
    """Return how far a box reaches over another one [mm]; below 0 when it lies inside."""
    return max(outer[0] - box[0], outer[1] - box[1], box[2] - outer[2], box[3] - outer[3])


def _left_out(where: Place, kind: str, name: str, count: int) -> Finding:
    code = _LEFT_OUT[kind]
    if kind == "step" and name.partition("/")[0] in _PRINTED_STEPS:
        code = "PRT-131"
    severity = Severity.WARN if code == "PRT-131" else Severity.NOTE
    params: dict[str, str | int] = {"name": name, "count": count}
    return Finding(code=code, severity=severity, where=where, params=params)


def _finding(
    code: str,
    sheet: str,
    measured: float,
    limit: float,
    xy: Any,  # noqa: ANN401 - two numbers, array or tuple
    **params: str | float,
) -> Finding:
    grave = code in {"PRT-110", "PRT-111", "PRT-112"}
    return Finding(
        code=code,
        severity=Severity.BLOCKS if grave else Severity.WARN,
        where=Place(stage=_STAGE, sheet=sheet, xy_mm=(float(xy[0]), float(xy[1])), frame="sheet"),
        measured=float(measured),
        limit=limit,
        unit="mm",
        params=params,
    )


def _of_page(
    code: str, where: Place, measured: float, limit: float | None = None, unit: str = ""
) -> Finding:
    return Finding(
        code=code, severity=Severity.WARN, where=where, measured=measured, limit=limit, unit=unit
    )
