"""An invented table, two blades and designs for the tests of this folder."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright.geometry.paths import PathSet, join_sets
from kerfwright.geometry.plane_map import PlaneMap, rigid_map
from kerfwright.model.design import Design, Tolerances
from kerfwright.model.material import Range
from kerfwright.model.operation import HeadKind, Operation, Process, Tolerance
from kerfwright.model.table import Head, Limits, LoadPose, Pump, Station, Table, Zone
from kerfwright.model.tooling import Blade

TOP, MAT = 3.0, -0.3
TRAVEL, LIFT = 12.0, 5.5
TIGHT = Tolerances(cut_mm=0.03, depth_mm=0.1)

BLADE = Blade(
    id="point", width_mm=6.0, lead_rad=np.radians(80.0), trail_rad=np.pi / 2.0, tip_mm=0.1,
    reference_mm=0.2, bevel="both", free_length_mm=12.0,
    fits=(HeadKind.TANGENTIAL_KNIFE, HeadKind.OSCILLATING_KNIFE),
)  # fmt: skip
GROUND = replace(BLADE, id="ground", bevel="right")
FILM = replace(BLADE, id="film", lead_rad=np.radians(45.0), tip_mm=0.0, reference_mm=0.0)
BLADES = {b.id: b for b in (BLADE, GROUND, FILM)}


def _head(name: str, kind: HeadKind, offset: tuple[float, float, float], zero: float) -> Head:
    return Head(
        id=name, kind=kind, offset_mm=np.array(offset), offset_cov_mm2=np.eye(3) * 1e-4,
        c_zero_rad=zero, c_limits_rad=(-20.0, 20.0), mass_kg=4.0, depth_kind="bed",
        tools=tuple(BLADES), reach=(-400.0, -400.0, 4000.0, 3000.0), z_travel_mm=(-3.0, 60.0),
    )  # fmt: skip


TABLE = Table(
    id="bench",
    name="Bench of the tests",
    bed=(-400.0, -400.0, 4000.0, 3000.0),
    bed_surface="mat",
    bed_surface_mm=2.0,
    axes=Limits(
        speed=np.array([800.0, 800.0, 150.0, 15.0]),
        acceleration=np.array([3000.0, 3000.0, 1500.0, 150.0]),
        jump=np.full(4, 5.0),
        rapid_mm_s=800.0,
    ),
    gantry_kg=60.0,
    heads=(
        _head("straight", HeadKind.TANGENTIAL_KNIFE, (-82.4137, 3.1718, 0.25), 0.006),
        _head("shaker", HeadKind.OSCILLATING_KNIFE, (-164.9, 2.5, -0.75), -0.004),
    ),
    stations=(
        Station(number=1, head_id="straight", tool_id="point"),
        Station(number=2, head_id="straight", tool_id="film"),
        Station(number=3, head_id="straight", tool_id="ground"),
        Station(number=7, head_id="shaker", tool_id="point"),
    ),
    zones=(Zone(number=1, box_mm=(0.0, 0.0, 2000.0, 1500.0)),),
    pump=Pump(
        id="blower",
        kind="blower",
        vacuum_kpa=Range(low=15.0, high=30.0, unit="kPa", source="invented", date="2026-01-01"),
        flow_m3_h=Range(low=300.0, high=500.0, unit="m3/h", source="invented", date="2026-01-01"),
    ),
    control="bench",
    load_pose=LoadPose(x_mm=0.0, y_mm=0.0),
    z_reference="bed",
    travel_z_mm=TRAVEL,
    clearance_mm=2.0,
)


def operation(name: str = "through", **changes: object) -> Operation:
    fields = {
        "id": name,
        "process": Process.CUTTING,
        "head_kind": HeadKind.TANGENTIAL_KNIFE,
        "tool_id": "point",
        "card_id": "none",
        "depth_mm": MAT,
        "depth_from": "bottom",
        "tolerance_mm": Tolerance(print_mm=0.1, size_mm=0.1),
    }
    return Operation(**fields | changes)


THROUGH = operation()
KISS = operation(
    "kiss", process=Process.PARTIAL_CUTTING, tool_id="film", depth_mm=0.4, depth_from="top"
)
BEVEL = operation("bevel", tool_id="ground")
SHAKEN = operation("shaken", head_kind=HeadKind.OSCILLATING_KNIFE)
STATIONS = {"through": 1, "kiss": 2, "bevel": 3, "shaken": 7}


def design(
    paths: list[PathSet],
    operations: list[Operation] | None = None,
    *,
    plane_map: PlaneMap | None = None,
    **changes: object,
) -> Design:
    own = operations or [THROUGH] * len(paths)
    pool = tuple({o.id: o for o in own}.values()) or (THROUGH,)
    ids = tuple(dict.fromkeys(o.tool_id for o in pool))
    index = np.array([[o.id for o in pool].index(o.id) for o in own], np.int64)
    tool = np.array([ids.index(o.tool_id) for o in own], np.int64)
    fields = {
        "contours": tuple(f"c{i}" for i in range(len(paths))),
        "nominal": join_sets(paths),
        "operations": pool,
        "operation": index,
        "tools": tuple(BLADES[i] for i in ids),
        "tool": tool,
        "maps": (plane_map or rigid_map(0.0, 0.0, 0.0),),
        "map": np.zeros(len(paths), np.int64),
        "bottom_z_mm": 0.0,
        "top_z_mm": TOP,
        "travel_z_mm": TRAVEL,
    }
    return Design(**fields | changes)
