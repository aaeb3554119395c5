"""Write docs/findings.md from the catalogue of findings, or compare with ``--check``."""

from __future__ import annotations

import sys
from itertools import groupby
from pathlib import Path

from kerfwright.errors.messages import Entry, load_catalogue

PAGE = Path(__file__).resolve().parents[2] / "docs" / "findings.md"

HEAD = """\
# Findings

What can be wrong with a job, by code. A code never changes its meaning and is never used again.
Words in braces stand for the values of the case at hand.

- `note`: worth knowing; nothing changes.
- `warn`: look at it; the work goes on.
- `holds_part`: that part is left out of the program, the others are cut.
- `blocks`: no program is written until it is cured, or released with a reason and initials.

This page is written by `scripts/docs-findings` from the catalogue in the package.
"""


def stage_of(entry: Entry) -> str:
    """Return the stage prefix of a code."""
    return entry.code.partition("-")[0]


def section(entry: Entry) -> str:
    """Return one entry as Markdown."""
    return (
        f"### {entry.code} ({entry.severity.value})\n\n{entry.sentence}\n\n"
        f"- Cause: {entry.cause}\n- Cure: {entry.cure}\n"
    )


def page(entries: dict[str, Entry]) -> str:
    """Return the whole page: stages and codes in alphabetical order."""
    ordered = sorted(entries.values(), key=lambda e: e.code)
    parts = [HEAD]
    for stage, members in groupby(ordered, key=stage_of):
        parts.append(f"## {stage}\n")
        parts.extend(map(section, members))
    return "\n".join(parts)


def main() -> int:
    """Write the page, or say whether it is up to date."""
    text = page(load_catalogue())
    if "--check" not in sys.argv[1:]:
        PAGE.write_text(text, encoding="utf-8")
        return 0
    if PAGE.read_text(encoding="utf-8") == text:
        return 0
    print("docs/findings.md is not what scripts/docs-findings writes; run it", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main())
