"""What a person reads: findings with cures, tables with unit and limit."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from kerfwright.errors import Finding, Severity
from kerfwright.errors.messages import cure_of, full_sentence_of

_WORDS = {
    Severity.NOTE: ("note", "dim"),
    Severity.WARN: ("warning", "yellow"),
    Severity.HOLDS_PART: ("part held back", "magenta"),
    Severity.BLOCKS: ("blocks", "bold red"),
}
_SHOWN_PER_CODE = 5


def print_json(value: object) -> None:
    """Print one JSON document to standard output."""
    Console(soft_wrap=True).print_json(json.dumps(value, ensure_ascii=False, allow_nan=False))


def print_findings(console: Console, findings: Sequence[Finding]) -> None:
    """Print findings gravest first, each with place, sentence and cure."""
    if not findings:
        console.print("Nothing found that is wrong.")
        return
    ranks = list(Severity)
    per_code: Counter[str] = Counter()
    for finding in sorted(findings, key=lambda f: -ranks.index(f.severity)):
        per_code[finding.code] += 1
        if per_code[finding.code] <= _SHOWN_PER_CODE:
            console.print(_finding_line(finding))
    for code, count in per_code.items():
        if count > _SHOWN_PER_CODE:
            more = count - _SHOWN_PER_CODE
            console.print(f"  ... and {more} more of {code}; --json lists all", style="dim")


def _finding_line(finding: Finding) -> Text:
    word, style = _WORDS[finding.severity]
    line = Text.assemble((f"{word} ", style), (f"{finding.code} ", "dim"))
    line.append(full_sentence_of(finding))
    cure = cure_of(finding)
    if cure:
        line.append(f"\n    cure: {cure}", "italic")
    return line


def print_rows(console: Console, title: str, rows: Iterable[tuple[str, str]]) -> None:
    """Print a titled list of names and values."""
    table = Table(title=title, title_justify="left", show_header=False, box=None, pad_edge=False)
    table.add_column(style="dim")
    table.add_column()
    for name, value in rows:
        table.add_row(name, value)
    console.print(table)


def artwork_rows(summary: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return what was read as rows."""
    art = summary["artwork"]
    return [
        ("drawing", f"{summary['job']['file']}, read in {art['unit']}"),
        ("extent", f"{art['width_mm']:.2f} x {art['height_mm']:.2f} mm"),
        ("contours", str(art["contours"])),
        ("parts", str(art["parts"])),
    ]


def plan_rows(summary: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return the plan and its time as rows."""
    plan = summary["plan"]
    rows = [
        ("table", plan["table"]),
        ("stock", f"{plan['material']}, {plan['thickness_mm']:g} mm"),
        ("cuts", f"{plan['cuts']} along {plan['contours_cut']} contours, {plan['blocks']} blocks"),
        ("held back", ", ".join(plan["contours_held"]) or "no contour"),
        ("travel height", f"{plan['travel_z_mm']:g} mm over the bed"),
    ]
    time = summary.get("time")
    if time:
        causes = sorted(time["by_cause_s"].items(), key=lambda item: -item[1])
        split = ", ".join(f"{name} {seconds:.1f} s" for name, seconds in causes if seconds > 0.05)
        rows += [
            ("time", f"{time['low_s']:.2f} to {time['high_s']:.2f} s"),
            ("length over feed", f"{time['length_over_feed_s']:.2f} s"),
            ("time by cause", split),
        ]
    return rows


def verify_rows(summary: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return what the check measured, with its limits, as rows."""
    found, limit = summary["verify"], summary["verify"]["limit_mm"]
    where = f", at contour {found['worst_contour']}" if found["worst_contour"] else ""
    air = "stays at travel height, nothing on" if found["air_cuts_nothing"] else "is no air cut"
    return [
        ("check", "passed" if found["passed"] else "did not pass"),
        ("worst deviation", f"{found['worst_mm']:.4f} mm of {limit:g} mm allowed{where}"),
        ("uncut", f"{found['uncut_mm']:.4f} mm"),
        ("cut into parts", f"{found['overcut_part_mm']:.4f} mm"),
        ("cut into waste", f"{found['overcut_waste_mm']:.4f} mm, past outside corners"),
        ("strays", str(found["strays"])),
        (
            "program",
            f"{summary['program']['lines']} lines, dialect {summary['program']['dialect']}",
        ),
        ("air cut", air),
    ]


def look_rows(summary: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return what the pictures show as rows."""
    look = summary["look"]
    return [
        ("sheet", f"serial {summary['sheet']['serial']}, {summary['sheet']['photos']} pictures"),
        ("marks", f"{look['matched']} of {look['marks_wanted']} known, {look['marks_found']} seen"),
        ("label", ", ".join(look["labels"]) or "none read"),
    ]


def hold_rows(summary: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return how well the vacuum holds as rows."""
    hold = summary["hold"]
    begin, end = hold["begin_kpa"], hold["end_kpa"]
    return [
        ("least margin", f"{hold['least_margin']:.2f} times the load, 1 is the limit"),
        ("zones", ", ".join(str(zone) for zone in hold["zones"])),
        ("vacuum", f"{min(begin[0]):.1f} kPa at first, {min(end[0]):.1f} kPa with all kerfs open"),
    ]


_STATES = {
    "will_cut": ("will cut", "green"),
    "check": ("check", "yellow"),
    "will_not_cut": ("will not cut", "red"),
    "needs_you": ("needs you", "magenta"),
}


def print_parts(
    console: Console, summary: Mapping[str, Any], truth: Mapping[str, float] | None = None
) -> None:
    """Print the verdict of every part: promise, limit, chance; with the truth where it is known."""
    table = Table(title="Parts", title_justify="left", pad_edge=False)
    table.add_column("part")
    for name in ("expected [mm]", "95 % within [mm]", "limit [mm]", "chance"):
        table.add_column(name, justify="right")
    if truth is not None:
        table.add_column("true [mm]", justify="right")
    table.add_column("verdict")
    for part in summary["parts"]:
        word, style = _STATES[part["state"]]
        cells = [
            part["part"],
            f"{part['expected_mm']:.3f}",
            f"{part['bound_mm']:.3f}",
            f"{part['limit_mm']:.2f}",
            f"{100.0 * part['p_in_tolerance']:.1f} %",
        ]
        if truth is not None:
            known = part["part"] in truth
            cells.append(f"{truth[part['part']]:.3f}" if known else "not cut")
        table.add_row(*cells, Text(word, style))
    console.print(table)
    for part in summary["parts"]:
        if part["state"] != "will_cut":
            console.print(Text.assemble((f"{part['part']}: ", "bold"), part["reason"]))
