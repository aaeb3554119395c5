"""Parts and sheets for the tests of layout, and placed outlines by an outside library."""

from __future__ import annotations

import numpy as np
import shapely

from kerfwright.geometry.flatten import flatten
from kerfwright.geometry.paths import PathSet, empty_paths, make_path
from kerfwright.layout.outlines import outline_of
from kerfwright.model.operation import Operation, Process, Tolerance
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout, Sheet
from kerfwright.model.tooling import HeadKind

THROUGH = Operation(
    id="through",
    process=Process.CUTTING,
    head_kind=next(iter(HeadKind)),
    tool_id="blade",
    card_id="card",
    depth_mm=-0.3,
    depth_from="bottom",
    tolerance_mm=Tolerance(print_mm=0.5, size_mm=0.5),
)


def part(name: str, paths: PathSet, *, outline: int = 0, **changes) -> Part:
    count = len(paths)
    return Part(
        id=name,
        paths=paths,
        contour_ids=tuple(f"{name}-{k}" for k in range(count)),
        operations=(THROUGH,),
        operation=np.zeros(count, np.int64),
        outline=outline,
        **changes,
    )


def box(width: float, height: float, x: float = 0.0, y: float = 0.0) -> PathSet:
    corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
    return make_path(corners, closed=True)


def sheet(width: float, height: float, *, name: str = "s1", **changes) -> Sheet:
    fields = {
        "id": name,
        "outline": box(width, height),
        "holes": empty_paths(),
        "keep_outs": empty_paths(),
        "thickness_mm": 3.0,
        "material_id": "pvc-foam-3",
    }
    return Sheet(**fields | changes)


def placed(parts: list[Part], layout: Layout) -> list[PathSet]:
    return [
        outline_of(parts[p]).transformed(m)
        for p, m in zip(layout.part.tolist(), layout.sheet_from_part, strict=True)
    ]


def polygon(path: PathSet, *, chord_mm: float = 0.01) -> shapely.Polygon:
    return shapely.Polygon(flatten(path, tolerance_mm=chord_mm).points)
