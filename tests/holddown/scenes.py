"""Sheets of parts, their motion as planned, and all the check wants besides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright import catalog, holddown, toolpath
from kerfwright.geometry.paths import PathSet, join_sets, make_circle, make_path
from kerfwright.geometry.plane_map import rigid_map
from kerfwright.model.cut import CutOrder, CutSetup
from kerfwright.model.material import Material, Range
from kerfwright.model.operation import HeadKind, Operation, Process, Tolerance
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout, Sheet
from kerfwright.model.table import Zone

TABLE = catalog.load_tables()["pier-2616"]
BLADE = catalog.load_tools()["steep-point-6"]
PVC = catalog.load_materials()["pvc-foam-3"]
STRAIGHT, SHAKER = 1, 5
"""Stations of the same blade in a knife that is dragged and one that oscillates."""
THICKNESS_MM, BELOW_MM = 3.0, 0.3
THROUGH = Operation(
    id="through", process=Process.CUTTING, head_kind=HeadKind.TANGENTIAL_KNIFE,
    tool_id="steep-point-6", card_id="card", depth_mm=-BELOW_MM, depth_from="bottom",
    tolerance_mm=Tolerance(print_mm=0.5, size_mm=0.5),
)  # fmt: skip
SCORE = replace(THROUGH, id="score", process=Process.PARTIAL_CUTTING, depth_mm=1.0)
ONE_ZONE = replace(TABLE, zones=(Zone(number=1, box_mm=TABLE.bed),))


def rectangle(a, b, x=0.0, y=0.0) -> PathSet:
    return make_path([(x, y), (x + a, y), (x + a, y + b), (x, y + b)], closed=True)


def part_of(*paths: PathSet, operation=THROUGH, id="p", outline=0) -> Part:  # noqa: A002 - the field's own name
    every = join_sets(paths)
    return Part(
        id=id, paths=every, contour_ids=tuple(f"{id}{k}" for k in range(len(every))),
        operations=(operation,), operation=np.zeros(len(every)), outline=outline,
    )  # fmt: skip


def figure(low, high, unit="1") -> Range:
    return Range(low=low, high=high, unit=unit, source="made for a test", date="2026-11-25")


def material(**figures) -> Material:
    """PVC foam with other figures; None takes one out."""
    ranges = dict(PVC.ranges) | figures
    return replace(PVC, ranges={k: v for k, v in ranges.items() if v is not None})


class Scene:
    """Parts at places on one sheet, cut in the order given, holes first."""

    def __init__(
        self, parts, places, *, station=SHAKER, operation=THROUGH, table=TABLE,
        pose=(60.0, 60.0, 0.0), sheet_mm=(2440.0, 1220.0),
    ):  # fmt: skip
        self.parts = tuple(parts)
        self.map = rigid_map(*pose)
        maps = [np.column_stack((np.eye(2), (x, y))) for _, x, y in places]
        which = [k for k, _, _ in places]
        self.sheet = Sheet(
            id="s1", outline=rectangle(*sheet_mm), thickness_mm=THICKNESS_MM, material_id=PVC.id
        )
        self.layout = Layout(
            sheets=(self.sheet,), part=np.array(which), sheet=np.zeros(len(which)),
            sheet_from_part=np.array(maps).reshape(-1, 2, 3),
        )  # fmt: skip
        self.table, self.station, self.operation = table, station, operation
        placed = []
        for k, m in zip(which, self.layout.sheet_from_part, strict=True):
            part = self.parts[k]
            later = [part.outline] if part.outline >= 0 else []
            inner = [i for i in range(len(part.paths)) if i not in later]
            placed.append(part.paths.select(np.array([*inner, *later])).transformed(m))
        self.on_table = join_sets(placed).transformed(self.map.affine)
        self.motion = self.plan()

    def plan(self):
        n = len(self.on_table)
        names = tuple(f"c{k}" for k in range(n))
        order = CutOrder(
            contour=names, operation=(self.operation.id,) * n, pass_no=np.zeros(n),
            entry_s=np.zeros(n), reversed=np.zeros(n, bool), group=np.zeros(n),
        )  # fmt: skip
        setup = CutSetup(
            bottom_z_mm=0.0, top_z_mm=THICKNESS_MM, feed_mm_s=300.0, plunge_mm_s=60.0,
            turn_rad_s=10.0, lift_angle_rad=0.3, lift_z_mm=5.0, tolerance_mm=0.1,
        )  # fmt: skip
        motion = toolpath.plan(
            self.operation, BLADE, self.on_table, order, contours=names,
            part_side=np.ones(n, np.int64), setup=setup,
        )  # fmt: skip
        assert motion.findings == ()
        return replace(motion, tool=np.full(len(motion), self.station))

    def check(self, motion=None, table=None, **changes):
        motion, table = (own if new is None else new
                         for new, own in ((motion, self.motion), (table, self.table)))  # fmt: skip
        given = {
            "parts": self.parts,
            "material": PVC,
            "table_from_sheet": self.map,
            "thickness_mm": THICKNESS_MM,
            "tools": {self.station: BLADE},
            "zones_on": tuple(z.number for z in table.zones),
        }
        return holddown.check(self.layout, motion, table, **(given | changes))


def codes(report):
    return [f.code for f in report.findings]


def grid(nx, ny, part, *, pitch=(400.0, 300.0)):
    places = [(0, 10.0 + i * pitch[0], 10.0 + j * pitch[1]) for j in range(ny) for i in range(nx)]
    return Scene([part], places)


def round_part(radius):
    return part_of(make_circle((radius, radius), radius))
