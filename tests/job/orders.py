"""A job over the catalogue's own books, for tests that need one without any drawing."""

from __future__ import annotations

from hashlib import sha256

from kerfwright import catalog
from kerfwright.geometry.paths import make_path
from kerfwright.job.store import FolderStore
from kerfwright.model.job import Job, JobChoices, JobInput
from kerfwright.model.sheet import Sheet

TABLE, MATERIAL = "pier-2616", "pvc-foam-3"


def sheet_of(width_mm: float = 1000.0, height_mm: float = 500.0, **more: object) -> Sheet:
    corners = [(0.0, 0.0), (width_mm, 0.0), (width_mm, height_mm), (0.0, height_mm)]
    values = {"thickness_mm": 3.0, "material_id": MATERIAL, "margin_mm": 10.0} | more
    return Sheet(id="s1", outline=make_path(corners, closed=True), **values)


def job_over(sheet: Sheet | None = None, **more: object) -> Job:
    choices = JobChoices(table_id=TABLE, material_id=MATERIAL, sheet=sheet or sheet_of())
    values = {
        "id": "order-7",
        "inputs": (JobInput(name="a.dxf", sha256=sha256(b"").hexdigest(), size_bytes=0),),
        "rules": catalog.load_rule_tables()[MATERIAL],
        "choices": choices,
    }
    return Job(**(values | more))


def stored(store: FolderStore, **more: object) -> Job:
    return store.save_job(job_over(**more))
