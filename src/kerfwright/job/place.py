"""Contours from parts to sheet to table, with the side the part is on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.containment import containment_forest
from kerfwright.geometry.fit import map_paths
from kerfwright.geometry.paths import PathSet, join_sets
from kerfwright.geometry.plane_map import PlaneMap, rigid_map
from kerfwright.geometry.record import BOOL, I64
from kerfwright.job.results import LayoutResult, PlacedContours
from kerfwright.model.operation import Operation
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout, Sheet
from kerfwright.model.table import Table

_BOX_MM = 0.01


def lay_as_drawn(parts: Sequence[Part], sheet: Sheet) -> LayoutResult:
    """Place every part as it lies in the drawing, the whole moved to the sheet's margin.

    Parameters
    ----------
    parts : sequence of Part
        Parts in the artwork frame.
    sheet : Sheet
        The sheet.

    Returns
    -------
    LayoutResult
        One placement per part; findings where the drawing is larger than the sheet allows, or a
        part is wanted more often than it is drawn.
    """
    if not parts:
        none = np.zeros(0, np.int64)
        empty = Layout(sheets=(sheet,), part=none, sheet=none, sheet_from_part=np.zeros((0, 2, 3)))
        return LayoutResult(layout=empty, findings=())
    box = np.array(join_sets([p.paths for p in parts]).box_mm())
    shift = np.array(sheet.outline.box_mm()[:2]) + sheet.margin_mm - box[:2]
    maps = np.tile(np.column_stack((np.eye(2), shift)), (len(parts), 1, 1))
    part_area = sum(_outline_area_mm2(part) for part in parts)
    layout = Layout(
        sheets=(sheet,),
        part=np.arange(len(parts)),
        sheet=np.zeros(len(parts), np.int64),
        sheet_from_part=maps,
        density=part_area / abs(float(sheet.outline.areas_mm2()[0])),
    )
    return LayoutResult(layout=layout, findings=_too_large(box, sheet))


def _outline_area_mm2(part: Part) -> float:
    return 0.0 if part.outline < 0 else abs(float(part.paths.areas_mm2()[part.outline]))


def _too_large(box: np.ndarray, sheet: Sheet) -> tuple[Finding, ...]:
    x0, y0, x1, y1 = sheet.outline.box_mm()
    room = np.array((x1 - x0, y1 - y0)) - 2.0 * sheet.margin_mm
    size = box[2:] - box[:2]
    return tuple(
        Finding(
            code="JOB-110",
            severity=Severity.BLOCKS,
            where=Place(stage="layout", sheet=sheet.id, frame="sheet"),
            measured=float(size[axis]),
            limit=float(room[axis]),
            unit="mm",
            params={"side": ("width", "height")[axis]},
        )
        for axis in (0, 1)
        if size[axis] > room[axis] + 1e-9
    )


def place_contours(parts: Sequence[Part], layout: Layout, table: Table) -> PlacedContours:
    """Return every placed contour on the sheet and on the table at its load pose.

    Ids are the contour's own where its part is placed once, else followed by ``@`` and the
    number of the copy.
    """
    pose = table.load_pose
    table_from_sheet = rigid_map(pose.x_mm, pose.y_mm, pose.turn_rad)
    operations = _operations_of(parts)
    index = {operation.id: i for i, operation in enumerate(operations)}
    ids: list[str] = []
    sets: list[PathSet] = []
    placement: list[int] = []
    operation: list[int] = []
    copies = np.bincount(layout.part, minlength=len(parts))
    seen = np.zeros(len(parts), np.int64)
    for p, which in enumerate(layout.part.tolist()):
        part = parts[which]
        seen[which] += 1
        tail = f"@{seen[which]}" if copies[which] > 1 else ""
        ids += [cid + tail for cid in part.contour_ids]
        sets.append(part.paths.transformed(layout.sheet_from_part[p]))
        placement += [p] * len(part.paths)
        operation += [index[part.operations[i].id] for i in part.operation.tolist()]
    on_sheet = join_sets(sets)
    row = np.array(operation, np.int64)
    through = np.array([o.bounds_part for o in operations], bool)
    return PlacedContours(
        contours=tuple(ids),
        placement=np.array(placement, np.int64),
        on_sheet=on_sheet,
        on_table=on_sheet.transformed(table_from_sheet.affine),
        operations=operations,
        operation=row,
        part_side=part_sides(on_sheet, through[row] if len(row) else np.zeros(0, bool)),
        table_from_sheet=table_from_sheet,
    )


def _operations_of(parts: Sequence[Part]) -> tuple[Operation, ...]:
    found = {o.id: o for part in parts for o in part.operations}
    return tuple(found.values())


def part_sides(paths: PathSet, is_through: BOOL) -> I64:
    """Return on which side of each contour the part lies, by nesting of closed through cuts.

    Parameters
    ----------
    paths : PathSet
        K contours of one sheet [mm].
    is_through : ndarray of shape (K,), bool
        Whether each is cut through.

    Returns
    -------
    ndarray of shape (K,), int
        +1 part on the left of the drawn direction, -1 on the right, 0 where both sides are part
        or nothing closed is cut.
    """
    side = np.zeros(len(paths), np.int64)
    rows = np.flatnonzero(is_through & paths.closed)
    if not rows.size:
        return side
    loops = paths.select(rows)
    depth = _depths(containment_forest(loops, tolerance_mm=1e-6))
    turn = np.where(loops.areas_mm2() >= 0.0, 1, -1)
    side[rows] = np.where(depth % 2 == 0, turn, -turn)
    return side


def _depths(parent: I64) -> I64:
    depth = np.zeros(len(parent), np.int64)
    at = parent.copy()
    while (at >= 0).any():
        depth += at >= 0
        at = np.where(at >= 0, parent[np.maximum(at, 0)], -1)
    return depth


def keep_placements(placed: PlacedContours, keep: BOOL) -> PlacedContours:
    """Return the contours of a mask (K,), everything else as it was."""
    rows = np.flatnonzero(keep)
    return PlacedContours(
        contours=tuple(placed.contours[i] for i in rows.tolist()),
        placement=placed.placement[rows],
        on_sheet=placed.on_sheet.select(rows),
        on_table=placed.on_table.select(rows),
        operations=placed.operations,
        operation=placed.operation[rows],
        part_side=placed.part_side[rows],
        table_from_sheet=placed.table_from_sheet,
        maps=placed.maps,
        map=placed.map[rows] if placed.maps else placed.map,
    )


def lies_on(placed_map: PlaneMap, sheet: Sheet) -> tuple[float, float, float, float]:
    """Return x0, y0, x1, y1 of the sheet on the table [mm]."""
    return map_paths(sheet.outline, placed_map, tolerance_mm=_BOX_MM).paths.box_mm()
