"""Tools: what is put into a head.

A blade lies in the upright plane through its direction. *s* runs along that direction with 0 at
the C axis, *h* upwards with 0 at the tip. The tip is a flat of `tip_mm`, whose middle lies at
``s = reference_mm``. From it the leading edge rises at `lead_rad` and the trailing edge at
`trail_rad`, both from the plane of the sheet, until the full width is reached::

    chord at h:  back  = reference - tip/2 - h / tan(trail)
                 front = reference + tip/2 + h / tan(lead)      (front - back <= width)
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, pi, tan
from typing import Literal

from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_finite, require_word
from kerfwright.model.operation import HeadKind


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blade(Record):
    """A flat knife blade.

    Parameters
    ----------
    id : str
        Name in the tool book.
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
    free_length_mm : float
        Blade below the holder: greatest depth it can work at [mm].
    fits : tuple of HeadKind
        Heads it can be put into.
    source : str
        Where the figures come from.
    """

    id: str
    width_mm: float
    lead_rad: float
    trail_rad: float
    tip_mm: float
    reference_mm: float
    bevel: Literal["both", "left", "right"]
    free_length_mm: float
    fits: tuple[HeadKind, ...]
    source: str = ""

    def __post_init__(self) -> None:
        require_finite(self)
        for name in ("lead_rad", "trail_rad"):
            angle = getattr(self, name)
            require(
                0.0 < angle <= pi / 2.0,
                f"blade {self.id}: {name} is {angle}, must be above 0 and at most pi/2",
            )
        for name in ("width_mm", "free_length_mm"):
            value = getattr(self, name)
            require(value > 0.0, f"blade {self.id}: {name} is {value}, must be above 0")
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


Tool = Blade
"""What a head can hold; cutters, wheels and pens join it with their processes."""


def _cotangent(angle_rad: float) -> float:
    return 0.0 if angle_rad == pi / 2.0 else 1.0 / tan(angle_rad)
