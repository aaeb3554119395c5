"""What is printed, as plain records: placed art, layers of cut lines, the file that comes out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.errors import Finding
from kerfwright.formats.print.figures import Box
from kerfwright.formats.print.layers import NO_INKS, is_step
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64, Record, frozen_array, require
from kerfwright.model._checks import require_finite


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedArt(Record):
    """One page of a customer's file and where it is printed.

    Parameters
    ----------
    file : bytes
        The PDF file.
    page : int
        Page, counted from one.
    box_mm : tuple of float
        x0, y0, x1, y1 the art is clipped to, bleed included, in the artwork frame [mm].
    sheet_from_artwork : ndarray of shape (2, 3), float
        Similarity from the artwork frame to the sheet frame [1, mm].
    clip : PathSet or None
        Closed paths in the artwork frame that the art is clipped to as well: the outline grown
        by the bleed, where boxes of neighbours overlap [mm].
    scale : float
        Factor `read_artwork` was given, by which the artwork frame is enlarged.
    name : str
        Name of the file, for messages.
    """

    file: bytes
    page: int
    box_mm: Box
    sheet_from_artwork: F64
    clip: PathSet | None = None
    scale: float = 1.0
    name: str = "artwork"

    def __post_init__(self) -> None:
        frozen_array(self, "sheet_from_artwork", dtype=np.float64, shape=(2, 3))
        require_finite(self)
        require(self.page >= 1, f"PlacedArt.page is {self.page}, the first page is 1")
        require(self.scale > 0.0, f"PlacedArt.scale is {self.scale}, must be above 0")
        x0, y0, x1, y1 = self.box_mm
        require(x0 < x1 and y0 < y1, f"PlacedArt.box_mm {self.box_mm} is empty")
        linear = self.sheet_from_artwork[:, :2]
        size = abs(float(np.linalg.det(linear)))
        uneven = np.abs(linear @ linear.T - size * np.eye(2)).max()
        require(
            size > 0.0 and uneven <= 1e-9 * size,
            f"PlacedArt.sheet_from_artwork {linear.tolist()} is no similarity",
        )
        require(
            self.clip is None or (len(self.clip) and self.clip.closed.all()),
            "PlacedArt.clip must hold closed paths only",
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutLayer(Record):
    """Lines of one kind, a layer of the print file.

    Parameters
    ----------
    name : str
        Name of the layer.
    step : str
        ISO 19593-1 step, ``Structural/Cutting``.
    separation : str
        Ink the lines are painted with, so that the printer can leave them out.
    paths : PathSet
        Lines in the sheet frame [mm].
    """

    name: str
    step: str
    separation: str
    paths: PathSet

    def __post_init__(self) -> None:
        require(
            is_step(self.step),
            f"layer {self.name}: {self.step!r} is no step of ISO 19593-1; write "
            "Structural/Cutting and the like",
        )
        require(
            self.separation and self.separation not in NO_INKS and "\0" not in self.separation,
            f"layer {self.name}: an ink of cut lines must not be called {self.separation!r}; give "
            "it a name of its own",
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PrintFile(Record):
    """A print file and what making it found.

    Parameters
    ----------
    pdf : bytes
        The file.
    findings : tuple of Finding
        What lies over the edge or over a mark, and what of the art was left out.
    """

    pdf: bytes
    findings: tuple[Finding, ...]
