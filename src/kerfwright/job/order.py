"""The demo order: boards for an invented harbour festival, cut from 3 mm PVC foam."""

from __future__ import annotations

from importlib.resources import files

from kerfwright.job.files import scratch_file
from kerfwright.job.steps import NewJob, make_job
from kerfwright.job.store import Store
from kerfwright.model.job import Job

DEMO_JOB = "harbour-boards"
_FILE = "harbour-boards.dxf"


def make_demo_job(store: Store) -> Job:
    """Return the demo job, made anew unless the store has it already."""
    if DEMO_JOB in store.job_ids():
        return store.load_job(DEMO_JOB)
    drawing = files("kerfwright.job").joinpath("demo", _FILE).read_bytes()
    with scratch_file(_FILE, drawing) as path:
        return make_job(NewJob(job_id=DEMO_JOB, file=path), store)
