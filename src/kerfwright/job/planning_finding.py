"""A finding about set-ups: no place but the plan, numbers in millimetres."""

from __future__ import annotations

from kerfwright.errors import Finding, Place, Severity


def finding_of(
    code: str,
    severity: Severity,
    measured: float | None = None,
    limit: float | None = None,
    **params: str | float,
) -> Finding:
    """Return a finding of the plan [mm]."""
    return Finding(
        code=code,
        severity=severity,
        where=Place(stage="plan"),
        measured=measured,
        limit=limit,
        unit="mm" if measured is not None else "",
        params=params,
    )
