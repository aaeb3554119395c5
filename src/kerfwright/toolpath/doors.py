"""The front doors: which family of tools makes the motion."""

from __future__ import annotations

from collections.abc import Sequence

from kerfwright.errors import UsageError
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import I64
from kerfwright.model.cut import CutChoices, CutOrder, CutSetup
from kerfwright.model.motion import ToolMotion
from kerfwright.model.operation import Operation
from kerfwright.model.tooling import Blade, Cutter, Pen, Tool, Wheel
from kerfwright.toolpath import knife, lines, router


def choices(
    operation: Operation,
    tool: Tool,
    paths: PathSet,
    *,
    contours: tuple[str, ...],
    part_side: I64 | Sequence[int],
    setup: CutSetup,
) -> CutChoices:
    """Return in which ways each contour may be cut.

    Parameters
    ----------
    operation : Operation
        What is done.
    tool : Tool
        Tool it is done with.
    paths : PathSet
        K paths in the table frame [mm].
    contours : tuple of str
        Contour id of each path.
    part_side : array_like of shape (K,), int
        Where the part lies, seen along the drawn direction: +1 left, -1 right, 0 on both sides.
    setup : CutSetup
        Heights, rates and the tolerance.

    Returns
    -------
    CutChoices
        No row for a contour that cannot be cut; a finding says why.

    Raises
    ------
    UsageError
        If there is not one id and one side per path, or an id stands twice.
    """
    if isinstance(tool, Blade):
        return knife.choices(
            operation, tool, paths, contours=contours, part_side=part_side, setup=setup
        )
    if isinstance(tool, Cutter):
        return router.choices(
            operation, tool, paths, contours=contours, part_side=part_side, setup=setup
        )
    if isinstance(tool, Wheel | Pen):
        return lines.choices(
            operation, tool, paths, contours=contours, part_side=part_side, setup=setup
        )
    raise UsageError(f"tool {tool.id} is of a kind no toolpath is made for")


def plan(
    operation: Operation,
    tool: Tool,
    paths: PathSet,
    order: CutOrder,
    *,
    contours: tuple[str, ...],
    part_side: I64 | Sequence[int],
    setup: CutSetup,
) -> ToolMotion:
    """Return the motion of all cuts of an order that belong to an operation.

    Parameters
    ----------
    operation, tool, paths, contours, part_side, setup
        As for `choices`.
    order : CutOrder
        Cuts in their order; `ToolMotion.cut` counts in it.

    Returns
    -------
    ToolMotion
        In the table frame, without events, tool 0. A cut that cannot be made has no block; a
        finding says why.

    Raises
    ------
    UnknownNameError
        If the order names a contour that is not among `contours`.
    UsageError
        As for `choices`, or if the order asks for a pass the operation has not.
    """
    if isinstance(tool, Blade):
        return knife.plan(
            operation, tool, paths, order, contours=contours, part_side=part_side, setup=setup
        )
    if isinstance(tool, Cutter):
        return router.plan(
            operation, tool, paths, order, contours=contours, part_side=part_side, setup=setup
        )
    if isinstance(tool, Wheel | Pen):
        return lines.plan(
            operation, tool, paths, order, contours=contours, part_side=part_side, setup=setup
        )
    raise UsageError(f"tool {tool.id} is of a kind no toolpath is made for")
