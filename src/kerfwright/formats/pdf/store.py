"""What a page paints, piled up flat while its content runs: outlines, and what names them.

Coordinates stay as the file gives them; each shape and each clip remembers the matrix it was
drawn under, and `outlines` applies them all at once.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field
from typing import Final

from kerfwright.errors import OutOfResourcesError
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.pdf.inks import Ink
from kerfwright.formats.pdf.layers import Layer
from kerfwright.formats.pdf.values import Matrix

MOVE, LINE, CURVE, CLOSE = range(4)
NO_CLIP: Final = -1


@dataclass(slots=True)
class Shape:
    """One painted path.

    Parameters
    ----------
    ops, points : slice
        Its rows among all pieces, and among all coordinate pairs.
    matrix, clip : int
        Index of the matrix it was drawn under, and of the clip over it or `NO_CLIP`.
    layer : Layer
        Where it stands.
    forms : tuple of str
        Forms it came through, the outermost first.
    fill, stroke : Ink or None
        What it is painted with, None where it is not.
    width : float
        Width of the stroke in the units of its matrix.
    """

    ops: slice
    points: slice
    matrix: int
    clip: int
    layer: Layer
    forms: tuple[str, ...]
    fill: Ink | None
    stroke: Ink | None
    width: float

    @property
    def ink(self) -> Ink:
        """Ink that names the line: the stroke's, or the fill's where that alone has a name."""
        fill, stroke = self.fill or Ink(), self.stroke or Ink()
        if self.stroke is None or (fill.separation and not stroke.separation):
            return fill
        return stroke

    @property
    def name_of_step(self) -> str:
        """Step or separation that sets the line apart from plain art; empty for art."""
        return self.layer.step or self.ink.separation


@dataclass(frozen=True, slots=True)
class Clip:
    """One clipping path under another one, its pieces in the same form as those of shapes."""

    parent: int
    ops: bytes
    xy: array[float]
    matrix: int
    even_odd: bool


@dataclass(slots=True)
class Store:
    """Shapes and clips of one page.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    limits : ReadLimits
        How many shapes and pieces there may be.
    keeps : bool
        Whether shapes are kept; a walk that only measures does not need them.
    """

    file: str
    limits: ReadLimits
    keeps: bool = True
    ops: bytearray = field(default_factory=bytearray)
    xy: array[float] = field(default_factory=lambda: array("d"))
    shapes: list[Shape] = field(default_factory=list)
    clips: list[Clip] = field(default_factory=list)
    matrices: dict[Matrix, int] = field(default_factory=dict)
    known_clips: dict[tuple[object, ...], int] = field(default_factory=dict)

    def matrix(self, matrix: Matrix) -> int:
        """Return the index of a matrix."""
        return self.matrices.setdefault(matrix, len(self.matrices))

    def clip(
        self, parent: int, ops: bytes, xy: array[float], matrix: Matrix, *, even_odd: bool
    ) -> int:
        """Add a clip under another one and return its index; equal ones are one."""
        if not self.keeps:
            return NO_CLIP
        key = (parent, ops, xy.tobytes(), matrix, even_odd)
        if key not in self.known_clips:
            self.known_clips[key] = len(self.clips)
            self.clips.append(Clip(parent, ops, xy[:], self.matrix(matrix), even_odd))
        return self.known_clips[key]

    def add(self, shape: Shape, ops: bytearray, xy: array[float]) -> None:
        """Add a painted path, as one line with the path before it if they are fill and stroke.

        Raises
        ------
        OutOfResourcesError
            If there are more than the limit.
        """
        if not self.keeps:
            return
        if self.shapes and self._joins(self.shapes[-1], shape, ops, xy):
            return
        n, m = len(self.ops), len(self.xy) // 2
        shape.ops, shape.points = slice(n, n + len(ops)), slice(m, m + len(xy) // 2)
        self.ops += ops
        self.xy.extend(xy)
        self.shapes.append(shape)
        self._check_counts()

    def _joins(self, last: Shape, shape: Shape, ops: bytearray, xy: array[float]) -> bool:
        """Join fill and stroke of one shape that were painted one after the other."""
        if (last.fill is None) == (shape.fill is None) or bool(last.stroke) == bool(shape.stroke):
            return False
        same_place = (last.matrix, last.layer) == (shape.matrix, shape.layer)
        if not same_place or self.ops[last.ops] != ops:
            return False
        if self.xy[2 * last.points.start : 2 * last.points.stop] != xy:
            return False
        names = {i.separation for i in (last.ink, shape.ink)} - {""}
        if len(names) > 1:
            return False
        last.fill, last.width = last.fill or shape.fill, max(last.width, shape.width)
        last.stroke = last.stroke or shape.stroke
        return True

    def _check_counts(self) -> None:
        for have, limit, what in (
            (len(self.shapes), self.limits.entities, "painted paths"),
            (len(self.ops), self.limits.points, "pieces of lines and curves"),
        ):
            if have > limit:
                msg = (
                    f"{self.file}: the page holds more than {limit} {what}, which is the limit; "
                    "leave out what is not cut, or raise the limit"
                )
                raise OutOfResourcesError(msg)
