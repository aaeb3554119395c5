"""Whole sheets: printed, thrown, photographed, fitted, judged, cut virtually and measured.

Prints with growth, skew and bow of either sign, any throw within what the marks allow, dirt, and
at times a mark that is missing; the head stands off by a draw from its own covariance. No contour
that was cut because it was called `will_cut` may miss its tolerance; of the parts that lie within
tolerance / 1.5 at most a tenth may be held back; and every mark that was printed is found.

A part that was not cut is measured by the fitted against the true map, both known here.
"""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from kerfwright import virtual
from kerfwright.geometry.flatten import flatten
from kerfwright.job.budget import ASSUMED_REPEAT_MM
from kerfwright.job.order import ORDERS, make_printed_job
from kerfwright.job.pipeline import run_stages
from kerfwright.job.rehearsal import Scenario
from kerfwright.job.rehearsed import rehearse_sheet
from kerfwright.job.stages import STAGES
from kerfwright.job.store import FolderStore
from kerfwright.model.verdict import VerdictState

DEFAULT_SIZE = 50
SMALL_SIZE = 1
ORDER_NAMES = ("film", "boards")


def run(seed, size, progress):
    """Cut `size` sheets; return counts and every contour or mark that was taken wrong."""
    failures, cut, good, held, worst, marks = [], 0, 0, 0, 0.0, 0
    with tempfile.TemporaryDirectory() as folder:
        offices = {}
        for k in range(size):
            name = ORDER_NAMES[k % len(ORDER_NAMES)]
            if name not in offices:
                offices[name] = _office(name, Path(folder, name))
            found = _sheet(*offices[name], np.random.default_rng((seed, k)), k + 1)
            failures += [{"sheet": k, **wrong} for wrong in found["wrong"]]
            cut, good, held = cut + found["cut"], good + found["good"], held + found["held"]
            worst, marks = max(worst, found["worst"]), marks + found["marks"]
            progress(k + 1, size)
    if held > 0.1 * good:
        failures.append({"held_back": held, "of": good})
    return {
        "contours_cut": cut, "parts_within_two_thirds": good, "held_back": held,
        "worst_share_of_limit_when_cut": worst, "marks_found": marks, "failures": failures,
    }  # fmt: skip


def _office(name, folder):
    """Return the nominal run of an order whose heads are as well known as the books say."""
    store = FolderStore(folder)
    job = make_printed_job(replace(ORDERS[name], offset_sd_mm=None), store)
    office = run_stages(STAGES, job, store, last="hold", progress=_silent)
    assert not office.is_blocked, [f.code for f in office.findings]
    return office, store


def _silent(*_):
    """Watch nothing."""


def _sheet(office, store, rng, serial):
    laid, table = office.upstream["layout"], office.context.table
    scenario = _scenario(rng, laid, table)
    done = rehearse_sheet(office, scenario, store, None, serial=serial, progress=_silent)
    present = len(laid.marks.xy) - len(scenario.blemishes.missing)
    match = done.run.upstream["look"].match
    wrong = []
    if len(match.pairs) != present:
        wrong.append({"marks": len(match.pairs), "present": present})
    if done.run.is_blocked:
        wrong.append({"blocked": [f.code for f in done.run.findings]})
    verdicts = () if done.run.is_blocked else done.run.upstream["fit"].verdicts
    worst, parts = 0.0, {}
    for v in verdicts:
        off = done.truth_mm.get(v.contour)
        if off is not None and v.state is VerdictState.WILL_CUT:
            worst = max(worst, off / v.limit_mm)
            if off > v.limit_mm:
                wrong.append({"contour": v.contour, "off_mm": off, "p": v.p_in_tolerance})
        would = _would(v.contour, done, scenario) if off is None else off
        share, is_cut = parts.get(v.part, (0.0, True))
        parts[v.part] = (max(share, would / v.limit_mm), is_cut and off is not None)
    good = [is_cut for share, is_cut in parts.values() if share <= 1.0 / 1.5]
    return {"wrong": wrong, "cut": len(done.truth_mm), "good": len(good),
            "held": len(good) - sum(good), "worst": worst, "marks": len(match.pairs)}  # fmt: skip


def _scenario(rng, laid, table):
    box = laid.layout.sheets[0].outline.box_mm()
    turn = rng.uniform(-0.06, 0.06)
    sag = rng.uniform(-1.0, 1.0)
    heads = [h for h in table.heads if h.kind.value != "camera"]
    # the head in use is the first knife; its true place is a draw from what is known of it
    off = rng.multivariate_normal(np.zeros(2), heads[0].offset_cov_mm2[:2, :2])
    repeat = [c.value for c in table.calibration if c.name == "repeatability"]
    count = len(laid.marks.xy)
    missing = (int(rng.integers(count)),) if rng.random() < 0.5 else ()
    return Scenario(
        printer=virtual.Printer(
            growth_x=rng.normal(0.0, 1e-3),
            growth_y=rng.normal(0.0, 1e-3),
            skew_rad=rng.normal(0.0, 5e-4),
            bow_per_mm=8.0 * sag / (box[2] - box[0]) ** 2,
            dot_sd_mm=0.015,
        ),
        throw=_throw(rng, box, table, turn),
        blemishes=virtual.Blemishes(missing=missing, dirt_count=int(rng.integers(60))),
        optics=virtual.Optics(),
        head_error_mm=tuple(off.tolist()),
        repeat_sd_mm=repeat[-1] if repeat else ASSUMED_REPEAT_MM,
        seed=int(rng.integers(2**31)),
    )


def _throw(rng, box, table, turn):
    """Return a throw near the place to load at, with all of the sheet on the bed."""
    w, h = box[2] - box[0], box[3] - box[1]
    c, s = np.cos(turn), np.sin(turn)
    corners = np.array([(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)]) @ np.array(((c, s), (-s, c)))
    least = np.array(table.bed[:2]) - corners.min(axis=0) + 8.0
    most = np.minimum(np.array(table.bed[2:]) - corners.max(axis=0) - 8.0, least + 160.0)
    x, y = rng.uniform(least, most)
    return virtual.Throw(x_mm=float(x), y_mm=float(y), turn_rad=turn)


def _would(contour, done, scenario):
    """Return how far a contour that was not cut would have landed off, at most [mm].

    A contour that keeps its size was to land where the print has its part: the outline tells.
    """
    fitted = done.run.upstream["fit"]
    placed = fitted.placed
    k = placed.contours.index(contour)
    if placed.operations[placed.operation[k]].fidelity == "size":
        return 0.0
    dense = flatten(placed.on_sheet.select(np.array([k])), tolerance_mm=0.01).points
    off = fitted.fit.map(dense) + scenario.head_error_mm - done.truth.table_from_sheet(dense)
    return float(np.hypot(*off.T).max())
