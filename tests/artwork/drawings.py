"""Drawings built in memory for the artwork tests."""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.containment import containment_forest
from kerfwright.geometry.paths import PathSet, join_sets, make_path
from kerfwright.model.drawing import Drawing, Stroke
from kerfwright.model.operation import HeadKind, Operation, Process, Tolerance
from kerfwright.model.rules import Rule, RuleTable


def drawing_of(*paths: PathSet, layers=None, colours=None, sources=None) -> Drawing:
    """Return a drawing of paths in order; layer ``cut`` unless told otherwise."""
    every = join_sets(paths)
    count = len(every)
    return Drawing(
        paths=every,
        ids=tuple(f"c{k + 1}" for k in range(count)),
        source=tuple(sources or (f"LINE {k:X}" for k in range(count))),
        layer=tuple(layers or ("cut",) * count),
        separation=("",) * count,
        step=("",) * count,
        stroke=tuple(Stroke(colour=c) for c in (colours or ("#ff0000",) * count)),
        parent=containment_forest(every, tolerance_mm=0.001),
        fit_tolerance_mm=0.001,
    )


def line(*points) -> PathSet:
    """Return an open path through points."""
    return make_path(points, closed=False)


def box(x0: float, y0: float, x1: float, y1: float) -> PathSet:
    """Return a closed rectangle, counter-clockwise."""
    return make_path([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], closed=True)


def operation(name: str, process: Process = Process.CUTTING) -> Operation:
    """Return an operation; a partial cut leaves a skin of 0.5 mm."""
    through = process is Process.CUTTING
    return Operation(
        id=name,
        process=process,
        head_kind=HeadKind.TANGENTIAL_KNIFE,
        tool_id="blade",
        card_id="card",
        depth_mm=-0.3 if through else 0.5,
        depth_from="bottom",
        tolerance_mm=Tolerance(print_mm=0.5, size_mm=0.3),
    )


def rules_of(*rows: Rule, **tolerances: float) -> RuleTable:
    """Return a table of rules over the operations ``through`` and ``score``."""
    operations = (operation("through"), operation("score", Process.PARTIAL_CUTTING))
    return RuleTable(rules=rows, operations=operations, **tolerances)


EVERYTHING = rules_of(Rule(operation="through"))


def shuffled(drawing: Drawing, order) -> Drawing:
    """Return the same lines in another order, ids going with their lines."""
    order = np.asarray(order)
    paths = drawing.paths.select(order)
    return Drawing(
        paths=paths,
        ids=tuple(drawing.ids[k] for k in order),
        source=tuple(drawing.source[k] for k in order),
        layer=tuple(drawing.layer[k] for k in order),
        separation=drawing.separation,
        step=drawing.step,
        stroke=tuple(drawing.stroke[k] for k in order),
        parent=containment_forest(paths, tolerance_mm=0.001),
        fit_tolerance_mm=0.001,
    )
