"""Why a verdict is what it is, in one sentence."""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.record import F64
from kerfwright.model.fit import SheetFit
from kerfwright.model.verdict import ErrorBudget

SHEET = "what the marks leave open"
SHAPE = "shape of the print"
_HELP = {
    SHEET: "one more mark near ({x:.0f}, {y:.0f}) would help most",
    "head offset": "calibrating the head offset would help most",
    "repeatability": "a slower approach or a serviced gantry would help most",
    "motion": "a finer quality of cut would help most",
    SHAPE: "letting it follow the print, or a wider tolerance, would help most",
}
_HELP_OTHER = "a wider tolerance, or a print without it, would help most"
_WHAT = {"print": "to the print", "size": "to its shape"}


def print_terms(
    fit: SheetFit, budget: ErrorBudget, heads: tuple[str, ...], xy: F64, cut: F64
) -> dict[str, F64]:
    """Return the mean square that each source adds to cut against print at N places (N,) [mm2]."""
    open_left = np.trace(fit.table_from_sheet.covariance(xy), axis1=1, axis2=2)
    terms = size_terms(budget, heads)
    terms[SHEET] = np.asarray(open_left, dtype=np.float64)
    terms["head offset"] = np.full(len(xy), np.trace(budget.head_cov_mm2))
    terms[SHAPE] = ((cut - fit.map(xy)) ** 2).sum(axis=1)
    for name, sd in budget.other:
        terms[name] = terms.get(name, np.zeros(len(xy))) + 2.0 * sd**2
    return terms


def size_terms(budget: ErrorBudget, heads: tuple[str, ...]) -> dict[str, F64]:
    """Return the mean square that each source adds to cut against shape, each (N,) [mm2]."""
    return {
        "repeatability": np.full(len(heads), 2.0 * budget.repeat_sd_mm**2),
        "motion": np.array([2.0 * budget.motion_sd_mm[h] ** 2 for h in heads]),
    }


def reason_of(
    kind: str, chance: float, bound_mm: float, limit_mm: float, xy: F64, term: str, doubt: str
) -> str:
    """Return number, limit, chance, place, cause, and what would help or what is in doubt."""
    x, y = xy.tolist()
    said = (
        f"{_WHAT[kind]} it stays within {bound_mm:.2f} mm with 95 %, limit {limit_mm:.2f} mm, "
        f"chance {100.0 * chance:.1f} %; worst at ({x:.0f}, {y:.0f}), mostly by {term}"
    )
    return f"{said}; {doubt or _HELP.get(term, _HELP_OTHER).format(x=x, y=y)}"
