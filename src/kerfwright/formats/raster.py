"""What runs in the limited process: one page of a PDF file drawn as a picture."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil, floor, hypot
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pypdfium2

from kerfwright.errors import OutOfResourcesError, UnreadableError
from kerfwright.formats.pdf.notes import Notes
from kerfwright.formats.pdf.page import frame_of, mapped_box
from kerfwright.formats.pdf.values import inherited, numbers

_MOST_PIXELS = 200_000_000


def raster(request: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return a page as red, green, blue, row 0 on top."""
    path, file, page = Path(request["path"]), request["file"], request["page"]
    crop_mm, box_mm, unit_mm = _boxes(path, file, page, request["scale"], request["box_mm"])
    per_unit = request["px_per_mm"] * unit_mm
    left, bottom, right, top = _margins_px(crop_mm, box_mm, request["px_per_mm"])
    document = pypdfium2.PdfDocument(path)
    try:
        canvas = document[page - 1]
        picture = canvas.render(
            scale=per_unit,
            crop=tuple(px / per_unit for px in (left, bottom, right, top)),
            fill_color=(255, 255, 255, 255),
            rev_byteorder=True,
        )
        colour = np.ascontiguousarray(picture.to_numpy()[:, :, :3])
    finally:
        document.close()
    return {"file": file}, {"colour": colour}


def _boxes(
    path: Path, file: str, page: int, scale: float, wanted: list[float] | None
) -> tuple[tuple[float, ...], tuple[float, ...], float]:
    """Return what the canvas shows and what is wanted, artwork frame, and mm of a canvas unit."""
    try:
        with pikepdf.open(path) as document:
            count = len(document.pages)
            if not 1 <= page <= count:
                msg = f"{file}: page {page} was asked for, the file has {count}"
                raise UnreadableError(msg)
            one = document.pages[page - 1].obj
            frame = frame_of(one, scale=scale, file=file, notes=Notes())
            crop = numbers(inherited(one, "/CropBox"), 4) or frame.media
    except pikepdf.PdfError as error:
        raise UnreadableError(f"{file}: the PDF file is damaged: {error}") from error
    shown = mapped_box((crop[0], crop[1], crop[2], crop[3]), frame.mm_from_user)
    a, b, *_ = frame.mm_from_user
    box = tuple(wanted) if wanted is not None else (0.0, 0.0, *frame.size_mm)
    return shown, box, hypot(a, b)


def _margins_px(
    shown: tuple[float, ...], box: tuple[float, ...], px_per_mm: float
) -> tuple[float, float, float, float]:
    """Return how many pixels are cut off left, below, right and above; whole ones."""
    width, height = (shown[2] - shown[0]) * px_per_mm, (shown[3] - shown[1]) * px_per_mm
    left = floor((box[0] - shown[0]) * px_per_mm + 1e-6)
    bottom = floor((box[1] - shown[1]) * px_per_mm + 1e-6)
    right = width - left - ceil((box[2] - box[0]) * px_per_mm - 1e-6)
    top = height - bottom - ceil((box[3] - box[1]) * px_per_mm - 1e-6)
    pixels = (width - left - right) * (height - bottom - top)
    if pixels > _MOST_PIXELS:
        msg = f"a picture of {pixels / 1e6:.0f} million pixels was asked for, limit {_MOST_PIXELS}"
        raise OutOfResourcesError(f"{msg}; take fewer pixels per mm or a smaller box")
    return left, bottom, right, top
