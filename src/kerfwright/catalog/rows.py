"""One catalogue row -> one record. Degrees of the files become radians here and nowhere else."""

from __future__ import annotations

import numpy as np

from kerfwright.catalog.cells import (
    Row,
    as_number,
    as_text,
    count_of,
    list_of,
    number_of,
    numbers_of,
    only_keys,
    table_of,
    text_of,
)
from kerfwright.geometry.record import require
from kerfwright.model.material import Material, Range, Setting, SettingCard
from kerfwright.model.operation import HeadKind, Operation, Process, Tolerance
from kerfwright.model.rules import Rule, RuleTable
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
from kerfwright.model.tooling import Blade, Tool
from kerfwright.units import RAD_PER_DEG

_RANGE_ITEMS = 3
_SETTING_ITEMS = 4


def tool(key: str, row: Row) -> Tool:
    """Return the blade of a row; angles in degrees."""
    require(row["kind"] == "blade", f"tool kind {row['kind']} is not known; blade is")
    lengths = ("width_mm", "tip_mm", "reference_mm", "free_length_mm")
    only_keys(row, "kind", "lead_deg", "trail_deg", "bevel", "fits", *lengths)
    return Blade(
        id=key,
        lead_rad=number_of(row, "lead_deg") * RAD_PER_DEG,
        trail_rad=number_of(row, "trail_deg") * RAD_PER_DEG,
        bevel=row["bevel"],
        fits=tuple(HeadKind(k) for k in list_of(row, "fits")),
        source=text_of(row, "source"),
        **{name: number_of(row, name) for name in lengths},
    )


def material(key: str, row: Row) -> Material:
    """Return the material of a row; every list of low, high, unit becomes a figure."""
    figures = {k: _range(k, row) for k, v in row.items() if isinstance(v, list)}
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
    values = dict(_setting(k, row) for k in table_of(row, "values"))
    return SettingCard(
        id=key,
        material_id=text_of(row, "material"),
        thickness_mm=_range("thickness_mm", row),
        process=Process(row["process"]),
        head_kind=HeadKind(row["head_kind"]),
        tool_id=text_of(row, "tool"),
        values=values,
        proven_on=text_of(row, "proven_on", ""),
        by=text_of(row, "by", ""),
    )


def rule_table(key: str, row: Row) -> RuleTable:
    """Return the rule table of a row: operations by id, then rules in order."""
    tolerances = ("join_tolerance_mm", "duplicate_tolerance_mm")
    only_keys(row, "operations", "rules", *tolerances)
    require(row.get("operations"), f"rules {key} list no operation")
    operations = table_of(row, "operations")
    return RuleTable(
        rules=tuple(_rule(r) for r in list_of(row, "rules", ())),
        operations=tuple(_operation(k, table_of(operations, k)) for k in operations),
        **{k: number_of(row, k) for k in tolerances if k in row},
    )


def table(key: str, row: Row) -> Table:
    """Return the table of a row."""
    lengths = ("bed_surface_mm", "gantry_kg", "travel_z_mm", "clearance_mm")
    parts = ("axes", "heads", "stations", "zones", "pump", "load_pose", "calibration", "vacuum")
    only_keys(row, "name", "bed", "bed_surface", "control", "z_reference", *lengths, *parts)
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
        **{name: number_of(row, name) for name in lengths},
    )


def _rule(row: Row) -> Rule:
    only_keys(row, "layer", "colour", "name", "operation")
    words = {name: text_of(row, name, "") for name in ("layer", "colour", "name")}
    return Rule(operation=text_of(row, "operation"), **words)


def _operation(key: str, row: Row) -> Operation:
    names = ("process", "head_kind", "tool", "card", "depth_mm", "depth_from", "tolerance_mm")
    only_keys(row, *names, "side", "passes", "fidelity", "quality", "feed_mm_s")
    tolerance = table_of(row, "tolerance_mm")
    only_keys(tolerance, "print_mm", "size_mm")
    return Operation(
        id=key,
        process=Process(row["process"]),
        head_kind=HeadKind(row["head_kind"]),
        tool_id=text_of(row, "tool"),
        card_id=text_of(row, "card"),
        side=row.get("side", "on"),
        depth_mm=number_of(row, "depth_mm"),
        depth_from=row["depth_from"],
        passes=count_of(row, "passes") if "passes" in row else 1,
        tolerance_mm=Tolerance(
            print_mm=number_of(tolerance, "print_mm"), size_mm=number_of(tolerance, "size_mm")
        ),
        fidelity=row["fidelity"],
        quality=row.get("quality", "standard"),
        feed_mm_s=number_of(row, "feed_mm_s") if "feed_mm_s" in row else None,
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
        vacuum_kpa=_range("vacuum_kpa", row),
        flow_m3_h=_range("flow_m3_h", row),
    )


def _vacuum(row: Row) -> dict[str, Range]:
    names = ("mat_flow_m3_h_m2", "zone_leak_m3_h", "valve_flow_m3_h")
    only_keys(row, *names)
    return {name: _range(name, row) for name in names if name in row}


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


def _range(name: str, row: Row) -> Range:
    values = list_of(row, name)
    require(len(values) == _RANGE_ITEMS, f"{name}: {values} is not low, high, unit")
    return _made_range(name, row, *values)


def _setting(name: str, row: Row) -> tuple[str, Setting]:
    values = list_of(row["values"], name)
    require(len(values) == _SETTING_ITEMS, f"{name}: {values} is not value, low, high, unit")
    value, low, high, unit = values
    if name.endswith("_deg"):
        require(unit == "deg", f"{name}: its unit is {unit!r}, must be 'deg'")
        name, unit = f"{name[:-4]}_rad", "rad"
        value, low, high = (as_number(name, x) * RAD_PER_DEG for x in (value, low, high))
    within = _made_range(name, row, low, high, unit)
    return name, Setting(value=as_number(name, value), range=within)


def _made_range(name: str, row: Row, low: object, high: object, unit: object) -> Range:
    return Range(
        low=as_number(name, low),
        high=as_number(name, high),
        unit=as_text(name, unit),
        source=text_of(row, "source"),
        date=text_of(row, "date"),
    )


def _box(row: Row, name: str) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = numbers_of(row, name, 4)
    return x0, y0, x1, y1
