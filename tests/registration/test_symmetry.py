"""How ambiguous a set of marks is: known values, a second program, and bounds by dense search."""

from __future__ import annotations

import cmath
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import UsageError
from kerfwright.registration import layout_ambiguity
from strategies import numbers, similarities

W, H = 2000.0, 1000.0
CORNERS = [(20.0, 20.0), (W - 20, 20.0), (W - 20, H - 20), (20.0, H - 20)]
SIX = [*CORNERS, (W / 2, 20.0), (W / 2, H - 20)]
EIGHT = [*SIX, (20.0, H / 2), (W - 20, H / 2)]
EXTRA = (140.0, 20.0)


@pytest.mark.parametrize(
    ("marks", "most", "lost"),
    [
        (CORNERS, 4, -1),
        ([*CORNERS, EXTRA], 4, 0),
        (SIX, 6, -1),
        (EIGHT, 8, -1),
        ([*EIGHT, EXTRA], 8, 0),
    ],
)
def test_known_layouts(marks, most, lost):
    """Values derived by hand: the half turn of a rectangle lays every mark onto another one."""
    assert layout_ambiguity(marks) == most
    assert len(marks) - layout_ambiguity(marks) - 1 == lost


def test_a_regular_pattern_is_found_in_any_turn():
    """A regular polygon turned by one step is itself."""
    angle = np.arange(7) * 2.0 * np.pi / 7.0
    marks = 500.0 * np.column_stack((np.cos(angle), np.sin(angle)))
    assert layout_ambiguity(marks) == 7


def test_a_mirrored_pattern_counts_only_face_down():
    """A kite is its own mirror image and, all its sides but two differing, no turn of itself."""
    kite = [(0.0, -100.0), (300.0, 0.0), (0.0, 700.0), (-300.0, 0.0), (0.0, 210.0)]
    assert layout_ambiguity(kite) == 2
    assert layout_ambiguity(kite, may_be_mirrored=True) == 5


def test_differing_pairs_leave_two():
    """Marks on a line at the places of a Golomb ruler: no two distances are equal."""
    ruler = np.array([0.0, 1.0, 4.0, 9.0, 11.0]) * 100.0
    assert layout_ambiguity(np.column_stack((ruler, np.zeros(5)))) == 2


def second_program(marks, tolerance, limit, *, mirrored):
    """The definition once more, with complex numbers, one placement after the other."""
    z = [complex(*m) for m in marks]
    most = min(len(z), 1)
    for i, j in permutations(range(len(z)), 2):
        for k, m in permutations(range(len(z)), 2):
            for flip in (False, True)[: 2 if mirrored else 1]:
                if (i, j) == (k, m) and not flip:
                    continue
                p = [w.conjugate() for w in z] if flip else z
                scale = min(max(abs(z[m] - z[k]) / abs(p[j] - p[i]), 1 - limit), 1 + limit)
                turn = scale * cmath.exp(1j * (cmath.phase(z[m] - z[k]) - cmath.phase(p[j] - p[i])))
                moved = [(z[k] + z[m]) / 2 + turn * (w - (p[i] + p[j]) / 2) for w in p]
                if abs(moved[i] - z[k]) > tolerance:
                    continue
                pairs = [
                    (a, b) for a, w in enumerate(moved) for b, v in enumerate(z)
                    if abs(w - v) <= tolerance
                ]  # fmt: skip
                if flip or any(a != b for a, b in pairs):
                    most = max(most, min(len({a for a, _ in pairs}), len({b for _, b in pairs})))
    return most


def near_symmetric(seed):
    rng = np.random.default_rng(seed)
    base = np.array((CORNERS, EIGHT[:6], EIGHT)[seed % 3])
    return base + rng.normal(0.0, rng.choice((0.5, 2.0, 30.0)), base.shape)


@pytest.mark.parametrize("seed", range(15))
@pytest.mark.parametrize("mirrored", [False, True])
def test_a_second_program_finds_the_same(seed, mirrored):
    marks = near_symmetric(seed)
    expected = second_program(marks.tolist(), 3.0, 0.006, mirrored=mirrored)
    assert layout_ambiguity(marks, may_be_mirrored=mirrored) == expected


def dense_search(marks, tolerance, *, step_rad, limit):
    """Most marks within a tolerance over a grid of turns and scales, each mark laid onto each."""
    most = 1
    turns = np.arange(0.0, 2.0 * np.pi, step_rad)
    for scale in np.linspace(1.0 - limit, 1.0 + limit, 5):
        c, s = scale * np.cos(turns), scale * np.sin(turns)
        for p in marks:
            x, y = (marks - p).T
            tx, ty = np.outer(c, x) - np.outer(s, y), np.outer(s, x) + np.outer(c, y)
            for q in marks:
                away = np.hypot(
                    tx[:, :, None] + q[0] - marks[:, 0], ty[:, :, None] + q[1] - marks[:, 1]
                )
                hits = away <= tolerance
                moved = (hits & ~np.eye(len(marks), dtype=bool)).any(axis=(1, 2))
                count = np.minimum(hits.any(axis=1).sum(axis=1), hits.any(axis=2).sum(axis=1))
                most = max(most, int(count[moved].max(initial=1)))
    return most


@pytest.mark.parametrize("seed", range(3))
def test_dense_search_bounds_it_from_both_sides(seed):
    """Any placement within a quarter of the tolerance is found; none is made up.

    A placement counted lies within the grid's own step of one that lays a mark exactly onto
    another, so twice the tolerance plus that step bounds it from above.
    """
    rng = np.random.default_rng(seed)
    marks = np.array(CORNERS[: 3 + seed % 2]) / 4.0 + rng.normal(0.0, 1.0, (3 + seed % 2, 2))
    step = 0.002
    slack = np.ptp(marks, axis=0).max() * (step + 0.002)
    found = layout_ambiguity(marks)
    assert dense_search(marks, 0.75, step_rad=step, limit=0.006) <= found
    assert found <= dense_search(marks, 6.0 + slack, step_rad=step, limit=0.006)


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 500), move=similarities(mirrored=False, scale=False), mirrored=st.booleans()
)
def test_moving_turning_and_renumbering_change_nothing(seed, move, mirrored):
    rng = np.random.default_rng(seed)
    marks = near_symmetric(seed)
    other = rng.permutation(marks @ move[:, :2].T + move[:, 2])
    nearly = [
        layout_ambiguity(marks, tolerance_mm=t, may_be_mirrored=mirrored) for t in (2.99, 3.01)
    ]
    found = layout_ambiguity(other, may_be_mirrored=mirrored)
    assert nearly[0] <= found <= nearly[1]


@settings(max_examples=40, deadline=None)
@given(
    xy=st.lists(st.tuples(numbers(0, 900), numbers(0, 900)), min_size=2, max_size=9, unique=True)
)
def test_it_lies_between_two_and_the_number_of_marks_and_grows_with_the_tolerance(xy):
    marks = np.array(xy) * 20.0
    marks = marks[np.unique(np.round(marks / 50.0), axis=0, return_index=True)[1]]
    if len(marks) < 2:
        return
    found = [layout_ambiguity(marks, tolerance_mm=t) for t in (1.0, 3.0, 9.0)]
    assert 2 <= found[0] <= found[1] <= found[2] <= len(marks)
    assert layout_ambiguity(marks, may_be_mirrored=True) >= found[1]


def test_less_than_two_marks():
    assert layout_ambiguity(np.zeros((0, 2))) == 0
    assert layout_ambiguity([(5.0, 5.0)]) == 1


@pytest.mark.parametrize(
    ("marks", "more"),
    [([1.0, 2.0], {}), ([(0.0, np.nan)], {}), (CORNERS, {"tolerance_mm": -1.0})],
)
def test_wrong_input_is_refused(marks, more):
    with pytest.raises(UsageError):
        layout_ambiguity(marks, **more)
