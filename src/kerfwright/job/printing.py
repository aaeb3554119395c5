"""Print files of the nominal sheet: one with cut lines as layers, one without."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from kerfwright import formats
from kerfwright.errors import Finding
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64, digest_of
from kerfwright.job.context import JobContext
from kerfwright.job.results import LayoutResult, PlacedContours, PrintResult
from kerfwright.job.store import Store
from kerfwright.model.operation import Operation, Process
from kerfwright.model.part import Part

_STEPS = {
    Process.CUTTING: "Structural/Cutting",
    Process.PARTIAL_CUTTING: "Structural/PartialCutting",
    Process.CREASING: "Structural/Creasing",
    Process.ROUTING: "Structural/Cutting",
}


def print_sheet(
    parts: Sequence[Part],
    laid: LayoutResult,
    placed: PlacedContours,
    inks: Sequence[str],
    context: JobContext,
    store: Store,
) -> PrintResult:
    """Return the print files of a sheet with marks; their bytes go to the store.

    Parameters
    ----------
    parts : sequence of Part
        Parts of the job.
    laid : LayoutResult
        Where they stand, with marks.
    placed : PlacedContours
        Their contours on the sheet.
    inks : sequence of str
        Inks of the customer's cut lines, which must not print.
    context : JobContext
        Job and books.
    store : Store
        Where files of the customer are, and print files go.

    Returns
    -------
    PrintResult
        Hashes of both files and what making them found.
    """
    if laid.marks is None or laid.furniture is None:
        return PrintResult()
    job, sheet = context.job, context.job.choices.sheet
    label = formats.SheetLabel(
        job=job.id, sheet=sheet.id, serial=0, side="front", marks=laid.marks.id
    )
    art = _placed_art(parts, laid, context, store)
    files, findings = [], []
    for with_cut_lines in (True, False):
        made = formats.compose_print(
            sheet=sheet,
            art=art,
            marks=laid.marks,
            cut_lines=_cut_layers(placed),
            label=label,
            label_box_mm=laid.furniture.label_box_mm,
            arrow_xy_mm=laid.furniture.arrow_xy_mm,
            title=f"{job.id} {sheet.id}",
            with_cut_lines=with_cut_lines,
            drop_separations=frozenset(inks),
        )
        files.append(store.put_blob(made.pdf))
        findings += [f for f in made.findings if f not in findings]
    return PrintResult(
        with_cut_lines=files[0],
        without=files[1],
        label=formats.label_text(label),
        findings=_once(findings),
    )


def _once(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    seen: dict[str, Finding] = {}
    for finding in findings:
        seen.setdefault(digest_of(finding), finding)
    return tuple(seen.values())


def _placed_art(
    parts: Sequence[Part], laid: LayoutResult, context: JobContext, store: Store
) -> list[formats.PlacedArt]:
    scales = {i.sha256: i.scale or 1.0 for i in context.job.inputs}
    names = {i.sha256: i.name for i in context.job.inputs}
    bytes_of: Mapping[str, bytes] = {
        sha: store.get_blob(sha) for sha in {p.art.sha256 for p in parts if p.art is not None}
    }
    placed = []
    for which, affine in zip(laid.layout.part.tolist(), laid.layout.sheet_from_part, strict=True):
        part = parts[which]
        if part.art is None:
            continue
        placed.append(
            formats.PlacedArt(
                file=bytes_of[part.art.sha256],
                page=part.art.page,
                box_mm=_art_box(part),
                sheet_from_artwork=affine,
                scale=scales[part.art.sha256],
                name=names[part.art.sha256],
            )
        )
    return placed


def _art_box(part: Part) -> tuple[float, float, float, float]:
    """Return the part of the art that belongs to a part: its lines' box and the bleed [mm]."""
    assert part.art is not None  # noqa: S101 - asked for by the caller
    lines = part.paths.box_mm()
    x0, y0, x1, y1 = part.art.box_mm
    grown = part.bleed_mm
    return (
        max(x0, lines[0] - grown),
        max(y0, lines[1] - grown),
        min(x1, lines[2] + grown),
        min(y1, lines[3] + grown),
    )


def _cut_layers(placed: PlacedContours) -> list[formats.CutLayer]:
    layers = []
    for i, operation in enumerate(placed.operations):
        rows = np.flatnonzero(placed.operation == i)
        if rows.size:
            layers.append(_layer(operation, placed.on_sheet.select(rows)))
    return layers


def _layer(operation: Operation, paths: PathSet) -> formats.CutLayer:
    return formats.CutLayer(
        name=operation.id,
        step=_STEPS[operation.process],
        separation=f"Cut-{operation.id}",
        paths=paths,
    )


def bleed_of(outline_box: Sequence[float], art_box: Sequence[float]) -> float:
    """Return by how much art reaches over an outline's box, at its narrowest side [mm]."""
    low: F64 = np.array(outline_box[:2]) - np.array(art_box[:2])
    high: F64 = np.array(art_box[2:]) - np.array(outline_box[2:])
    return max(float(min(low.min(), high.min())), 0.0)
