"""Fitting a sheet: what must not change, what each number of marks gives, what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import GeometryError
from kerfwright.errors.messages import cure_of, sentence_of
from kerfwright.model.prior import PrintPrior
from kerfwright.registration import fit_sheet
from registration.prints import AT, DOMAIN, MARKS, fitted, printed, seen


def codes(fit):
    return {f.code for f in fit.findings}


def check_same(a, b, *, atol=1e-7):
    np.testing.assert_allclose(a.map(AT), b.map(AT), atol=atol)
    np.testing.assert_allclose(a.sd(AT), b.sd(AT), rtol=1e-5, atol=atol)
    assert a.undetectable_mm == pytest.approx(b.undetectable_mm, rel=1e-6)


def test_exact_marks_give_back_the_map():
    fit = fitted(measured=printed(MARKS))
    np.testing.assert_allclose(fit.map(AT), printed(AT), atol=2e-3)
    assert np.abs(fit.residual).max() < 1e-3
    assert fit.used.all()
    assert not fit.mirrored


@settings(max_examples=8, deadline=None)
@given(st.floats(-3.1, 3.1), st.floats(-500.0, 500.0), st.floats(-500.0, 500.0))
def test_turning_and_moving_the_table_turns_and_moves_the_fit(turn, x, y):
    c, s = np.cos(turn), np.sin(turn)
    rotation = np.array([(c, -s), (s, c)])
    base, moved = fitted(), fitted(measured=seen() @ rotation.T + (x, y))
    np.testing.assert_allclose(moved.map(AT), base.map(AT) @ rotation.T + (x, y), atol=1e-6)
    cov = rotation @ base.table_from_sheet.covariance(AT) @ rotation.T
    np.testing.assert_allclose(moved.table_from_sheet.covariance(AT), cov, atol=1e-8)
    np.testing.assert_allclose(moved.leave_one_out, base.leave_one_out @ rotation.T, atol=1e-6)


def test_moving_the_sheets_zero_changes_nothing_else():
    off = np.array([300.0, -200.0])
    moved = fit_sheet(MARKS + off, seen(), domain=(300.0, -200.0, 2740.0, 1020.0))
    np.testing.assert_allclose(moved.map(AT + off), fitted().map(AT), atol=1e-7)
    np.testing.assert_allclose(moved.sd(AT + off), fitted().sd(AT), rtol=1e-6)


def test_the_order_of_marks_does_not_matter():
    order = np.random.default_rng(3).permutation(len(MARKS))
    again = fitted(MARKS[order], seen()[order])
    check_same(fitted(), again)
    np.testing.assert_allclose(again.residual, fitted().residual[order], atol=1e-8)


def test_the_seed_and_a_second_call_change_nothing():
    assert fitted().digest == fitted(seed=5).digest


def test_a_sheet_face_down_is_seen_and_said():
    over = printed(MARKS) * (-1.0, 1.0)
    fit = fitted(measured=over + np.random.default_rng(0).normal(0.0, 0.02, over.shape))
    assert fit.mirrored
    assert "FIT-130" in codes(fit)
    np.testing.assert_allclose(fit.map(AT), printed(AT) * (-1.0, 1.0), atol=0.1)


def test_more_noise_is_found_and_widens():
    quiet, loud = fitted(measured=seen(noise=0.01)), fitted(measured=seen(noise=0.2))
    assert quiet.noise_sd_mm < 0.03 < loud.noise_sd_mm
    assert (loud.sd(AT) > 3.0 * quiet.sd(AT)).all()
    assert loud.undetectable_mm > quiet.undetectable_mm


def test_measured_covariances_are_a_floor():
    cov = np.tile(np.eye(2) * 0.3**2, (len(MARKS), 1, 1))
    told = fitted(measured_cov=cov)
    assert told.noise_sd_mm >= 0.3
    assert (told.sd(AT) > 3.0 * fitted().sd(AT)).all()


def test_a_poorly_seen_mark_counts_less():
    off = seen()
    off[4] += (0.0, 0.3)
    cov = np.tile(np.eye(2) * 1e-6, (len(MARKS), 1, 1))
    even = fitted(measured=off, measured_cov=cov)
    cov[4] = np.eye(2) * 0.5**2
    weighted = fitted(measured=off, measured_cov=cov)
    right = printed(AT)
    assert np.hypot(*(weighted.map(AT) - right).T).max() < 0.06
    assert weighted.used.all()
    assert not even.used[4] or np.hypot(*(even.map(AT) - right).T).max() > 0.06


def test_two_marks_give_a_similarity_and_say_so():
    fit = fitted(MARKS[[0, 5]])
    assert fit.mean_map.is_similarity
    assert {"FIT-101", "FIT-103", "FIT-121"} <= codes(fit)
    assert fit.spare == 0
    assert fit.leave_one_out.shape == (0, 2)
    np.testing.assert_allclose(fit.residual, 0.0, atol=1e-6)
    # what prints usually do is not forgotten: growth that differs by 0.1 % is 0.6 mm at the side
    low, high = fit.interval([(20.0, 1200.0)], 0.95)
    assert (high - low > 1.0).all()
    np.testing.assert_array_less(low, printed(np.array([(20.0, 1200.0)])))
    np.testing.assert_array_less(printed(np.array([(20.0, 1200.0)])), high)


def test_three_marks_leave_nothing_over():
    fit = fitted(MARKS[[0, 3, 7]])
    assert fit.spare == 0
    assert "FIT-103" in codes(fit)
    assert max(fit.nodes, key=lambda n: n.weight).model in {"affine", "arc"}


def test_marks_on_a_line_give_a_similarity_and_say_so():
    fit = fitted(MARKS[:4], seen(MARKS[:4], bow=0.0))
    assert fit.mean_map.is_similarity
    assert "FIT-102" in codes(fit)
    assert "FIT-101" not in codes(fit)
    near, far = fit.sd([(1200.0, 30.0)]), fit.sd([(1200.0, 1200.0)])
    assert (far > 3.0 * near).any()


@pytest.mark.parametrize("row", [0, 4, 7])
@pytest.mark.parametrize("off", [(0.4, 0.0), (-3.0, 5.0)])
def test_one_bad_mark_is_named_and_left_out(row, off):
    measured = seen()
    measured[row] += off
    fit = fitted(measured=measured)
    assert np.flatnonzero(~fit.used).tolist() == [row]
    finding = next(f for f in fit.findings if f.code == "FIT-110")
    assert finding.params["mark"] == row
    assert finding.measured == pytest.approx(np.hypot(*off), abs=0.15)
    assert finding.measured > finding.limit
    np.testing.assert_allclose(fit.map(AT), printed(AT), atol=0.1)
    rest = np.arange(len(MARKS)) != row
    check_same(fit, fitted(MARKS[rest], measured[rest]))
    np.testing.assert_allclose(fit.leave_one_out[row], fit.residual[row])


def test_good_marks_are_never_left_out():
    for seed in range(12):
        assert fitted(measured=seen(seed=seed)).used.all()


def test_marks_that_contradict_one_another_are_said():
    measured = seen(noise=1.5, seed=2)
    fit = fitted(measured=measured)
    assert "FIT-111" in codes(fit)
    assert fit.used.sum() >= len(MARKS) - 1


def test_a_step_that_shows_can_be_detected_and_a_smaller_one_not():
    fit = fitted()
    assert "FIT-120" in codes(fit)
    assert 0.05 < fit.undetectable_mm < 4.0
    rows = fitted(MARKS[[0, 1, 2, 3, 5, 6, 7, 8]])
    assert rows.undetectable_mm == pytest.approx(0.002 * 2440.0)  # two rows show no step at all
    assert "FIT-121" in codes(rows)


def test_a_prior_of_less_bow_narrows_what_four_marks_leave_open():
    four = MARKS[[0, 3, 5, 8]]
    tight = PrintPrior(bow_sd_per_mm=1e-9)
    wide = fitted(four, seen(four, bow=0.0))
    narrow = fitted(four, seen(four, bow=0.0), prior=tight)
    assert (narrow.sd(AT) < wide.sd(AT)).all()


def test_findings_are_sentences():
    measured = seen()
    measured[3] += 2.0
    for fit in (fitted(measured=measured), fitted(MARKS[[0, 5]]), fitted(MARKS[:3])):
        for finding in fit.findings:
            assert "{" not in sentence_of(finding) + cure_of(finding)


NAN = np.array([(0.0, 0.0), (1.0, np.nan)])


@pytest.mark.parametrize(
    ("nominal", "measured", "more", "words"),
    [
        (MARKS[:1], MARKS[:1], {}, "1 marks"),
        (np.zeros((0, 2)), np.zeros((0, 2)), {}, "0 marks"),
        (MARKS, MARKS[:4], {}, "4 measured"),
        (NAN, MARKS[:2], {}, "point 1"),
        (MARKS[:2], NAN, {}, "point 1"),
        (np.zeros((3, 3)), np.zeros((3, 3)), {}, "shape"),
        (MARKS[[0, 1, 0]], MARKS[:3], {}, "marks 0 and 2 have the same nominal"),
        (MARKS[:3], MARKS[[0, 1, 1]], {}, "marks 1 and 2 have the same measured"),
        (MARKS, MARKS, {"domain": (0.0, 0.0, 0.0, 1.0)}, "no box"),
        (MARKS, MARKS, {"domain": (0.0, 0.0, np.inf, 1.0)}, "no box"),
        (MARKS, MARKS, {"measured_cov": np.eye(2)}, "wanted"),
        (MARKS[:2], MARKS[:2], {"measured_cov": [np.eye(2), -np.eye(2)]}, "mark 1"),
        (MARKS[:2], MARKS[:2], {"measured_cov": [[[1, 2], [0, 1]], np.eye(2)]}, "mark 0"),
        (MARKS[:2], MARKS[:2], {"measured_cov": np.full((2, 2, 2), np.nan)}, "mark 0"),
    ],
)
def test_what_cannot_be_fitted_is_refused(nominal, measured, more, words):
    with pytest.raises(GeometryError, match=words):
        fit_sheet(nominal, measured, **{"domain": DOMAIN, **more})
