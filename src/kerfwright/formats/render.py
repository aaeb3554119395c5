"""A page as a picture, for previews, registration and proof, rendered in a child process."""

from __future__ import annotations

import tempfile
from collections.abc import Collection
from dataclasses import asdict
from math import isfinite
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kerfwright.errors import OutOfResourcesError, UnreadableError, UsageError
from kerfwright.formats.artwork_file import head_of, is_pdf
from kerfwright.formats.child import run_reader
from kerfwright.formats.limits import ReadLimits

_RENDERER = "kerfwright.formats.pdf.raster:render"
_NAMELESS = "page.pdf"


def render_page(
    file: str | Path | bytes,
    *,
    page: int = 1,
    px_per_mm: float,
    box_mm: tuple[float, float, float, float] | None = None,
    scale: float = 1.0,
    hidden_layers: Collection[str] = (),
    limits: ReadLimits | None = None,
) -> NDArray[np.uint8]:
    """Render a box of a PDF page in the frame its lines are read in.

    The lower left corner of the picture is ``(x0, y0)``; the pixel in column j of the k-th row
    from below begins at ``(x0 + j / px_per_mm, y0 + k / px_per_mm)``. A box that is no whole
    number of pixels is enlarged to the right and upwards. Layers that the file switches off are
    not painted, nor are annotations.

    Parameters
    ----------
    file : str, Path or bytes
        The file, or its content.
    page : int, default 1
        Page, counted from one.
    px_per_mm : float
        Pixels per millimetre.
    box_mm : tuple of float, optional
        x0, y0, x1, y1 in the artwork frame; the chosen box by default [mm].
    scale : float, default 1
        Factor by which the page is enlarged, as in `read_artwork`.
    hidden_layers : collection of str
        Names of layers that are not painted.
    limits : ReadLimits, optional
        What rendering may use up.

    Returns
    -------
    ndarray of shape (H, W, 3), uint8
        Red, green, blue on white; row 0 is the top.

    Raises
    ------
    UnreadableError
        If the file is missing, damaged, encrypted, no PDF file, or has no such page.
    OutOfResourcesError
        If a limit was reached.
    UsageError
        If an argument makes no sense, or no layer has a name of `hidden_layers`.
    """
    limits = limits or ReadLimits()
    _check(page, px_per_mm, box_mm, scale)
    options: dict[str, object] = {
        "page": page,
        "px_per_mm": float(px_per_mm),
        "box_mm": None if box_mm is None else [float(v) for v in box_mm],
        "scale": float(scale),
        "hidden_layers": list(hidden_layers),
        "limits": asdict(limits),
    }
    if not isinstance(file, bytes):
        return _rendered(Path(file), Path(file).name, options, limits)
    try:
        with tempfile.TemporaryDirectory(prefix="page-") as folder:
            path = Path(folder, _NAMELESS)
            path.write_bytes(file)
            return _rendered(path, _NAMELESS, options, limits)
    except OSError as error:
        msg = f"the page cannot be laid down for rendering: {error.strerror or error}"
        raise OutOfResourcesError(msg) from error


def _rendered(
    path: Path, file: str, options: dict[str, object], limits: ReadLimits
) -> NDArray[np.uint8]:
    if not is_pdf(head_of(path, limits)):
        msg = f"{file}: this is no PDF file; only pages of PDF files are rendered"
        raise UnreadableError(msg)
    request = options | {"path": str(path.resolve()), "file": file}
    header, arrays = run_reader(_RENDERER, request, file=file, limits=limits)
    if header["missing"]:
        msg = f"{file}: no layer is called {', '.join(header['missing'])}; see the layers it has"
        raise UsageError(msg)
    pixels: NDArray[np.uint8] = arrays["pixels"]
    return pixels


def _check(page: object, px_per_mm: float, box_mm: tuple[float, ...] | None, scale: float) -> None:
    """Refuse arguments that make no sense."""
    if not isinstance(page, int) or isinstance(page, bool) or page < 1:
        msg = f"page {page} was asked for; pages are counted from 1"
        raise UsageError(msg)
    for name, value in (("px_per_mm", px_per_mm), ("scale", scale)):
        if not (isfinite(value) and value > 0.0):
            msg = f"{name} is {value}, must be a number above 0"
            raise UsageError(msg)
    if box_mm is None:
        return
    whole = len(box_mm) == 4 and all(isfinite(v) for v in box_mm)
    if not whole or not (box_mm[0] < box_mm[2] and box_mm[1] < box_mm[3]):
        msg = f"box_mm {tuple(box_mm)} must be x0, y0, x1, y1 with an area"
        raise UsageError(msg)
