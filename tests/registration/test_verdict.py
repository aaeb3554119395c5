"""Verdicts: chances against closed forms and slow sampling, and what must never happen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import special, stats

from kerfwright.errors import UsageError
from kerfwright.geometry.along import along
from kerfwright.geometry.paths import empty_paths, join_sets, make_circle, make_path
from kerfwright.geometry.uncertain_map import MapNode, UncertainMap
from kerfwright.model.verdict import ErrorBudget, PlacedLines, VerdictState
from kerfwright.registration import rigid_maps, verdict
from kerfwright.registration.verdict_places import places_of
from registration.prints import MARKS, fitted

HEAD = "tangential_knife"
PATHS = join_sets(
    [
        make_circle((300, 300), 100.0),
        make_path([(800, 300), (1300, 300), (1300, 800), (800, 800)], closed=True),
        make_path([(1500, 200), (2300, 900)], closed=False),
        make_circle((1220, 1000), 8.0),
        make_path([(600, 600)], closed=False),
    ]
)
FIT = fitted()


def lines(paths=PATHS, *, fidelity="print", limit=0.3, head=HEAD, fit=FIT):
    n = len(paths)
    outlines = [p if p.closed[0] else make_circle((1000, 600), 50.0) for p in each(paths)]
    return PlacedLines(
        contours=tuple(f"c{k}" for k in range(n)),
        paths=paths,
        fidelity=(fidelity,) * n,
        print_mm=np.full(n, limit),
        size_mm=np.full(n, limit),
        head=(head,) * n,
        part=np.arange(n),
        rigid=rigid_maps(fit, join_sets(outlines)),
    )


def each(paths):
    return [paths.select([k]) for k in range(len(paths))]


def budget(*, head=0.03, repeat=0.02, motion=0.01, step=0.0):
    return ErrorBudget(
        head_cov_mm2=np.eye(2) * head**2,
        repeat_sd_mm=repeat,
        motion_sd_mm={HEAD: motion},
        other=(("feed step", step),),
    )


def without_doubt(fit, shift=(0.0, 0.0)):
    """The fit as if its mean map were certain; `shift` moves all its nodes."""
    mean = fit.mean_map
    affine = mean.affine + np.column_stack((np.zeros((2, 2)), shift))
    node = MapNode(weight=1.0, map=replace(mean, affine=affine), factor=np.zeros((12, 12)), dof=9.0)
    sure = UncertainMap(
        nodes=(node,), centre=fit.table_from_sheet.centre,
        length_mm=fit.table_from_sheet.length_mm, domain=fit.domain,
    )  # fmt: skip
    return replace(fit, table_from_sheet=sure)


@pytest.mark.parametrize("limit", [0.05, 0.08, 0.12])
def test_a_certain_sheet_leaves_the_plane_normal_error_of_the_budget(limit):
    sd = np.sqrt(0.03**2 + 0.02**2 + 0.01**2)
    want = 1.0 - np.exp(-0.5 * (limit / sd) ** 2)
    for v in verdict(without_doubt(FIT), budget(), lines(limit=limit)):
        assert v.p_in_tolerance == pytest.approx(want, abs=0.02)
        assert v.expected_mm == pytest.approx(sd * np.sqrt(2.0 * np.log(2.0)), rel=0.05)
        assert v.bound_mm == pytest.approx(sd * np.sqrt(2.0 * np.log(20.0)), rel=0.05)


def test_size_is_judged_by_what_bends_a_shape_alone():
    narrow = replace(lines(fidelity="size"), size_mm=np.full(5, 0.04), print_mm=np.full(5, 9.0))
    sd = np.hypot(0.02, 0.01)
    for v in verdict(FIT, budget(), narrow):
        assert v.kind == "size"
        assert v.p_in_tolerance == pytest.approx(1.0 - np.exp(-0.5 * (0.04 / sd) ** 2), abs=1e-12)
        assert "to its shape" in v.reason


def test_chance_of_a_whole_contour_is_that_of_slow_sampling():
    rng = np.random.default_rng(11)
    square = PATHS.select([1])
    way = along(square)
    dense = way.points(np.linspace(0.0, way.length_mm, 400))
    basis, mean = FIT.table_from_sheet.basis(dense), FIT.map(dense)
    limit, inside, total = 0.09, 0, 6000
    for one in FIT.nodes:
        for _ in range(round(total * one.weight)):
            z = one.factor @ rng.standard_normal(12) * np.sqrt(one.dof / rng.chisquare(one.dof))
            off = one.map.map_points(dense) - mean + basis @ z.reshape(2, 6).T
            off += rng.normal(0.0, 0.03, 2) + rng.normal(0.0, np.hypot(0.02, 0.01), 2)
            inside += np.hypot(*off.T).max() <= limit
    (found,) = verdict(FIT, budget(), lines(square, limit=limit))
    assert found.p_in_tolerance == pytest.approx(inside / total, abs=0.025)


def test_a_whole_contour_is_never_likelier_than_one_place_of_it():
    found = verdict(FIT, budget(head=0.0, repeat=0.0, motion=0.0), lines(limit=0.04))
    for v, path in zip(found, each(PATHS), strict=True):
        at = v.worst_xy[None]
        low, high = FIT.interval(at, 0.9999)
        cov = FIT.table_from_sheet.covariance(at)[0]
        alone = special.chdtr(2, 0.04**2 / np.linalg.eigvalsh(cov)[0])  # wider than any axis
        assert v.p_in_tolerance <= alone + 0.02
        assert (low < FIT.map(at)).all()
        assert (high > FIT.map(at)).all()
        box = path.bounds_mm()[0]
        assert (v.worst_xy >= box[:2] - 1e-9).all()
        assert (v.worst_xy <= box[2:] + 1e-9).all()


def test_wider_limits_and_smaller_errors_never_lower_a_chance():
    limits = [0.05, 0.1, 0.2, 0.4]
    chances = np.array([[v.p_in_tolerance for v in verdict(FIT, budget(), lines(limit=m))]
                        for m in limits])  # fmt: skip
    assert (np.diff(chances, axis=0) >= 0.0).all()
    small, large = (verdict(FIT, budget(head=h), lines(limit=0.1)) for h in (0.01, 0.1))
    for a, b in zip(small, large, strict=True):
        assert a.p_in_tolerance > b.p_in_tolerance
        assert a.bound_mm < b.bound_mm


def test_a_print_that_grew_holds_back_what_keeps_its_size():
    grown = fitted(measured=MARKS * 1.002 + np.random.default_rng(0).normal(0, 0.02, MARKS.shape))
    follow = verdict(grown, budget(), lines(fit=grown))
    keep = verdict(grown, budget(), lines(fit=grown, fidelity="size"))
    assert follow[1].state is VerdictState.WILL_CUT
    assert keep[1].state is VerdictState.WILL_NOT_CUT  # 500 mm grow by 1 mm, half on each side
    assert keep[1].kind == "print"
    assert keep[1].expected_mm == pytest.approx(0.001 * np.hypot(500, 500), rel=0.1)
    assert "shape of the print" in keep[1].reason
    assert keep[3].state is VerdictState.WILL_CUT  # a hole of 16 mm does not mind


def test_states_follow_the_thresholds():
    (v,) = verdict(FIT, budget(), lines(PATHS.select([0]), limit=0.085))
    p = v.p_in_tolerance
    assert 0.5 < p < 0.99
    assert v.state is VerdictState.CHECK
    one = lines(PATHS.select([0]), limit=0.085)
    (cut,) = verdict(FIT, budget(), one, will_cut=p, check=0.5)
    assert cut.state is VerdictState.WILL_CUT
    (never,) = verdict(FIT, budget(), one, will_cut=1.0, check=p + 1e-6)
    assert never.state is VerdictState.WILL_NOT_CUT


def test_what_cannot_be_judged_needs_a_person():
    two = fitted(MARKS[[0, 5]])
    for v in verdict(two, budget(), lines(fit=two, limit=50.0)):
        assert v.state is VerdictState.NEEDS_YOU
        assert "look at more" in v.reason
    outside = lines(make_circle((2440, 600), 30.0))
    (v,) = verdict(FIT, budget(), outside)
    assert v.state is VerdictState.NEEDS_YOU
    assert v.p_in_tolerance == 0.0
    assert "outside" in v.reason


@pytest.mark.parametrize(
    ("errors", "words"),
    [
        ({"head": 0.3}, "head offset"),
        ({"repeat": 0.3}, "repeatability"),
        ({"motion": 0.3}, "motion"),
        ({"step": 0.3}, "feed step"),
        ({"head": 0.0, "repeat": 0.0, "motion": 0.0}, "one more mark near"),
    ],
)
def test_reason_names_the_largest_cause_number_and_limit(errors, words):
    for v in verdict(FIT, budget(**errors), lines(limit=0.25)):
        assert words in v.reason
        assert f"{v.bound_mm:.2f} mm with 95 %, limit 0.25 mm" in v.reason


def test_same_seed_same_verdicts_and_others_agree():
    a, b, c = (verdict(FIT, budget(), lines(limit=0.1), seed=s) for s in (0, 0, 1))
    assert [v.digest for v in a] == [v.digest for v in b]
    for one, other in zip(a, c, strict=True):
        assert one.p_in_tolerance == pytest.approx(other.p_in_tolerance, abs=0.03)


def test_contours_are_judged_alone():
    every = verdict(FIT, budget(), lines(limit=0.1))
    for k, path in enumerate(each(PATHS)):
        (alone,) = verdict(FIT, budget(), lines(path, limit=0.1))
        assert alone.p_in_tolerance == every[k].p_in_tolerance
        np.testing.assert_array_equal(alone.worst_xy, every[k].worst_xy)


def test_heads_differ_and_an_unknown_one_is_refused():
    two = replace(lines(limit=0.1), head=(HEAD, "oscillating_knife", HEAD, HEAD, HEAD))
    with pytest.raises(UsageError, match="oscillating_knife"):
        verdict(FIT, budget(), two)
    both = replace(budget(), motion_sd_mm={HEAD: 0.01, "oscillating_knife": 0.2})
    found = verdict(FIT, both, two)
    assert found[1].p_in_tolerance < 0.5 < found[0].p_in_tolerance
    with pytest.raises(UsageError, match="thresholds"):
        verdict(FIT, both, two, will_cut=0.4)


def test_no_contours_no_verdicts():
    none = replace(
        lines(), contours=(), paths=empty_paths(), fidelity=(), head=(), print_mm=np.zeros(0),
        size_mm=np.zeros(0), part=np.zeros(0, int),
    )  # fmt: skip
    assert verdict(FIT, budget(), none) == ()


def test_head_errors_that_go_together_are_drawn_together():
    """A head error along one direction only: one normal error, not a plane one."""
    way = np.array([0.6, 0.8])
    one = replace(budget(head=0.0, repeat=0.0, motion=0.0), head_cov_mm2=0.04 * np.outer(way, way))
    (v,) = verdict(without_doubt(FIT), one, lines(PATHS.select([0])))
    want = stats.norm.cdf(0.3 / 0.2) - stats.norm.cdf(-0.3 / 0.2)
    assert v.p_in_tolerance == pytest.approx(want, abs=0.01)


def test_places_reach_the_outermost_of_each_path():
    found = places_of(PATHS, 2440.0)
    assert set(found.path.tolist()) == set(range(5))
    for k, path in enumerate(each(PATHS)):
        mine, box = found.xy[found.path == k], path.bounds_mm()[0]
        np.testing.assert_allclose(mine.min(axis=0), box[:2], atol=0.02 * 2440)
        if k in (1, 2):
            np.testing.assert_allclose(mine.min(axis=0), box[:2])
            np.testing.assert_allclose(mine.max(axis=0), box[2:])
