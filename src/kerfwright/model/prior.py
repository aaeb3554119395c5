"""What is known of a printer, its medium and the throw before a mark is seen."""

from __future__ import annotations

from dataclasses import dataclass, fields

from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_finite


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PrintPrior(Record):
    """Sizes of what a print and a throw may do, each a standard deviation.

    The defaults are wide enough for rigid board and mounted film from a shop's own printer: growth
    of 0.02 to 0.2 %, a bow of some tenths of a millimetre over two metres (common practice, no
    source).

    Ranges to expect: growth 0.02 to 0.1 % on rigid board and about 0.2 % on mounted film (common
    practice, no source); 10 K move 1000 mm of PVC foam by 0.7 to 1.5 mm (suppliers' figures of 70
    to 150 per million and kelvin); paper across its grain 0.01 to 0.03 % per percent of relative
    humidity (secondary source, weak); a printed dot scatters by 0.02 to 0.05 mm (common practice,
    no source). Studies of mark places assume a wander of 0.3 mm over 400 to 1600 mm.

    Parameters
    ----------
    growth_sd : float
        Growth along each axis, as a share [1].
    skew_sd_rad : float
        Angle between the printed axes, less a right angle [rad].
    bow_sd_per_mm : float
        Curvature of a printed straight line [1/mm].
    field_sd_mm : float
        Smooth wander of the print [mm].
    field_length_mm : float
        Distance over which it changes [mm].
    mark_sd_mm : float
        Scatter of a mark as printed and seen, along each axis [mm].
    throw_xy_mm : float
        How far the first mark may lie from where the sheet should [mm].
    """

    growth_sd: float = 0.002
    skew_sd_rad: float = 0.001
    bow_sd_per_mm: float = 1e-6
    field_sd_mm: float = 0.05
    field_length_mm: float = 800.0
    mark_sd_mm: float = 0.03
    throw_xy_mm: float = 25.0

    def __post_init__(self) -> None:
        require_finite(self)
        for f in fields(self):
            value = getattr(self, f.name)
            low = f.name in ("field_length_mm", "mark_sd_mm")
            right = value > 0.0 if low else value >= 0.0
            what = "above 0" if low else "0 or more"
            require(right, f"PrintPrior.{f.name} is {value}, must be {what}")
