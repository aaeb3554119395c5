"""The print file of one sheet: placed art, marks, label, arrow, and cut lines as layers.

The page is in millimetres of the sheet frame through one matrix; its trim box is the sheet's
box. Customers' pages are placed as forms: each is made once, with what must not print taken out
(steps of ISO 19593-1, hidden layers, given inks), in a process with limits of time and memory.
Equal input gives equal bytes: the file holds no date, and its id follows from its content.
"""

from __future__ import annotations

import tempfile
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from math import ceil
from pathlib import Path
from typing import Any, Final

from kerfwright.errors import UsageError
from kerfwright.formats.child import run_reader
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.print.checks import check_page, check_places
from kerfwright.formats.print.figures import (
    Box,
    arrow_box_mm,
    arrow_operators,
    box_path,
    label_operators,
    mark_operators,
)
from kerfwright.formats.print.lines import path_operators
from kerfwright.formats.print.numbers import number, numbers
from kerfwright.formats.print.records import CutLayer, PlacedArt, PrintFile
from kerfwright.formats.sheet_label import SheetLabel
from kerfwright.geometry.paths import PathSet, join_sets
from kerfwright.model.marks import MarkLayout
from kerfwright.model.sheet import Sheet
from kerfwright.units import MM_PER_INCH

_ASSEMBLE: Final = "kerfwright.formats.print.assemble:assemble"
_MOST_UNITS: Final = 14400.0  # ISO 32000-1, annex C: largest page side in units of the page
_UNITS_PER_MM: Final = 72.0 / MM_PER_INCH
_LINE_MM: Final = 0.25


def compose_print(
    *,
    sheet: Sheet,
    art: Sequence[PlacedArt],
    marks: MarkLayout,
    cut_lines: Sequence[CutLayer],
    label: SheetLabel,
    label_box_mm: Box,
    arrow_xy_mm: tuple[float, float],
    title: str,
    with_cut_lines: bool,
    bleed_mm: float = 0.0,
    drop_separations: Collection[str] = (),
    limits: ReadLimits | None = None,
) -> PrintFile:
    """Make the print file of one sheet.

    Parameters
    ----------
    sheet : Sheet
        The nominal sheet; the box of its outline is the trim box.
    art : sequence of PlacedArt
        Art, painted in this order.
    marks : MarkLayout
        Marks, painted in one ink over a white disc that holds the quiet zone.
    cut_lines : sequence of CutLayer
        Lines, each layer with its step and ink.
    label : SheetLabel
        What the QR code says.
    label_box_mm : tuple of float
        x0, y0, x1, y1 of the QR code with its quiet zone, in the sheet frame [mm].
    arrow_xy_mm : tuple of float
        Tip of the arrow that points at the operator's edge, in the sheet frame [mm].
    title : str
        Title of the document.
    with_cut_lines : bool
        False leaves every cut layer out.
    bleed_mm : float, default 0
        Art printed beyond the sheet's edge on all sides [mm].
    drop_separations : collection of str
        Inks of the art that are left out: the customer's cut lines.
    limits : ReadLimits, optional
        What reading the art may use up.

    Returns
    -------
    PrintFile
        The file and its findings.

    Raises
    ------
    UnreadableError
        If a file of the art is damaged, wants a password or has no such page.
    OutOfResourcesError
        If a limit was reached.
    UsageError
        If a box is empty, or a line is a single point.
    """
    page = _Page.of(sheet, bleed_mm)
    _require_box(label_box_mm)
    layers = tuple(cut_lines) if with_cut_lines else ()
    forms = _Forms.of(art)
    content = [
        *page.operators(),
        *(row for placed in art for row in _art_operators(placed, forms.index(placed))),
        *mark_operators(marks),
        *label_operators(label, label_box_mm),
        *arrow_operators(label, arrow_xy_mm),
        *_layer_operators(layers),
    ]
    request = {
        "media": page.media,
        "trim": page.trim,
        "user_unit": page.user_unit,
        "title": title,
        "content": "\n".join(content) + "\n",
        "forms": forms.pages,
        "drop": sorted(drop_separations),
        "layers": [{"name": w.name, "step": w.step, "separation": w.separation} for w in layers],
    }
    pdf, pages = _assembled(request, forms.files, limits or ReadLimits(), sheet)
    places = check_places(
        sheet, marks=marks, label=label, label_box_mm=label_box_mm, arrow_xy_mm=arrow_xy_mm
    )
    boxes = [(forms.index(placed), _unscaled(placed)) for placed in art]
    said = check_page(pages, boxes=boxes, sheet=sheet.id, user_unit=page.user_unit)
    return PrintFile(pdf=pdf, findings=(*places, *said))


def print_pdf(
    *,
    sheet: Sheet,
    art: Sequence[PlacedArt],
    marks: MarkLayout,
    cut_lines: Sequence[CutLayer],
    label: SheetLabel,
    label_box_mm: Box,
    arrow_xy_mm: tuple[float, float],
    title: str,
    with_cut_lines: bool,
    bleed_mm: float = 0.0,
    drop_separations: Collection[str] = (),
    limits: ReadLimits | None = None,
) -> bytes:
    """Return the file that `compose_print` makes of the same arguments, without its findings."""
    made = compose_print(
        sheet=sheet,
        art=art,
        marks=marks,
        cut_lines=cut_lines,
        label=label,
        label_box_mm=label_box_mm,
        arrow_xy_mm=arrow_xy_mm,
        title=title,
        with_cut_lines=with_cut_lines,
        bleed_mm=bleed_mm,
        drop_separations=drop_separations,
        limits=limits,
    )
    return made.pdf


def print_keep_outs(
    label: SheetLabel, *, label_box_mm: Box, arrow_xy_mm: tuple[float, float]
) -> PathSet:
    """Return the boxes of label and arrow, which parts and marks keep out of.

    Parameters
    ----------
    label : SheetLabel
        The label; the words beside the arrow depend on it.
    label_box_mm, arrow_xy_mm : tuple of float
        As `compose_print` takes them [mm].
    """
    return join_sets([box_path(label_box_mm), box_path(arrow_box_mm(label, arrow_xy_mm))])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Page:
    """Boxes in units of the page, and the matrix from millimetres of the sheet."""

    media: Box
    trim: Box
    user_unit: int
    matrix: tuple[float, ...]

    @classmethod
    def of(cls, sheet: Sheet, bleed_mm: float) -> _Page:
        if not 0.0 <= bleed_mm < float("inf"):
            msg = f"a bleed of {bleed_mm} mm was asked for; it must be 0 or more"
            raise UsageError(msg)
        x0, y0, x1, y1 = sheet.outline.box_mm()
        wide, high = (x1 - x0 + 2.0 * bleed_mm), (y1 - y0 + 2.0 * bleed_mm)
        user_unit = max(1, ceil(max(wide, high) * _UNITS_PER_MM / _MOST_UNITS))
        k = _UNITS_PER_MM / user_unit
        edge = bleed_mm * k
        return cls(
            media=_rounded(0.0, 0.0, wide * k, high * k),
            trim=_rounded(edge, edge, wide * k - edge, high * k - edge),
            user_unit=user_unit,
            matrix=(k, 0.0, 0.0, k, (bleed_mm - x0) * k, (bleed_mm - y0) * k),
        )

    def operators(self) -> list[str]:
        return [numbers(self.matrix, 15) + " cm"]


class _Forms:
    """Files and pages of the art, each once, in the order they are first placed."""

    def __init__(self) -> None:
        self.files: list[bytes] = []
        self.pages: list[dict[str, Any]] = []
        self._file_index: dict[str, int] = {}
        self._page_index: dict[tuple[str, int], int] = {}
        self._hashes: dict[int, str] = {}

    @classmethod
    def of(cls, art: Sequence[PlacedArt]) -> _Forms:
        forms = cls()
        for placed in art:
            forms._add(placed)
        return forms

    def index(self, placed: PlacedArt) -> int:
        return self._page_index[self._hash(placed), placed.page]

    def _add(self, placed: PlacedArt) -> None:
        key = self._hash(placed)
        if key not in self._file_index:
            self._file_index[key] = len(self.files)
            self.files.append(placed.file)
        if (key, placed.page) not in self._page_index:
            self._page_index[key, placed.page] = len(self.pages)
            file = self._file_index[key]
            self.pages.append({"file": file, "page": placed.page, "name": placed.name})

    def _hash(self, placed: PlacedArt) -> str:
        # the same bytes object is placed many times; its id holds while the art is held
        known = self._hashes.get(id(placed.file))
        if known is None:
            known = self._hashes[id(placed.file)] = sha256(placed.file).hexdigest()
        return known


def _art_operators(placed: PlacedArt, form: int) -> list[str]:
    (a, c, e), (b, d, f) = placed.sheet_from_artwork
    x0, y0, x1, y1 = placed.box_mm
    rows = ["q", numbers((a, b, c, d, e, f), 12) + " cm"]
    if placed.clip is not None:
        rows += [*path_operators(placed.clip), "W n"]
    rows.append(numbers((x0, y0, x1 - x0, y1 - y0)) + " re W n")
    if placed.scale != 1.0:
        rows.append(numbers((placed.scale, 0.0, 0.0, placed.scale, 0.0, 0.0), 12) + " cm")
    return [*rows, f"/F{form} Do", "Q"]


def _layer_operators(layers: Sequence[CutLayer]) -> list[str]:
    inks = {ink: i for i, ink in enumerate(dict.fromkeys(w.separation for w in layers))}
    rows: list[str] = []
    for i, layer in enumerate(layers):
        rows += [f"/OC /L{i} BDC", "q /Over gs", f"/I{inks[layer.separation]} CS 1 SCN"]
        rows += [f"{number(_LINE_MM)} w 1 J 1 j", *path_operators(layer.paths)]
        rows += ["S", "Q", "EMC"]
    return rows


def _assembled(
    request: Mapping[str, object], files: Sequence[bytes], limits: ReadLimits, sheet: Sheet
) -> tuple[bytes, list[dict[str, Any]]]:
    with tempfile.TemporaryDirectory(prefix="print-") as folder:
        paths = []
        for i, content in enumerate(files):
            path = Path(folder, f"{i}.pdf")
            path.write_bytes(content)
            paths.append(str(path))
        out = Path(folder, "print.pdf")
        task = {**request, "files": paths, "out": str(out)}
        header, _ = run_reader(_ASSEMBLE, task, file=f"print of {sheet.id}", limits=limits)
        return out.read_bytes(), header["pages"]


def _unscaled(placed: PlacedArt) -> Box:
    x0, y0, x1, y1 = (v / placed.scale for v in placed.box_mm)
    return x0, y0, x1, y1


def _rounded(*box: float) -> Box:
    x0, y0, x1, y1 = (round(v, 6) for v in box)
    return x0, y0, x1, y1


def _require_box(box_mm: Box) -> None:
    x0, y0, x1, y1 = box_mm
    if not (x0 < x1 and y0 < y1):
        msg = f"the label box {box_mm} mm is empty; give x0, y0, x1, y1 with x0 < x1 and y0 < y1"
        raise UsageError(msg)
