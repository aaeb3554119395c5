"""What a face asks for: a new job, its artwork checked, planned, verified, handed over."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from kerfwright.catalog.load import read_book
from kerfwright.catalog.rows import rule_table
from kerfwright.errors import (
    BlockedError,
    Finding,
    ModelError,
    Place,
    ProgramSyntaxError,
    Severity,
    UnknownNameError,
    UnreadableError,
    UsageError,
)
from kerfwright.geometry.paths import make_path
from kerfwright.job.check import check_text
from kerfwright.job.context import load_context
from kerfwright.job.files import read_file
from kerfwright.job.pipeline import Run, run_stages, stage_states
from kerfwright.job.progress import Progress, silent
from kerfwright.job.sheets import run_sheet
from kerfwright.job.stages import STAGES
from kerfwright.job.store import Store
from kerfwright.job.surfaces import laid_for, setups_of
from kerfwright.model.design import Tolerances
from kerfwright.model.job import Job, JobChoices, JobInput, MarkChoices
from kerfwright.model.material import Material
from kerfwright.model.rules import Rule, RuleTable
from kerfwright.model.run import StageState
from kerfwright.model.sheet import Sheet
from kerfwright.model.table import Table
from kerfwright.model.verification import Verification
from kerfwright.units import DRAWING_UNITS_MM

_ROUNDS = 6
MAX_FILE_BYTES = 256 << 20
"""Largest drawing taken in; the reader's own limits are tighter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewJob:
    """What a new job is made from.

    Parameters
    ----------
    job_id : str
        Name of the job.
    file : Path
        The customer's drawing.
    table_id, material_id : str
        Entries of the shop's books.
    sheet_mm : tuple of float
        Width and height of the sheet [mm].
    thickness_mm : float or None
        Thickness; None takes the middle of the material's range [mm].
    margin_mm : float
        Border of the sheet kept free [mm].
    unit : str
        Drawing unit, or empty to let the file be asked.
    scale : float or None
        Factor on the drawing.
    every_line : str
        Id of the operation for lines no rule names; empty asks for a rule.
    rules : RuleTable or None
        Rules; None takes the house rules of the material.
    tolerances : Tolerances
        Every tolerance of the job.
    pages : tuple of int
        Pages taken, from 1; each is an input of its own.
    quantity : int
        How often the parts of each page are wanted.
    nest : bool
        Whether parts are laid out anew.
    spacing_mm : float
        Least gap between parts that are laid out anew [mm].
    marks : MarkChoices or None
        Registration marks; None for a job without.
    """

    job_id: str
    file: Path
    table_id: str = "pier-2616"
    material_id: str = "pvc-foam-3"
    sheet_mm: tuple[float, float] = (2440.0, 1220.0)
    thickness_mm: float | None = None
    margin_mm: float = 10.0
    unit: str = ""
    scale: float | None = None
    every_line: str = ""
    rules: RuleTable | None = None
    tolerances: Tolerances = field(default_factory=Tolerances)
    pages: tuple[int, ...] = (1,)
    quantity: int = 1
    nest: bool = False
    spacing_mm: float = 8.0
    marks: MarkChoices | None = None


def make_job(new: NewJob, store: Store) -> Job:
    """Take a drawing in and store a new job.

    Raises
    ------
    UsageError
        If the name is taken, or a value is out of range.
    UnreadableError
        If the file cannot be read.
    UnknownNameError
        If table, material or rules are in no book.
    """
    _refuse_taken(new.job_id, store)
    data = read_file(new.file, limit_bytes=MAX_FILE_BYTES)
    store.load_entry(Table, new.table_id)
    material = store.load_entry(Material, new.material_id)
    thickness = new.thickness_mm
    if thickness is None:
        thickness = (material.thickness_mm.low + material.thickness_mm.high) / 2.0
    rules = new.rules or store.load_entry(RuleTable, new.material_id)
    try:
        job = Job(
            id=new.job_id,
            inputs=tuple(_input(new, data, page) for page in new.pages),
            rules=_with_every_line(rules, new.every_line),
            choices=JobChoices(
                table_id=new.table_id,
                material_id=new.material_id,
                sheet=_sheet(new, thickness),
                tolerances=new.tolerances,
                nest=new.nest,
                spacing_mm=float(new.spacing_mm),
                marks=new.marks,
            ),
        )
    except ModelError as error:
        raise UsageError(f"{new.job_id}: {error}") from error
    store.put_blob(data)
    return store.save_job(job)


def _refuse_taken(job_id: str, store: Store) -> None:
    try:
        store.load_job(job_id)
    except UnknownNameError:
        return
    raise UsageError(f"there is a job {job_id} already; choose another name")


def _input(new: NewJob, data: bytes, page: int) -> JobInput:
    _check_unit(new.unit)
    # A name in some old encoding is kept as far as it can be read.
    name = os.fsencode(new.file.name).decode(errors="replace")
    return JobInput(
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        size_bytes=len(data),
        unit=new.unit,
        scale=None if new.scale is None else float(new.scale),
        page=page,
        quantity=new.quantity,
    )


def _check_unit(unit: str) -> None:
    if unit and unit not in DRAWING_UNITS_MM:
        raise UsageError(f"unit {unit} is not known; choose one of {', '.join(DRAWING_UNITS_MM)}")


def _sheet(new: NewJob, thickness_mm: float) -> Sheet:
    width, height = new.sheet_mm
    if not (np.isfinite([width, height]).all() and min(width, height) > 0.0):
        raise UsageError(f"a sheet of {width:g} x {height:g} mm cannot be; give both above 0")
    corners = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]
    return Sheet(
        id="s1",
        outline=make_path(corners, closed=True),
        thickness_mm=float(thickness_mm),
        material_id=new.material_id,
        margin_mm=float(new.margin_mm),
    )


def _with_every_line(rules: RuleTable, operation: str) -> RuleTable:
    if not operation:
        return rules
    known = [o.id for o in rules.operations]
    if operation not in known:
        raise UsageError(f"no operation {operation} in the rules; they have: {', '.join(known)}")
    return replace(rules, rules=(*rules.rules, Rule(operation=operation)))


def answer_unit(job: Job, store: Store, unit: str) -> Job:
    """Store the drawing unit a person gave.

    Raises
    ------
    UsageError
        If the unit is not known.
    """
    _check_unit(unit)
    if job.inputs[0].unit == unit:
        return job
    return store.save_job(replace(job, inputs=(replace(job.inputs[0], unit=unit),)))


def run_to(
    job: Job, store: Store, last: str, *, setup: int | None = None, progress: Progress = silent
) -> Run:
    """Bring a job up to date to a stage; contours held back for another plan are forgotten.

    Of a job of several set-ups one is planned, by default the first.

    Raises
    ------
    KerfwrightError
        Whatever a stage raises; finished stages keep their results.
    """
    names = [stage.name for stage in STAGES]
    if names.index(last) >= names.index("plan") and (job.held or job.held_basis):
        job = _forget_held(job, store, progress)
    run = run_stages(STAGES, job, store, last=last, setup=setup, progress=progress)
    return _with_reasons(run)


def _with_reasons(run: Run) -> Run:
    """Add why parts were held back: what was found about contours that are no longer planned."""
    if "plan" not in run.reached:
        return run
    return replace(run, findings=(*run.findings, *run.context.job.held_because))


def _forget_held(job: Job, store: Store, progress: Progress) -> Job:
    run = run_stages(STAGES, job, store, last="layout", progress=progress)
    stored = run.context.job
    if run.is_blocked or _plan_basis(run) == stored.held_basis:
        return stored
    return store.save_job(replace(stored, held=(), held_because=(), held_basis=""))


def _plan_basis(run: Run) -> str:
    """Return the key the plan has with nothing held back, the same for all set-ups."""
    stage = next(s for s in STAGES if s.name == "plan")
    free = replace(run.context.job, held=(), held_because=(), held_basis="")
    return stage.key(laid_for(replace(run.context, job=free), None), run.upstream)


def run_every_setup(
    job: Job, store: Store, last: str, *, progress: Progress = silent
) -> tuple[Run, ...]:
    """Bring every set-up of a job up to date to a stage.

    Raises
    ------
    KerfwrightError
        As for `run_to`.
    """
    names = [stage.name for stage in STAGES]
    if names.index(last) < names.index("plan"):  # what all set-ups share
        return (run_to(job, store, last, progress=progress),)
    return tuple(
        run_to(store.load_job(job.id), store, last, setup=setup, progress=progress)
        for setup in setups_of(load_context(job, store))
    )


def run_all_checked(job: Job, store: Store, *, progress: Progress = silent) -> tuple[Run, ...]:
    """Bring every set-up of a job to a checked program.

    A part that falls out of one set-up falls out of all, so that none is worked on half way.

    Raises
    ------
    KerfwrightError
        As for `run_checked`.
    """
    setups = setups_of(load_context(job, store))
    while True:
        before = store.load_job(job.id).held
        runs = tuple(
            run_checked(store.load_job(job.id), store, setup=setup, progress=progress)
            for setup in setups
        )
        if len(setups) == 1 or store.load_job(job.id).held == before:
            return runs


def run_checked(
    job: Job, store: Store, *, setup: int | None = None, progress: Progress = silent
) -> Run:
    """Bring a job to a checked program; parts the check holds back are left out and it is redone.

    Raises
    ------
    BlockedError
        If parts still fall out after several rounds.
    KerfwrightError
        Whatever a stage raises.
    """
    for _ in range(_ROUNDS):
        run = run_to(job, store, "verify", setup=setup, progress=progress)
        because = _held_by_check(run)
        if not because:
            return run
        stored = run.context.job
        fresh = dict.fromkeys(str(f.where.contour) for f in because)
        job = store.save_job(
            replace(
                stored,
                held=(*stored.held, *fresh),
                held_because=(*stored.held_because, *because),
                held_basis=stored.held_basis or _plan_basis(run),
            )
        )
    raise BlockedError(
        f"job {job.id}: the check still holds parts back after {_ROUNDS} rounds; look at the "
        "findings of verify and mend the drawing"
    )


def _held_by_check(run: Run) -> tuple[Finding, ...]:
    """Return what the check holds parts back for, of contours not held yet.

    Also where it blocks: what blocks may come from a part that is held, and be gone without it.
    """
    if "verify" not in run.reached:
        return ()
    found: tuple[Finding, ...] = run.upstream["verify"].findings
    known = {None, *run.context.job.held}
    return tuple(
        f for f in found if f.severity is Severity.HOLDS_PART and f.where.contour not in known
    )


def verify_file(
    job: Job, store: Store, file: Path, *, serial: int | None = None, progress: Progress = silent
) -> Verification:
    """Check any program file against a job's design.

    Parameters
    ----------
    job : Job
        The job as stored.
    store : Store
        Where its results are.
    file : Path
        The program.
    serial : int, optional
        The physical sheet it is meant for; without it the nominal sheet.
    progress : Progress
        Told at every stage.

    Returns
    -------
    Verification
        A program that was handed over for another sheet does not pass, even where it would fit.

    Raises
    ------
    UnreadableError
        If the file is missing or a line of it breaks the grammar.
    BlockedError
        If the job cannot be planned, so that there is no design.
    """
    data = read_file(file, limit_bytes=MAX_FILE_BYTES)
    try:
        text = data.decode("ascii")
    except UnicodeDecodeError as error:
        raise UnreadableError(
            f"{file}: byte {error.start} is no ASCII character; a program holds only ASCII"
        ) from error
    if serial is None:
        run = run_to(job, store, "plan", progress=progress)
    else:
        run = run_sheet(job, store, serial, last="plan", progress=progress)
    if run.is_blocked:
        raise BlockedError(f"job {job.id} has no design to check against; run check first")
    try:
        _, found = check_text(text, run.upstream["plan"], run.context, progress=progress)
    except ProgramSyntaxError as error:
        message = f"{file}: {error.message}"
        raise ProgramSyntaxError(message, line=error.line, code=error.code) from error
    return _for_its_own_sheet(found, job, serial)


def _for_its_own_sheet(found: Verification, job: Job, serial: int | None) -> Verification:
    """Refuse a program that was handed over for another physical sheet of the job."""
    owners = [s.serial for s in job.runs if s.program_sha and s.program_sha == found.program_sha]
    if not owners or serial in owners:
        return found
    asked = "the nominal sheet" if serial is None else f"sheet {serial}"
    other = Finding(
        code="JOB-183",
        severity=Severity.BLOCKS,
        where=Place(stage="verify", frame="table"),
        params={"own": owners[0], "asked": asked},
    )
    return replace(found, passed=False, findings=(other, *found.findings))


def read_rules(file: Path, material_id: str) -> RuleTable:
    """Return the rule table of a material from a shop's TOML file.

    Raises
    ------
    UnreadableError
        If the file is no TOML, breaks a rule of the form, or has no entry for the material.
    """
    try:
        text = read_file(file, limit_bytes=MAX_FILE_BYTES).decode()
        tables = read_book(text, rule_table, origin=str(file))
    except UnicodeDecodeError as error:
        raise UnreadableError(f"{file} is not text: {error}; save it as UTF-8") from error
    except ModelError as error:  # it names the file
        raise UnreadableError(str(error)) from error
    if material_id not in tables:
        known = ", ".join(tables) or "nothing"
        raise UnreadableError(f"{file} has no rules for {material_id}; it has: {known}")
    return tables[material_id]


def states_of(job: Job, store: Store) -> Mapping[str, StageState | None]:
    """Return the state of every stage without running any."""
    return stage_states(STAGES, job, store)
