"""Stages run once, resume where they stopped, and say when to look again."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from job.orders import stored
from kerfwright.errors import (
    CancelledError,
    Finding,
    KerfwrightError,
    Place,
    Severity,
    StaleVersionError,
    UnknownNameError,
)
from kerfwright.geometry.record import Record
from kerfwright.job.codec import to_blob
from kerfwright.job.context import load_context
from kerfwright.job.pipeline import Stage, Upstream, run_stages, stage_states
from kerfwright.job.store import FolderStore
from kerfwright.model.job import Job
from kerfwright.model.material import Material, SettingCard
from kerfwright.model.run import StageState
from kerfwright.model.tooling import Tool

DONE, LOOK_AGAIN = StageState.DONE, StageState.LOOK_AGAIN
TOOL = "steep-point-6"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Number(Record):
    """What a toy stage leaves."""

    value: int
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OtherForm(Record):
    """A result of another form than the stage leaves today."""

    text: str


def tens(seeds: dict[str, int]) -> int:
    return seeds.get("a", 0) // 10


def findings_of(seeds: dict[str, int]) -> tuple[Finding, ...]:
    if not seeds.get("blocks"):
        return ()
    return (Finding(code="JOB-110", severity=Severity.BLOCKS, where=Place(stage="tens")),)


class Toys:
    """Three stages and a list of those that ran: tens of a -> plus b -> times the tool's width."""

    def __init__(self, *, version: int = 1) -> None:
        self.ran: list[str] = []
        self.stages = (
            Stage(
                name="tens",
                version=1,
                result=Number,
                needs=(),
                inputs=lambda c: (c.job.seeds.get("a", 0), c.job.seeds.get("blocks", 0)),
                run=self._run("tens", self._tens),
            ),
            Stage(
                name="plus",
                version=version,
                result=Number,
                needs=("tens",),
                inputs=lambda c: (c.job.seeds.get("b", 0),),
                run=self._run(
                    "plus",
                    lambda c, u: Number(value=u["tens"].value + c.job.seeds.get("b", 0) % 5),
                ),
            ),
            Stage(
                name="times",
                version=1,
                result=Number,
                needs=("tens", "plus"),
                inputs=lambda c: (c.tools,),
                run=self._run(
                    "times",
                    lambda c, u: Number(
                        value=u["plus"].value * int(c.tools[TOOL].width_mm) + u["tens"].value
                    ),
                ),
            ),
        )

    @staticmethod
    def _tens(context, _):
        seeds = context.job.seeds
        return Number(value=tens(seeds), findings=findings_of(seeds))

    def _run(self, name: str, make: Callable) -> Callable:
        def run(context, upstream, store, progress):
            assert isinstance(store, FolderStore)
            progress(f"{name}: inside", 1, 2)
            value = make(context, upstream)
            self.ran.append(name)
            return value

        return run

    def fresh(self) -> list[str]:
        """What ran since last asked."""
        ran, self.ran = self.ran, []
        return ran


ALL = ["tens", "plus", "times"]


@pytest.fixture
def store(tmp_path):
    return FolderStore(tmp_path)


@pytest.fixture
def toys():
    return Toys()


def run(toys, store, *, last="times", **more):
    return run_stages(toys.stages, store.load_job("order-7"), store, last=last, **more)


def values(done) -> list[int]:
    return [done.upstream[name].value for name in done.reached]


def change(store, **seeds: int) -> Job:
    job = store.load_job("order-7")
    return store.save_job(replace(job, seeds={**job.seeds, **seeds}))


def states(toys, store) -> list[StageState | None]:
    return list(stage_states(toys.stages, store.load_job("order-7"), store).values())


def widen(store, width_mm: float) -> None:
    store.save_entry(TOOL, replace(store.load_entry(Tool, TOOL), width_mm=width_mm))


def blob_path(store, name: str) -> Path:
    sha = store.load_job("order-7").results[name].blob
    return store.root / "blobs" / sha[:2] / sha


def test_every_stage_runs_once(store, toys):
    stored(store, seeds={"a": 42, "b": 3})
    first = run(toys, store)
    assert toys.fresh() == ALL
    assert values(first) == [4, 7, 46]
    assert first.reached == tuple(ALL)
    assert not first.is_blocked
    version = store.load_job("order-7").version
    second = run(toys, store)
    assert toys.fresh() == []
    assert values(second) == values(first)
    assert store.load_job("order-7").version == version, "nothing was written again"


def test_a_run_ends_at_the_stage_asked_for(store, toys):
    stored(store)
    assert run(toys, store, last="plus").reached == ("tens", "plus")
    assert toys.fresh() == ["tens", "plus"]
    run(toys, store)
    assert toys.fresh() == ["times"]


@pytest.mark.parametrize(
    ("seeds", "rerun"),
    [
        ({"a": 90}, ALL),
        ({"b": 4}, ["plus", "times"]),
        ({"c": 1}, []),
        ({"a": 43}, ["tens"]),  # another input, the same result: later stages stand
        ({"a": 43, "b": 8}, ["tens", "plus"]),
    ],
    ids=["first", "middle", "nobody's", "early cutoff", "early cutoff twice"],
)
def test_a_changed_input_reruns_what_depends_on_it(store, toys, seeds, rerun):
    stored(store, seeds={"a": 42, "b": 3})
    run(toys, store)
    toys.fresh()
    change(store, **seeds)
    done = run(toys, store)
    assert toys.fresh() == rerun
    want = {"a": 42, "b": 3} | seeds
    assert values(done) == expected(want, 6)
    assert states(toys, store) == [DONE] * 3
    run(toys, store)
    assert toys.fresh() == []


def expected(seeds: dict[str, int], width: int) -> list[int]:
    """The toys' results from their definition alone."""
    first = tens(seeds)
    second = first + seeds.get("b", 0) % 5
    return [first, second, second * width + first]


def test_a_raised_version_reruns_its_stage(store, toys):
    stored(store, seeds={"a": 42})
    run(toys, store)
    newer = Toys(version=2)
    run(newer, store)
    assert newer.fresh() == ["plus"], "its result is the same, so the next one stands"


def test_a_changed_book_entry_reruns_its_stage(store, toys):
    stored(store, seeds={"a": 42, "b": 3})
    run(toys, store)
    toys.fresh()
    widen(store, 7.0)
    assert values(run(toys, store)) == [4, 7, 53]
    assert toys.fresh() == ["times"]


def test_keys_differ_wherever_an_input_does(store, toys):
    job = stored(store, seeds={"a": 42})
    upstream = Upstream(store)
    upstream.enter("tens", Number, "0" * 64)
    upstream.enter("plus", Number, "1" * 64)
    context = load_context(job, store)
    times = toys.stages[2]
    key = times.key(context, upstream)
    assert times.key(context, upstream) == key
    others = [
        replace(times, name="other").key(context, upstream),
        replace(times, version=2).key(context, upstream),
        replace(times, needs=("plus", "tens")).key(context, upstream),
        replace(times, needs=("plus",)).key(context, upstream),
        replace(times, inputs=lambda _: ()).key(context, upstream),
    ]
    upstream.enter("plus", Number, "2" * 64)
    others.append(times.key(context, upstream))
    widen(store, 7.0)
    others.append(times.key(load_context(job, store), upstream))
    assert len({key, *others}) == 1 + len(others)


# ---------------------------------------------------------------- interrupted


def steps_of_a_run(tmp_path: Path) -> int:
    """How often progress is told of in a whole run."""
    store, toys, told = FolderStore(tmp_path), Toys(), []
    stored(store)
    run(toys, store, progress=lambda *step: told.append(step))
    for (name, done, of), _ in pairwise(told):
        assert 0 <= done <= of, name
    return len(told)


@pytest.mark.parametrize("error", [CancelledError("stopped"), KeyboardInterrupt()])
def test_cancelled_at_any_step_it_goes_on_where_it_stopped(tmp_path, error):
    steps = steps_of_a_run(tmp_path / "whole")
    assert steps == 9
    for step in range(steps):
        store, toys = FolderStore(tmp_path / f"{step}"), Toys()
        stored(store, seeds={"a": 42, "b": 3})
        left = iter(range(step))

        def stop(*_: object, left=left) -> None:
            if next(left, None) is None:
                raise error

        with pytest.raises(type(error)):
            run(toys, store, progress=stop)
        finished = toys.fresh()
        job = store.load_job("order-7")
        assert set(job.results) == set(finished), "a result shown is a whole one"
        assert states(toys, store)[: len(finished)] == [DONE] * len(finished)
        assert states(toys, store)[len(finished) :] == [None] * (3 - len(finished))
        assert values(run(toys, store)) == [4, 7, 46]
        assert toys.fresh() == ALL[len(finished) :], "only what was not finished runs"


def test_a_stage_that_raises_keeps_those_before_it(store, toys):
    stored(store)

    def defect(*_: object) -> Number:
        raise KerfwrightError("no plan can be made")

    broken = (*toys.stages[:2], replace(toys.stages[2], run=defect))
    with pytest.raises(KerfwrightError, match="no plan"):
        run_stages(broken, store.load_job("order-7"), store, last="times")
    assert toys.fresh() == ["tens", "plus"]
    assert states(toys, store) == [DONE, DONE, None]
    run(toys, store)
    assert toys.fresh() == ["times"]


def test_a_job_changed_meanwhile_is_not_written_over(store, toys):
    stored(store, seeds={"a": 42})
    old = store.load_job("order-7")
    newer = change(store, b=2)
    with pytest.raises(StaleVersionError):
        run_stages(toys.stages, old, store, last="times")
    assert store.load_job("order-7").digest == newer.digest
    assert values(run(toys, store)) == expected({"a": 42, "b": 2}, 6)


# ---------------------------------------------------------------- damage


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("damage", ["gone", "empty", "cut", "flipped"])
def test_a_damaged_result_is_made_again(store, toys, name, damage):
    stored(store, seeds={"a": 42, "b": 3})
    run(toys, store)
    toys.fresh()
    path = blob_path(store, name)
    data = path.read_bytes()
    flipped = bytes([*data[:-1], data[-1] ^ 1])
    replaced = {"empty": b"", "cut": data[:-1], "flipped": flipped}
    if damage == "gone":
        path.unlink()
    else:
        path.write_bytes(replaced[damage])
    assert values(run(toys, store)) == [4, 7, 46]
    assert toys.fresh() == [name], "the same result again: later stages stand"
    assert path.read_bytes() == data


@pytest.mark.parametrize("name", ALL)
def test_a_result_of_another_form_is_made_again(store, toys, name):
    stored(store, seeds={"a": 42, "b": 3})
    run(toys, store)
    toys.fresh()
    job = store.load_job("order-7")
    odd = replace(job.results[name], blob=store.put_blob(to_blob(OtherForm(text="of old"))))
    store.save_job(replace(job, results={**job.results, name: odd}))
    assert values(run(toys, store)) == [4, 7, 46]
    assert toys.fresh()[0] == name


# ---------------------------------------------------------------- states


def test_states_before_after_and_once_a_book_entry_changed(store, toys):
    stored(store, seeds={"a": 42, "b": 3})
    assert states(toys, store) == [None, None, None]
    run(toys, store, last="plus")
    assert states(toys, store) == [DONE, DONE, None]
    run(toys, store)
    assert states(toys, store) == [DONE] * 3
    toys.fresh()
    widen(store, 7.0)
    assert states(toys, store) == [DONE, DONE, LOOK_AGAIN]
    change(store, b=4)
    assert states(toys, store) == [DONE, LOOK_AGAIN, LOOK_AGAIN]
    change(store, a=90)
    assert states(toys, store) == [LOOK_AGAIN] * 3
    assert toys.fresh() == [], "asking runs nothing"
    run(toys, store, last="tens")
    assert states(toys, store) == [DONE, LOOK_AGAIN, LOOK_AGAIN]
    run(toys, store)
    assert states(toys, store) == [DONE] * 3


def test_an_entry_stored_unchanged_asks_nobody_to_look_again(store, toys):
    stored(store)
    run(toys, store)
    store.save_entry(TOOL, store.load_entry(Tool, TOOL))
    assert states(toys, store) == [DONE] * 3


def test_a_changed_entry_the_job_does_not_use_is_nobodys_business(store, toys):
    stored(store)
    run(toys, store)
    store.save_entry("point-45", replace(store.load_entry(Tool, "point-45"), width_mm=2.0))
    assert states(toys, store) == [DONE] * 3


def test_asking_for_states_writes_nothing(store, toys):
    stored(store)
    run(toys, store)
    widen(store, 7.0)
    before = {p: p.stat().st_mtime_ns for p in store.root.rglob("*")}
    states(toys, store)
    assert {p: p.stat().st_mtime_ns for p in store.root.rglob("*")} == before


def test_the_document_says_look_again_of_stages_a_new_result_left_behind(store, toys):
    stored(store, seeds={"a": 42})
    run(toys, store)
    change(store, a=90)
    run(toys, store, last="tens")
    state = store.load_job("order-7").state
    assert state == {"tens": DONE, "plus": LOOK_AGAIN, "times": LOOK_AGAIN}


def test_a_job_pins_the_entries_its_results_were_made_with(store, toys):
    stored(store)
    run(toys, store)
    pins = store.load_job("order-7").pins
    assert pins[f"tools/{TOOL}"] == store.load_entry(Tool, TOOL).digest
    assert pins["materials/pvc-foam-3"] == store.load_entry(Material, "pvc-foam-3").digest
    card = "pvc-foam-3-through"
    assert pins[f"cards/{card}"] == store.load_entry(SettingCard, card).digest
    assert any(key.startswith("tables/") for key in pins)
    widen(store, 7.0)
    run(toys, store)
    assert store.load_job("order-7").pins[f"tools/{TOOL}"] != pins[f"tools/{TOOL}"]


# ---------------------------------------------------------------- findings


def test_a_finding_that_blocks_stops_the_run_and_keeps_what_stands(store, toys):
    stored(store, seeds={"a": 42})
    run(toys, store)
    toys.fresh()
    change(store, blocks=1)
    done = run(toys, store)
    assert done.is_blocked
    assert done.reached == ("tens",)
    assert [f.code for f in done.findings] == ["JOB-110"]
    assert toys.fresh() == ["tens"]
    assert states(toys, store) == [DONE, LOOK_AGAIN, LOOK_AGAIN]
    assert set(store.load_job("order-7").results) == set(ALL)
    change(store, blocks=0)
    assert not run(toys, store).is_blocked
    assert toys.fresh() == ["tens"], "as before the block, so the later results stand again"


def test_a_job_that_names_an_unknown_entry_is_refused_by_name(store, toys):
    job = stored(store)
    lost = replace(job, choices=replace(job.choices, material_id="unobtainium"))
    store.save_job(lost)
    with pytest.raises(UnknownNameError, match="unobtainium"):
        run(toys, store)
    with pytest.raises(UnknownNameError, match="unobtainium"):
        states(toys, store)


# ---------------------------------------------------------------- anything in any order

ACTIONS = st.one_of(
    st.tuples(st.just("change"), st.sampled_from("ab"), st.integers(0, 29)),
    st.tuples(st.just("widen"), st.integers(5, 7), st.none()),
    st.tuples(st.just("damage"), st.sampled_from(ALL), st.none()),
    st.tuples(st.just("cancel"), st.integers(0, 8), st.none()),
    st.tuples(st.just("run"), st.sampled_from(ALL), st.none()),
)


def act(toys, store, action, first, second) -> None:
    if action == "change":
        change(store, **{first: second})
    elif action == "widen":
        widen(store, float(first))
    elif action == "damage":
        if first in store.load_job("order-7").results and blob_path(store, first).exists():
            blob_path(store, first).write_bytes(b"damaged")
    elif action == "run":
        run(toys, store, last=first)
    else:
        cancel_after(toys, store, first)


def cancel_after(toys, store, steps: int) -> None:
    left = iter(range(steps))

    def stop(*_: object) -> None:
        if next(left, None) is None:
            raise CancelledError("stopped")

    try:
        run(toys, store, progress=stop)
    except CancelledError:
        return


@settings(max_examples=25)
@given(st.lists(ACTIONS, max_size=7))
def test_whatever_happened_before_a_run_gives_what_a_first_run_would(actions):
    with tempfile.TemporaryDirectory() as folder:
        store, toys = FolderStore(Path(folder)), Toys()
        stored(store)
        for action in actions:
            act(toys, store, *action)
        toys.fresh()
        done = run(toys, store)
        width = int(store.load_entry(Tool, TOOL).width_mm)
        assert values(done) == expected(dict(store.load_job("order-7").seeds), width)
        assert len(toys.ran) == len(set(toys.ran)), "no stage runs twice in one run"
        assert states(toys, store) == [DONE] * 3
        toys.fresh()
        run(toys, store)
        assert toys.fresh() == []
