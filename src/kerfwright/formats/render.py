"""A page of a PDF file as a picture, drawn in a limited child process."""

from __future__ import annotations

import tempfile
from dataclasses import asdict
from math import isfinite
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kerfwright.errors import UsageError
from kerfwright.formats.child import run_reader
from kerfwright.formats.limits import ReadLimits

Box = tuple[float, float, float, float]


def render_page(
    file: str | Path | bytes,
    *,
    page: int = 1,
    px_per_mm: float,
    box_mm: Box | None = None,
    scale: float = 1.0,
    limits: ReadLimits | None = None,
) -> NDArray[np.uint8]:
    """Return a page as a picture.

    Parameters
    ----------
    file : str, Path or bytes
        The file or its content.
    page : int, default 1
        Page, counted from one.
    px_per_mm : float
        Resolution [px/mm].
    box_mm : tuple of float, optional
        x0, y0, x1, y1 of what is shown, in the artwork frame of `read_artwork`; None shows the
        chosen box. It begins at whole pixels of the page [mm].
    scale : float, default 1
        Factor `read_artwork` was given.
    limits : ReadLimits, optional
        What drawing may use up.

    Returns
    -------
    ndarray of shape (H, W, 3), uint8
        Red, green and blue, row 0 on top; white where the page is bare.

    Raises
    ------
    UnreadableError
        If the file is no PDF, is damaged, or has no such page.
    OutOfResourcesError
        If the picture would be too large, or a limit was reached.
    UsageError
        If a number makes no sense.
    """
    if not (isfinite(px_per_mm) and px_per_mm > 0.0 and isfinite(scale) and scale > 0.0):
        raise UsageError(f"px_per_mm {px_per_mm} and scale {scale} must be above 0")
    if box_mm is not None and not (box_mm[0] < box_mm[2] and box_mm[1] < box_mm[3]):
        raise UsageError(f"box_mm {box_mm} is empty")
    if isinstance(file, bytes):
        with tempfile.TemporaryDirectory(prefix="page-") as folder:
            path = Path(folder, "page.pdf")
            path.write_bytes(file)
            return _drawn(path, page, px_per_mm, box_mm, scale, limits or ReadLimits())
    return _drawn(Path(file), page, px_per_mm, box_mm, scale, limits or ReadLimits())


def _drawn(
    path: Path,
    page: int,
    px_per_mm: float,
    box_mm: Box | None,
    scale: float,
    limits: ReadLimits,
) -> NDArray[np.uint8]:
    _, arrays = run_reader(
        "kerfwright.formats.raster:raster",
        {
            "path": str(path.resolve()),
            "file": path.name,
            "page": page,
            "px_per_mm": px_per_mm,
            "box_mm": None if box_mm is None else list(box_mm),
            "scale": scale,
            "limits": asdict(limits),
        },
        file=path.name,
        limits=limits,
    )
    colour: NDArray[np.uint8] = arrays["colour"]
    return colour
