"""Hand a checked program over: program.nc, its air cut, and a summary of what was checked.

All files are written aside first and renamed at the end, the summary last, so that a folder with
a summary holds everything it speaks of.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import kerfwright
from kerfwright.errors import BlockedError, Finding, Severity
from kerfwright.errors.messages import cure_of, full_sentence_of, place_of
from kerfwright.job.files import is_there, write_together
from kerfwright.job.pipeline import Run

PROGRAM, AIR, SUMMARY = "program.nc", "program-air.nc", "summary.json"

CAUTIONS = (
    "Run program-air.nc first, with a hand on the emergency stop.",
    "Blades cut and the gantry pinches: isolate the machine before reaching in.",
    "Wear eye and hearing protection; mind dust and noise.",
    "The machine's manual and local codes come first; licensed people do electrical work.",
)


def hand_over(run: Run, folder: Path) -> tuple[Path, ...]:
    """Write the files of a checked job into a folder.

    Parameters
    ----------
    run : Run
        A run that reached ``verify``.
    folder : Path
        Where to; made if missing. Files of the same names are replaced.

    Returns
    -------
    tuple of Path
        Files written.

    Raises
    ------
    BlockedError
        If a finding blocks, the check was not reached, or the check did not pass.
    CannotWriteError
        If a file cannot be written; older files stay.
    """
    if run.is_blocked or "verify" not in run.reached:
        raise BlockedError("nothing is handed over while a finding blocks; mend it first")
    if not run.upstream["verify"].verification.passed:
        raise BlockedError("nothing is handed over: the program did not pass its check")
    written = run.upstream["program"]
    if not len(run.upstream["plan"].motion):
        raise BlockedError("nothing is handed over: every part is held back; see the findings")
    texts = {
        PROGRAM: written.text,
        AIR: written.air_text,
        SUMMARY: json.dumps(summary_of(run), indent=1, ensure_ascii=False, allow_nan=False) + "\n",
    }
    files = [(folder / name, text.encode()) for name, text in texts.items()]
    if is_there(folder / SUMMARY):  # a summary must never speak of files that are being replaced
        files.insert(0, (folder / SUMMARY, b'{"state": "being replaced"}\n'))
    write_together(files)
    return tuple(folder / name for name in texts)


def hand_over_all(runs: Sequence[Run], folder: Path) -> tuple[Path, ...]:
    """Write the files of every set-up, each into a folder of its own where there are several.

    Parameters
    ----------
    runs : sequence of Run
        One per set-up, each reached ``verify``.
    folder : Path
        Where to; several set-ups go into ``setup-1``, ``setup-2`` and so on below it.

    Raises
    ------
    BlockedError, CannotWriteError
        As for `hand_over`; nothing is written while any of the set-ups blocks.
    """
    if len(runs) == 1:
        return hand_over(runs[0], folder)
    if any(run.is_blocked for run in runs):
        raise BlockedError("nothing is handed over while a finding blocks one of the set-ups")
    return tuple(
        path for run in runs for path in hand_over(run, folder / f"setup-{run.context.setup}")
    )


def summary_of(run: Run) -> Mapping[str, Any]:
    """Return what is known of a run, as plain values for JSON."""
    job = run.context.job
    rows: dict[str, Any] = {
        "written_by": f"kerfwright {kerfwright.__version__}",
        "job": {"id": job.id, "version": job.version, "file": job.inputs[0].name},
        "setup": run.context.setup or 1,
        "bed_surface": run.context.table.bed_surface,
        "reached": list(run.reached),
        "blocked": run.is_blocked,
        "findings": [finding_row(f) for f in run.findings],
    }
    makers = {
        "artwork": _artwork,
        "plan": _plan,
        "time": _time,
        "program": _program,
        "verify": _verify,
    }
    rows |= {name: make(run) for name, make in makers.items() if name in run.reached}
    return rows | {"cautions": list(CAUTIONS)}


def finding_row(finding: Finding) -> Mapping[str, Any]:
    """Return a finding as plain values, with its sentence and cure."""
    where = finding.where
    return {
        "code": finding.code,
        "severity": finding.severity.value,
        "place": place_of(where),
        "contour": where.contour,
        "xy_mm": list(where.xy_mm) if where.xy_mm else None,
        "measured": finding.measured,
        "limit": finding.limit,
        "unit": finding.unit,
        "sentence": full_sentence_of(finding),
        "cure": cure_of(finding),
    }


def _artwork(run: Run) -> Mapping[str, Any]:
    result = run.upstream["artwork"]
    boxes = [d.paths.box_mm() for d in result.drawings if len(d.paths)]
    return {
        "contours": sum(len(d.paths) for d in result.drawings),
        "parts": len(result.parts),
        "unit": ", ".join(sorted({d.unit for d in result.drawings})),
        "width_mm": max((box[2] - box[0] for box in boxes), default=0.0),
        "height_mm": max((box[3] - box[1] for box in boxes), default=0.0),
    }


def _plan(run: Run) -> Mapping[str, Any]:
    plan = run.upstream["plan"]
    return {
        "contours_cut": len(plan.placed.contours),
        "contours_held": list(plan.held),
        "cuts": len(plan.order.contour),
        "blocks": len(plan.motion),
        "travel_z_mm": plan.travel_z_mm,
        "table": run.context.table.id,
        "material": run.context.material.id,
        "thickness_mm": run.context.job.choices.sheet.thickness_mm,
        "load_pose": {
            "x_mm": run.context.table.load_pose.x_mm,
            "y_mm": run.context.table.load_pose.y_mm,
        },
    }


def _time(run: Run) -> Mapping[str, Any]:
    result = run.upstream["time"]
    return {
        "low_s": result.timed.time_low_s,
        "high_s": result.timed.time_high_s,
        "length_over_feed_s": result.naive_s,
        "by_cause_s": dict(result.timed.by_cause),
    }


def _program(run: Run) -> Mapping[str, Any]:
    written = run.upstream["program"]
    return {
        "dialect": written.dialect_id,
        "lines": written.text.count("\n"),
        "sha256": hashlib.sha256(written.text.encode()).hexdigest(),
        "air_sha256": hashlib.sha256(written.air_text.encode()).hexdigest(),
        "z_zero_mm": written.z_zero_mm,
    }


def _verify(run: Run) -> Mapping[str, Any]:
    result, tolerances = run.upstream["verify"], run.context.job.choices.tolerances
    found = result.verification
    worst = int(found.worst_mm.argmax()) if len(found.worst_mm) else -1
    return {
        "passed": found.passed,
        "program_sha256": found.program_sha,
        "contours": len(found.contour),
        "worst_mm": float(found.worst_mm[worst]) if worst >= 0 else 0.0,
        "worst_contour": found.contour[worst] if worst >= 0 else None,
        "limit_mm": tolerances.cut_mm,
        "uncut_mm": float(found.uncut_mm.max(initial=0.0)),
        "overcut_part_mm": float(found.overcut_part_mm.max(initial=0.0)),
        "overcut_waste_mm": float(found.overcut_waste_mm.max(initial=0.0)),
        "strays": len(found.strays),
        "tolerance_sum_mm": tolerances.sum_mm,
        "air_cuts_nothing": result.air_cuts_nothing,
        "held": [f.where.contour for f in result.findings if f.severity is Severity.HOLDS_PART],
    }
