"""How a cutter goes round a contour: sense, depth passes, entry, and what holds the part."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, pi
from typing import Literal

from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_finite, require_word

_LEAST_TABS = 2
_LEAST_SLOPE_RAD = 1e-3
"""A metre of way for a millimetre down; a lesser slope goes round and round for ever."""
_LEAST_LEAD_MM, _MOST_LEAD_MM = 0.1, 1000.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tabs(Record):
    """Bridges left standing so that a routed piece stays in its sheet.

    Parameters
    ----------
    length_mm : float
        Length of a tab along the contour, at its foot and on the contour itself [mm].
    height_mm : float
        Height of its top above the bottom face of the stock [mm].
    spacing_mm : float
        Greatest length of contour per tab: what `count_for` divides by [mm].
    """

    length_mm: float
    height_mm: float
    spacing_mm: float

    def __post_init__(self) -> None:
        require_finite(self)
        for name in ("length_mm", "height_mm", "spacing_mm"):
            value = getattr(self, name)
            require(value > 0.0, f"Tabs.{name} is {value}, must be above 0")
        require(
            self.length_mm < self.spacing_mm,
            f"tabs of {self.length_mm} mm stand every {self.spacing_mm} mm, must leave a gap",
        )

    def count_for(self, length_mm: float) -> int:
        """Return how many tabs a contour of a length gets: at least two, one per spacing."""
        return max(_LEAST_TABS, ceil(length_mm / self.spacing_mm))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Routing(Record):
    """What a routed operation says beyond depth and side.

    The spindle turns clockwise seen from above. *Climb* then keeps the part to the right of
    travel, *conventional* to the left; on the line both follow the drawn direction.

    Parameters
    ----------
    sense : {'climb', 'conventional'}
        How teeth meet the part.
    allowance_mm : float
        What the depth passes leave on the wall for one finishing pass at full depth; 0 for no
        finishing pass [mm].
    entry : {'ramp', 'helix', 'plunge'}
        How the cutter goes down: along the contour, round a small circle beside it, or straight.
    entry_rad : float
        Steepest slope of ramp or helix, from 0.001 to pi/2 [rad].
    lead_mm : float
        Radius of the quarter circle by which the cutter comes to the contour and leaves it, 0.1
        to 1000; 0 comes and leaves straight down and up. With a ramp, which needs no circle,
        how far the last lap goes on past its end [mm].
    tabs : Tabs or None
        Bridges left standing; None leaves none.

    Raises
    ------
    ModelError
        If a value is out of range, or a helix has no lead to turn in.
    """

    sense: Literal["climb", "conventional"] = "conventional"
    allowance_mm: float = 0.0
    entry: Literal["ramp", "helix", "plunge"] = "ramp"
    entry_rad: float = 0.05
    lead_mm: float = 0.0
    tabs: Tabs | None = None

    def __post_init__(self) -> None:
        require_finite(self)
        require_word("Routing.sense", self.sense, ("climb", "conventional"))
        require_word("Routing.entry", self.entry, ("ramp", "helix", "plunge"))
        for name in ("allowance_mm", "lead_mm"):
            value = getattr(self, name)
            require(value >= 0.0, f"Routing.{name} is {value}, must not be below 0")
        require(
            _LEAST_SLOPE_RAD <= self.entry_rad <= pi / 2.0,
            f"Routing.entry_rad is {self.entry_rad}, must be from {_LEAST_SLOPE_RAD} to pi/2",
        )
        require(
            self.lead_mm == 0.0 or _LEAST_LEAD_MM <= self.lead_mm <= _MOST_LEAD_MM,
            f"Routing.lead_mm is {self.lead_mm}, must be 0 or from {_LEAST_LEAD_MM} to "
            f"{_MOST_LEAD_MM}",
        )
        require(
            self.entry != "helix" or self.lead_mm > 0.0,
            "a helix needs Routing.lead_mm above 0, the radius it turns with",
        )
