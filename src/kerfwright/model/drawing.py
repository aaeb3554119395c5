"""What a file holds once it is read: lines in millimetres with all that tells them apart."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import I64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows

_COLOUR = re.compile("#[0-9a-f]{6}")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ArtRef(Record):
    """Printed art kept as a reference.

    Parameters
    ----------
    sha256 : str
        Hash of the stored file.
    page : int
        Page, counted from one.
    box_mm : tuple of float
        x0, y0, x1, y1 of the chosen box in the artwork frame [mm].
    """

    sha256: str
    page: int
    box_mm: tuple[float, float, float, float]

    def __post_init__(self) -> None:
        require_finite(self)
        require(self.page >= 1, f"ArtRef.page is {self.page}, the first page is 1")
        x0, y0, x1, y1 = self.box_mm
        require(x0 < x1 and y0 < y1, f"ArtRef.box_mm {self.box_mm} is empty")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """How a line is drawn.

    Parameters
    ----------
    colour : str
        ``#rrggbb``, lower case; empty when the file gives none.
    width_mm : float
        Drawn width; 0 when the file gives none [mm].
    """

    colour: str = ""
    width_mm: float = 0.0

    def __post_init__(self) -> None:
        require_finite(self)
        require(self.width_mm >= 0.0, f"Stroke.width_mm is {self.width_mm}, must not be below 0")
        require(
            not self.colour or _COLOUR.fullmatch(self.colour),
            f"Stroke.colour is {self.colour!r}, must be #rrggbb in lower case or empty",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitCandidate:
    """One answer to the question what unit a drawing is in.

    Parameters
    ----------
    unit : str
        Word of `kerfwright.units.DRAWING_UNITS_MM`.
    width_mm, height_mm : float
        Extent of the drawing if the unit is right [mm].
    evidence : str
        What speaks for it; empty when nothing does.
    """

    unit: str
    width_mm: float
    height_mm: float
    evidence: str = ""

    def __post_init__(self) -> None:
        require_finite(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing(Record):
    """Contours of one drawing in the artwork frame, one row per path.

    Parameters
    ----------
    paths : PathSet
        K paths in the artwork frame [mm].
    ids : tuple of str
        Stable contour ids, ``c1`` and on in the order of the file.
    source : tuple of str
        What each path was made from: entity type, handle, block.
    layer : tuple of str
        Layer of each path.
    separation : tuple of str
        Ink name of each path; empty when it has none.
    step : tuple of str
        ISO 19593-1 step, ``Structural/Cutting``; empty when it has none.
    stroke : tuple of Stroke
        How each path is drawn.
    parent : ndarray of shape (K,), int
        Index of the smallest closed path that contains it, -1 for none.
    art : ArtRef or None
        Printed art the lines belong to.
    unit : str
        Unit the file was read in.
    unit_is_certain : bool
        Whether a person gave the unit or the file leaves no doubt.
    unit_candidates : tuple of UnitCandidate
        Other units the file may have meant, with the size each would give.
    fit_tolerance_mm : float
        Greatest distance between a curve of the file and its arcs [mm].
    findings : tuple of Finding
        What reading found.
    """

    paths: PathSet
    ids: tuple[str, ...]
    source: tuple[str, ...]
    layer: tuple[str, ...]
    separation: tuple[str, ...]
    step: tuple[str, ...]
    stroke: tuple[Stroke, ...]
    parent: I64
    art: ArtRef | None = None
    unit: str = "mm"
    unit_is_certain: bool = True
    unit_candidates: tuple[UnitCandidate, ...] = ()
    fit_tolerance_mm: float
    findings: tuple[Finding, ...] = field(default=())

    def __post_init__(self) -> None:
        count = len(self.paths)
        frozen_array(self, "parent", dtype=np.int64, shape=(count,))
        for name in ("ids", "source", "layer", "separation", "step", "stroke"):
            have = len(getattr(self, name))
            require(have == count, f"Drawing.{name} has {have} entries for {count} paths")
        different = len(set(self.ids))
        require(different == count, f"Drawing.ids has {count} entries, {different} of them differ")
        inside = (self.parent >= -1) & (self.parent < count)
        require_rows(self, "parent", inside, f"-1 for none, or a path from 0 to {count - 1}")
        require_rows(self, "parent", self.parent != np.arange(count), "another path, not itself")
        fit = self.fit_tolerance_mm
        require_finite(self)
        require(fit > 0.0, f"Drawing.fit_tolerance_mm is {fit}, must be above 0")
