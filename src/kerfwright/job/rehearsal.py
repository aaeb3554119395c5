"""A job rehearsed on the virtual table: printed, thrown, photographed, cut and measured.

The truth of the virtual sheet stays in this file. What the job sees are pictures only.
"""

from __future__ import annotations

import io
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from PIL import Image

from kerfwright import formats, program, virtual
from kerfwright.geometry.record import F64, Record
from kerfwright.job.context import JobContext, tools_of
from kerfwright.job.lay import furniture_of
from kerfwright.job.results import LayoutResult, PlacedContours, PlanResult, PrintResult
from kerfwright.job.store import Store
from kerfwright.model.marks import MarkLayout, Photo
from kerfwright.model.motion import ToolMotion
from kerfwright.model.table import Table

_LABEL_PX_PER_MM = 10.0
_ART_PX_PER_MM = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scenario(Record):
    """What happens to a sheet on the virtual table.

    Parameters
    ----------
    printer, throw, blemishes, optics
        As the virtual table takes them.
    head_error_mm : tuple of float
        How far each head truly is from where the job believes it, x and y [mm].
    repeat_sd_mm : float
        Repeatability of the gantry while cutting, per axis [mm].
    seed : int
        Draws everything that is drawn.
    """

    printer: virtual.Printer
    throw: virtual.Throw
    blemishes: virtual.Blemishes
    optics: virtual.Optics
    head_error_mm: tuple[float, float] = (0.0, 0.0)
    repeat_sd_mm: float = 0.0
    seed: int = 0


def photo_row(photo: Photo, name: str) -> Mapping[str, object]:
    """Return what `sheets.read_photos` wants to know of a picture."""
    x, y = photo.camera_xy_mm.tolist()
    return {
        "file": name,
        "x_mm": x,
        "y_mm": y,
        "px_per_mm": photo.px_per_mm,
        "turn_deg": math.degrees(photo.turn_rad),
        "taken_at": photo.taken_at,
    }


def photo_list(rows: Sequence[Mapping[str, object]]) -> bytes:
    """Return the list of pictures as it lies beside them."""
    return (json.dumps(list(rows), indent=1) + "\n").encode()


class VirtualCamera:
    """The camera of the virtual table; pictures of one sheet, in order."""

    def __init__(self, truth: virtual.Truth) -> None:
        self._truth = truth
        self._shot = 0

    def take(self, xy_mm: F64) -> tuple[Photo, bytes]:
        """Go to a place, table frame [mm]; return the picture as PNG and what is known of it."""
        image, photo = virtual.photograph(self._truth, xy_mm, shot=self._shot)
        self._shot += 1
        out = io.BytesIO()
        Image.fromarray(image).save(out, format="PNG", compress_level=1)
        return photo, out.getvalue()

    def first_view_mm(self) -> F64:
        """Return where a person would jog to so that the first mark is in the picture [mm]."""
        seen = [i for i in range(len(self._truth.marks_table_mm)) if i not in self._missing()]
        place: F64 = np.round(self._truth.marks_table_mm[seen[0]] / 5.0) * 5.0
        return place

    def _missing(self) -> tuple[int, ...]:
        return self._truth.blemishes.missing


def print_virtually(
    laid: LayoutResult,
    printed: PrintResult,
    scenario: Scenario,
    context: JobContext,
    store: Store,
) -> virtual.Truth:
    """Print the sheet from its own print file and throw it on the virtual table."""
    assert laid.marks is not None  # noqa: S101 - only sheets with marks are rehearsed
    sheet = context.job.choices.sheet
    return virtual.print_and_throw(
        laid.marks.xy,
        laid.marks.diameter_mm,
        sheet_box_mm=sheet.outline.box_mm(),
        printer=scenario.printer,
        throw=scenario.throw,
        blemishes=scenario.blemishes,
        optics=scenario.optics,
        patches=_patches(printed, laid.marks, context, store),
        seed=scenario.seed,
    )


def _patches(
    printed: PrintResult, marks: MarkLayout, context: JobContext, store: Store
) -> tuple[virtual.Patch, ...]:
    """Return the print file as grey pictures: all of it coarsely, the label finely."""
    data = store.get_blob(printed.without)
    sheet = context.job.choices.sheet
    boxes = (
        (sheet.outline.box_mm(), _ART_PX_PER_MM),
        (furniture_of(sheet).label_box_mm, _LABEL_PX_PER_MM),
    )
    patches = []
    for box, px_per_mm in boxes:
        colour = formats.render_page(data, px_per_mm=px_per_mm, box_mm=box)
        grey = np.asarray(Image.fromarray(colour).convert("L"))
        patches.append(
            virtual.Patch(xy0_mm=(box[0], box[1]), px_per_mm=px_per_mm, grey=np.array(grey))
        )
    art, label = patches
    return _without_marks(_without_label(art, label), marks), label


def _without_marks(art: virtual.Patch, marks: MarkLayout) -> virtual.Patch:
    """Return the coarse picture white at the marks; the virtual printer draws these itself."""
    grey = art.grey.copy()
    radius = (marks.diameter_mm / 2.0 + marks.quiet_mm / 2.0) * art.px_per_mm
    rows, columns = np.arange(grey.shape[0])[:, None], np.arange(grey.shape[1])[None, :]
    places = (marks.xy - art.xy0_mm) * art.px_per_mm
    for x, y in places.tolist():
        low, left = grey.shape[0] - 1 - y, x
        near = slice(max(int(low - radius) - 1, 0), int(low + radius) + 2)
        beside = slice(max(int(left - radius) - 1, 0), int(left + radius) + 2)
        inside = np.hypot(rows[near] - low, columns[:, beside] - left) <= radius
        grey[near, beside][inside] = 255
    return replace(art, grey=grey)


def _without_label(art: virtual.Patch, label: virtual.Patch) -> virtual.Patch:
    """Return the coarse picture white where the fine one lies; both would print twice."""
    grey = art.grey.copy()
    scale, height = art.px_per_mm, grey.shape[0]
    x0 = int((label.xy0_mm[0] - art.xy0_mm[0]) * scale)
    y0 = int((label.xy0_mm[1] - art.xy0_mm[1]) * scale)
    w = int(np.ceil(label.grey.shape[1] / label.px_per_mm * scale))
    h = int(np.ceil(label.grey.shape[0] / label.px_per_mm * scale))
    grey[max(height - y0 - h, 0) : height - y0, x0 : x0 + w] = 255
    return replace(art, grey=grey)


def cut_virtually(
    text: str,
    truth: virtual.Truth,
    nominal: PlacedContours,
    plan: PlanResult,
    scenario: Scenario,
    context: JobContext,
) -> virtual.CutMeasure:
    """Run a program's text on the virtual table and measure what was cut.

    Parameters
    ----------
    text : str
        The program as handed over.
    truth : virtual.Truth
        The sheet as it really lies.
    nominal : PlacedContours
        Every contour on the nominal sheet.
    plan : PlanResult
        What was planned: contours held back are not measured.
    scenario : Scenario
        Errors of the machine.
    context : JobContext
        Job and books.

    Returns
    -------
    virtual.CutMeasure
        One row per contour that was cut.
    """
    read = program.read_program(text, program.load_dialect(context.table.control))
    tools = tools_of(context)
    trace = virtual.cut_virtually(
        _table_motion(read, context.table),
        tools,
        thickness_mm=context.thickness_mm,
        head_error_mm=dict.fromkeys(tools, scenario.head_error_mm),
        repeat_sd_mm=scenario.repeat_sd_mm,
        seed=scenario.seed,
    )
    cut = set(plan.placed.contours)
    rows = np.flatnonzero([c in cut for c in nominal.contours])
    operations = [nominal.operations[o] for o in nominal.operation[rows].tolist()]
    return virtual.measure_cut(
        trace,
        truth,
        nominal.on_sheet.select(rows),
        [nominal.contours[k] for k in rows.tolist()],
        fidelity=[o.fidelity for o in operations],
        on_line=[o.side == "on" for o in operations],
        part=nominal.placement[rows],
    )


def _table_motion(read: ToolMotion, table: Table) -> ToolMotion:
    """Return a program as read with the head offsets taken out of its numbers."""
    if read.offsets_in == "control":
        return read
    heads: Mapping[int, F64] = {
        s.number: np.append(table.head(s.head_id).offset_mm, table.head(s.head_id).c_zero_rad)
        for s in table.stations
    }
    shift = np.array([heads.get(t, np.zeros(4)) for t in read.tool.tolist()]).reshape(-1, 4)
    start = read.start - (shift[0] if len(shift) else 0.0)
    return replace(
        read,
        start=start,
        end=read.end - shift,
        centre=read.centre - shift[:, :2],
        offsets_in="control",
    )
