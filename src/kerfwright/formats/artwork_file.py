"""The one door for drawings: which reader, then the record that the stages work on."""

from __future__ import annotations

import re
import zlib
from collections.abc import Sequence
from dataclasses import asdict
from math import isfinite
from pathlib import Path
from typing import Final

from kerfwright.errors import OutOfResourcesError, UnreadableError, UsageError
from kerfwright.formats.child import run_reader
from kerfwright.formats.drawing import drawing_of
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.unit_question import check_units_word
from kerfwright.model.drawing import Drawing

_HEAD_BYTES: Final = 4096
_READ: Final = "DXF and SVG drawings and PDF pages are read"
_DXF: Final = "kerfwright.formats.dxf.reader:read"
_PDF: Final = "kerfwright.formats.pdf.reader:read_pages"
_SVG: Final = "kerfwright.formats.svg.reader:read"
# First bytes of files that people send instead, and what they are called.
_OTHERS: Final = (
    (b"AC10", "a drawing in the closed DWG format"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"II*\x00", "a TIFF picture"),
    (b"MM\x00*", "a TIFF picture"),
    (b"PK\x03\x04", "a zip archive or an office document"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"%!PS", "a PostScript file"),
)
_SUFFIXES: Final = {
    ".ai": "an illustration file",
    ".eps": "a PostScript file",
}
_PDF_MARK: Final = b"%PDF-"  # in the first 1024 bytes (ISO 32000-1 annex H, from memory)
_PDF_HEAD_BYTES: Final = 1024
_GZIP: Final = b"\x1f\x8b"
_GZIP_WINDOW: Final = 31
_BOMS: Final = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))
_SVG_TAG: Final = re.compile(r"<(?:[\w.-]+:)?svg[\s>/]")
_ELEMENT: Final = re.compile(r"<[A-Za-z_]")
_PROLOG: Final = ("<?xml", "<!--", "<!DOCTYPE svg")
_BINARY_DXF: Final = b"AutoCAD Binary DXF\r\n\x1a\x00"


def read_artwork(
    path: str | Path,
    *,
    page: int = 1,
    scale: float | None = None,
    units: str | None = None,
    tolerance_mm: float = 0.001,
    limits: ReadLimits | None = None,
) -> Drawing:
    """Read a drawing exactly; nothing is repaired, and what was left out is among its findings.

    Parameters
    ----------
    path : str or Path
        The file; its content decides how it is read.
    page : int, default 1
        Page, counted from one; a DXF or SVG drawing has one.
    scale : float, optional
        Factor by which the drawing is enlarged, for artwork at 1:10 and the like.
    units : str, optional
        Unit of the drawing, a word of `DRAWING_UNITS_MM`; None takes the file's if it leaves no
        doubt, and otherwise asks by a finding that blocks. Of an SVG drawing it is the unit of the
        viewBox; None takes the size the file gives, 1/96 inch to a px or where it gives none. A
        PDF page knows its size, so that only ``mm`` may be said of it.
    tolerance_mm : float, default 0.001
        Greatest distance between a curve that is no arc and the arcs that replace it [mm].
    limits : ReadLimits, optional
        What the reader may use up.

    Returns
    -------
    Drawing
        Contours in the artwork frame, in the order of the file. Of a PDF page every painted path
        is one, with layer, step, separation and the page as printed art. Of an SVG drawing every
        shape that shows is one, as high above the lower edge of the page as it is drawn; fill and
        stroke of a shape are one line.

    Raises
    ------
    UnreadableError
        If the file is missing, damaged, of a kind that is not read, or holds numbers that
        cannot be meant.
    OutOfResourcesError
        If a limit was reached.
    UsageError
        If an argument makes no sense.
    """
    read = read_artwork_pages(
        path, (page,), scale=scale, units=units, tolerance_mm=tolerance_mm, limits=limits
    )
    return read[0]


def read_artwork_pages(
    path: str | Path,
    pages: Sequence[int],
    *,
    scale: float | None = None,
    units: str | None = None,
    tolerance_mm: float = 0.001,
    limits: ReadLimits | None = None,
) -> tuple[Drawing, ...]:
    """Read several pages of a file by one process, whose limits hold for all of them together.

    Parameters
    ----------
    path, scale, units, tolerance_mm, limits
        As for `read_artwork`.
    pages : sequence of int
        Pages, counted from one.

    Returns
    -------
    tuple of Drawing
        One per page, in the order asked for.

    Raises
    ------
    UnreadableError, OutOfResourcesError, UsageError
        As for `read_artwork`.
    """
    limits = limits or ReadLimits()
    _check_numbers(scale, units, tolerance_mm)
    file = Path(path)
    head = head_of(file, limits)
    request: dict[str, object] = {
        "path": str(file.resolve()),
        "file": file.name,
        "units": units,
        "scale": scale or 1.0,
        "tolerance_mm": tolerance_mm,
        "limits": asdict(limits),
    }
    if is_pdf(head):
        for page in pages:
            _check_page_options(file, page, units)
        request["pages"] = list(pages)
        answer, arrays = run_reader(_PDF, request, file=file.name, limits=limits)
        headers = answer["pages"]
    else:
        is_drawn = is_svg(head)
        if not is_drawn:
            _refuse_other_kinds(file, head)
        for page in pages:
            _check_only_page(file, page, "an SVG" if is_drawn else "a DXF")
        reader = _SVG if is_drawn else _DXF
        answer, arrays = run_reader(reader, request, file=file.name, limits=limits)
        headers = [answer] * len(pages)
        arrays = {f"{k}/{n}": a for k in range(len(pages)) for n, a in arrays.items()}
    return tuple(
        drawing_of(
            header,
            {n.partition("/")[2]: a for n, a in arrays.items() if n.startswith(f"{k}/")},
            file=file.name,
            tolerance_mm=tolerance_mm,
        )
        for k, header in enumerate(headers)
    )


def _check_numbers(scale: float | None, units: str | None, tolerance_mm: float) -> None:
    """Refuse numbers and words that make no sense."""
    if units is not None:
        check_units_word(units)
    if scale is not None and not (isfinite(scale) and scale > 0.0):
        msg = f"scale {scale} must be a number above 0; 10 enlarges artwork drawn at 1:10"
        raise UsageError(msg)
    if not (isfinite(tolerance_mm) and tolerance_mm > 0.0):
        msg = f"tolerance {tolerance_mm} mm must be a number above 0"
        raise UsageError(msg)


def _check_only_page(file: Path, page: object, kind: str) -> None:
    if page != 1:
        msg = f"{file.name}: page {page} was asked for, {kind} drawing has one page"
        raise UsageError(msg)


def is_pdf(head: bytes) -> bool:
    """Return whether a file that begins so is a PDF file."""
    return _PDF_MARK in head[:_PDF_HEAD_BYTES]


def is_svg(head: bytes) -> bool:
    """Return whether a file that begins so is an SVG drawing, packed by gzip or not.

    A file that begins as XML and has not said after some pages of remarks what it holds is taken
    for one; the reader then looks at its first element.
    """
    if head.startswith(_GZIP):
        try:
            head = zlib.decompressobj(wbits=_GZIP_WINDOW).decompress(head, _HEAD_BYTES)
        except zlib.error:
            return False
    text = _text_of(head).lstrip()
    if not text.startswith("<"):
        return False
    return bool(_SVG_TAG.search(text)) or (
        text.startswith(_PROLOG) and len(head) >= _HEAD_BYTES and not _ELEMENT.search(text)
    )


def _text_of(head: bytes) -> str:
    """Return the text a file begins with, as far as it matters for telling its kind."""
    for mark, encoding in _BOMS:
        if head.startswith(mark):
            return head[len(mark) :].decode(encoding, errors="replace")
    return head.decode("latin-1")


def _check_page_options(file: Path, page: object, units: str | None) -> None:
    """Refuse what cannot be said of a PDF page."""
    if not isinstance(page, int) or isinstance(page, bool) or page < 1:
        msg = f"{file.name}: page {page} was asked for; pages are counted from 1"
        raise UsageError(msg)
    if units not in (None, "mm"):
        msg = (
            f"{file.name}: a PDF page knows its size, so it is not read in {units}; leave units "
            "out, and give a scale if it was drawn smaller or larger"
        )
        raise UsageError(msg)


def head_of(file: Path, limits: ReadLimits) -> bytes:
    """Return the first bytes of a file that can be read and is not too large."""
    try:
        if file.is_dir() or (file.exists() and not file.is_file()):
            msg = f"{file.name}: this is no file but a folder or a device; name the drawing itself"
            raise UnreadableError(msg)
        size = file.stat().st_size
        with file.open("rb") as stream:
            head = stream.read(_HEAD_BYTES)
    except FileNotFoundError:
        msg = f"{file}: there is no such file; check its name and folder"
        raise UnreadableError(msg) from None
    except (OSError, ValueError) as error:
        msg = f"{file.name}: the file cannot be opened ({getattr(error, 'strerror', error)})"
        raise UnreadableError(msg) from None
    if size > limits.file_bytes:
        msg = (
            f"{file.name}: the file has {size} bytes, limit {limits.file_bytes}; leave out what "
            "is not cut, or raise the limit"
        )
        raise OutOfResourcesError(msg)
    if not head.strip(b"\x00\xff \t\r\n\x1a"):
        msg = f"{file.name}: the file is empty; have it sent again"
        raise UnreadableError(msg)
    return head


def _refuse_other_kinds(file: Path, head: bytes) -> None:
    """Refuse what is no DXF by its content, or by its name where the content says nothing."""
    if head.startswith(_BINARY_DXF) or _starts_like_dxf(head):
        return
    suffix = file.suffix.lower()
    kind = next((what for mark, what in _OTHERS if head.startswith(mark)), "")
    if not kind and suffix != ".dxf":
        kind = _SUFFIXES.get(suffix, f"a file of an unknown kind ({suffix or 'no suffix'})")
    if kind:
        msg = f"{file.name}: this is {kind}; {_READ}: export the lines as DXF, SVG or PDF"
        raise UnreadableError(msg)


def _starts_like_dxf(head: bytes) -> bool:
    """Return whether text begins as DXF does: group codes and values in turn, a section first."""
    lines = [line.strip() for line in head.removeprefix(b"\xef\xbb\xbf").splitlines()[:200]]
    for code, value in zip(lines[::2], lines[1::2], strict=False):
        if not code.lstrip(b"-").isdigit():
            return False
        if code == b"0":
            return value.upper() == b"SECTION"
    return False
