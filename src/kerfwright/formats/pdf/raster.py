"""Render one page in the rendering process: pdfium paints, this project says where.

pdfium aborts its process on forms that hold themselves or double without end, so the content is
walked first, by the machine that reads lines, whenever forms hold forms. It also takes the size
of a page without UserUnit; therefore every pixel is placed by this project's own matrix, and
boxes and turn are taken out of the page before pdfium sees it.
"""

from __future__ import annotations

import io
from collections.abc import Collection, Mapping
from math import ceil, floor
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pypdfium2
import pypdfium2.raw as pdfium
from numpy.typing import NDArray

from kerfwright.errors import OutOfResourcesError, UnreadableError
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.document import OpenPage, Streams, open_page
from kerfwright.formats.pdf.layers import Layers
from kerfwright.formats.pdf.page import PageFrame, frame_of
from kerfwright.formats.pdf.reader import run_content
from kerfwright.formats.pdf.store import Store
from kerfwright.formats.pdf.values import (
    Matrix,
    entry,
    identity,
    inherited,
    is_dictionary,
    is_stream,
    items_of,
    name_bytes,
    product,
)
from kerfwright.formats.text import printable


def render(request: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Render a page.

    Parameters
    ----------
    request : mapping
        ``path``, ``file``, ``page``, ``px_per_mm``, ``box_mm`` or None, ``hidden_layers``,
        ``scale`` and ``limits``.
    """
    file, limits = str(request["file"]), ReadLimits(**request["limits"])
    notes = Notes()
    opened = open_page(
        Path(request["path"]), file=file, page=request["page"], limits=limits, notes=notes
    )
    frame = frame_of(opened.page, scale=request["scale"], file=file, notes=notes)
    box = tuple(request["box_mm"] or (0.0, 0.0, *frame.size_mm))
    size = size_px(box, request["px_per_mm"], file=file, limits=limits)
    _refuse_endless(opened, frame, file=file, limits=limits)
    missing = _hide(opened, request["hidden_layers"])
    pixels = _painted(opened, frame, box, request["px_per_mm"], size, file=file)
    return {"missing": missing}, {"pixels": pixels}


def size_px(
    box: tuple[float, ...], px_per_mm: float, *, file: str, limits: ReadLimits
) -> tuple[int, int]:
    """Return width and height of the picture of a box, whole pixels, at least one each.

    Raises
    ------
    OutOfResourcesError
        If it has more pixels than the limit.
    """
    sides = [(box[2] - box[0]) * px_per_mm, (box[3] - box[1]) * px_per_mm]
    # a side that is whole but for rounding is that whole number
    width, height = (max(ceil(round(min(s, 1e9), 6)), 1) for s in sides)
    if width * height > limits.pixels:
        msg = (
            f"{file}: a picture of {width} x {height} pixels was asked for, limit "
            f"{limits.pixels} in all; ask for fewer pixels per mm or a smaller box"
        )
        raise OutOfResourcesError(msg)
    return width, height


def _refuse_endless(opened: OpenPage, frame: PageFrame, *, file: str, limits: ReadLimits) -> None:
    """Refuse content that unpacks without end, and forms that hold themselves or double.

    Only where forms hold forms is the content run, with nothing kept; else unpacking is enough.
    """
    resources = inherited(opened.page, "/Resources")
    forms = _values(entry(resources, "/XObject")) + _values(entry(resources, "/Pattern"))
    if any(_values(entry(entry(f, "/Resources"), "/XObject")) for f in forms):
        store = Store(file, limits, keeps=False)
        run_content(opened, frame, store, file=file, limits=limits, notes=Notes())
        return
    streams = Streams(file, limits)
    streams.page_content(opened.page)
    for form in forms:
        if is_stream(form) and name_bytes(entry(form, "/Subtype")) != b"Image":
            streams.decoded(form, "a form of the page")


def _values(dictionary: Any) -> list[Any]:  # noqa: ANN401 - whatever the file holds
    if not is_dictionary(dictionary):
        return []
    return [v for key in dictionary.keys() if is_dictionary(v := dictionary[key])]  # noqa: SIM118


def _hide(opened: OpenPage, names: Collection[str]) -> list[str]:
    """Switch layers off in the open file; return the names that no layer has."""
    wanted, found = set(names), set()
    properties = entry(opened.pdf.Root, "/OCProperties")
    layers = Layers(opened.pdf.Root, Notes())
    off = []
    for group in items_of(entry(properties, "/OCGs")):
        layer = layers.layer_of(group)
        if layer is not None and layer.name in wanted and identity(group) is not None:
            found.add(layer.name)
            off.append(group)
    if off:
        _switch_off(properties, off)
    return sorted(wanted - found)


def _switch_off(properties: Any, off: list[Any]) -> None:  # noqa: ANN401
    start = entry(properties, "/D")
    if not is_dictionary(start):
        start = properties["/D"] = pikepdf.Dictionary()
    keys = {identity(g) for g in off}
    kept = [g for g in items_of(entry(start, "/ON")) if identity(g) not in keys]
    for group in off:
        if "/Usage" in group:  # by its usage pdfium would show it all the same
            del group["/Usage"]
    start["/ON"] = pikepdf.Array(kept)
    start["/OFF"] = pikepdf.Array([*items_of(entry(start, "/OFF")), *off])


def _painted(
    opened: OpenPage,
    frame: PageFrame,
    box: tuple[float, ...],
    px_per_mm: float,
    size: tuple[int, int],
    *,
    file: str,
) -> NDArray[np.uint8]:
    """Return the picture of a box, row 0 on top."""
    x0, y0, x1, y1 = frame.media
    # pdfium rounds the size of the page down to whole units: it gets whole ones
    whole = (floor(x0), floor(y0), ceil(x1), ceil(y1))
    width, height = size
    try:
        document = pypdfium2.PdfDocument(_alone(opened, whole))
        page = document[0]
    except (pikepdf.PdfError, pypdfium2.PdfiumError, ValueError, RuntimeError) as error:
        msg = f"{file}: the page cannot be rendered ({printable(str(error))[:100]}); export it anew"
        raise UnreadableError(msg) from None
    bitmap = pypdfium2.PdfBitmap.new_native(width, height, pdfium.FPDFBitmap_BGRx)
    bitmap.fill_rect((255, 255, 255, 255), 0, 0, width, height)
    matrix = pdfium.FS_MATRIX(*_px_from_display(frame, box, px_per_mm, height, whole))
    clip = pdfium.FS_RECTF(0.0, 0.0, float(width), float(height))
    pdfium.FPDF_RenderPageBitmapWithMatrix(bitmap, page, matrix, clip, 0)
    pixels = bitmap.to_numpy()[:, :, 2::-1].copy()
    page.close()
    document.close()
    return np.asarray(pixels, dtype=np.uint8)


def _px_from_display(
    frame: PageFrame,
    box: tuple[float, ...],
    px_per_mm: float,
    height: int,
    whole: tuple[int, ...],
) -> Matrix:
    """Return the matrix from pdfium's page, y down from its top left corner, to pixels."""
    user_from_display = (1.0, 0.0, 0.0, -1.0, float(whole[0]), float(whole[3]))
    s = px_per_mm
    px_from_mm = (s, 0.0, 0.0, -s, -box[0] * s, height + box[1] * s)
    return product(product(user_from_display, frame.mm_from_user), px_from_mm)


def _alone(opened: OpenPage, whole: tuple[int, ...]) -> bytes:
    """Return a file of this page only, unturned, without unit, its layers kept."""
    page = opened.page
    for key in ("/UserUnit", "/TrimBox", "/BleedBox", "/ArtBox", "/Annots"):
        if key in page:
            del page[key]
    page["/MediaBox"] = page["/CropBox"] = pikepdf.Array(whole)
    page["/Rotate"] = 0
    if (resources := inherited(page, "/Resources")) is not None:
        page["/Resources"] = resources
    alone = pikepdf.new()
    alone.pages.append(pikepdf.Page(page))
    properties = entry(opened.pdf.Root, "/OCProperties")
    if properties is not None:
        alone.Root["/OCProperties"] = alone.copy_foreign(opened.pdf.make_indirect(properties))
    buffer = io.BytesIO()
    alone.save(buffer, compress_streams=False)
    return buffer.getvalue()
