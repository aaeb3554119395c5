"""Boxes, turn and unit of a page: from its user space to the artwork frame.

One unit of user space is UserUnit / 72 inch. Boxes reach no further than the media box; the crop
box is the media box unless given, trim and bleed box the crop box (ISO 32000-1, 14.11.2). The
chosen box is the trim box, else the crop box. Its lower left corner, after the page was turned
clockwise by Rotate, is the zero of the artwork frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kerfwright.errors import UnreadableError
from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.values import Matrix, entry, inherited, number, numbers
from kerfwright.units import MM_PER_INCH

Box = tuple[float, float, float, float]
_UNITS_PER_INCH: Final = 72.0
_SAME: Final = 1e-6  # of the larger side: boxes that differ by less are the same
# Where a corner (x, y) of a box w wide and h high lies after the page was turned, as matrices of
# coefficients: x' = a x + c y + (e_w w + e_h h), likewise y'.
_TURNED: Final = {
    0: (1.0, 0.0, 0.0, 1.0, (0.0, 0.0), (0.0, 0.0)),
    90: (0.0, -1.0, 1.0, 0.0, (0.0, 0.0), (1.0, 0.0)),
    180: (-1.0, 0.0, 0.0, -1.0, (1.0, 0.0), (0.0, 1.0)),
    270: (0.0, 1.0, -1.0, 0.0, (0.0, 1.0), (0.0, 0.0)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PageFrame:
    """How a page lies in the artwork frame.

    Parameters
    ----------
    mm_from_user : tuple of float
        Matrix from user space to the artwork frame.
    art_mm : tuple of float
        Bleed box if the page has one, else the chosen box [mm].
    size_mm : tuple of float
        Width and height of the chosen box, turned [mm].
    media : tuple of float
        Media box in user space.
    """

    mm_from_user: Matrix
    art_mm: Box
    size_mm: tuple[float, float]
    media: Box


def frame_of(page: object, *, scale: float, file: str, notes: Notes) -> PageFrame:
    """Return how a page lies, enlarged by `scale`.

    Raises
    ------
    UnreadableError
        If the page has no usable media box.
    """
    media = _box(inherited(page, "/MediaBox"))
    if media is None:
        msg = f"{file}: the page has no size (no usable MediaBox); have it exported anew"
        raise UnreadableError(msg)
    crop = _within(page, "/CropBox", media, notes) or media
    trim = _within(page, "/TrimBox", media, notes)
    bleed = _within(page, "/BleedBox", media, notes)
    if trim is None:
        notes.add("PDF-102", params={"box": "CropBox" if crop != media else "MediaBox"})
    chosen = trim or crop
    unit_mm = _unit(page, notes) * MM_PER_INCH / _UNITS_PER_INCH * scale
    matrix = _to_artwork(chosen, _rotation(page, notes), unit_mm)
    return PageFrame(
        mm_from_user=matrix,
        art_mm=mapped_box(bleed or chosen, matrix),
        size_mm=mapped_box(chosen, matrix)[2:],
        media=media,
    )


def mapped_box(box: Box, matrix: Matrix) -> Box:
    """Return the box around the image of a box."""
    a, b, c, d, e, f = matrix
    xs, ys = [], []
    for x in box[::2]:
        for y in box[1::2]:
            xs.append(a * x + c * y + e)
            ys.append(b * x + d * y + f)
    return min(xs), min(ys), max(xs), max(ys)


def _to_artwork(box: Box, rotation: int, unit_mm: float) -> Matrix:
    a, b, c, d, right, up = _TURNED[rotation]
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    e = right[0] * w + right[1] * h - a * x0 - c * y0
    f = up[0] * w + up[1] * h - b * x0 - d * y0
    return a * unit_mm, b * unit_mm, c * unit_mm, d * unit_mm, e * unit_mm, f * unit_mm


def _box(value: object) -> Box | None:
    """Return a box with its corners in order, None if it is none or is empty."""
    found = numbers(value, 4)
    if found is None:
        return None
    x0, x1 = sorted(found[::2])
    y0, y1 = sorted(found[1::2])
    return (x0, y0, x1, y1) if x0 < x1 and y0 < y1 else None


def _within(page: object, key: str, media: Box, notes: Notes) -> Box | None:
    """Return a box of a page as far as it lies in the media box, None if the page has none."""
    value = inherited(page, key) if key == "/CropBox" else entry(page, key)
    if value is None:
        return None
    box = _box(value)
    if box is None:
        notes.count("PDF-101", f"{key[1:]} is no box and was not used")
        return None
    x0, y0 = max(box[0], media[0]), max(box[1], media[1])
    x1, y1 = min(box[2], media[2]), min(box[3], media[3])
    if not (x0 < x1 and y0 < y1):
        notes.count("PDF-101", f"{key[1:]} lies outside the MediaBox and was not used")
        return None
    cut = max(abs(p - q) for p, q in zip(box, (x0, y0, x1, y1), strict=True))
    if cut > _SAME * max(media[2] - media[0], media[3] - media[1]):
        notes.count("PDF-101", f"{key[1:]} reaches over the MediaBox and was cut to it")
    return x0, y0, x1, y1


def _unit(page: object, notes: Notes) -> float:
    value = entry(page, "/UserUnit")
    unit = 1.0 if value is None else number(value)
    if unit is None or unit <= 0.0:
        notes.count("PDF-103", "UserUnit is no number above 0 and was taken as 1")
        return 1.0
    return unit


def _rotation(page: object, notes: Notes) -> int:
    value = inherited(page, "/Rotate")
    turn = 0.0 if value is None else number(value)
    if turn is None or turn % 90.0 != 0.0:
        notes.count("PDF-103", "Rotate is no multiple of 90 and was taken as 0")
        return 0
    return int(turn % 360.0)
