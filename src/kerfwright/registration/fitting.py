"""From marks to how the sheet lies and stretched, with what is not known about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from kerfwright.errors import Finding
from kerfwright.geometry.record import BOOL, F64
from kerfwright.geometry.uncertain_map import MapNode, UncertainMap
from kerfwright.model.fit import SheetFit
from kerfwright.model.prior import PrintPrior
from kerfwright.registration.evidence import (
    Explained,
    NoiseGrid,
    design_of,
    explain,
    leave_one_out,
    noise_grid,
    student_of,
)
from kerfwright.registration.evidence_models import Model, doubted, free_columns, ladder
from kerfwright.registration.fitting_checks import checked_input
from kerfwright.registration.fitting_findings import fit_findings
from kerfwright.registration.fitting_frame import (
    Box,
    Marks,
    SheetFrame,
    are_collinear,
    factor_in_table,
    frame_of,
    marks_in,
    plane_map_of,
)
from kerfwright.registration.fitting_outliers import BadMark, find_bad_mark
from kerfwright.registration.fitting_steps import undetectable_step_mm

_LEAST_WEIGHT = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """Models that carry weight: weights (J,), what each explains, their Student errors."""

    weights: F64
    found: tuple[Explained, ...]
    mean: tuple[F64, ...]
    covariance: tuple[F64, ...]
    dof: tuple[float, ...]
    noise_mm: float


def fit_sheet(
    nominal_xy: ArrayLike,
    measured_xy: ArrayLike,
    *,
    measured_cov: ArrayLike | None = None,
    domain: Box,
    prior: PrintPrior | None = None,
    seed: int = 0,
) -> SheetFit:
    """Return how a sheet lies and how its print stretched, averaged over models.

    Similarity, affine, affine with one arc, and affine with any bow are weighted by how well they
    explain the marks and averaged. Two marks, or marks on one line, give a similarity; what it
    cannot show (growth across, skew, bow) then widens the uncertainty by its prior size. One mark
    that contradicts all others is named and left out.

    Parameters
    ----------
    nominal_xy : array_like of shape (N, 2)
        Where the marks are on the nominal sheet, sheet frame [mm].
    measured_xy : array_like of shape (N, 2)
        Where they were seen, table frame [mm].
    measured_cov : array_like of shape (N, 2, 2), optional
        Covariance of each measurement, a floor to its noise; none by default [mm2].
    domain : tuple of float
        x0, y0, x1, y1 of the part of the sheet that matters [mm].
    prior : PrintPrior, optional
        Usual sizes of growth, skew, bow and scatter of marks; its smooth field is not used.
    seed : int
        Not used: nothing here is drawn. Kept so that a call need not know.

    Returns
    -------
    SheetFit
        The averaged map, its uncertainty, and what was found.

    Raises
    ------
    GeometryError
        If shapes differ, a number is not finite, there are fewer than two marks, two marks have
        the same place, a covariance is not one, or the domain is empty.

    Notes
    -----
    Evidence: marginal likelihood with flat shift, turn and scale, proper normal priors on all
    else, and the scatter of the marks summed over a grid; the averages are those of Bayesian model
    averaging. The prior sizes default to those of `PrintPrior`.
    """
    del seed
    nominal, measured, cov = checked_input(nominal_xy, measured_xy, measured_cov, domain)
    prior = PrintPrior() if prior is None else prior
    frame = frame_of(nominal, measured, domain)
    marks = marks_in(frame, nominal, measured, cov)
    on_line = are_collinear(nominal)
    models = _models_for(prior, frame, marks, on_line=on_line)
    noise = noise_grid(prior.mark_sd_mm, cov)
    used = np.ones(len(nominal), bool)
    found = [explain(marks, model, noise) for model in models]
    bad = None if on_line else find_bad_mark(marks, found, noise, prior.mark_sd_mm)
    if bad is not None:
        used[bad.row] = False
        frame = frame_of(nominal[used], measured[used], domain)
        marks = marks_in(frame, nominal[used], measured[used], cov[used])
        found = [explain(marks, model, noise) for model in models]
    solved = _solve(marks, found, noise)
    doubt = doubted(prior, frame.length_mm) if on_line else None
    sheet_map = _mixture(solved, marks, frame, domain, doubt)
    residual = measured - sheet_map.map(nominal)
    step = undetectable_step_mm(nominal[used], marks, solved.found, solved.weights, domain)
    spare = _spare(solved, len(marks.moved))
    return SheetFit(
        table_from_sheet=sheet_map,
        marks=nominal,
        measured=measured,
        used=used,
        residual=residual,
        leave_one_out=_left_out(solved, marks, frame, used, residual),
        noise_sd_mm=_whole_noise_mm(marks, solved.noise_mm),
        spare=spare,
        undetectable_mm=step.size_mm,
        mirrored=frame.is_mirrored,
        findings=_findings(nominal, solved, step.is_capped, step.size_mm, spare, bad, frame, prior),
    )


def _models_for(
    prior: PrintPrior, frame: SheetFrame, marks: Marks, *, on_line: bool
) -> tuple[Model, ...]:
    every = ladder(prior, frame.length_mm, marks.basis)
    return tuple(m for m in every if m.name == "similarity") if on_line else every


def _solve(marks: Marks, found: list[Explained], noise: NoiseGrid) -> Solved:
    weight = special.softmax([f.total for f in found])
    kept = np.flatnonzero(weight >= _LEAST_WEIGHT)
    heavy = tuple(found[j] for j in kept)
    students = [student_of(f, marks) for f in heavy]
    weights = weight[kept] / weight[kept].sum()
    noises = np.sum([w * f.share for w, f in zip(weights, heavy, strict=True)], axis=0)
    middle = int(np.searchsorted(np.cumsum(noises), 0.5))
    return Solved(
        weights=weights,
        found=heavy,
        mean=tuple(s[0] for s in students),
        covariance=tuple(s[1] for s in students),
        dof=tuple(s[2] for s in students),
        noise_mm=float(noise.size_mm[min(middle, len(noise.size_mm) - 1)]),
    )


def _mixture(
    solved: Solved, marks: Marks, frame: SheetFrame, domain: Box, doubt: Model | None
) -> UncertainMap:
    nodes = []
    rows = zip(
        solved.weights, solved.found, solved.mean, solved.covariance, solved.dof, strict=True
    )
    for weight, found, mean, covariance, dof in rows:
        columns = found.model.columns
        spread = columns @ covariance @ columns.T
        if doubt is not None:
            spread = spread + _doubt_covariance(doubt, marks, solved.noise_mm, dof)
        nodes.append(
            MapNode(
                weight=float(weight),
                map=plane_map_of(frame, columns @ mean, domain),
                factor=factor_in_table(frame, spread),
                dof=dof,
                model=found.model.name,
            )
        )
    return UncertainMap(
        nodes=tuple(nodes), centre=frame.centre, length_mm=frame.length_mm, domain=domain
    )


def _doubt_covariance(doubt: Model, marks: Marks, noise_mm: float, dof: float) -> F64:
    """Return what terms that are left out of a similarity add to its coefficients' scale.

    Their prior acts on the coefficients directly and through what the similarity makes of them
    at the marks. It is normal; as part of a Student error it is matched at 97.5 %.
    """
    inverse = np.linalg.inv(marks.cov + noise_mm**2 * np.eye(2))
    free = free_columns()
    p = free.shape[1]
    design = design_of(marks, doubt)
    known, unknown = design[:, :, :p], design[:, :, p:]
    weighted = np.einsum("nab,nbp->nap", inverse, known)
    gain = np.linalg.solve(
        np.einsum("nap,naq->pq", known, weighted), np.einsum("nap,naq->pq", weighted, unknown)
    )
    acts = (doubt.columns[:, p:] - free @ gain) * doubt.sd_mm[p:]
    matched = special.ndtri(0.975) / special.stdtrit(dof, 0.975)
    return np.asarray(matched**2 * acts @ acts.T, dtype=np.float64)


def _left_out(solved: Solved, marks: Marks, frame: SheetFrame, used: BOOL, residual: F64) -> F64:
    """Return what each mark deviates from the others' fit, averaged over models, table frame."""
    total, weight = np.zeros_like(marks.moved), np.zeros((len(marks.moved), 1))
    for share, found in zip(solved.weights, solved.found, strict=True):
        out, _ = leave_one_out(marks, found.model, solved.noise_mm)
        known = np.isfinite(out).all(axis=1, keepdims=True)
        total += np.where(known, share * out, 0.0)
        weight += share * known
    if (weight == 0.0).any():
        return np.zeros((0, 2))
    every = residual.copy()
    every[used] = (total / weight) @ frame.turn.T
    return every


def _whole_noise_mm(marks: Marks, scatter_mm: float) -> float:
    """Return scatter and measured covariance of the middle mark together, along one axis."""
    seen2 = np.trace(marks.cov, axis1=1, axis2=2) / 2.0
    return float(np.sqrt(scatter_mm**2 + np.median(seen2)))


def _spare(solved: Solved, marks: int) -> int:
    heaviest = solved.found[int(solved.weights.argmax())].model
    return int(max(2 * marks - heaviest.columns.shape[1], 0))


def _findings(
    nominal: F64,
    solved: Solved,
    is_capped: bool,  # noqa: FBT001 - one private caller
    step_mm: float,
    spare: int,
    bad: BadMark | None,
    frame: SheetFrame,
    prior: PrintPrior,
) -> tuple[Finding, ...]:
    return fit_findings(
        nominal,
        bad,
        noise_mm=solved.noise_mm,
        mark_sd_mm=prior.mark_sd_mm,
        spare=spare,
        heaviest=solved.found[int(solved.weights.argmax())].model.name,
        step_mm=step_mm,
        is_capped=is_capped,
        is_mirrored=frame.is_mirrored,
    )
