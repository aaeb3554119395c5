"""Runs stages, keeps their results by the hash of what went in, and resumes where it stopped.

A result is stored first and entered in the job document after, so that an interruption leaves
either the old state or the new one. A stage whose key has not changed is not run again; one whose
result is missing or damaged is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from kerfwright.errors import Finding, Severity, UnreadableError, worst_severity
from kerfwright.geometry.record import Record, digest_of
from kerfwright.job.codec import from_blob, to_blob
from kerfwright.job.context import JobContext, load_context
from kerfwright.job.progress import Progress, silent
from kerfwright.job.store import Store
from kerfwright.job.surfaces import laid_for
from kerfwright.model.job import Job
from kerfwright.model.run import SheetRun, StageResult, StageState


class Upstream:
    """Results of earlier stages, read from the store when first asked for."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._blobs: dict[str, tuple[type[Record], str]] = {}
        self._values: dict[str, Record] = {}

    def below(self, prefix: str) -> Upstream:
        """Return a new upstream that knows all of this one's results under prefixed names."""
        lower = Upstream(self._store)
        lower._blobs = {prefix + name: known for name, known in self._blobs.items()}
        lower._values = {prefix + name: value for name, value in self._values.items()}
        return lower

    def enter(self, name: str, kind: type[Record], blob: str, value: Record | None = None) -> None:
        """Note where a stage's result lies, and the result itself when it is at hand."""
        self._blobs[name] = (kind, blob)
        if value is not None:
            self._values[name] = value

    def __getitem__(self, name: str) -> Any:
        """Return the result of a stage."""
        if name not in self._values:
            kind, blob = self._blobs[name]
            data = self._store.get_blob(blob)
            self._values[name] = from_blob(kind, data, origin=f"result of stage {name}")
        return self._values[name]

    def blob_of(self, name: str) -> str:
        """Return the content hash of a stage's result."""
        return self._blobs[name][1]

    def is_readable(self, name: str) -> bool:
        """Return whether a stage's result is stored undamaged and of the form of today."""
        try:
            self[name]
        except UnreadableError:
            return False
        return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One stage of the pipeline.

    Parameters
    ----------
    name : str
        Its name in the job document.
    version : int
        Raised whenever the same inputs may give another result.
    result : type
        Kind of record it leaves.
    needs : tuple of str
        Earlier stages whose results it takes.
    inputs : callable
        What it takes of the job and the books; these values make its key.
    run : callable
        Makes the result from context, earlier results, store and progress.
    """

    name: str
    version: int
    result: type[Record]
    needs: tuple[str, ...]
    inputs: Callable[[JobContext], tuple[Any, ...]]
    run: Callable[[JobContext, Upstream, Store, Progress], Record]

    def key(self, context: JobContext, upstream: Upstream) -> str:
        """Return the hash of name, version, inputs and the content of earlier results."""
        earlier = tuple(upstream.blob_of(name) for name in self.needs)
        return digest_of((self.name, self.version, self.inputs(context), earlier))


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """How far stages were brought up to date.

    Parameters
    ----------
    context : JobContext
        The job as stored now, with its books.
    upstream : Upstream
        Results of every stage reached.
    reached : tuple of str
        Stages whose results stand, in order.
    findings : tuple of Finding
        Findings of all of them, in order.
    """

    context: JobContext
    upstream: Upstream
    reached: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def is_blocked(self) -> bool:
        """Whether a finding blocks."""
        return worst_severity(self.findings) is Severity.BLOCKS


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """Where results of stages are entered: in the job, or in one physical sheet of it.

    Parameters
    ----------
    serial : int or None
        The sheet; None for the job itself.
    setup : int or None
        The set-up, of a job of several; their results stand in the job beside one another.
    """

    serial: int | None = None
    setup: int | None = None

    def results(self, job: Job) -> tuple[Mapping[str, StageResult], Mapping[str, StageState]]:
        """Return results and states of the shelf."""
        if self.serial is None and self.setup is not None:
            return _own_part(job.results, self.setup), _own_part(job.state, self.setup)
        if self.serial is None:
            return job.results, job.state
        sheet = job.run(self.serial)
        return sheet.results, sheet.stage_state

    def filled(
        self, job: Job, results: Mapping[str, StageResult], state: Mapping[str, StageState]
    ) -> Job:
        """Return the job with other results and states on the shelf."""
        if self.serial is None and self.setup is not None:
            return replace(
                job,
                results={**job.results, **_named(results, self.setup)},
                state={**job.state, **_named(state, self.setup)},
            )
        if self.serial is None:
            return replace(job, results=results, state=state)
        sheet = replace(job.run(self.serial), results=results, stage_state=state)
        return with_run(job, sheet)


_BY_SETUP = frozenset({"plan", "time", "hold", "program", "verify"})
"""Stages of which every set-up has its own result."""

S = TypeVar("S")


def _own_part(entries: Mapping[str, S], setup: int) -> dict[str, S]:
    """Return the entries of one set-up under their plain names, and those all set-ups share."""
    tail = f"@{setup}"
    shared = {name: e for name, e in entries.items() if "@" not in name and name not in _BY_SETUP}
    own = {name.removesuffix(tail): e for name, e in entries.items() if name.endswith(tail)}
    return shared | own


def _named(entries: Mapping[str, S], setup: int) -> dict[str, S]:
    return {f"{n}@{setup}" if n in _BY_SETUP else n: e for n, e in entries.items()}


def with_run(job: Job, sheet: SheetRun) -> Job:
    """Return the job with a physical sheet replaced, or added at the end."""
    others = [run for run in job.runs if run.serial != sheet.serial]
    return replace(job, runs=tuple(sorted((*others, sheet), key=lambda run: run.serial)))


def run_stages(
    stages: Sequence[Stage],
    job: Job,
    store: Store,
    *,
    last: str,
    progress: Progress = silent,
    serial: int | None = None,
    setup: int | None = None,
    above: Upstream | None = None,
) -> Run:
    """Bring all stages up to and including `last` up to date; stop after one that blocks.

    Parameters
    ----------
    stages : sequence of Stage
        Every stage of the pipeline, in order.
    job : Job
        The job as stored.
    store : Store
        Where results are kept.
    last : str
        Name of the last stage wanted.
    progress : Progress
        Told at every stage; may raise `CancelledError`.
    serial : int, optional
        Physical sheet whose stages these are.
    setup : int, optional
        Set-up of the job; of several the first by default.
    above : Upstream, optional
        Results the stages may take besides their own.

    Returns
    -------
    Run
        What was reached.

    Raises
    ------
    KerfwrightError
        Whatever a stage raises; results of finished stages are kept.
    """
    names = [stage.name for stage in stages]
    wanted = stages[: names.index(last) + 1]
    context = laid_for(load_context(job, store, serial), setup)
    shelf = Shelf(serial=serial, setup=context.setup)
    upstream = above or Upstream(store)
    findings: list[Finding] = []
    reached: list[str] = []
    for place, stage in enumerate(wanted):
        progress(stage.name, 0, 1)
        key = stage.key(context, upstream)
        result = _standing(stage, key, shelf.results(context.job)[0], upstream)
        if result is None:
            value = stage.run(context, upstream, store, progress)
            result = StageResult(key=key, blob=store.put_blob(to_blob(value)))
            upstream.enter(stage.name, stage.result, result.blob, value)
        job = _entered(context.job, shelf, stage.name, result, names[place + 1 :])
        if job.digest != context.job.digest:
            job = store.save_job(job)
        context = replace(context, job=job)
        progress(stage.name, 1, 1)
        reached.append(stage.name)
        findings += getattr(upstream[stage.name], "findings", ())
        if worst_severity(findings) is Severity.BLOCKS:
            break
    return Run(context=context, upstream=upstream, reached=tuple(reached), findings=tuple(findings))


def _standing(
    stage: Stage, key: str, results: Mapping[str, StageResult], upstream: Upstream
) -> StageResult | None:
    known = results.get(stage.name)
    if known is None or known.key != key:
        return None
    upstream.enter(stage.name, stage.result, known.blob)
    return known if upstream.is_readable(stage.name) else None


def _entered(job: Job, shelf: Shelf, name: str, result: StageResult, later: Sequence[str]) -> Job:
    """Return the job with a stage done; stages after it look again if its result is new."""
    old, old_state = shelf.results(job)
    before = old.get(name)
    results = {**old, name: result}
    state = {**old_state, name: StageState.DONE}
    if before is None or before.blob != result.blob:
        state |= {after: StageState.LOOK_AGAIN for after in later if after in results}
    return shelf.filled(job, results, state)


def stage_states(
    stages: Sequence[Stage], job: Job, store: Store
) -> Mapping[str, StageState | None]:
    """Return the state of every stage without running any: None where there is no result.

    A stage whose inputs or book entries changed since says `LOOK_AGAIN`, and so do all after it.
    """
    context, upstream = laid_for(load_context(job, store), None), Upstream(store)
    entered, entered_state = Shelf(setup=context.setup).results(job)
    states: dict[str, StageState | None] = {}
    stands = True
    for stage in stages:
        known = entered.get(stage.name)
        stands = stands and known is not None and stage.key(context, upstream) == known.key
        if known is None:
            states[stage.name] = None
            continue
        upstream.enter(stage.name, stage.result, known.blob)
        fresh = stands and entered_state.get(stage.name) is StageState.DONE
        states[stage.name] = StageState.DONE if fresh else StageState.LOOK_AGAIN
    return states
