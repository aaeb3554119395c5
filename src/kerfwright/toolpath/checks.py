"""What makes an operation impossible whatever the contour."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from kerfwright.errors import Finding, Place, Severity
from kerfwright.model.cut import CutSetup
from kerfwright.model.operation import Operation, Process
from kerfwright.model.tooling import Blade
from kerfwright.toolpath.blade import full_depth_z_mm


def blocking(operation: Operation, blade: Blade, setup: CutSetup) -> tuple[Finding, ...]:
    """Return why nothing of an operation can be cut with a blade, empty when it can."""
    return tuple(_reasons(operation, blade, setup))


def _reasons(operation: Operation, blade: Blade, setup: CutSetup) -> Iterator[Finding]:
    tip, depth = (
        full_depth_z_mm(operation, setup),
        setup.top_z_mm - full_depth_z_mm(operation, setup),
    )
    if operation.head_kind not in blade.fits:
        params = {"head": operation.head_kind.value, "blade": blade.id}
        yield _blocks("TLP-103", operation, params=params)
    if operation.side != "on":
        yield _blocks("TLP-104", operation, params={"side": operation.side})
    if depth <= 0.0:
        yield _blocks("TLP-105", operation, measured=tip, limit=setup.top_z_mm)
    elif depth > blade.free_length_mm:
        params = {"blade": blade.id}
        yield _blocks(
            "TLP-106", operation, measured=depth, limit=blade.free_length_mm, params=params
        )
    if operation.process is Process.CUTTING and tip > setup.bottom_z_mm:
        yield _blocks("TLP-107", operation, measured=tip, limit=setup.bottom_z_mm)


def _blocks(
    code: str,
    operation: Operation,
    *,
    measured: float | None = None,
    limit: float | None = None,
    params: Mapping[str, str | float | int] | None = None,
) -> Finding:
    return Finding(
        code=code,
        severity=Severity.BLOCKS,
        where=Place(stage="toolpath", frame="table"),
        measured=measured,
        limit=limit,
        unit="" if measured is None else "mm",
        params={"operation": operation.id, **(params or {})},
    )
