"""Parts as they lie on the table: outlines, polygons, and what of them lies over which zone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from kerfwright.errors import ModelError
from kerfwright.geometry.flatten import flatten
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import F64, I64
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout, Sheet
from kerfwright.model.table import Zone

Shapes = NDArray[np.object_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bodies:
    """B parts on the table; parts without an outline that frees them are not among them.

    Parameters
    ----------
    row : ndarray of shape (B,), int
        Row of the report each one belongs to.
    ring, polygon : ndarray of shape (B,), shapely geometries
        Outline, and area less the holes cut through [mm].
    edges : ndarray of shape (E, 4), float
        Edges of all pieces, outlines counter-clockwise [mm].
    zone : ndarray of shape (E,), int
        Index of the zone below the piece; the number of zones stands for none.
    starts : ndarray of shape (B + 1,), int
        First edge of each part.
    hull : ndarray of shape (H, 2), float
        Corners of the convex hulls, counter-clockwise [mm].
    hull_starts : ndarray of shape (B + 1,), int
        First corner of each part.
    held_mm2 : ndarray of shape (B,), float
        Area over zones that are on [mm2].
    """

    row: I64
    ring: Shapes
    polygon: Shapes
    edges: F64
    zone: I64
    starts: I64
    hull: F64
    hull_starts: I64
    held_mm2: F64


def map_of(table_from_sheet: ArrayLike | PlaneMap) -> PlaneMap:
    """Return a plane map from a map or a matrix (2, 3).

    Raises
    ------
    ModelError
        If a matrix has another shape, is singular or not finite.
    """
    if isinstance(table_from_sheet, PlaneMap):
        return table_from_sheet
    return PlaneMap(affine=np.asarray(table_from_sheet, np.float64))


def lay_parts(
    parts: Sequence[Part],
    layout: Layout,
    placements: I64,
    zones: Sequence[Zone],
    *,
    table_from_sheet: PlaneMap,
    chord_mm: float,
) -> Bodies:
    """Return the parts of some placements on the table.

    Raises
    ------
    ModelError
        If a placement names a part that was not given.
    """
    most = int(layout.part[placements].max(initial=-1))
    if most >= len(parts):
        raise ModelError(f"the layout places part {most}, {len(parts)} parts were given")
    shapes = {i: _shape_of(parts[i], chord_mm) for i in set(layout.part[placements].tolist())}
    rows, rings, polygons = [], [], []
    for row, p in enumerate(placements.tolist()):
        shape = shapes[int(layout.part[p])]
        if shape is not None:
            rows.append(row)
            ring, polygon = (_moved(s, layout.sheet_from_part[p]) for s in shape)
            rings.append(ring)
            polygons.append(polygon)
    ring, polygon = _mapped(rings, table_from_sheet), _mapped(polygons, table_from_sheet)
    return _bodies(np.array(rows, np.int64), ring, polygon, zones)


def sheet_shape(sheet: Sheet, table_from_sheet: PlaneMap, chord_mm: float) -> Any:  # noqa: ANN401 - shapely has no types
    """Return a sheet less its holes on the table."""
    shape = _polygon(flatten(sheet.outline, tolerance_mm=chord_mm))
    holes = flatten(sheet.holes, tolerance_mm=chord_mm)
    whole = shapely.difference(shape, shapely.union_all(_polygons(holes)))
    return _mapped([whole], table_from_sheet)[0]


def lay_whole(shape: Any, zones: Sequence[Zone]) -> Bodies:  # noqa: ANN401 - shapely has no types
    """Return one body of a shape that lies on the table already."""
    ring = np.array([shapely.convex_hull(shape).exterior], dtype=object)
    return _bodies(np.zeros(1, np.int64), ring, np.array([shape], dtype=object), zones)


def _shape_of(part: Part, chord_mm: float) -> tuple[Any, Any] | None:
    """Return outline and area of a part in its own frame, None without an outline."""
    if part.outline < 0 or not part.paths.closed[part.outline]:
        return None
    flat = flatten(part.paths, tolerance_mm=chord_mm)
    through = np.array([o.bounds_part for o in part.operations], bool)
    is_hole = flat.closed & through[part.operation] & (np.arange(len(flat)) != part.outline)
    outline = flat.select([part.outline])
    shape = _polygon(outline)
    whole = shapely.difference(shape, shapely.union_all(_polygons(flat.select(is_hole))))
    return shapely.linearrings(outline.points), whole


def _polygons(flat: PathSet) -> Shapes:
    areal = np.flatnonzero(np.diff(flat.starts) > 2).tolist()
    return np.array([_polygon(flat.select([k])) for k in areal], dtype=object)


def _polygon(outline: PathSet) -> Any:  # noqa: ANN401 - shapely has no types
    shape = shapely.polygons(outline.points)
    return shape if shapely.is_valid(shape) else shapely.make_valid(shape)


def _moved(shape: Any, matrix: F64) -> Any:  # noqa: ANN401 - shapely has no types
    return shapely.transform(shape, lambda xy: xy @ matrix[:, :2].T + matrix[:, 2])


def _mapped(shapes: Sequence[Any], table_from_sheet: PlaneMap) -> Shapes:
    """Return the shapes with all their points mapped at once."""
    out = np.array(shapes, dtype=object)
    return np.asarray(shapely.transform(out, table_from_sheet.map_points), dtype=object)


def _bodies(row: I64, ring: Shapes, polygon: Shapes, zones: Sequence[Zone]) -> Bodies:
    boxes = np.array([shapely.box(*z.box_mm) for z in zones], dtype=object)
    body, zone = _pairs(polygon, boxes)
    over = shapely.intersection(polygon[body], boxes[zone])
    held = np.bincount(body, weights=shapely.area(over), minlength=len(polygon))
    beside = np.flatnonzero(held < shapely.area(polygon) * (1.0 - 1e-12))
    rest = shapely.difference(polygon[beside], shapely.union_all(boxes))
    shapes = np.concatenate((over, rest))
    owner = np.concatenate((body, beside))
    column = np.concatenate((zone, np.full(len(beside), len(zones), np.int64)))
    order = np.argsort(owner, kind="stable")
    edges, shape = _edges(shapes[order])
    hull, hull_of = _hulls(polygon)
    return Bodies(
        row=row,
        ring=ring,
        polygon=polygon,
        edges=edges,
        zone=column[order][shape],
        starts=np.searchsorted(owner[order][shape], np.arange(len(polygon) + 1)),
        hull=hull,
        hull_starts=np.searchsorted(hull_of, np.arange(len(polygon) + 1)),
        held_mm2=np.asarray(held, np.float64),
    )


def _pairs(polygon: Shapes, boxes: Shapes) -> tuple[I64, I64]:
    if not (len(polygon) and len(boxes)):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    a, b = shapely.bounds(polygon), shapely.bounds(boxes)
    apart = (a[:, None, :2] >= b[None, :, 2:]).any(axis=2)
    apart |= (b[None, :, :2] >= a[:, None, 2:]).any(axis=2)
    body, zone = np.nonzero(~apart)
    return body.astype(np.int64), zone.astype(np.int64)


def _edges(shapes: Shapes) -> tuple[F64, I64]:
    """Return the edges of all polygons in the shapes and the shape each belongs to."""
    singles, shape = shapely.get_parts(shapely.orient_polygons(shapes), return_index=True)
    flat = shapely.get_type_id(singles) == shapely.GeometryType.POLYGON
    rings, single = shapely.get_rings(singles[flat], return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    goes_on = np.flatnonzero(ring[1:] == ring[:-1])
    edges = np.column_stack((points[goes_on], points[goes_on + 1]))
    return edges, shape[flat][single[ring[goes_on]]].astype(np.int64)


def _hulls(polygon: Shapes) -> tuple[F64, I64]:
    hulls = shapely.orient_polygons(shapely.convex_hull(polygon))
    points, owner = shapely.get_coordinates(hulls, return_index=True)
    # the first corner is said again at the end
    again = np.diff(owner, append=-1) != 0
    return points[~again], owner[~again].astype(np.int64)
