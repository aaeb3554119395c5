"""Everything both front doors need of an operation: contours, passes, rules, what is allowed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from kerfwright.errors import Finding, UsageError
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.cut import CutSetup
from kerfwright.model.operation import Operation
from kerfwright.model.tooling import Blade
from kerfwright.toolpath.blade import Step, steps_of
from kerfwright.toolpath.checks import blocking
from kerfwright.toolpath.limits import findings_of, held, judge
from kerfwright.toolpath.room import with_rooms
from kerfwright.toolpath.sections import Sections, sections_of
from kerfwright.toolpath.shapes import Shapes, shapes_of


@dataclass(frozen=True, slots=True)
class Work:
    """One operation on K contours, prepared.

    Parameters
    ----------
    contours : tuple of str
        Ids.
    paths : PathSet
        Contours as given, table frame [mm].
    part_side : ndarray of shape (K,), int
        Side of the part, +1 left of the drawn direction.
    shapes, sections : Shapes, Sections
        Contours as the kernels want them.
    steps : tuple of Step
        The passes.
    allowed : ndarray of shape (K, 2), bool
        Whether a contour may be cut along and against its drawn direction.
    blocking : tuple of Finding
        Why nothing can be cut.
    """

    contours: tuple[str, ...]
    paths: PathSet
    part_side: I64
    shapes: Shapes
    sections: Sections
    steps: tuple[Step, ...]
    allowed: BOOL
    blocking: tuple[Finding, ...]

    @property
    def last(self) -> Step:
        """The last and deepest pass."""
        return self.steps[-1]

    @property
    def geometry(self) -> tuple[F64, I64, BOOL, F64, I64]:
        """Contours and sections in the order the kernels take them."""
        return (*self.shapes, *self.sections)

    @property
    def chord_mm(self) -> float:
        """Chord of the blade at the top face in the last pass [mm]."""
        return 2.0 * self.last.half

    @property
    def usable(self) -> BOOL:
        """Whether each contour can be cut at all, shape (K,)."""
        return self.allowed[:, 0] | self.allowed[:, 1]

    def judged(self, asked: BOOL) -> F64:
        """Return the columns of `limits` for the contours asked for, 0 for others [mm]."""
        senses = np.where(self.allowed[:, 0], 1, -1) * (asked & self.usable)
        return judge(senses, *self.geometry, self.last)

    def findings(self, asked: BOOL) -> tuple[Finding, ...]:
        """Return what is wrong with the contours asked for, shape (K,)."""
        if self.blocking:
            return self.blocking
        judged, limit = self.judged(asked), self.last.tolerance
        found = findings_of(
            judged, self.shapes, self.contours, self.part_side, self.chord_mm, limit
        )
        return (*self._without_length(asked), *found)

    def _without_length(self, asked: BOOL) -> Iterator[Finding]:
        sizes = np.diff(self.paths.starts)
        for k in np.flatnonzero(asked & ~self.usable):
            xy = self.paths.points[self.paths.starts[k]]
            code = "TLP-101" if sizes[k] == 1 else "TLP-102"
            limit = None if sizes[k] == 1 else self.last.noise
            yield held(code, self.contours[k], xy, limit=limit)


def prepare(
    operation: Operation,
    blade: Blade,
    paths: PathSet,
    contours: tuple[str, ...],
    part_side: I64 | Sequence[int],
    setup: CutSetup,
) -> Work:
    """Prepare an operation.

    Raises
    ------
    UsageError
        If there is not one id and one side per path, an id stands twice, or a side is none.
    """
    sides = np.asarray(part_side, dtype=np.int64)
    check_paths(paths, contours, sides)
    steps = steps_of(operation, blade, setup)
    shapes = shapes_of(paths, noise_mm=steps[-1].noise)
    reasons = blocking(operation, blade, setup)
    allowed = directions(blade, sides)
    allowed &= (np.diff(shapes.first) > 0)[:, None] & (not reasons)
    return Work(
        contours=contours,
        paths=paths,
        part_side=sides,
        shapes=shapes,
        sections=_sections(shapes, sides, steps[-1]),
        steps=steps,
        allowed=allowed,
        blocking=reasons,
    )


def directions(blade: Blade, part_side: I64) -> BOOL:
    """Return whether contours may be cut along and against their direction, shape (K, 2).

    The ground side is kept off the part: to the right of travel where the part is to the left.
    """
    flat = {"left": -1, "right": 1, "both": 0}[blade.bevel]
    return np.column_stack((part_side * flat >= 0, part_side * flat <= 0))


def _sections(shapes: Shapes, part_side: I64, step: Step) -> Sections:
    sections = sections_of(shapes, part_side, step)
    reach, aside = 2.0 * step.half, step.tolerance
    return with_rooms(sections, shapes, part_side, reach_mm=reach, aside_mm=aside)


def check_paths(paths: PathSet, contours: tuple[str, ...], sides: I64) -> None:
    """Raise `UsageError` unless there is one id and one side per path, and no id stands twice."""
    if len(contours) != len(paths) or sides.shape != (len(paths),):
        msg = (
            f"{len(paths)} paths came with {len(contours)} ids and {sides.shape} part sides; "
            "give one of each per path"
        )
        raise UsageError(msg)
    if len(set(contours)) != len(contours):
        twice = next(c for i, c in enumerate(contours) if c in contours[:i])
        msg = f"contour id {twice} stands for two paths; give each path an id of its own"
        raise UsageError(msg)
    if not np.isin(sides, (-1, 0, 1)).all():
        msg = f"part sides {sorted(set(sides.tolist()))} must be -1, 0 or 1"
        raise UsageError(msg)
