"""Figures of material, table and pump at their unfavourable end and in the middle."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

from kerfwright.errors import Finding, Place, Severity
from kerfwright.holddown.tool_kinds import By
from kerfwright.model.material import Material, Range
from kerfwright.model.table import Table

LOW, TYPICAL = 0, 1
Pair = tuple[float, float]
"""Unfavourable end and middle of a range."""

DEFAULTS: Final[Mapping[str, tuple[float, str]]] = {
    "friction_on_mat": (0.25, "1"),
    "cutting_resistance_n_mm": (5.0, "N/mm"),
    "lift_share": (0.4, "1"),
    "kerf_gap_mm": (0.2, "mm"),
    "specific_cutting_force_n_mm2": (150.0, "N/mm2"),
    "crease_drag_n": (10.0, "N"),
    "density_kg_m3": (0.0, "kg/m3"),
    "mat_flow_m3_h_m2": (25.0, "m3/h/m2 at 1 kPa"),
    "zone_leak_m3_h": (5.0, "m3/h at 1 kPa"),
    "valve_flow_m3_h": (80.0, "m3/h at 1 kPa"),
}
"""Unfavourable figures, each said in a finding where it is used. Friction against steel is
published from 0.1 to 0.8, against mats not at all; the others are common practice, no source.
Metal takes several times the specific cutting force, and has it in the book."""
UPCUT_SHARE: Final[Pair] = (0.58, 0.4)
"""Upward pull of a cutter as a share of the force along its rim: the tangent of a helix of 30
degrees, and of 22 in the middle; cutters that push down are not told apart (geometry)."""
_BAD_WHEN_LOW: Final = {"friction_on_mat", "density_kg_m3", "valve_flow_m3_h"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """All figures of the check as pairs, and what had to be assumed.

    Parameters
    ----------
    friction : tuple of float
        Part against mat.
    resistance_n_mm : tuple of float
        Force along the cut per depth [N/mm].
    lift_share : tuple of float
        Upward pull as a share of the force along the cut.
    kerf_gap_mm : tuple of float
        What stays open of a blade's kerf [mm].
    cutting_n_mm2, upcut_share : tuple of float
        Force of a cutter per area of chip, and its upward pull as a share of it [N/mm2, 1].
    crease_drag_n : tuple of float
        Drag of a creasing wheel [N].
    density_kg_m3 : tuple of float
        Of the stock [kg/m3].
    mat_m3_h_m2, leak_m3_h, valve_m3_h : tuple of float
        Free air at 1 kPa through open bed, zone and valve [m3/h/m2, m3/h].
    closed_kpa, flow_m3_h : tuple of float
        Vacuum and free flow of the pump at sea level [kPa, m3/h].
    findings : tuple of Finding
        A warning for every figure that no book holds.
    """

    friction: Pair
    resistance_n_mm: Pair
    lift_share: Pair
    kerf_gap_mm: Pair
    cutting_n_mm2: Pair
    upcut_share: Pair
    crease_drag_n: Pair
    density_kg_m3: Pair
    mat_m3_h_m2: Pair
    leak_m3_h: Pair
    valve_m3_h: Pair
    closed_kpa: Pair
    flow_m3_h: Pair
    findings: tuple[Finding, ...]


def gather_figures(material: Material, table: Table, kinds: Collection[By]) -> Figures:
    """Return the figures of a material on a table; what is missing is assumed and said.

    Figures of tools of no kind in use are 0 and are not asked for.
    """
    findings: list[Finding] = []

    def of_material(name: str, by: By | None = None) -> Pair:
        if by is not None and by not in kinds:
            return 0.0, 0.0
        return _pair(name, material.ranges, f"material {material.id}", findings)

    def of_table(name: str) -> Pair:
        return _pair(name, table.vacuum, f"table {table.id}", findings)

    pump = table.pump
    return Figures(
        friction=of_material("friction_on_mat"),
        resistance_n_mm=of_material("cutting_resistance_n_mm", By.BLADE),
        lift_share=of_material("lift_share", By.BLADE),
        kerf_gap_mm=of_material("kerf_gap_mm", By.BLADE),
        cutting_n_mm2=of_material("specific_cutting_force_n_mm2", By.CUTTER),
        upcut_share=UPCUT_SHARE if By.CUTTER in kinds else (0.0, 0.0),
        crease_drag_n=of_material("crease_drag_n", By.WHEEL),
        density_kg_m3=of_material("density_kg_m3"),
        mat_m3_h_m2=of_table("mat_flow_m3_h_m2"),
        leak_m3_h=of_table("zone_leak_m3_h"),
        valve_m3_h=of_table("valve_flow_m3_h"),
        closed_kpa=(pump.vacuum_kpa.low, _middle(pump.vacuum_kpa)),
        flow_m3_h=(pump.flow_m3_h.low, _middle(pump.flow_m3_h)),
        findings=tuple(findings),
    )


def _pair(name: str, book: Mapping[str, Range], whose: str, findings: list[Finding]) -> Pair:
    known = book.get(name)
    if known is not None:
        bad = known.low if name in _BAD_WHEN_LOW else known.high
        return bad, _middle(known)
    value, unit = DEFAULTS[name]
    findings.append(
        Finding(
            code="HLD-120",
            severity=Severity.WARN,
            where=Place(stage="holddown"),
            measured=value,
            unit=unit,
            params={"name": name, "whose": whose},
        )
    )
    return value, value


def _middle(known: Range) -> float:
    return (known.low + known.high) / 2.0
