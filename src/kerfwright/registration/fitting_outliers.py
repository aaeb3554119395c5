"""One mark that contradicts all others: dirt taken for a mark, a bent corner, a wrong label."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from kerfwright.geometry.record import F64
from kerfwright.registration.evidence import Explained, NoiseGrid, design_of, explain, leave_one_out
from kerfwright.registration.fitting_frame import Marks

_LEAST_MARKS = 5  # with four, any one could be the bad one
_P_BAD = 0.01
_WINDOW_MM = 10.0  # a wrong mark lies anywhere within this of the right place
_ODDS = 20.0
_STRANGE = 12.0  # squared distance in standard deviations: 0.25 % of good marks
_NOISY = 2.0
_LEVEL = 0.999


@dataclass(frozen=True, slots=True, kw_only=True)
class BadMark:
    """The row of a bad mark, how far it is off, and how far it might be [mm]."""

    row: int
    off_mm: float
    limit_mm: float


def find_bad_mark(
    marks: Marks, found: list[Explained], noise: NoiseGrid, mark_sd_mm: float
) -> BadMark | None:
    """Return the mark whose leaving out explains all others far better, if one does.

    `found` is what each model makes of all marks together.

    Called bad when the odds of "this one lies anywhere within 10 mm, the others follow a model"
    against "all follow a model" exceed 20, with one mark in a hundred bad beforehand, and it lies
    outside what the others allow it with 99.9 %.
    """
    if len(marks.moved) < _LEAST_MARKS:
        return None
    if not _is_strange(marks, found, noise, mark_sd_mm):
        return None
    together = _total(found)
    rest = [marks.without(i) for i in range(len(marks.moved))]
    without = [[explain(r, f.model, noise) for f in found] for r in rest]
    odds = np.array([_total(f) for f in without]) - together
    odds += np.log(_P_BAD / (1.0 - _P_BAD)) - np.log(np.pi * _WINDOW_MM**2)
    row = int(odds.argmax())
    if odds[row] <= np.log(_ODDS):
        return None
    off, limit = _distance(marks, row, without[row], noise)
    return BadMark(row=row, off_mm=off, limit_mm=limit) if off > limit else None


def _total(found: list[Explained]) -> float:
    return float(special.logsumexp([f.total for f in found]))


def _is_strange(marks: Marks, found: list[Explained], noise: NoiseGrid, mark_sd_mm: float) -> bool:
    """Return whether the marks give cause to look closer: noisy, or one far from the others."""
    best = max(found, key=lambda f: f.total)
    size = float(noise.size_mm[int(np.searchsorted(np.cumsum(best.share), 0.5))])
    out, cov = leave_one_out(marks, best.model, size)
    known = np.isfinite(out).all(axis=1)
    far = np.einsum("na,nab,nb->n", out[known], np.linalg.inv(cov[known]), out[known])
    return bool(size > _NOISY * mark_sd_mm or (far > _STRANGE).any())


def _distance(
    marks: Marks, row: int, others: list[Explained], noise: NoiseGrid
) -> tuple[float, float]:
    """Return how far a mark lies from where the others put it, and how far it might [mm]."""
    best = max(others, key=lambda f: f.total)
    design = design_of(marks, best.model)[row]
    off = marks.moved[row] - design @ (best.share @ best.mean)
    spread = np.einsum("ap,kpq,bq->kab", design, best.cov, design) + marks.cov[row]
    spread = spread + noise.size_mm[:, None, None] ** 2 * np.eye(2)
    widest = np.sqrt(np.linalg.eigvalsh(spread)[:, -1])
    return float(np.hypot(*off)), _radius(best.share, widest)


def _radius(share: F64, sd: F64) -> float:
    """Return the radius that holds a plane normal error of mixed size with `_LEVEL`."""
    low, high = 0.0, float(sd[share > 1e-12].max()) * 40.0
    for _ in range(100):
        middle = 0.5 * (low + high)
        outside = float(share @ np.exp(-0.5 * (middle / sd) ** 2))
        low, high = (middle, high) if outside > 1.0 - _LEVEL else (low, middle)
    return high
