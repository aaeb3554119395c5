"""How well each model explains the marks, with the noise summed over, and what it then says.

The noise of a mark is its measured covariance plus an unknown equal scatter of the print; the
scatter is summed over a grid of sizes under a log-normal prior, so the measured covariance is a
floor. What is left of a model after the sum is kept as one Student error, matched at the quartile
and at the 97.5 % quantile.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from kerfwright.geometry.record import F64
from kerfwright.geometry.uncertain_map import mixture_quantile
from kerfwright.registration.evidence_models import Model
from kerfwright.registration.fitting_frame import Marks

_NOISES = 48
_REACH = (0.04, 400.0)  # of the prior's scatter: from what no printer reaches to hand readings
_LOG_SD = 0.8
_HELD_FROM = 0.1  # share of the usual variance at which it is as likely held as not
_NONE = 1e-3  # of the usual scatter: as good as none
_DOF = (3.0, 1e4)
_MATCHED = (0.75, 0.975)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseGrid:
    """Sizes of the print's scatter (K,) [mm] and the logarithm of their prior weights (K,)."""

    size_mm: F64
    log_weight: F64


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """One model given the marks, for each of K sizes of noise `noise_mm`.

    Mean (K, p) and covariance (K, p, p) of its parameters, `log_evidence` (K,) with the prior
    weights of model and noise.
    """

    model: Model
    noise_mm: F64
    log_evidence: F64
    mean: F64
    cov: F64

    @property
    def total(self) -> float:
        """Logarithm of the evidence over all sizes of noise."""
        return float(special.logsumexp(self.log_evidence))

    @property
    def share(self) -> F64:
        """Weight of each size of noise, shape (K,)."""
        return np.asarray(special.softmax(self.log_evidence), dtype=np.float64)


def noise_grid(mark_sd_mm: float, measured_cov: F64) -> NoiseGrid:
    """Return sizes of scatter beyond the measured covariances, with their prior weights.

    Log-normal around the prior's with a logarithmic sd of 0.8: prints place a dot to 0.02-0.05 mm
    (common practice, no source), and a factor of five either way is not strange. Measured
    covariances (N, 2, 2) that are of that size themselves are likely to hold the print's scatter
    already: then there may be none beyond them.
    """
    size = mark_sd_mm * np.geomspace(*_REACH, _NOISES)
    log_weight = -0.5 * (np.log(size / mark_sd_mm) / _LOG_SD) ** 2
    log_weight -= special.logsumexp(log_weight)
    floor2 = float(np.median(np.trace(measured_cov, axis1=1, axis2=2))) / 2.0
    if floor2 == 0.0:
        return NoiseGrid(size_mm=size, log_weight=log_weight)
    held = floor2 / (floor2 + _HELD_FROM * mark_sd_mm**2)
    return NoiseGrid(
        size_mm=np.concatenate(([_NONE * mark_sd_mm], size)),
        log_weight=np.concatenate(([np.log(held)], np.log1p(-held) + log_weight)),
    )


def explain(marks: Marks, model: Model, noise: NoiseGrid) -> Explained:
    """Return what a model makes of the marks for every size of noise."""
    inverse, log_det = _inverses(marks.cov[None] + _isotropic(noise.size_mm))
    design = design_of(marks, model)
    weighted = np.einsum("knab,nbp->knap", inverse, design)
    normal = np.einsum("nap,knaq->kpq", design, weighted) + np.diag(model.precision)
    right = np.einsum("knap,na->kp", weighted, marks.moved)
    cov = np.linalg.inv(normal)
    mean = np.einsum("kpq,kq->kp", cov, right)
    # residual form: the difference of two large sums would lose the small one
    left = marks.moved - np.einsum("nap,kp->kna", design, mean)
    misfit = np.einsum("kna,knab,knb->k", left, inverse, left) + (mean**2) @ model.precision
    known = model.sd_mm[model.sd_mm > 0.0]
    log_evidence = -0.5 * (misfit + log_det + np.linalg.slogdet(normal)[1])
    log_evidence += np.log(model.weight) - np.log(known).sum() + noise.log_weight
    log_evidence -= marks.moved.size / 2.0 * np.log(2.0 * np.pi)
    return Explained(
        model=model, noise_mm=noise.size_mm, log_evidence=log_evidence, mean=mean, cov=cov
    )


def design_of(marks: Marks, model: Model) -> F64:
    """Return the displacement of each mark per parameter, shape (N, 2, p)."""
    return np.asarray(
        np.einsum("nk,akp->nap", marks.basis, model.columns.reshape(2, marks.basis.shape[1], -1))
    )


def leave_one_out(marks: Marks, model: Model, noise_mm: float) -> tuple[F64, F64]:
    """Return what each mark deviates from the fit to the others, in closed form.

    With H the map from measurements to fitted values, ``e = (I - H_ii)^-1 r`` is exact for a
    linear fit of fixed noise and prior, both coordinates of a mark being left out together.

    Returns
    -------
    tuple of ndarray of shape (N, 2) and (N, 2, 2)
        Deviations and their covariance, sheet's frame [mm, mm2]; NaN for a mark without which
        the model is not determined.
    """
    cov = marks.cov + noise_mm**2 * np.eye(2)
    inverse = np.linalg.inv(cov)
    design = design_of(marks, model)
    weighted = np.einsum("nab,nbp->nap", inverse, design)
    normal = np.einsum("nap,naq->pq", design, weighted) + np.diag(model.precision)
    solved = np.linalg.inv(normal)
    mean = solved @ np.einsum("nap,na->p", weighted, marks.moved)
    left = marks.moved - design @ mean
    keep = np.eye(2) - np.einsum("nap,pq,nbq->nab", design, solved, weighted)
    lost = np.abs(np.linalg.det(keep)) < 1e-10
    keep[lost] = np.eye(2)
    back = np.linalg.inv(keep)
    out = np.einsum("nab,nb->na", back, left)
    out[lost] = np.nan
    return out, back @ cov


def student_of(found: Explained, marks: Marks) -> tuple[F64, F64, float]:
    """Return mean (p,), scale matrix (p, p) and degrees of freedom of a model, noise summed over.

    The scale of the error differs between sizes of noise; its spread, taken over the marks,
    decides the degrees of freedom, from 3 (so that a variance exists) to 10,000.
    """
    share = found.share
    mean = share @ found.mean
    off = found.mean - mean
    cov = np.einsum("k,kpq->pq", share, found.cov) + np.einsum("k,kp,kq->pq", share, off, off)
    design = design_of(marks, found.model)
    size2 = np.einsum("nap,kpq,naq->k", design, found.cov, design)
    scale, dof = _student_like(share, np.sqrt(size2 / (share @ size2)))
    return mean, scale**2 * cov, dof


def _student_like(share: F64, sizes: F64) -> tuple[float, float]:
    """Return scale and degrees of freedom of the Student error most like a mix of normal ones."""
    near, far = (float(_normal_mix_quantile(share, sizes, level)) for level in _MATCHED)

    def excess(dof: float) -> float:
        inner, outer = special.stdtrit(dof, _MATCHED)
        return float(outer / inner - far / near)

    if excess(_DOF[1]) >= 0.0:
        dof = _DOF[1]
    elif excess(_DOF[0]) <= 0.0:
        dof = _DOF[0]
    else:
        dof = float(optimize.brentq(excess, *_DOF, xtol=1e-6))
    return far / float(special.stdtrit(dof, _MATCHED[1])), dof


def _normal_mix_quantile(share: F64, sizes: F64, level: float) -> F64:
    keep = share > 1e-12
    weight = share[keep] / share[keep].sum()
    dof = np.full(weight.shape, 1e7)  # a normal error, to 1e-7
    return mixture_quantile(weight, np.zeros(weight.shape), sizes[keep], dof, level)


def _isotropic(size_mm: F64) -> F64:
    return np.asarray(size_mm[:, None, None, None] ** 2 * np.eye(2))


def _inverses(cov: F64) -> tuple[F64, F64]:
    """Return inverses of (K, N, 2, 2) covariances and the log determinants summed over N."""
    log_det: F64 = np.linalg.slogdet(cov)[1].sum(axis=1)
    return np.asarray(np.linalg.inv(cov), dtype=np.float64), log_det
