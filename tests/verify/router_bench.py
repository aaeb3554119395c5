"""An invented router table, cutters and designs for the tests of routed contours."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright.geometry.paths import PathSet, join_sets
from kerfwright.geometry.plane_map import PlaneMap, rigid_map
from kerfwright.model.design import Design, Tolerances
from kerfwright.model.operation import HeadKind, Operation, Process, Tolerance
from kerfwright.model.routing import Routing, Tabs
from kerfwright.model.table import Head, Station
from kerfwright.model.tooling import Blade, Cutter
from tests.verify.bench import BLADES, TABLE

BOTTOM, TOP, TRAVEL = 0.0, 12.0, 25.0
DEPTH = -0.3
RADIUS = 3.0
TIGHT = Tolerances(cut_mm=0.03, depth_mm=0.1)
TABS = Tabs(length_mm=8.0, height_mm=2.0, spacing_mm=150.0)


def cutter(name: str, profile: list[tuple[float, float]], **changes: object) -> Cutter:
    fields = {
        "id": name, "profile_mm": np.array(profile), "flutes": 2, "length_mm": 20.0,
        "plunges": True, "free_length_mm": 30.0, "fits": (HeadKind.ROUTER_SPINDLE,),
    }  # fmt: skip
    return Cutter(**fields | changes)


CUTTERS = {
    c.id: c
    for c in (
        cutter("mill6", [(RADIUS, 0.0)]),
        cutter("mill8", [(4.0, 0.0)]),
        cutter("mill3", [(1.5, 0.0)]),
        cutter("blunt", [(RADIUS, 0.0)], plunges=False),
        cutter("short", [(RADIUS, 0.0)], length_mm=10.0, free_length_mm=11.0),
        cutter("ball", [(0.0, 0.0), (1.8, 0.6), (2.6, 1.5), (3.0, 3.0)]),
        cutter("vee", [(0.0, 0.0), (6.0, 6.0)]),
    )
}
STATION = {name: 11 + i for i, name in enumerate(CUTTERS)}
SPINDLE = Head(
    id="spindle", kind=HeadKind.ROUTER_SPINDLE, offset_mm=np.array((-240.0, 1.5, 0.5)),
    offset_cov_mm2=np.eye(3) * 1e-4, c_zero_rad=0.0, c_limits_rad=None, mass_kg=9.0,
    depth_kind="bed", tools=tuple(CUTTERS), reach=(-400.0, -400.0, 4000.0, 3000.0),
    z_travel_mm=(-3.0, 60.0),
)  # fmt: skip
ROUTER = replace(
    TABLE,
    heads=(*TABLE.heads, SPINDLE),
    stations=(
        *TABLE.stations,
        *(Station(number=n, head_id="spindle", tool_id=name) for name, n in STATION.items()),
    ),
    travel_z_mm=TRAVEL,
)


def routed(name: str = "out", **changes: object) -> Operation:
    fields = {
        "id": name,
        "process": Process.ROUTING,
        "head_kind": HeadKind.ROUTER_SPINDLE,
        "tool_id": "mill6",
        "card_id": "none",
        "side": "outside",
        "depth_mm": DEPTH,
        "depth_from": "bottom",
        "passes": 2,
        "tolerance_mm": Tolerance(print_mm=0.1, size_mm=0.1),
        "routing": Routing(sense="conventional"),
    }
    return Operation(**fields | changes)


OUT = routed()
HOLE = routed("hole", side="inside")
LINE = routed("line", side="on", depth_mm=3.0, depth_from="top", passes=1)
HELD = routed("held", routing=Routing(tabs=TABS))
DEEP_HOLE = routed("pocket", side="inside", depth_mm=5.0, depth_from="top")


def design(
    paths: list[PathSet],
    operations: list[Operation],
    *,
    plane_map: PlaneMap | None = None,
    **changes: object,
) -> Design:
    pool = tuple({o.id: o for o in operations}.values())
    names = tuple(dict.fromkeys(o.tool_id for o in pool))
    tools: tuple[Cutter | Blade, ...] = tuple((CUTTERS | BLADES)[n] for n in names)
    fields = {
        "contours": tuple(f"c{i}" for i in range(len(paths))),
        "nominal": join_sets(paths),
        "operations": pool,
        "operation": np.array([[o.id for o in pool].index(o.id) for o in operations], np.int64),
        "tools": tools,
        "tool": np.array([names.index(o.tool_id) for o in operations], np.int64),
        "maps": (plane_map or rigid_map(0.0, 0.0, 0.0),),
        "map": np.zeros(len(paths), np.int64),
        "bottom_z_mm": BOTTOM,
        "top_z_mm": TOP,
        "travel_z_mm": TRAVEL,
    }
    return Design(**fields | changes)
