"""One sheet being filled: the lowest, then leftmost place for the next shape."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from kerfwright.errors import GeometryError
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64, I64
from kerfwright.layout._spans import edge_rows, first_place, slide_back
from kerfwright.layout.outlines import gap_wanted_mm, turn_matrix
from kerfwright.layout.rings import SHRINK_MM, ring_of, shrunk
from kerfwright.model.sheet import Sheet

_LEVELS = 96
_AT_ONCE = 16
_ROUNDS = 12
_SETTLED_MM = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A part in one of its turns, its box beginning at 0, 0.

    Parameters
    ----------
    ring, small : ndarray of shape (n, 2), float
        Its polygon, and the same shrunk [mm].
    edges : tuple of ndarray of shape (n, 6), float
        Edges of the shrunk one by rising x with axes swapped, and by rising y.
    size : ndarray of shape (2,), float
        Width and height [mm].
    bleed_mm : float
        Its bleed [mm].
    linear : ndarray of shape (2, 2), float
        The turn.
    corner : ndarray of shape (2,), float
        Lower left of the box of the turned outline before it was moved [mm].
    """

    ring: F64
    small: F64
    edges: tuple[F64, F64]
    size: F64
    bleed_mm: float
    linear: F64
    corner: F64

    def sheet_from_part(self, xy: F64) -> F64:
        """Return the map of a part whose box begins at a place, shape (2, 3)."""
        return np.column_stack((self.linear, xy - self.corner))


def make_shape(outline: PathSet, turn_rad: float, bleed_mm: float) -> Shape:
    """Return a part's outline in one turn."""
    linear = turn_matrix(turn_rad)
    turned = outline.transformed(np.column_stack((linear, np.zeros(2))))
    corner = turned.bounds_mm()[0, :2]
    home = turned.transformed(np.column_stack((np.eye(2), -corner)))
    ring = ring_of(home, is_solid=True)
    low = ring.min(axis=0)
    ring = ring - low
    small = shrunk(ring)
    return Shape(
        ring=ring,
        small=small,
        edges=(edge_rows(small[:, ::-1]), edge_rows(small)),
        size=ring.max(axis=0),
        bleed_mm=bleed_mm,
        linear=linear,
        corner=corner + low,
    )


@dataclass(slots=True, kw_only=True)
class Filling:
    """The rings a shape has to keep off: the sheet's edge first, then everything solid.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    spacing_mm : float
        Least distance between outlines [mm].
    """

    sheet: Sheet
    spacing_mm: float
    rings: F64 = field(init=False)
    starts: I64 = field(init=False)
    boxes: F64 = field(init=False)
    bleeds: F64 = field(init=False)
    tried: dict[tuple[int, int], set[float]] = field(default_factory=dict)
    top_mm: float = 0.0

    def __post_init__(self) -> None:
        sheet = self.sheet
        every = [ring_of(sheet.outline, is_solid=False)]
        for what, solids in (("hole", sheet.holes), ("keep-out", sheet.keep_outs)):
            for k in range(len(solids)):
                if not solids.closed[k]:
                    msg = f"sheet {sheet.id}: {what} {k} is an open path; close it"
                    raise GeometryError(msg)
                every.append(ring_of(solids.select([k]), is_solid=True))
        self.rings = np.concatenate(every)
        self.starts = np.concatenate(([0], np.cumsum([len(r) for r in every]))).astype(np.int64)
        self.boxes = np.array([[*r.min(axis=0), *r.max(axis=0)] for r in every])
        self.bleeds = np.zeros(0)

    @property
    def used(self) -> int:
        """Number of parts on the sheet."""
        return len(self.bleeds)

    @property
    def fixed(self) -> int:
        """Number of rings that are no parts."""
        return len(self.boxes) - len(self.bleeds)

    def gaps_for(self, bleed_mm: float) -> F64:
        """Return the distance a shape has to keep from each ring [mm]."""
        holes = len(self.sheet.holes)
        margin = self.sheet.margin_mm
        fixed = [margin] * (1 + holes) + [bleed_mm] * (self.fixed - 1 - holes)
        placed = [gap_wanted_mm(self.spacing_mm, bleed_mm, b) for b in self.bleeds.tolist()]
        return np.array([*fixed, *placed], np.float64)

    def levels(self, bleed_mm: float) -> F64:
        """Return the heights worth trying, from the lowest: on top of something, or on a grid."""
        low, high = self.boxes[0, 1], self.boxes[0, 3]
        tops = self.boxes[1:, 3] + self.gaps_for(bleed_mm)[1:]
        first = low + self.sheet.margin_mm
        grid = first + (high - first) * np.arange(_LEVELS) / _LEVELS
        return np.unique(np.round(np.concatenate((grid, tops[tops >= first])), 9))

    def find(
        self, shape: Shape, key: tuple[int, int], still_time: Callable[[], bool], below_mm: float
    ) -> F64 | None:
        """Return the lower left corner of the lowest place for a shape, None where there is none.

        Parameters
        ----------
        shape : Shape
            What has to fit.
        key : tuple of int
            The same for equal shapes: heights that failed once are not tried again, because a
            sheet only fills up.
        still_time : callable
            Returns whether there is time left; raises nothing.
        below_mm : float
            Heights from here on are not worth trying [mm].
        """
        gaps, box = self.gaps_for(shape.bleed_mm), np.array((0.0, 0.0, *shape.size))
        tried = self.tried.setdefault(key, set())
        levels = [y for y in self.levels(shape.bleed_mm).tolist() if y not in tried]
        for k in range(0, len(levels), _AT_ONCE):
            if levels[k] >= below_mm or not still_time():
                return None
            some = levels[k : k + _AT_ONCE]
            hit, x = first_place(
                shape.small,
                shape.edges[1],
                box,
                np.array(some),
                self.rings,
                self.starts,
                self.boxes,
                gaps,
                SHRINK_MM,
            )
            tried.update(some if hit < 0 else some[:hit])
            if hit >= 0:
                return self._settle(shape, gaps, box, np.array((x, some[hit])))
        return None

    def _settle(self, shape: Shape, gaps: F64, box: F64, xy: F64) -> F64:
        """Return a place slid down and to the left until it touches both ways."""
        rings = (self.rings, self.rings[:, ::-1].copy())
        boxes = (self.boxes, self.boxes[:, (1, 0, 3, 2)])
        own = (box, box[[1, 0, 3, 2]])
        for _ in range(_ROUNDS):
            before = xy.copy()
            for axis in (1, 0):
                xy[axis] = slide_back(
                    shape.edges[1 - axis],
                    own[axis],
                    xy[axis],
                    xy[1 - axis],
                    rings[axis],
                    self.starts,
                    boxes[axis],
                    gaps,
                    SHRINK_MM,
                )
            if np.abs(xy - before).max() < _SETTLED_MM:
                break
        return xy

    def put(self, shape: Shape, xy: F64) -> None:
        """Take the place of a shape whose box begins at a point."""
        ring = shape.ring + xy
        self.rings = np.concatenate((self.rings, ring))
        self.starts = np.concatenate((self.starts, [len(self.rings)]))
        self.boxes = np.vstack((self.boxes, [*ring.min(axis=0), *ring.max(axis=0)]))
        self.bleeds = np.append(self.bleeds, shape.bleed_mm)
        self.top_mm = max(self.top_mm, float(self.boxes[-1, 3]))
