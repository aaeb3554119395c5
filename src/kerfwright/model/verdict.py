"""What is known of each source of error, and whether a contour will land in tolerance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

import numpy as np

from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64, I64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows, require_word


class VerdictState(StrEnum):
    """What becomes of a contour, mildest first; only `WILL_CUT` is cut unasked."""

    WILL_CUT = "will_cut"
    CHECK = "check"
    WILL_NOT_CUT = "will_not_cut"
    NEEDS_YOU = "needs_you"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ErrorBudget(Record):
    """Errors of the cut that the marks cannot show, each a standard deviation.

    Parameters
    ----------
    head_cov_mm2 : ndarray of shape (2, 2), float
        Covariance of the offset from camera to head, the same for the whole sheet [mm2].
    repeat_sd_mm : float
        Repeatability of the gantry along each axis [mm].
    motion_sd_mm : mapping of str to float
        By head kind: how far the tool strays from the commanded line [mm].
    other : tuple of tuple of str and float
        Other errors of print to cut by name, along each axis, as a feed step [mm].
    """

    head_cov_mm2: F64
    repeat_sd_mm: float
    motion_sd_mm: Mapping[str, float] = field(default_factory=dict)
    other: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        frozen_array(self, "head_cov_mm2", dtype=np.float64, shape=(2, 2))
        cov = self.head_cov_mm2
        require((cov == cov.T).all(), "ErrorBudget.head_cov_mm2 must be symmetric")
        least, most = np.linalg.eigvalsh(cov).tolist()
        # rounding may leave a covariance of less than full rank a little below 0
        require(least >= -1e-12 * max(most, 0.0), "ErrorBudget.head_cov_mm2 has a variance below 0")
        terms = (("repeat_sd_mm", self.repeat_sd_mm), *self.motion_sd_mm.items(), *self.other)
        for name, sd in terms:
            right = np.isfinite(sd) and sd >= 0.0
            require(right, f"ErrorBudget: {name} is {sd} mm, must be finite and not below 0")

    def size_variance_mm2(self, head: str) -> float:
        """Return the variance along each axis of what bends a shape, of one head [mm2]."""
        return self.repeat_sd_mm**2 + self.motion_sd_mm[head] ** 2

    def print_covariance_mm2(self, head: str) -> F64:
        """Return the covariance of the cut against the print, sheet excluded, (2, 2) [mm2]."""
        every = self.size_variance_mm2(head) + sum(sd**2 for _, sd in self.other)
        return self.head_cov_mm2 + every * np.eye(2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedLines(Record):
    """K contours as they lie on the nominal sheet, with what each may deviate by.

    Parameters
    ----------
    contours : tuple of str
        Contour ids.
    paths : PathSet
        K paths in the sheet frame [mm].
    fidelity : tuple of {'print', 'size'}
        Whether each follows the print or keeps its size.
    print_mm, size_mm : ndarray of shape (K,), float
        Greatest distance to the printed line, and to the drawn shape moved as one piece [mm].
    head : tuple of str
        Head kind that cuts each.
    part : ndarray of shape (K,), int
        Placement each belongs to.
    rigid : ndarray of shape (P, 2, 3), float
        Motion table_from_sheet of each placement, for what keeps its size [1, mm].
    """

    contours: tuple[str, ...]
    paths: PathSet
    fidelity: tuple[Literal["print", "size"], ...]
    print_mm: F64
    size_mm: F64
    head: tuple[str, ...]
    part: I64
    rigid: F64

    def __post_init__(self) -> None:
        n = len(self.paths)
        for name in ("contours", "fidelity", "head"):
            have = len(getattr(self, name))
            require(have == n, f"PlacedLines.{name} has {have} entries for {n} paths")
        for word in set(self.fidelity):
            require_word("PlacedLines.fidelity", word, ("print", "size"))
        for name in ("print_mm", "size_mm"):
            frozen_array(self, name, dtype=np.float64, shape=(n,))
            require_rows(self, name, getattr(self, name) > 0.0, "above 0")
        frozen_array(self, "rigid", dtype=np.float64, shape=(None, 2, 3))
        frozen_array(self, "part", dtype=np.int64, shape=(n,))
        placed = (self.part >= 0) & (self.part < len(self.rigid))
        require_rows(self, "part", placed, f"from 0 to {len(self.rigid) - 1}")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Verdict(Record):
    """Whether one contour will land in tolerance.

    Parameters
    ----------
    contour : str
        Contour id.
    state : VerdictState
        What becomes of it.
    p_in_tolerance : float
        Chance that every point of it lies within the limit; 0 when it cannot be computed.
    worst_xy : ndarray of shape (2,), float
        Where it is expected to be worst, sheet frame [mm].
    limit_mm : float
        Its tolerance [mm].
    reason : str
        One sentence: number, limit, what it comes from, what would help.
    kind : {'print', 'size'}
        Which of its two tolerances decides.
    expected_mm, bound_mm : float
        Median, and what it stays within with 95 %, of its greatest deviation [mm].
    part : int
        Placement it belongs to.
    """

    contour: str
    state: VerdictState
    p_in_tolerance: float
    worst_xy: F64
    limit_mm: float
    reason: str
    kind: Literal["print", "size"] = "print"
    expected_mm: float = 0.0
    bound_mm: float = 0.0
    part: int = 0

    def __post_init__(self) -> None:
        frozen_array(self, "worst_xy", dtype=np.float64, shape=(2,))
        require_finite(self)
        p = self.p_in_tolerance
        require(0.0 <= p <= 1.0, f"Verdict.p_in_tolerance is {p}, must be from 0 to 1")
        require(self.limit_mm > 0.0, f"Verdict.limit_mm is {self.limit_mm}, must be above 0")
        require_word("Verdict.kind", self.kind, ("print", "size"))
