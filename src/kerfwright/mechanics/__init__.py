"""Formulas several stages share, each with its source and the range it holds for.

Air and pumps, leaks, the pressure of vacuum zones, the force of knives, the chips
of cutters, and what friction holds.
"""

from kerfwright.mechanics.air import air_density_kg_m3, air_pressure_pa
from kerfwright.mechanics.chips import (
    chip_load_mm,
    cutting_power_w,
    deflection_mm,
    edge_force_n,
    engagement_rad,
    feed_mm_s,
    mean_chip_mm,
    mean_tangential_n,
    scallop_mm,
    specific_force_n_mm2,
    thickest_chip_mm,
    thinning_factor,
)
from kerfwright.mechanics.friction import FrictionUse, friction_use
from kerfwright.mechanics.knives import (
    push_cut_ratio,
    resistance_n,
    slice_push_n,
    stroke_slice_ratio,
)
from kerfwright.mechanics.leaks import crack_kg_s, orifice_kg_s, porous_m3_s
from kerfwright.mechanics.pumps import PumpCurve, plenum_pressure_pa
from kerfwright.mechanics.tipping import tip_use
from kerfwright.mechanics.zones import ZoneLeaks, zone_drops_pa

__all__ = [
    "FrictionUse",
    "PumpCurve",
    "ZoneLeaks",
    "air_density_kg_m3",
    "air_pressure_pa",
    "chip_load_mm",
    "crack_kg_s",
    "cutting_power_w",
    "deflection_mm",
    "edge_force_n",
    "engagement_rad",
    "feed_mm_s",
    "friction_use",
    "mean_chip_mm",
    "mean_tangential_n",
    "orifice_kg_s",
    "plenum_pressure_pa",
    "porous_m3_s",
    "push_cut_ratio",
    "resistance_n",
    "scallop_mm",
    "slice_push_n",
    "specific_force_n_mm2",
    "stroke_slice_ratio",
    "thickest_chip_mm",
    "thinning_factor",
    "tip_use",
    "zone_drops_pa",
]
