"""Write docs/cli.md from the commands' own help, or compare with ``--check``."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from kerfwright.cli.main import app

PAGE = Path(__file__).resolve().parents[2] / "docs" / "cli.md"

HEAD = """\
# The command line

Every command answers in JSON with `--json`, and shows progress otherwise. Bars and messages go to
the error channel, results to the output.

| exit code | meaning |
|---|---|
| 0 | nothing blocks; parts may be held back, and the output says which and why |
| 1 | a finding blocks: no program was written |
| 2 | wrong use: a command, an argument or a name that does not exist |
| 3 | an input cannot be read |
| 4 | a result cannot be written, or a limit of time, memory or disk was reached |
| 70 | a defect of Kerfwright itself; please report it |
| 130 | interrupted; what was finished is kept |

This page is written by `scripts/docs-cli` from the commands themselves.
"""


def page() -> str:
    """Return the whole page, commands in the order of the work."""
    group = typer.main.get_command(app)
    parts = [HEAD]
    for name, command in group.commands.items():  # type: ignore[attr-defined]
        parent = group.make_context("kerfwright", [], resilient_parsing=True)
        context = command.make_context(name, [], parent=parent, resilient_parsing=True)
        context.terminal_width = 80
        parts.append(f"## {name}\n\n```text\n{command.get_help(context).strip()}\n```\n")
    return "\n".join(parts)


def main() -> int:
    """Write the page, or say whether it is up to date."""
    text = page()
    if "--check" not in sys.argv[1:]:
        PAGE.write_text(text, encoding="utf-8")
        return 0
    if PAGE.exists() and PAGE.read_text(encoding="utf-8") == text:
        return 0
    print("docs/cli.md is not what scripts/docs-cli writes; run it", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main())
