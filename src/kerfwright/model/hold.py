"""Whether the vacuum holds each part against the tool once it is cut free."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum
from typing import Final

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.record import F64, I64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows

MARGIN_MOST: Final = 1000.0
"""Stands for any margin of 1000 or more, and for a part that nothing loads."""


class HoldMode(IntEnum):
    """What happens first when the load grows."""

    NOTHING = 0
    """Nothing loads the part while it is free."""
    SLIDES = 1
    """It slides or turns."""
    TIPS = 2
    """An edge lifts."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HoldReport(Record):
    """Load and hold of R parts at the worst moment of each, table frame.

    Low figures take every range at its unfavourable end, typical ones in its middle. A margin is
    how many times the load could grow before the part moves.

    Parameters
    ----------
    placement : ndarray of shape (R,), int
        Placement in the layout of each row.
    contour : tuple of str
        Placed id of the outline of each row, or of the first line of a part without one.
    load_n : ndarray of shape (R, 2), float
        Force of the tool along x and y, unfavourable end [N].
    lift_n : ndarray of shape (R,), float
        Upward pull of the tool, unfavourable end [N].
    moment_nmm : ndarray of shape (R,), float
        Moment of the force about the centre of pressure, counter-clockwise [N mm].
    hold_n : ndarray of shape (R,), float
        Force that presses the part down, unfavourable end [N].
    friction_low, friction_typical : float
        Coefficients of friction counted with.
    margin_low, margin_typical : ndarray of shape (R,), float
        Margins, up to `MARGIN_MOST`.
    mode : ndarray of shape (R,), int
        `HoldMode` of the low margin.
    worst_xy : ndarray of shape (R, 2), float
        Where the tool is at the worst moment; the part's first point where nothing loads it [mm].
    at_cut, at_block : ndarray of shape (R,), int
        Cut and block of the worst moment, -1 where nothing loads the part.
    freed_cut, freed_block : ndarray of shape (R,), int
        Cut and block that free the part, -1 where it stays in the sheet.
    uncut_mm : ndarray of shape (R,), float
        Length of the outline that is never cut through [mm].
    at_s, freed_s : ndarray of shape (R,), float
        Time of the same moments, -1 where there is none; no rows when no time was given [s].
    zones : tuple of int
        Numbers of the zones that were on.
    zone_kpa : ndarray of shape (R, Z), float
        Vacuum of each zone at the worst moment, unfavourable end [kPa].
    begin_kpa, end_kpa : ndarray of shape (2, Z), float
        Vacuum before the first and after the last cut; rows are low and typical [kPa].
    bracket_gap : float
        Greatest relative distance between the two bounds on the friction limit.
    findings : tuple of Finding
        Parts that would move, and what had to be assumed.
    """

    placement: I64
    contour: tuple[str, ...]
    load_n: F64
    lift_n: F64
    moment_nmm: F64
    hold_n: F64
    friction_low: float
    friction_typical: float
    margin_low: F64
    margin_typical: F64
    mode: I64
    worst_xy: F64
    at_cut: I64
    at_block: I64
    freed_cut: I64
    freed_block: I64
    uncut_mm: F64
    at_s: F64 = field(default_factory=lambda: np.zeros(0))
    freed_s: F64 = field(default_factory=lambda: np.zeros(0))
    zones: tuple[int, ...]
    zone_kpa: F64
    begin_kpa: F64
    end_kpa: F64
    bracket_gap: float = 0.0
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        n, zones = len(self.contour), len(self.zones)
        for name in ("placement", "mode", "at_cut", "at_block", "freed_cut", "freed_block"):
            frozen_array(self, name, dtype=np.int64, shape=(n,))
        amounts = ("lift_n", "hold_n", "margin_low", "margin_typical", "uncut_mm")
        for name in (*amounts, "moment_nmm"):
            frozen_array(self, name, dtype=np.float64, shape=(n,))
        for name in ("load_n", "worst_xy"):
            frozen_array(self, name, dtype=np.float64, shape=(n, 2))
        timed = n if np.size(self.at_s) else 0
        for name in ("at_s", "freed_s"):
            frozen_array(self, name, dtype=np.float64, shape=(timed,))
        frozen_array(self, "zone_kpa", dtype=np.float64, shape=(n, zones))
        for name in ("begin_kpa", "end_kpa"):
            frozen_array(self, name, dtype=np.float64, shape=(2, zones))
        require_finite(self)
        for name in amounts:
            require_rows(self, name, getattr(self, name) >= 0.0, "0 or more")
        for name in ("margin_low", "margin_typical"):
            most = f"at most {MARGIN_MOST:g}"
            require_rows(self, name, getattr(self, name) <= MARGIN_MOST, most)
        require_rows(self, "mode", np.isin(self.mode, tuple(HoldMode)), "from 0 to 2")
        low, typical = self.friction_low, self.friction_typical
        require(0.0 < low <= typical, f"HoldReport: friction from {low} to {typical} is no range")
