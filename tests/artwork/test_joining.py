"""Loose lines become contours: exactly, whatever their order and direction."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.artwork import join_lines
from kerfwright.geometry.along import along, piece
from kerfwright.geometry.distance import hausdorff
from kerfwright.geometry.paths import PathSet, make_path
from tests.artwork.drawings import drawing_of, line, shuffled

CONTOUR = make_path(
    [(0, 0), (60, 0), (70, 10), (70, 50), (35, 80), (0, 50)],
    [0.0, np.tan(np.pi / 8.0), 0.0, 0.3, -0.4, 0.0],
    closed=True,
)


def broken(cuts, flips, *, gap_mm=0.0, seed=0):
    """Return the contour cut into open pieces, some turned round, ends shaken by a gap."""
    whole = along(CONTOUR)
    places = sorted({round(c, 6) for c in cuts}) or [0.0]
    marks = [p * whole.length_mm for p in places]
    marks.append(marks[0] + whole.length_mm)
    rng = np.random.default_rng(seed)
    pieces = []
    for i, (a, b) in enumerate(pairwise(marks)):
        part = piece(whole, a, b)
        points = part.points.copy()
        points[[0, -1]] += rng.uniform(-gap_mm / 3.0, gap_mm / 3.0, (2, 2))
        part = make_path(points, part.bulges, closed=False)
        pieces.append(part.reversed_where() if flips[i % len(flips)] else part)
    return pieces


@given(
    cuts=st.lists(st.floats(0.0, 0.999), min_size=1, max_size=8, unique_by=lambda c: round(c, 2)),
    flips=st.lists(st.booleans(), min_size=1, max_size=8),
    seed=st.integers(0, 1000),
)
def test_pieces_of_a_contour_become_that_contour(cuts, flips, seed):
    drawing = drawing_of(*broken(cuts, flips, seed=seed))
    order = np.random.default_rng(seed).permutation(len(drawing.paths))
    joined, findings = join_lines(shuffled(drawing, order), tolerance_mm=0.02)
    assert len(joined.paths) == 1
    assert joined.paths.closed.all()
    assert hausdorff(joined.paths, CONTOUR, accuracy_mm=1e-9).high_mm < 1e-8
    assert abs(joined.paths.areas_mm2()[0]) == pytest.approx(abs(CONTOUR.areas_mm2()[0]))
    assert [f.code for f in findings] == ["ART-101"]


@given(seed=st.integers(0, 1000))
def test_a_gap_within_the_tolerance_is_closed_and_said(seed):
    joined, findings = join_lines(
        drawing_of(*broken([0.1, 0.4, 0.8], [False], gap_mm=0.015, seed=seed)), tolerance_mm=0.02
    )
    assert joined.paths.closed.all()
    assert 0.0 < findings[0].measured <= 0.02
    assert hausdorff(joined.paths, CONTOUR, accuracy_mm=1e-6).high_mm < 0.05


def test_a_gap_beyond_the_tolerance_stays_open():
    drawing = drawing_of(line((0, 0), (10, 0)), line((10.03, 0), (10, 10), (0, 0.5)))
    joined, findings = join_lines(drawing, tolerance_mm=0.02)
    assert not findings
    assert len(joined.paths) == 2


def test_lines_of_other_layers_and_colours_are_not_joined():
    two = [line((0, 0), (10, 0)), line((10, 0), (10, 10))]
    for other in ({"layers": ("cut", "score")}, {"colours": ("#ff0000", "#00ff00")}):
        joined, _ = join_lines(drawing_of(*two, **other), tolerance_mm=0.02)
        assert len(joined.paths) == 2


def test_a_branch_is_said_and_not_guessed():
    star = [line((0, 0), (10, 0)), line((0, 0), (0, 10)), line((0, 0), (-10, 0))]
    joined, findings = join_lines(drawing_of(*star), tolerance_mm=0.02)
    assert len(joined.paths) == 3
    assert [f.code for f in findings] == ["ART-102"]
    assert findings[0].where.xy_mm == pytest.approx((0.0, 0.0))
    assert findings[0].measured == 3.0


def test_forty_thousand_lines_from_one_point_are_one_branch():
    """All pairs of ends would be 800 million."""
    turn = np.linspace(0.0, 6.0, 40_000)
    rays = np.stack(
        (np.zeros((len(turn), 2)), 90.0 * np.column_stack((np.cos(turn), np.sin(turn))))
    )
    star = PathSet(
        points=rays.transpose(1, 0, 2).reshape(-1, 2),
        bulges=np.zeros(2 * len(turn)),
        starts=2 * np.arange(len(turn) + 1),
        closed=np.zeros(len(turn), bool),
    )
    _, findings = join_lines(drawing_of(star), tolerance_mm=1e-4)
    assert [(f.code, f.measured) for f in findings] == [("ART-102", 40_000.0)]


def branches_of(findings):
    """Place and number of ends of each branch; the noise of the ends rounded away."""
    return {
        (round(f.where.xy_mm[0]), round(f.where.xy_mm[1]), f.measured)
        for f in findings
        if f.code == "ART-102"
    }


@given(
    ends=st.lists(
        st.tuples(*[st.integers(0, 3)] * 4).filter(lambda e: e[:2] != e[2:]),
        min_size=1,
        max_size=12,
    ),
    noise=st.sampled_from([0.0, 0.004]),
    seed=st.integers(0, 100),
)
def test_joining_is_done_once_and_for_all(ends, noise, seed):
    """Joining the joined drawing changes nothing, and every joint is one that has two ends."""
    rng = np.random.default_rng(seed)
    shaken = [np.array(e, float).reshape(2, 2) + rng.uniform(-noise, noise, (2, 2)) for e in ends]
    first, said = join_lines(drawing_of(*(line(*e) for e in shaken)), tolerance_mm=0.02)
    second, again = join_lines(first, tolerance_mm=0.02)
    assert second.digest == first.digest
    assert {f.code for f in again} <= {"ART-102"}
    assert branches_of(again) == branches_of(said)
    spots = np.concatenate(shaken).round()
    _, at, crowd = np.unique(spots, axis=0, return_inverse=True, return_counts=True)
    open_ends = first.paths.points[first.paths.starts[:-1]][~first.paths.closed].round()
    if not any(f.code == "ART-130" for f in said):
        assert all(crowd[at[(spots == e).all(axis=1)]][0] != 2 for e in open_ends)


def test_the_joined_contour_keeps_the_earliest_id_and_place():
    drawing = drawing_of(
        line((50, 50), (60, 60)), *broken([0.2, 0.6], [True]), line((9, 9), (8, 8))
    )
    joined, _ = join_lines(drawing, tolerance_mm=0.02)
    assert joined.ids == ("c1", "c2", "c4")
    assert joined.source[1].endswith("and 1 more")


def test_points_and_closed_contours_pass_untouched():
    drawing = drawing_of(make_path([(1, 1)], closed=False), CONTOUR)
    joined, findings = join_lines(drawing, tolerance_mm=0.02)
    assert joined.digest == drawing.digest
    assert not findings


def test_a_single_line_whose_ends_meet_becomes_closed():
    joined, _ = join_lines(
        drawing_of(line((0, 0), (10, 0), (10, 10), (0.001, 0.0))), tolerance_mm=0.02
    )
    assert joined.paths.closed.tolist() == [True]
    assert len(joined.paths.points) == 3


def test_a_loose_line_drawn_twice_is_cut_once_and_makes_no_ring():
    joined, findings = join_lines(
        drawing_of(line((0, 0), (30, 0)), line((30, 0), (0, 0))), tolerance_mm=0.02
    )
    assert joined.ids == ("c1",)
    assert not joined.paths.closed.any()
    assert [f.code for f in findings] == ["ART-130"]


def test_a_contour_of_loose_lines_drawn_twice_is_still_one_contour():
    pieces = broken([0.1, 0.4, 0.8], [False, True])
    joined, findings = join_lines(drawing_of(*pieces, *pieces), tolerance_mm=0.02)
    assert joined.paths.closed.tolist() == [True]
    assert [f.code for f in findings] == ["ART-101"] + ["ART-130"] * 3


def test_a_line_shorter_than_the_tolerance_is_not_closed_into_a_ring():
    joined, _ = join_lines(drawing_of(line((0, 0), (0.001, 0))), tolerance_mm=0.02)
    assert joined.paths.closed.tolist() == [False]
