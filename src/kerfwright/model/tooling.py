"""Tools: what is put into a head.

A blade lies in the upright plane through its direction. *s* runs along that direction with 0 at
the C axis, *h* upwards with 0 at the tip. The tip is a flat of `tip_mm`, whose middle lies at
``s = reference_mm``. From it the leading edge rises at `lead_rad` and the trailing edge at
`trail_rad`, both from the plane of the sheet, until the full width is reached::

    chord at h:  back  = reference - tip/2 - h / tan(trail)
                 front = reference + tip/2 + h / tan(lead)      (front - back <= width)

A cutter turns clockwise seen from above; its profile is the radius it sweeps over the height
above its tip. A wheel rolls in its own plane like a blade; a pen has no direction.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, pi, tan
from typing import Literal

import numpy as np

from kerfwright.geometry.record import F64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows, require_word
from kerfwright.model.operation import HeadKind


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tool(Record):
    """What a head can hold: a blade, a cutter, a wheel or a pen.

    Parameters
    ----------
    id : str
        Name in the tool book.
    free_length_mm : float
        Greatest depth below the top face it can work at: what stands free of the holder, or the
        way a spring gives [mm].
    fits : tuple of HeadKind
        Heads it can be put into.
    source : str
        Where the figures come from.
    """

    id: str
    free_length_mm: float
    fits: tuple[HeadKind, ...]
    source: str = ""

    def _require_above_0(self, *names: str) -> None:
        for name in ("free_length_mm", *names):
            value = getattr(self, name)
            require(value > 0.0, f"tool {self.id}: {name} is {value}, must be above 0")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blade(Tool):
    """A flat knife blade.

    Parameters
    ----------
    width_mm : float
        Full width, from back to front [mm].
    lead_rad, trail_rad : float
        Angle of the leading and trailing edge from the plane of the sheet, up to pi/2 (upright)
        [rad].
    tip_mm : float
        Flat at the tip, 0 for a point [mm].
    reference_mm : float
        Place of the middle of the tip ahead of the C axis [mm].
    bevel : {'both', 'left', 'right'}
        Side of the ground face seen in the direction of travel; the part wants the flat side.
    """

    width_mm: float
    lead_rad: float
    trail_rad: float
    tip_mm: float
    reference_mm: float
    bevel: Literal["both", "left", "right"]
    kind: Literal["blade"] = "blade"

    def __post_init__(self) -> None:
        require_finite(self)
        for name in ("lead_rad", "trail_rad"):
            angle = getattr(self, name)
            require(
                0.0 < angle <= pi / 2.0,
                f"blade {self.id}: {name} is {angle}, must be above 0 and at most pi/2",
            )
        self._require_above_0("width_mm")
        require(
            0.0 <= self.tip_mm <= self.width_mm,
            f"blade {self.id}: tip_mm is {self.tip_mm}, must be from 0 to its width "
            f"{self.width_mm}",
        )
        require_word(f"blade {self.id}: bevel", self.bevel, ("both", "left", "right"))

    def chord_mm(self, height_mm: float) -> tuple[float, float]:
        """Return back and front of the blade at a height above its tip, along s [mm].

        Where the slanted edges would be wider than the blade, the front stops at the full width.
        """
        h = max(height_mm, 0.0)
        back = self.reference_mm - self.tip_mm / 2.0 - h * _cotangent(self.trail_rad)
        front = self.reference_mm + self.tip_mm / 2.0 + h * _cotangent(self.lead_rad)
        heel = self.full_width_height_mm
        if h > heel:
            return self.chord_mm(heel)
        return back, front

    @property
    def full_width_height_mm(self) -> float:
        """Height above the tip at which the full width is reached [mm]; infinite if upright."""
        slope = _cotangent(self.lead_rad) + _cotangent(self.trail_rad)
        return inf if slope == 0.0 else (self.width_mm - self.tip_mm) / slope


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cutter(Tool):
    """A milling cutter, turning clockwise seen from above.

    Parameters
    ----------
    profile_mm : ndarray of shape (N, 2), float
        Radius swept and height above the tip, from the tip up; straight between points, neither
        falls [mm].
    flutes : int
        Number of cutting edges.
    length_mm : float
        Length that cuts, from the tip up: greatest depth it can work at [mm].
    plunges : bool
        Whether it cuts at its centre, so that it may go straight down.
    """

    profile_mm: F64
    flutes: int
    length_mm: float
    plunges: bool
    kind: Literal["cutter"] = "cutter"

    def __post_init__(self) -> None:
        frozen_array(self, "profile_mm", dtype=np.float64, shape=(None, 2))
        require_finite(self)
        rows = self.profile_mm
        require(len(rows) > 0, f"cutter {self.id}: profile_mm has no point, must have at least one")
        require_rows(self, "profile_mm", (rows >= 0.0).all(axis=1), "0 or more")
        steps = np.diff(rows, axis=0, prepend=rows[:1])
        require_rows(self, "profile_mm", (steps >= 0.0).all(axis=1), "no less than the row before")
        require(rows[-1, 0] > 0.0, f"cutter {self.id}: profile_mm sweeps no radius")
        require(self.flutes >= 1, f"cutter {self.id} has {self.flutes} flutes, least is 1")
        self._require_above_0("length_mm")
        require(
            self.free_length_mm >= self.length_mm,
            f"cutter {self.id}: free_length_mm {self.free_length_mm} must not be below length_mm "
            f"{self.length_mm}",
        )

    @property
    def radius_mm(self) -> float:
        """Greatest radius swept [mm]."""
        return float(self.profile_mm[-1, 0])

    def radius_at_mm(self, height_mm: float) -> float:
        """Return the radius swept at a height above the tip; 0 below the tip [mm]."""
        if height_mm < 0.0:
            return 0.0
        radius, height = self.profile_mm.T
        return float(np.interp(height_mm, height, radius))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wheel(Tool):
    """A creasing wheel: a disc that rolls along the line and presses it in.

    Parameters
    ----------
    diameter_mm : float
        Diameter over the rim [mm].
    rim_mm : float
        Width of the rim: how wide the crease gets at least [mm].
    reference_mm : float
        Place of the lowest point ahead of the C axis [mm].
    """

    diameter_mm: float
    rim_mm: float
    reference_mm: float
    kind: Literal["wheel"] = "wheel"

    def __post_init__(self) -> None:
        require_finite(self)
        self._require_above_0("diameter_mm", "rim_mm")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pen(Tool):
    """A pen on a spring.

    Parameters
    ----------
    line_mm : float
        Width of its line [mm].
    """

    line_mm: float
    kind: Literal["pen"] = "pen"

    def __post_init__(self) -> None:
        require_finite(self)
        self._require_above_0("line_mm")


def _cotangent(angle_rad: float) -> float:
    return 0.0 if angle_rad == pi / 2.0 else 1.0 / tan(angle_rad)
