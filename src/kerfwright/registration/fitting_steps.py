"""Which feed step between marks would go unnoticed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from kerfwright.geometry.record import F64
from kerfwright.registration.evidence import Explained, design_of
from kerfwright.registration.fitting_frame import Box, Marks

_MOST = 0.002  # of the sheet: usual wording of roll-feed accuracy, from memory, no standard seen
_TEST, _POWER = 0.975, 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class UnseenStep:
    """The step [mm], and whether it is the largest a feed makes because marks show less."""

    size_mm: float
    is_capped: bool


def undetectable_step_mm(
    nominal: F64, marks: Marks, found: Sequence[Explained], weights: F64, domain: Box
) -> UnseenStep:
    """Return the smallest step that is noticed wherever between marks it lies.

    A step shifts all marks beyond a line along x or along y by one amount in x or in y. What the
    models cannot absorb of it is compared with the noise; noticed means a two-sided test at 5 %
    sees it in 95 of 100 sheets. Where the marks can notice nothing, the step is 0.2 % of the
    sheet's longer side, the most that a roll feed is usually said to be off.
    """
    most = _MOST * max(domain[2] - domain[0], domain[3] - domain[1])
    patterns = _patterns(nominal)
    size = sum(
        w * min(_worst(f, marks, patterns), most) for w, f in zip(weights, found, strict=True)
    )
    return UnseenStep(size_mm=float(min(size, most)), is_capped=bool(size >= 0.5 * most))


def _patterns(nominal: F64) -> F64:
    """Return the displacements (S, N, 2) of unit steps at every place that parts the marks."""
    made = []
    for axis in range(2):
        level = np.unique(nominal[:, axis])
        beyond = (nominal[:, axis] >= level[1:, None]).astype(np.float64)
        made += [beyond[:, :, None] * way for way in np.eye(2)]
    return np.concatenate(made)


def _worst(found: Explained, marks: Marks, patterns: F64) -> float:
    """Return the largest step that one model leaves unnoticed, at its likely noise."""
    row = int(np.searchsorted(np.cumsum(found.share), 0.5))
    sizes = found.noise_mm[row]
    inverse = np.linalg.inv(marks.cov + sizes**2 * np.eye(2))
    design = design_of(marks, found.model)
    right = np.einsum("nap,nab,snb->sp", design, inverse, patterns)
    seen = np.einsum("sna,nab,snb->s", patterns, inverse, patterns)
    seen = seen - np.einsum("sp,pq,sq->s", right, found.cov[row], right)
    total = special.ndtri(_TEST) + special.ndtri(_POWER)
    with np.errstate(divide="ignore"):
        return float((total / np.sqrt(np.maximum(seen, 0.0))).max(initial=0.0))
