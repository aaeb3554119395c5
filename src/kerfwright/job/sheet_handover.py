"""Hand a checked sheet over: program, air cut, ticket, fit and summary; for this sheet only."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from kerfwright.errors import BlockedError
from kerfwright.job.codec import to_document
from kerfwright.job.files import is_there, write_together
from kerfwright.job.final import part_results
from kerfwright.job.handover import AIR, PROGRAM, SUMMARY, summary_of
from kerfwright.job.papers import quote_of, ticket_of
from kerfwright.job.pipeline import Run, Upstream
from kerfwright.job.sheet_stages import OFFICE
from kerfwright.job.sheets import set_state
from kerfwright.job.store import Store
from kerfwright.model.run import SheetState

FIT, TICKET, QUOTE = "fit.json", "ticket.pdf", "quote.pdf"
PRINT, PRINT_NO_CUT = "print.pdf", "print-no-cut.pdf"


def write_prints(up: Upstream, store: Store, folder: Path) -> tuple[Path, ...]:
    """Write the print files of a job: with cut lines as layers, and without.

    Parameters
    ----------
    up : Upstream
        Results of the nominal stages, up to ``print``.
    store : Store
        Where the files are.
    folder : Path
        Where to.

    Returns
    -------
    tuple of Path
        Files written; none for a job without marks.
    """
    printed = up["print"]
    if not printed.with_cut_lines:
        return ()
    files = [
        (folder / PRINT, store.get_blob(printed.with_cut_lines)),
        (folder / PRINT_NO_CUT, store.get_blob(printed.without)),
    ]
    write_together(files)
    return tuple(path for path, _ in files)


def hand_over_sheet(run: Run, store: Store, folder: Path) -> tuple[Path, ...]:
    """Write the files of a checked physical sheet; note the program it got.

    Parameters
    ----------
    run : Run
        Of a physical sheet, up to ``verify``.
    store : Store
        Where the job is noted as handed over.
    folder : Path
        Where to; files of the same names are replaced.

    Returns
    -------
    tuple of Path
        Files written.

    Raises
    ------
    BlockedError
        If a finding blocks, or the program did not pass its check.
    CannotWriteError
        If a file cannot be written; older files stay.
    """
    sheet = run.context.sheet_run
    if sheet is None or run.is_blocked or "verify" not in run.reached:
        raise BlockedError("nothing is handed over while a finding blocks; mend it first")
    if not run.upstream["verify"].verification.passed:
        raise BlockedError("nothing is handed over: the program did not pass its check")
    written = run.upstream["program"]
    texts: dict[str, bytes] = {
        PROGRAM: written.text.encode(),
        AIR: written.air_text.encode(),
        FIT: to_document(run.upstream["fit"].fit).encode(),
    }
    texts[TICKET] = ticket_of(run, texts)
    texts[SUMMARY] = (
        json.dumps(sheet_summary(run), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    ).encode()
    files = [(folder / name, data) for name, data in texts.items()]
    if is_there(folder / SUMMARY):  # a summary must never speak of files that are being replaced
        files.insert(0, (folder / SUMMARY, b'{"state": "being replaced"}\n'))
    write_together(files)
    sha = hashlib.sha256(texts[PROGRAM]).hexdigest()
    set_state(run.context.job, store, sheet.serial, SheetState.HANDED_OVER, sha)
    return tuple(folder / name for name in texts)


def write_quote(run: Run, folder: Path) -> Path:
    """Write the quote of an order from its nominal plan and its times."""
    path = folder / QUOTE
    write_together([(path, quote_of(run.context.job, run.upstream))])
    return path


def sheet_summary(run: Run) -> Mapping[str, Any]:
    """Return what is known of a physical sheet, as plain values for JSON."""
    rows = dict(summary_of(run))
    sheet = run.context.sheet_run
    if sheet is None:
        return rows
    rows["sheet"] = {
        "serial": sheet.serial,
        "zones": list(sheet.zones),
        "photos": len(sheet.photos),
    }
    if "look" in run.reached:
        looked = run.upstream["look"]
        rows["look"] = {
            "marks_found": len(looked.xy_mm),
            "marks_wanted": len(run.upstream[OFFICE + "layout"].marks.xy),
            "matched": 0 if looked.match is None else len(looked.match.pairs),
            "labels": list(looked.labels),
        }
    if "fit" in run.reached:
        fit = run.upstream["fit"].fit
        rows["fit"] = {
            "noise_sd_mm": fit.noise_sd_mm,
            "undetectable_mm": fit.undetectable_mm,
            "table_from_sheet": fit.mean_map.affine.tolist(),
            "models": {n.model: n.weight for n in fit.nodes} if len(fit.nodes) < 9 else {},
        }
        rows["parts"] = [
            {
                "part": p.name,
                "state": p.state,
                "cut": p.is_cut,
                "p_in_tolerance": p.p_in_tolerance,
                "expected_mm": p.expected_mm,
                "bound_mm": p.bound_mm,
                "limit_mm": p.limit_mm,
                "kind": p.kind,
                "contours": list(p.contours),
                "reason": p.reason,
            }
            for p in part_results(run)
        ]
    if "hold" in run.reached:
        hold = run.upstream["hold"].report
        rows["hold"] = {
            "least_margin": float(hold.margin_low.min(initial=1000.0)),
            "zones": list(hold.zones),
            "begin_kpa": hold.begin_kpa.tolist(),
            "end_kpa": hold.end_kpa.tolist(),
        }
    return rows
