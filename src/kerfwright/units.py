"""Factors between the units inside (mm, s, rad, kg, N) and those people and programs use.

Exact by definition: the international inch is 25.4 mm; a degree is pi/180 rad.
"""

from math import pi
from typing import Final

MM_PER_INCH: Final = 25.4
MM_PER_FOOT: Final = 304.8
MM_PER_CM: Final = 10.0
MM_PER_M: Final = 1000.0
MM_PER_UM: Final = 0.001
RAD_PER_DEG: Final = pi / 180.0
DEG_PER_RAD: Final = 180.0 / pi
S_PER_MIN: Final = 60.0
PA_PER_KPA: Final = 1000.0

DRAWING_UNITS_MM: Final[dict[str, float]] = {
    "um": MM_PER_UM,
    "mm": 1.0,
    "cm": MM_PER_CM,
    "m": MM_PER_M,
    "in": MM_PER_INCH,
    "ft": MM_PER_FOOT,
}
"""Millimetres in one drawing unit, by the word a person types."""
