"""What a fit has to say besides its map."""

from __future__ import annotations

from kerfwright.errors import Finding, Place
from kerfwright.errors.messages import entry_of
from kerfwright.geometry.record import F64
from kerfwright.registration.fitting_frame import are_collinear
from kerfwright.registration.fitting_outliers import BadMark

TWO_MARKS = "FIT-101"
ON_A_LINE = "FIT-102"
NOTHING_SPARE = "FIT-103"
BAD_MARK = "FIT-110"
CONTRADICTION = "FIT-111"
UNSEEN_STEP = "FIT-120"
NO_STEP_SEEN = "FIT-121"
FACE_DOWN = "FIT-130"
_MOST_NOISE = 6.0  # times the usual scatter of marks


def fit_findings(
    nominal: F64,
    bad: BadMark | None,
    *,
    noise_mm: float,
    mark_sd_mm: float,
    spare: int,
    heaviest: str,
    step_mm: float,
    is_capped: bool,
    is_mirrored: bool,
) -> tuple[Finding, ...]:
    """Return what is worth knowing of a fit, in a fixed order."""
    found = []
    if bad is not None:
        found.append(_bad(nominal, bad))
    if len(nominal) == 2:
        found.append(_finding(TWO_MARKS, params={"model": "similarity"}))
    elif are_collinear(nominal):
        found.append(_finding(ON_A_LINE, params={"model": "similarity", "marks": len(nominal)}))
    if spare == 0:
        found.append(_finding(NOTHING_SPARE, params={"model": heaviest, "marks": len(nominal)}))
    most = _MOST_NOISE * mark_sd_mm
    if noise_mm > most:
        found.append(_finding(CONTRADICTION, measured=noise_mm, limit=most))
    found.append(_finding(NO_STEP_SEEN if is_capped else UNSEEN_STEP, measured=step_mm))
    if is_mirrored:
        found.append(_finding(FACE_DOWN))
    return tuple(found)


def _finding(
    code: str,
    *,
    measured: float | None = None,
    limit: float | None = None,
    params: dict[str, str | float | int] | None = None,
) -> Finding:
    return Finding(
        code=code,
        severity=entry_of(code).severity,
        where=Place(stage="registration"),
        measured=measured,
        limit=limit,
        unit="mm",
        params=params or {},
    )


def _bad(nominal: F64, bad: BadMark) -> Finding:
    x, y = nominal[bad.row].tolist()
    return Finding(
        code=BAD_MARK,
        severity=entry_of(BAD_MARK).severity,
        where=Place(stage="registration", xy_mm=(x, y), frame="sheet"),
        measured=bad.off_mm,
        limit=bad.limit_mm,
        unit="mm",
        params={"mark": bad.row},
    )
