"""The whole order: every cut once, rules kept, the same for the same job wherever it lies."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import CancelledError, ModelError, UnknownNameError
from kerfwright.geometry.paths import join_sets, make_path
from kerfwright.model.cut import CutChoices
from kerfwright.sequence import order, overlaps
from studies._sequence_jobs import (
    OrderJob,
    broken_rules,
    every_cut,
    make_operation,
    make_table,
    random_choices,
    random_job,
    rectangle,
)

TABLE = make_table()


def ordered(job, **others):
    return order(job.choices, **job.arguments(), table=TABLE, travel_z_mm=25.0, **others)


def cuts_of(found):
    return list(zip(found.contour, found.operation, found.pass_no.tolist(), strict=True))


def job_of(lines, operations):
    """Return a job of (contour id, path, operation index) rows, one pass each unless told."""
    names = tuple(name for name, _, _ in lines)
    paths = [path for _, path, _ in lines]
    operation = np.array([o for _, _, o in lines])
    rng = np.random.default_rng(0)
    choices = tuple(
        random_choices(rng, paths, names, one, np.flatnonzero(operation == i), pairs=False)
        for i, one in enumerate(operations)
    )
    return OrderJob(
        paths=join_sets(paths),
        contours=names,
        operations=tuple(operations),
        operation=operation,
        choices=choices,
    )


@settings(max_examples=25)
@given(seed=st.integers(0, 2**32 - 1))
def test_no_rule_is_broken_and_every_cut_is_done_once(seed):
    job = random_job(np.random.default_rng(seed), n_cells=2)
    found = ordered(job)
    assert broken_rules(job, found) == []
    assert sorted(cuts_of(found)) == every_cut(job)
    station = {o.id: TABLE.station_for(o.head_kind, o.tool_id).number for o in job.operations}
    numbers = [station[o] for o in found.operation]
    changes = np.diff(numbers) != 0
    assert (np.diff(found.group)[changes] == 1).all(), "another tool is another group"
    assert set(found.group.tolist()) == set(range(found.group.max(initial=-1) + 1))


@settings(max_examples=15)
@given(seed=st.integers(0, 2**32 - 1), dx=st.floats(-500, 500), dy=st.floats(-500, 500))
def test_the_order_is_the_same_wherever_the_job_lies(seed, dx, dy):
    job = random_job(np.random.default_rng(seed), n_cells=3)
    shift = np.array((dx, dy, 0.0))
    moved = replace(
        job,
        paths=job.paths.transformed([[1.0, 0.0, dx], [0.0, 1.0, dy]]),
        choices=tuple(
            replace(c, xyc_in=c.xyc_in + shift, xyc_out=c.xyc_out + shift) for c in job.choices
        ),
    )
    here, there = ordered(job, seed=seed), ordered(moved, seed=seed)
    assert here.digest == there.digest


@settings(max_examples=15)
@given(seed=st.integers(0, 2**32 - 1), turns=st.integers(-3, 3))
def test_whole_turns_of_c_change_nothing(seed, turns):
    job = random_job(np.random.default_rng(seed), n_cells=2)
    shift = np.array((0.0, 0.0, 2 * np.pi * turns))
    turned = replace(
        job,
        choices=tuple(
            replace(c, xyc_in=c.xyc_in + shift, xyc_out=c.xyc_out + shift) for c in job.choices
        ),
    )
    assert ordered(job).digest == ordered(turned).digest


def test_equal_parts_in_rows_give_the_same_order_wherever_they_lie():
    # Many equal distances: the case in which rounding would decide.
    lines = [
        (f"c{i}{j}", rectangle(i * 20.0, j * 20.0, i * 20.0 + 10.0, j * 20.0 + 10.0), 0)
        for i in range(8)
        for j in range(8)
    ]
    job = job_of(lines, [make_operation("cut", through=True, station=1)])
    shift = np.array((611.37, 213.71, 0.0))
    moved = replace(
        job,
        paths=job.paths.transformed([[1.0, 0.0, shift[0]], [0.0, 1.0, shift[1]]]),
        choices=tuple(
            replace(c, xyc_in=c.xyc_in + shift, xyc_out=c.xyc_out + shift) for c in job.choices
        ),
    )
    assert ordered(job).digest == ordered(moved).digest


def test_the_same_seed_gives_the_same_order_and_another_one_is_never_worse_than_useless():
    job = random_job(np.random.default_rng(5), n_cells=6)
    assert ordered(job, seed=7).digest == ordered(job, seed=7).digest
    other = ordered(job, seed=8)
    assert sorted(cuts_of(other)) == every_cut(job)
    assert other.lower_bound_s == ordered(job, seed=7).lower_bound_s


def test_kiss_then_slit_then_window_then_outline():
    lines = [
        ("outline", rectangle(0, 0, 100, 100), 1),
        ("window", rectangle(20, 20, 60, 60), 1),
        ("kiss", rectangle(70, 70, 90, 90), 0),
        ("slit", make_path([(50.0, 80.0), (50.0, 104.0)], closed=False), 1),
    ]
    operations = [
        make_operation("kiss", through=False, station=1),
        make_operation("cut", through=True, station=1),
    ]
    found = ordered(job_of(lines, operations)).contour
    assert found[0] == "kiss"
    assert found[-1] == "outline", "the slit reaches over the outline, yet comes before it"


def test_a_line_that_is_not_cut_still_hands_on_what_is_inside_it():
    lines = [
        ("outer", rectangle(0, 0, 100, 100), 0),
        ("middle", rectangle(10, 10, 90, 90), 0),
        ("inner", rectangle(40, 40, 60, 60), 0),
    ]
    job = job_of(lines, [make_operation("cut", through=True, station=1)])
    choice = job.choices[0]
    rows = choice.contour != 1
    left = replace(
        choice,
        **{n: getattr(choice, n)[rows] for n in ("contour", "pass_no", "entry_s", "reversed")},
        **{n: getattr(choice, n)[rows] for n in ("xyc_in", "xyc_out", "time_s")},
    )
    for start in range(6):
        assert ordered(replace(job, choices=(left,)), seed=start).contour == ("inner", "outer")


def test_score_and_cut_on_one_line_with_passes():
    operations = [
        make_operation("cut", through=True, station=1, passes=2),
        make_operation("score", through=False, station=2, passes=2),
    ]
    line = rectangle(0, 0, 50, 50)
    found = ordered(job_of([("a", line, 0), ("a", line, 1)], operations))
    assert cuts_of(found) == [
        ("a", "score", 0),
        ("a", "score", 1),
        ("a", "cut", 0),
        ("a", "cut", 1),
    ]
    assert found.group.tolist() == [0, 0, 1, 1]


def test_so_many_overlaps_that_one_node_says_it_for_all(monkeypatch):
    monkeypatch.setattr(overlaps, "_PER_BOX", 0)
    for case in range(15):
        job = random_job(np.random.default_rng(case), n_cells=4, pairs=False)
        assert broken_rules(job, ordered(job)) == []


def test_overlaps_are_what_all_pairs_give():
    rng = np.random.default_rng(2)
    low = rng.uniform(0, 100, (700, 2))
    boxes = np.column_stack((low, low + rng.uniform(0, 12, (700, 2))))
    some, others = boxes[:600], boxes[600:]
    found = overlaps.box_overlaps(some, others)
    expected = (
        (some[:, None, 0] <= others[None, :, 2])
        & (others[None, :, 0] <= some[:, None, 2])
        & (some[:, None, 1] <= others[None, :, 3])
        & (others[None, :, 1] <= some[:, None, 3])
    )
    assert np.array_equal(np.argwhere(expected), np.column_stack(found))


def test_no_cuts_give_an_empty_order():
    job = job_of(
        [("a", rectangle(0, 0, 5, 5), 0)], [make_operation("cut", through=True, station=1)]
    )
    found = ordered(replace(job, choices=()))
    assert (found.contour, found.lower_bound_s) == ((), 0.0)


def test_progress_is_told_to_the_end_and_may_stop_the_work():
    job = random_job(np.random.default_rng(1))
    told = []
    ordered(job, progress=lambda done, of: told.append((done, of)))
    assert told == sorted(told)
    assert told[-1][0] == told[-1][1]

    def stop(done, of):
        raise CancelledError("stopped")

    with pytest.raises(CancelledError):
        ordered(job, progress=stop)


def wrong_inputs():
    job = job_of(
        [("a", rectangle(0, 0, 9, 9), 0), ("b", rectangle(20, 0, 29, 9), 0)],
        [make_operation("cut", through=True, station=1)],
    )
    choice = job.choices[0]
    yield (
        "no path has both",
        ModelError,
        replace(job, choices=(replace(choice, contours=("a", "x")),)),
    )
    yield "is not among", ModelError, replace(job, choices=(replace(choice, operation="other"),))
    yield "is given twice", ModelError, replace(job, choices=(choice, choice))
    yield "stands twice", ModelError, replace(job, contours=("a", "a"))
    circle = replace(choice, before=np.array([(0, 1), (1, 0)]))
    yield "as many contour ids", ModelError, replace(job, contours=("a",))
    yield "as many operations", ModelError, replace(job, operation=np.zeros(1, np.int64))
    yield "beyond the 1", ModelError, replace(job, operation=np.array((0, 1)))
    yield "in a circle", ModelError, replace(job, choices=(circle,))
    unknown = replace(job.operations[0], tool_id="none")
    yield "holds no tool", UnknownNameError, replace(job, operations=(unknown,))


@pytest.mark.parametrize(("words", "error", "job"), list(wrong_inputs()), ids=lambda v: str(v)[:16])
def test_what_cannot_be_ordered_is_refused(words, error, job):
    with pytest.raises(error, match=words):
        ordered(job)


def test_a_travel_height_in_the_bed_is_refused():
    job = random_job(np.random.default_rng(0))
    with pytest.raises(ModelError, match="above the bed"):
        order(job.choices, **job.arguments(), table=TABLE, travel_z_mm=0.0)


def test_the_bound_grows_neither_with_tools_nor_with_rise():
    job = random_job(np.random.default_rng(9), n_cells=4)
    low, high = (
        order(job.choices, **job.arguments(), table=TABLE, travel_z_mm=z) for z in (10.0, 50.0)
    )
    assert low.lower_bound_s == high.lower_bound_s > 0.0


def test_choices_are_not_written_to():
    job = random_job(np.random.default_rng(11))
    digests = [c.digest for c in job.choices]
    ordered(job)
    assert [c.digest for c in job.choices] == digests
    assert isinstance(job.choices[0], CutChoices)
