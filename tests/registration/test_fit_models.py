"""The models behind a fit against SciPy, scikit-image and brute force."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import linalg, special, stats
from skimage.transform import AffineTransform, SimilarityTransform

from kerfwright.model.prior import PrintPrior
from kerfwright.registration.evidence import (
    design_of,
    explain,
    leave_one_out,
    noise_grid,
    student_of,
)
from kerfwright.registration.evidence_models import ladder
from kerfwright.registration.fitting_frame import (
    Marks,
    frame_of,
    marks_in,
    plane_map_of,
    similarity_of,
)
from registration.prints import AT, DOMAIN, MARKS, seen

LOOSE = PrintPrior(growth_sd=1e3, skew_sd_rad=1e3, bow_sd_per_mm=1e3)


def setting(measured, cov=None, prior=None):
    prior = prior or PrintPrior()
    frame = frame_of(MARKS, measured, DOMAIN)
    cov = np.zeros((len(MARKS), 2, 2)) if cov is None else cov
    marks = marks_in(frame, MARKS, measured, cov)
    return frame, marks, ladder(prior, frame.length_mm, marks.basis), noise_grid(0.03, cov)


def some_cov(seed=0):
    root = np.random.default_rng(seed).normal(0.0, 0.03, (len(MARKS), 2, 2))
    return root @ root.transpose(0, 2, 1)


@pytest.mark.reference("Umeyama 1991, IEEE PAMI 13(4):376-380, the paper's own example")
def test_umeyamas_example_is_not_mirrored():
    x = np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 2.0)])
    y = np.array([(0.0, 0.0), (-1.0, 0.0), (0.0, 2.0)])
    turn, scale, shift = similarity_of(x, y, mirrored=False)
    assert scale == pytest.approx(np.sqrt(13.0) / 5.0, abs=1e-14)
    np.testing.assert_allclose(turn, np.array([(3, 2), (-2, 3)]) / np.sqrt(13.0), atol=1e-14)
    np.testing.assert_allclose(shift, (-0.8, 0.4), atol=1e-14)
    left = y - scale * x @ turn.T - shift
    assert (left**2).sum() / 3.0 == pytest.approx(8.0 / 15.0, abs=1e-14)
    _, size, _ = similarity_of(x, y, mirrored=True)
    assert size == pytest.approx(1.0)


@pytest.mark.reference("scikit-image: SimilarityTransform, AffineTransform; SciPy: lstsq")
@pytest.mark.parametrize(
    ("name", "kind", "atol"),
    # scikit-image solves an affine map by the least singular value, which differs a little
    [("similarity", SimilarityTransform, 1e-6), ("affine", AffineTransform, 1e-3)],
)
def test_least_squares_models_agree_with_scikit_image(name, kind, atol):
    measured = seen()
    frame, marks, models, noise = setting(measured, prior=LOOSE)
    model = next(m for m in models if m.name == name)
    mean = explain(marks, model, noise).mean[0]  # the least scatter: the prior hardly pulls
    ours = plane_map_of(frame, model.columns @ mean, DOMAIN).map_points(AT)
    np.testing.assert_allclose(ours, kind.from_estimate(MARKS, measured)(AT), atol=atol)
    if name == "affine":
        solved = linalg.lstsq(np.column_stack((np.ones(len(MARKS)), MARKS)), measured)[0]
        exact = np.column_stack((np.ones(len(AT)), AT)) @ solved
        np.testing.assert_allclose(ours, exact, atol=1e-6)


@pytest.mark.reference("SciPy: lstsq")
def test_any_bow_is_the_least_squares_quadratic():
    measured = seen()
    frame, marks, models, noise = setting(measured, prior=LOOSE)
    model = next(m for m in models if m.name == "bow" and m.sd_mm.max() > 1e8)
    mean = explain(marks, model, noise).mean[24]
    ours = plane_map_of(frame, model.columns @ mean, DOMAIN).map_points(AT)

    def terms(xy):
        x, y = (xy / 1000.0).T
        return np.column_stack((np.ones(len(xy)), x, y, x * x, x * y, y * y))

    solved = linalg.lstsq(terms(MARKS), measured)[0]
    np.testing.assert_allclose(ours, terms(AT) @ solved, atol=1e-6)


def test_closed_form_leave_one_out_is_the_brute_force_one():
    frame, marks, models, _ = setting(seen(), some_cov())
    del frame
    for model in models:
        out, cov = leave_one_out(marks, model, 0.02)
        for i in range(len(MARKS)):
            rest = marks.without(i)
            mean, spread = brute(rest, model, 0.02)
            row = design_of(marks, model)[i]
            np.testing.assert_allclose(out[i], marks.moved[i] - row @ mean, atol=1e-9)
            want = row @ spread @ row.T + marks.cov[i] + 0.02**2 * np.eye(2)
            np.testing.assert_allclose(cov[i], want, atol=1e-9)


def brute(marks: Marks, model, noise_mm):
    """Mean and covariance of a model's parameters by stacked whitened rows and lstsq."""
    rows, right = [], []
    for x, y, c in zip(design_of(marks, model), marks.moved, marks.cov, strict=True):
        white = np.linalg.inv(np.linalg.cholesky(c + noise_mm**2 * np.eye(2)))
        rows.append(white @ x)
        right.append(white @ y)
    known = model.sd_mm > 0.0
    rows.append(np.diag(1.0 / model.sd_mm[known]) @ np.eye(len(known))[known])
    right.append(np.zeros(int(known.sum())))
    every = np.concatenate(rows)
    return linalg.lstsq(every, np.concatenate(right))[0], np.linalg.pinv(every.T @ every)


def test_evidence_ranks_models_as_the_density_of_contrasts_does():
    """Free terms are integrated out: the density of what is left after them, up to one constant."""
    _, marks, models, noise = setting(seen(), some_cov())
    free = design_of(marks, models[0]).reshape(-1, models[0].columns.shape[1])
    contrast = linalg.null_space(free.T).T
    k = 25
    values = []
    for model in models:
        design = design_of(marks, model).reshape(len(free), -1)[:, 4:]
        cov = linalg.block_diag(*(marks.cov + noise.size_mm[k] ** 2 * np.eye(2)))
        cov += design @ np.diag(model.sd_mm[4:] ** 2) @ design.T
        left = contrast @ marks.moved.ravel()
        density = stats.multivariate_normal.logpdf(left, cov=contrast @ cov @ contrast.T)
        ours = explain(marks, model, noise).log_evidence[k]
        values.append(ours - density - np.log(model.weight) - noise.log_weight[k])
    np.testing.assert_allclose(values, values[0], atol=1e-6)


def test_noise_summed_over_gives_the_quantiles_of_the_sum():
    _, marks, models, noise = setting(seen())
    found = explain(marks, models[1], noise)
    mean, scale, dof = student_of(found, marks)
    row = design_of(marks, models[1])[4, 0]
    sd = np.sqrt(np.einsum("p,kpq,q->k", row, found.cov, row))
    for level in (0.75, 0.975):
        x = np.sqrt(row @ scale @ row) * special.stdtrit(dof, level)
        assert found.share @ stats.norm.cdf(x / sd) == pytest.approx(level, abs=2e-3)
    np.testing.assert_allclose(mean, found.share @ found.mean)


def test_arcs_that_marks_cannot_show_are_left_out():
    corners = MARKS[[0, 3, 5, 8]]
    frame = frame_of(corners, corners, DOMAIN)
    marks = marks_in(frame, corners, corners, np.zeros((4, 2, 2)))
    names = [m.name for m in ladder(PrintPrior(), frame.length_mm, marks.basis)]
    _, _, every, _ = setting(MARKS)
    assert 0 < names.count("arc") < sum(m.name == "arc" for m in every)
    assert sum(m.weight for m in every) == pytest.approx(4.0)
