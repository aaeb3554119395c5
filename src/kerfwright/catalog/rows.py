"""One catalogue row -> one record. Degrees of the files become radians here and nowhere else."""

from __future__ import annotations

import numpy as np

from kerfwright.catalog.cells import (
    Row,
    as_text,
    count_of,
    list_of,
    number_of,
    numbers_of,
    only_keys,
    table_of,
    text_of,
)
from kerfwright.catalog.figures import range_of, setting_of
from kerfwright.catalog.rule_rows import rule_table
from kerfwright.catalog.tool_rows import tool
from kerfwright.geometry.record import require
from kerfwright.model.material import Material, Range, SettingCard
from kerfwright.model.operation import HeadKind, Process
from kerfwright.model.table import (
    Calibration,
    Head,
    Limits,
    LoadPose,
    Pump,
    Station,
    Table,
    Zone,
)
from kerfwright.units import RAD_PER_DEG

__all__ = ["card", "material", "rule_table", "table", "tool"]


def material(key: str, row: Row) -> Material:
    """Return the material of a row; every list of low, high, unit becomes a figure."""
    figures = {k: range_of(k, row) for k, v in row.items() if isinstance(v, list)}
    only_keys(row, "name", "kind", *figures)
    require("thickness_mm" in figures, "the key 'thickness_mm' is missing; add it")
    thickness = figures.pop("thickness_mm")
    return Material(
        id=key,
        name=text_of(row, "name"),
        kind=text_of(row, "kind"),
        thickness_mm=thickness,
        ranges=figures,
    )


def card(key: str, row: Row) -> SettingCard:
    """Return the setting card of a row; values are lists of value, low, high, unit."""
    names = ("material", "thickness_mm", "process", "head_kind", "tool", "values")
    only_keys(row, *names, "proven_on", "by")
    values = dict(setting_of(k, row) for k in table_of(row, "values"))
    return SettingCard(
        id=key,
        material_id=text_of(row, "material"),
        thickness_mm=range_of("thickness_mm", row),
        process=Process(row["process"]),
        head_kind=HeadKind(row["head_kind"]),
        tool_id=text_of(row, "tool"),
        values=values,
        proven_on=text_of(row, "proven_on", ""),
        by=text_of(row, "by", ""),
    )


def table(key: str, row: Row) -> Table:
    """Return the table of a row."""
    lengths = ("bed_surface_mm", "gantry_kg", "travel_z_mm", "clearance_mm")
    parts = ("axes", "heads", "stations", "zones", "pump", "load_pose", "calibration", "vacuum")
    surfaces = "other_surfaces"
    only_keys(
        row, "name", "bed", "bed_surface", "control", "z_reference", surfaces, *lengths, *parts
    )
    return Table(
        id=key,
        name=text_of(row, "name"),
        bed=_box(row, "bed"),
        bed_surface=row["bed_surface"],
        axes=_limits(table_of(row, "axes")),
        heads=tuple(_head(h) for h in list_of(row, "heads")),
        stations=tuple(_station(s) for s in list_of(row, "stations")),
        zones=tuple(_zone(z) for z in list_of(row, "zones")),
        pump=_pump(table_of(row, "pump")),
        control=text_of(row, "control"),
        load_pose=_load_pose(table_of(row, "load_pose")),
        z_reference=row["z_reference"],
        calibration=tuple(_calibration(c) for c in list_of(row, "calibration", ())),
        vacuum=_vacuum(table_of(row, "vacuum")) if "vacuum" in row else {},
        other_surfaces=_surfaces(table_of(row, surfaces)) if surfaces in row else {},
        **{name: number_of(row, name) for name in lengths},
    )


def _head(row: Row) -> Head:
    vectors = ("offset_mm", "offset_sd_mm", "reach", "z_travel_mm", "c_limits_deg")
    only_keys(row, "id", "kind", "mass_kg", "depth_kind", "tools", "c_zero_deg", *vectors)
    low, high = numbers_of(row, "z_travel_mm", 2)
    limits = None
    if "c_limits_deg" in row:
        least, most = numbers_of(row, "c_limits_deg", 2)
        limits = (least * RAD_PER_DEG, most * RAD_PER_DEG)
    return Head(
        id=text_of(row, "id"),
        kind=HeadKind(row["kind"]),
        offset_mm=np.array(numbers_of(row, "offset_mm", 3)),
        offset_cov_mm2=np.diag(np.square(numbers_of(row, "offset_sd_mm", 3))),
        c_zero_rad=number_of(row, "c_zero_deg") * RAD_PER_DEG,
        c_limits_rad=limits,
        mass_kg=number_of(row, "mass_kg"),
        depth_kind=row["depth_kind"],
        tools=tuple(as_text("tools", t) for t in list_of(row, "tools")),
        reach=_box(row, "reach"),
        z_travel_mm=(low, high),
    )


def _station(row: Row) -> Station:
    only_keys(row, "number", "head", "tool")
    return Station(
        number=count_of(row, "number"), head_id=text_of(row, "head"), tool_id=text_of(row, "tool")
    )


def _zone(row: Row) -> Zone:
    only_keys(row, "number", "box_mm")
    return Zone(number=count_of(row, "number"), box_mm=_box(row, "box_mm"))


def _pump(row: Row) -> Pump:
    only_keys(row, "id", "kind", "vacuum_kpa", "flow_m3_h")
    return Pump(
        id=text_of(row, "id"),
        kind=row["kind"],
        vacuum_kpa=range_of("vacuum_kpa", row),
        flow_m3_h=range_of("flow_m3_h", row),
    )


def _vacuum(row: Row) -> dict[str, Range]:
    names = ("mat_flow_m3_h_m2", "zone_leak_m3_h", "valve_flow_m3_h")
    only_keys(row, *names)
    return {name: range_of(name, row) for name in names if name in row}


def _surfaces(row: Row) -> dict[str, float]:
    only_keys(row, "mat", "spoilboard", "underlay")
    return {name: number_of(row, name) for name in row}


def _load_pose(row: Row) -> LoadPose:
    only_keys(row, "x_mm", "y_mm", "turn_deg")
    turn = number_of(row, "turn_deg") * RAD_PER_DEG
    return LoadPose(x_mm=number_of(row, "x_mm"), y_mm=number_of(row, "y_mm"), turn_rad=turn)


def _calibration(row: Row) -> Calibration:
    words = ("name", "unit", "date", "by")
    only_keys(row, "value", *words)
    return Calibration(value=number_of(row, "value"), **{w: text_of(row, w) for w in words})


def _limits(row: Row) -> Limits:
    lists = {
        "speed": "c_speed_deg_s",
        "acceleration": "c_acceleration_deg_s2",
        "jump": "c_jump_deg_s",
    }
    only_keys(row, *lists, *lists.values(), "rapid_mm_s", "block_time_s")
    axes = {
        name: np.array([*numbers_of(row, name, 3), number_of(row, c_name) * RAD_PER_DEG])
        for name, c_name in lists.items()
    }
    return Limits(
        rapid_mm_s=number_of(row, "rapid_mm_s"), block_time_s=number_of(row, "block_time_s"), **axes
    )


def _box(row: Row, name: str) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = numbers_of(row, name, 4)
    return x0, y0, x1, y1
