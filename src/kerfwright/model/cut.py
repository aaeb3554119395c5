"""Numbers, choices and order of the cuts.

A *cut* is one pass of one operation along one contour, in one go from its entry to its exit even
where the tool lifts in between. A *choice* is one way to do it: entry and direction.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.record import BOOL, F64, I64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutSetup(Record):
    """Numbers of one operation on one stock, resolved from setting card, material and table.

    Parameters
    ----------
    bottom_z_mm, top_z_mm : float
        Faces of the stock above the bed [mm].
    feed_mm_s : float
        Feed in the cut, along x, y, z [mm/s].
    plunge_mm_s : float
        Feed straight down [mm/s].
    turn_rad_s : float
        Rate of blocks that turn C alone [rad/s].
    lift_angle_rad : float
        Turn at a corner above which the blade lifts, turns and goes down again [rad].
    lift_z_mm : float
        Height of the tip above the bed while it is lifted inside a cut [mm].
    side_offset_mm : float
        Measured sideways drift of the blade, to the left of travel, taken out by moving the path
        the other way [mm].
    stroke_hz : float
        Strokes per second of an oscillating blade; 0 for one that does not [Hz].
    spindle_hz : float
        Revolutions per second of a cutter; 0 for what does not turn [Hz].
    lead_in_mm, lead_out_mm : float
        Way over which a wheel rolls down to its depth and up again; negative where it does so
        before the line begins and after it ends [mm].
    tolerance_mm : float
        Greatest deviation of the cut this operation is allowed [mm].
    """

    bottom_z_mm: float
    top_z_mm: float
    feed_mm_s: float
    plunge_mm_s: float
    turn_rad_s: float
    lift_angle_rad: float
    lift_z_mm: float
    side_offset_mm: float = 0.0
    stroke_hz: float = 0.0
    spindle_hz: float = 0.0
    lead_in_mm: float = 0.0
    lead_out_mm: float = 0.0
    tolerance_mm: float

    def __post_init__(self) -> None:
        require_finite(self)
        bottom, top = self.bottom_z_mm, self.top_z_mm
        require(bottom < top, f"CutSetup: stock from {bottom} to {top} mm has no thickness")
        require(
            self.lift_z_mm > top,
            f"CutSetup.lift_z_mm is {self.lift_z_mm}, must be above the stock's top at {top} mm",
        )
        for name in ("feed_mm_s", "plunge_mm_s", "turn_rad_s", "lift_angle_rad", "tolerance_mm"):
            value = getattr(self, name)
            require(value > 0.0, f"CutSetup.{name} is {value}, must be above 0")
        for name in ("stroke_hz", "spindle_hz"):
            value = getattr(self, name)
            require(value >= 0.0, f"CutSetup.{name} is {value}, must not be below 0")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutChoices(Record):
    """E ways to do the cuts of one operation; rows of one cut stand together.

    Parameters
    ----------
    contours : tuple of str
        Contour ids that `contour` indexes.
    operation : str
        Id of the operation.
    contour : ndarray of shape (E,), int
        Index into `contours`.
    pass_no : ndarray of shape (E,), int
        Pass, counted from 0.
    entry_s : ndarray of shape (E,), float
        Entry as a fraction of the contour's arc length, 0 to 1.
    reversed : ndarray of shape (E,), bool
        Whether the contour is run against its drawn direction.
    xyc_in, xyc_out : ndarray of shape (E, 3), float
        Tool axis and C where the tool goes down first and comes up last, table frame [mm, rad].
    time_s : ndarray of shape (E,), float
        Time from first contact to last, at feed, lifts included [s].
    before : ndarray of shape (D, 2), int
        Pairs of cuts of this operation, by their order of appearance: the first must come before
        the second.
    findings : tuple of Finding
        Contours that cannot be cut, or not well.
    """

    contours: tuple[str, ...]
    operation: str
    contour: I64
    pass_no: I64
    entry_s: F64
    reversed: BOOL
    xyc_in: F64
    xyc_out: F64
    time_s: F64
    before: I64 = field(default_factory=lambda: np.zeros((0, 2), np.int64))
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        frozen_array(self, "contour", dtype=np.int64, shape=(None,))
        n = len(self.contour)
        frozen_array(self, "pass_no", dtype=np.int64, shape=(n,))
        frozen_array(self, "entry_s", dtype=np.float64, shape=(n,))
        frozen_array(self, "reversed", dtype=np.bool_, shape=(n,))
        frozen_array(self, "xyc_in", dtype=np.float64, shape=(n, 3))
        frozen_array(self, "xyc_out", dtype=np.float64, shape=(n, 3))
        frozen_array(self, "time_s", dtype=np.float64, shape=(n,))
        frozen_array(self, "before", dtype=np.int64, shape=(None, 2))
        listed = len(self.contours)
        known = (self.contour >= 0) & (self.contour < listed)
        require_rows(self, "contour", known, f"from 0 to {listed - 1}, the contours listed")
        require_rows(self, "pass_no", self.pass_no >= 0, "0 or more")
        in_range = (self.entry_s >= 0.0) & (self.entry_s <= 1.0)
        require_rows(self, "entry_s", in_range, "from 0 to 1")
        require_rows(self, "time_s", self.time_s >= 0.0, "0 or more")
        self._check_cuts()

    def _check_cuts(self) -> None:
        key = self.contour * (self.pass_no.max(initial=0) + 1) + self.pass_no
        runs = 1 + np.count_nonzero(np.diff(key)) if len(key) else 0
        cuts = len(np.unique(key))
        require(
            runs == cuts,
            f"CutChoices: rows of {cuts} cuts stand in {runs} runs; rows of one stand together",
        )
        there = ((self.before >= 0) & (self.before < runs)).all(axis=1)
        require_rows(self, "before", there, f"two cuts from 0 to {runs - 1}")
        apart = self.before[:, 0] != self.before[:, 1]
        require_rows(self, "before", apart, "two different cuts")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutOrder(Record):
    """N cuts in the order they are done; survives the fit, since entries are fractions.

    Parameters
    ----------
    contour, operation : tuple of str
        Contour and operation of each cut.
    pass_no : ndarray of shape (N,), int
        Pass, counted from 0.
    entry_s : ndarray of shape (N,), float
        Entry as a fraction of the nominal contour's arc length, 0 to 1.
    reversed : ndarray of shape (N,), bool
        Whether the contour is run against its drawn direction.
    group : ndarray of shape (N,), int
        Number of the tool group; cuts of a group share head and tool, groups run in order.
    lower_bound_s : float
        No order of these cuts has less travel time [s].
    """

    contour: tuple[str, ...]
    operation: tuple[str, ...]
    pass_no: I64
    entry_s: F64
    reversed: BOOL
    group: I64
    lower_bound_s: float = 0.0

    def __post_init__(self) -> None:
        n = len(self.contour)
        require_finite(self)
        have = len(self.operation)
        require(have == n, f"CutOrder.operation has {have} entries for {n} cuts")
        frozen_array(self, "pass_no", dtype=np.int64, shape=(n,))
        frozen_array(self, "entry_s", dtype=np.float64, shape=(n,))
        frozen_array(self, "reversed", dtype=np.bool_, shape=(n,))
        frozen_array(self, "group", dtype=np.int64, shape=(n,))
        keys = set(zip(self.contour, self.operation, self.pass_no.tolist(), strict=True))
        require(len(keys) == n, f"CutOrder has {n} cuts, {len(keys)} of them different")
        require_rows(self, "pass_no", self.pass_no >= 0, "0 or more")
        in_range = (self.entry_s >= 0.0) & (self.entry_s <= 1.0)
        require_rows(self, "entry_s", in_range, "from 0 to 1")
        rises = np.diff(self.group, prepend=self.group[:1]) >= 0
        require_rows(self, "group", rises, "no less than in the row before")
        bound = self.lower_bound_s
        require(bound >= 0.0, f"CutOrder.lower_bound_s is {bound}, must not be below 0")
