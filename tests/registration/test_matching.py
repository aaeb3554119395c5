"""Which mark is which: any turn, marks missing, specks, mirrored, scaled, another order's."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import GeometryError, Severity, UsageError
from kerfwright.errors.messages import entry_of, sentence_of
from kerfwright.registration import match_marks
from kerfwright.registration.matching_refit import fitted_affine
from kerfwright.registration.votes import VOTES, best_placement
from studies.marks_matched import judge, layout, throw

CORNERS = np.array(((0.0, 0.0), (1000.0, 0.0), (1000.0, 600.0), (0.0, 600.0)))


def codes(match):
    return [f.code for f in match.findings]


def turned(xy, turn, shift=(50.0, 80.0), *, scale=1.0):
    c, s = math.cos(turn), math.sin(turn)
    return scale * xy @ np.array(((c, s), (-s, c))) + shift


def names(match, truth):
    """The nominal index of each pair against the true one."""
    return np.column_stack((match.pairs[:, 1], truth[match.pairs[:, 0]]))


def assert_said(match, code, severity):
    said = [f for f in match.findings if f.code == code]
    assert len(said) == 1
    assert said[0].severity is severity
    assert entry_of(code).severity is severity
    assert sentence_of(said[0])
    return said[0]


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), specks=st.integers(0, 20))
def test_a_certain_match_is_never_a_wrong_pose(seed, specks):
    found, nominal, truth, table = throw(np.random.default_rng(seed), specks=specks)
    match = match_marks(found, nominal, tolerance_mm=4.0)
    assert judge(match, nominal, truth, table) != "wrong_pose"
    assert match.votes == len(match.pairs)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6), turn=st.floats(-3.0, 3.0), order=st.randoms())
def test_it_does_not_matter_how_the_table_is_turned_or_the_marks_are_listed(seed, turn, order):
    found, nominal, _, _ = throw(np.random.default_rng(seed), specks=6)
    base = match_marks(found, nominal, tolerance_mm=4.0)
    shuffled = list(range(len(found)))
    order.shuffle(shuffled)
    again = match_marks(turned(found, turn)[shuffled], nominal, tolerance_mm=4.0)
    if base.is_ambiguous or again.is_ambiguous:
        assert base.is_ambiguous == again.is_ambiguous
        return
    was = {tuple(p) for p in base.pairs.tolist()}
    now = {(shuffled[m], k) for m, k in again.pairs.tolist()}
    assert was == now


def test_votes_are_those_of_brute_force():
    rng = np.random.default_rng(5)
    for _ in range(20):
        found, nominal = rng.uniform(0, 300, (9, 2)), rng.uniform(0, 300, (6, 2))
        most = 0
        for i in range(6):
            for j in range(i + 1, 6):
                for a in range(9):
                    for b in range(9):
                        most = max(most, _votes_of_pair(found, nominal, a, b, i, j))
        best = best_placement(found, nominal, 6.0, 0.9, 1.1, np.array((0.0, 4.0)), np.zeros(7),
                              -1.0, 6)  # fmt: skip
        assert int(best[VOTES]) == most


def _votes_of_pair(found, nominal, a, b, i, j, *, tolerance=6.0, low=0.9, high=1.1):
    z, w = nominal @ (1.0, 1j), found @ (1.0, 1j)
    length, seen = abs(z[j] - z[i]), abs(w[b] - w[a])
    if a == b or not low * length - tolerance <= seen <= high * length + tolerance:
        return 0
    turn = (w[b] - w[a]) / (z[j] - z[i])
    turn *= min(max(abs(turn), low), high) / abs(turn)
    place = turn * (z - (z[i] + z[j]) / 2) + (w[a] + w[b]) / 2
    free, votes = set(range(len(w))), 0
    for p in place:
        near = min(free, key=lambda m: abs(w[m] - p), default=None)
        if near is not None and abs(w[near] - p) <= tolerance:
            free.remove(near)
            votes += 1
    return votes


def test_a_symmetric_layout_is_ambiguous_and_said():
    match = match_marks(turned(CORNERS, 0.05), CORNERS, tolerance_mm=3.0)
    assert match.is_ambiguous
    assert match.rival_votes == 4
    assert_said(match, "LOK-124", Severity.BLOCKS)


def test_a_promised_throw_settles_what_turning_leaves_open():
    match = match_marks(turned(CORNERS, 0.05), CORNERS, tolerance_mm=3.0, turn_rad=0.0,
                        turn_limit_rad=0.1)  # fmt: skip
    assert not match.is_ambiguous
    np.testing.assert_array_equal(match.pairs[:, 0], match.pairs[:, 1])


def test_of_equals_the_one_that_lies_as_it_should_is_taken():
    match = match_marks(turned(CORNERS, 0.05), CORNERS, tolerance_mm=3.0, turn_rad=0.0)
    np.testing.assert_array_equal(match.pairs[:, 0], match.pairs[:, 1])
    assert match.is_ambiguous
    upside = match_marks(turned(CORNERS, 0.05), CORNERS, tolerance_mm=3.0, turn_rad=math.pi)
    np.testing.assert_array_equal(np.sort(upside.pairs[:, 0]), np.arange(4))
    assert (upside.pairs[:, 0] != upside.pairs[:, 1]).all()


def test_two_marks_give_a_similarity_and_say_so():
    nominal = layout(np.random.default_rng(2), 8)
    match = match_marks(turned(nominal[:2], 0.02), nominal, tolerance_mm=2.0, turn_rad=0.0,
                        turn_limit_rad=0.06)  # fmt: skip
    assert_said(match, "LOK-127", Severity.WARN)
    linear = match.table_from_sheet[:, :2]
    np.testing.assert_allclose(linear @ linear.T, np.eye(2) * np.linalg.det(linear), atol=1e-9)


def test_marks_on_a_line_give_a_similarity_and_say_so():
    nominal = np.column_stack(((0.0, 180.0, 430.0, 990.0), np.zeros(4)))
    match = match_marks(turned(nominal, 0.3), nominal, tolerance_mm=2.0, turn_rad=0.3,
                        turn_limit_rad=0.1)  # fmt: skip
    assert_said(match, "LOK-127", Severity.WARN)
    assert np.linalg.det(match.table_from_sheet[:, :2]) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("few", [0, 1])
def test_one_mark_or_none_says_that_nothing_can_be_fitted(few):
    match = match_marks(np.zeros((few, 2)), CORNERS, tolerance_mm=3.0)
    assert len(match.pairs) == 0
    assert_said(match, "LOK-125", Severity.BLOCKS)


def test_printed_at_97_per_cent_is_said_in_words():
    found, nominal, truth, _ = throw(np.random.default_rng(8), count=12, specks=4, scale=0.97)
    match = match_marks(found, nominal, tolerance_mm=4.0)
    said = assert_said(match, "LOK-121", Severity.BLOCKS)
    assert said.measured == pytest.approx(97.0, abs=0.4)
    assert "printed at 97." in sentence_of(said) or "printed at 96." in sentence_of(said)
    both = names(match, truth)
    np.testing.assert_array_equal(both[:, 0], both[:, 1])


def test_mirrored_is_said_unless_it_may_be():
    found, nominal, truth, _ = throw(np.random.default_rng(9), count=12, specks=4, mirrored=True)
    match = match_marks(found, nominal, tolerance_mm=4.0)
    assert match.mirrored
    assert_said(match, "LOK-122", Severity.BLOCKS)
    both = names(match, truth)
    np.testing.assert_array_equal(both[:, 0], both[:, 1])
    allowed = match_marks(found, nominal, tolerance_mm=4.0, may_be_mirrored=True)
    assert allowed.mirrored
    assert "LOK-122" not in codes(allowed)


def test_a_layout_that_is_its_own_mirror_image_is_ambiguous_where_it_may_be_mirrored():
    nominal = np.array(((0, 0), (900, 0), (130, 500), (770, 500), (450, 310), (450, 90.0)))
    assert not match_marks(turned(nominal, 0.2), nominal, tolerance_mm=3.0).is_ambiguous
    both = match_marks(turned(nominal, 0.2), nominal, tolerance_mm=3.0, may_be_mirrored=True)
    assert both.is_ambiguous


@pytest.mark.parametrize("quarter", [1, 2, 3])
def test_turned_is_said_in_degrees(quarter):
    found, nominal, _, _ = throw(np.random.default_rng(10), count=12, specks=3,
                                 turn=quarter * math.pi / 2 + 0.02)  # fmt: skip
    for limit in (None, 0.07):
        match = match_marks(found, nominal, tolerance_mm=4.0, turn_rad=0.0, turn_limit_rad=limit)
        said = assert_said(match, "LOK-123", Severity.WARN)
        assert said.measured % 360 == pytest.approx(quarter * 90 + 1.1, abs=0.5)


def test_another_orders_sheet_is_said():
    rng = np.random.default_rng(11)
    nominal = layout(rng, 10)
    other = rng.uniform((0, 0), (2000, 1000), (10, 2))
    match = match_marks(other, nominal, tolerance_mm=3.0)
    assert len(match.pairs) == 0
    said = assert_said(match, "LOK-120", Severity.BLOCKS)
    assert "another order" in sentence_of(said)


def test_missing_marks_are_counted():
    nominal = layout(np.random.default_rng(12), 10)
    match = match_marks(turned(nominal[:7], 1.0), nominal, tolerance_mm=3.0)
    said = assert_said(match, "LOK-126", Severity.NOTE)
    assert (said.measured, said.limit) == (7.0, 10.0)


def test_a_speck_near_a_missing_mark_does_not_take_its_name():
    nominal = layout(np.random.default_rng(13), 12)
    found = turned(nominal, 0.4)
    found[5] += (2.6, -2.2)
    match = match_marks(found, nominal, tolerance_mm=4.0, found_cov_mm2=np.tile(
        np.eye(2) * 0.03**2, (12, 1, 1)))  # fmt: skip
    assert 5 not in match.pairs[:, 1]
    assert match.votes == 11


@pytest.mark.reference("scikit-image AffineTransform on the same pairs")
def test_the_map_is_the_affine_by_least_squares():
    from skimage.transform import AffineTransform

    rng = np.random.default_rng(14)
    nominal = rng.uniform(0, 900, (9, 2))
    found = turned(nominal, 2.0) + rng.normal(0, 0.1, (9, 2))
    theirs = AffineTransform.from_estimate(nominal, found).params[:2]
    np.testing.assert_allclose(fitted_affine(nominal, found), theirs, atol=1e-3)
    np.testing.assert_allclose(
        match_marks(found, nominal, tolerance_mm=2.0).table_from_sheet, theirs, atol=1e-3
    )


@pytest.mark.parametrize(
    ("more", "error", "words"),
    [
        ({"tolerance_mm": 0.0}, UsageError, "above 0"),
        ({"tolerance_mm": 2.0, "scale_limit": 0.6}, UsageError, "scale_limit"),
        ({"tolerance_mm": 2.0, "turn_limit_rad": 0.1}, UsageError, "needs turn_rad"),
        ({"tolerance_mm": 2.0, "found_cov_mm2": np.eye(2)}, UsageError, "found_cov_mm2"),
    ],
    ids=("tolerance", "scale", "turn", "covariance"),
)
def test_wrong_use_is_refused(more, error, words):
    with pytest.raises(error, match=words):
        match_marks(CORNERS, CORNERS, **more)


def test_places_that_are_none_are_refused():
    bad = CORNERS.copy()
    bad[1, 0] = np.nan
    with pytest.raises(GeometryError):
        match_marks(bad, CORNERS, tolerance_mm=2.0)
    with pytest.raises(UsageError, match="most are 400"):
        match_marks(np.zeros((401, 2)), CORNERS, tolerance_mm=2.0)
