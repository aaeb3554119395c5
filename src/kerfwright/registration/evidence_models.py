"""The ladder of models a sheet may follow: similarity, affine, one arc, any bow.

Each model is a set of columns over the 12 coefficients of the sheet's frame with a proper prior;
shift, turn and scale are free in every model, so their improper prior cancels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.record import F64
from kerfwright.geometry.uncertain_map import COEFFICIENTS
from kerfwright.model.prior import PrintPrior

_BOW_SHARES = (0.1, 1.0, 4.0)  # sizes of bow tried, as shares of the prior's
_FREE = 4
_SEEN = 0.05  # share of a term that must be left over after the affine ones


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """One model: name, columns (12, p), prior sd of each (0 for free) [mm], prior weight."""

    name: str
    columns: F64
    sd_mm: F64
    weight: float

    @property
    def precision(self) -> F64:
        """Prior precision of each parameter, 0 for free ones, shape (p,) [1/mm2]."""
        free = self.sd_mm == 0.0
        return np.where(free, 0.0, 1.0 / np.where(free, 1.0, self.sd_mm) ** 2)


def ladder(prior: PrintPrior, length_mm: float, basis: F64) -> tuple[Model, ...]:
    """Return the models to average, sized by a prior for a sheet of a half length [mm].

    The prior's bow is tried at a tenth, once and four times its size, so that a flat print is
    not blamed for what others do, nor a bad one denied. Each rung of the ladder weighs the same.
    An arc bends along x or along y, and the lines across it turn with it or stay parallel; one
    that marks of this `basis` (N, 6) cannot tell from growth and skew is left out, because nothing
    would speak for or against it.
    """
    growth = _growth_sds(prior, length_mm)
    sag = prior.bow_sd_per_mm * length_mm**2 / 2.0
    models = [_model("similarity", (), (), 1.0), _model("affine", _AFFINE, growth, 1.0)]
    share = 1.0 / len(_BOW_SHARES)
    arcs = [arc for arc in _ARCS if _is_seen(arc, basis)]
    for size in _BOW_SHARES:
        for arc in arcs:
            bent = (*growth, size * sag)
            models.append(_model("arc", (*_AFFINE, arc), bent, share / len(arcs)))
        sds = (*growth, *(size * sag * k for k in _BOW_SIZES))
        models.append(_model("bow", (*_AFFINE, *_BOW), sds, share))
    return tuple(models)


def _is_seen(arc: Term, basis: F64) -> bool:
    """Return whether marks show a term that no growth, skew, turn or shift explains."""
    moved = basis @ _column(arc).reshape(2, -1).T
    linear = basis[:, :3]
    left = moved - linear @ np.linalg.lstsq(linear, moved, rcond=None)[0]
    return bool((left**2).sum() > _SEEN**2 * (moved**2).sum())


def doubted(prior: PrintPrior, length_mm: float) -> Model:
    """Return growth, skew and bow as a model: what a similarity leaves out."""
    sag = prior.bow_sd_per_mm * length_mm**2 / 2.0
    sds = (*_growth_sds(prior, length_mm), *(sag * k for k in _BOW_SIZES))
    return _model("similarity", (*_AFFINE, *_BOW), sds, 1.0)


def free_columns() -> F64:
    """Return the columns of shift, scale and turn, shape (12, 4)."""
    return np.stack([_column(c) for c in _SIMILARITY], axis=1)


def _growth_sds(prior: PrintPrior, length_mm: float) -> tuple[float, float]:
    """Half the difference of two growths, and half the skew, at one length from the middle."""
    return prior.growth_sd * length_mm / np.sqrt(2.0), prior.skew_sd_rad * length_mm / 2.0


Term = dict[int, float]
# coefficients 0..5 are those of 1, u, v, u^2, u v, v^2 in x', 6..11 in y'
_SIMILARITY: tuple[Term, ...] = ({0: 1.0}, {6: 1.0}, {1: 1.0, 8: 1.0}, {2: -1.0, 7: 1.0})
_AFFINE: tuple[Term, ...] = ({1: 1.0, 8: -1.0}, {2: 1.0, 7: 1.0})
# bent with the lines across it turning along, or drifting sideways while they stay parallel
_ARCS: tuple[Term, ...] = ({9: 1.0, 4: -2.0}, {5: 1.0, 10: -2.0}, {9: 1.0}, {5: 1.0})
_BOW: tuple[Term, ...] = ({3: 1.0}, {4: 1.0}, {5: 1.0}, {9: 1.0}, {10: 1.0}, {11: 1.0})
_BOW_SIZES = (1.0, 2.0, 1.0, 1.0, 2.0, 1.0)  # an arc has twice as much u v as u^2


def _model(name: str, terms: Sequence[Term], sds: Sequence[float], weight: float) -> Model:
    columns = np.stack([_column(c) for c in (*_SIMILARITY, *terms)], axis=1)
    sd = np.concatenate((np.zeros(_FREE), np.asarray(sds, dtype=np.float64)))
    return Model(name=name, columns=columns, sd_mm=sd, weight=weight)


def _column(term: Term) -> F64:
    column = np.zeros(COEFFICIENTS)
    column[list(term)] = list(term.values())
    return column
