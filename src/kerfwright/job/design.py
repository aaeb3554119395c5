"""Assemble what the program is checked against: only nominal contours, map and wishes."""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.fit import map_paths
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64
from kerfwright.job.context import JobContext
from kerfwright.job.results import PlacedContours, PlanResult
from kerfwright.model.design import Design


def design_of(plan: PlanResult, context: JobContext) -> Design:
    """Return the design of the contours a plan cuts, as mapped onto the sheet on the bed.

    Nothing of the plan's motion goes in: contours in the sheet frame, the map, the operations.
    """
    placed = plan.placed
    tool_ids = tuple(dict.fromkeys(o.tool_id for o in placed.operations))
    tool_of = np.array([tool_ids.index(o.tool_id) for o in placed.operations], np.int64)
    rows = len(placed.contours)
    return Design(
        contours=placed.contours,
        nominal=placed.on_sheet,
        operations=placed.operations,
        operation=placed.operation,
        tools=tuple(context.tools[t] for t in tool_ids),
        tool=tool_of[placed.operation] if rows else placed.operation,
        maps=placed.maps or (placed.table_from_sheet,),
        map=placed.map if placed.maps else np.zeros(rows, np.int64),
        bottom_z_mm=0.0,
        top_z_mm=context.thickness_mm,
        travel_z_mm=plan.travel_z_mm,
        keep_outs=_keep_outs(placed, context),
        leads_mm=_leads(plan),
    )


def _leads(plan: PlanResult) -> F64:
    """Return the leads of each operation; no rows where nothing is planned."""
    rows = [(setup.lead_in_mm, setup.lead_out_mm) for setup in plan.setups]
    return np.array(rows, np.float64).reshape(-1, 2)


def _keep_outs(placed: PlacedContours, context: JobContext) -> PathSet:
    """Return the sheet's keep-outs on the table; a keep-out of nothing stays nothing."""
    keep_outs = context.job.choices.sheet.keep_outs
    if not len(keep_outs):
        return keep_outs
    tolerance_mm = context.job.choices.tolerances.map_mm
    return map_paths(keep_outs, placed.table_from_sheet, tolerance_mm=tolerance_mm).paths
