"""A job with the book entries it uses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from kerfwright.geometry.record import Record
from kerfwright.job.books import book_of
from kerfwright.job.store import Store
from kerfwright.model.job import Job
from kerfwright.model.material import Material, SettingCard
from kerfwright.model.run import SheetRun
from kerfwright.model.table import Table
from kerfwright.model.tooling import Tool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JobContext(Record):
    """Everything a stage may ask for.

    Parameters
    ----------
    job : Job
        The document.
    table : Table
        The table.
    material : Material
        The material.
    tools : mapping of str to Tool
        Tools the job's operations name, by id.
    cards : mapping of str to SettingCard
        Setting cards the job's operations name, by id.
    serial : int or None
        Physical sheet the stages are for.
    setup : int or None
        Set-up of the job the stages are for; None for jobs of a single one.
    usual_surface : str
        What the bed of the table bears when nothing else is laid on it.
    """

    job: Job
    table: Table
    material: Material
    tools: Mapping[str, Tool]
    cards: Mapping[str, SettingCard]
    serial: int | None = None
    setup: int | None = None
    usual_surface: str = ""

    @property
    def sheet_run(self) -> SheetRun | None:
        """The physical sheet the stages are for; None for the nominal plan."""
        return None if self.serial is None else self.job.run(self.serial)

    @property
    def thickness_mm(self) -> float:
        """Thickness of the stock: as measured on the physical sheet, else the nominal one [mm]."""
        run = self.sheet_run
        nominal = self.job.choices.sheet.thickness_mm
        return nominal if run is None or run.caliper_mm is None else run.caliper_mm


def load_context(job: Job, store: Store, serial: int | None = None) -> JobContext:
    """Return the job with its book entries, and pins brought up to date.

    Raises
    ------
    UnknownNameError
        If the job names an entry no book has.
    """
    operations = job.rules.operations
    tools = {o.tool_id: store.load_entry(Tool, o.tool_id) for o in operations}
    cards = {o.card_id: store.load_entry(SettingCard, o.card_id) for o in operations}
    table = store.load_entry(Table, job.choices.table_id)
    material = store.load_entry(Material, job.choices.material_id)
    named: list[tuple[str, Record]] = [(table.id, table), (material.id, material)]
    named += [*tools.items(), *cards.items()]
    pins = {f"{book_of(type(entry))[0]}/{key}": entry.digest for key, entry in named}
    return JobContext(
        job=replace(job, pins=pins),
        table=table,
        material=material,
        tools=tools,
        cards=cards,
        serial=serial,
        usual_surface=table.bed_surface,
    )


def tools_of(context: JobContext) -> Mapping[int, Tool]:
    """Return the tools the job uses, by number of station."""
    held = {s.number: context.tools.get(s.tool_id) for s in context.table.stations}
    return {number: tool for number, tool in held.items() if tool is not None}
