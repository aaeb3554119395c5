"""Print rows for the names docs/nomenclature.md lacks, taken from docstrings, to be edited."""

from __future__ import annotations

import importlib
import inspect
import re
import sys

import public_names

ENTRY = re.compile(r"^(\w+(?:, \w+)*) : ", re.MULTILINE)
SECTION = re.compile(r"^Parameters\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", re.MULTILINE | re.DOTALL)
UNIT = re.compile(r"\s*\[([^\]]+)\]\.?$")


def documented(member: object) -> dict[str, str]:
    """Return the text of each parameter in the Parameters section of a docstring."""
    text = inspect.getdoc(member) or ""
    found = SECTION.search(text)
    if not found:
        return {}
    # Split into: names, description, names, description, ...
    parts = ENTRY.split(found[1])[1:]
    meanings = {}
    for names, body in zip(parts[::2], parts[1::2], strict=True):
        lines = [line.strip() for line in body.splitlines()[1:]]
        meanings.update(dict.fromkeys(names.split(", "), " ".join(filter(None, lines))))
    return meanings


def member_at(where: str) -> object:
    """Return the class, function or method a place of `public_names` names."""
    names = where.removesuffix("()").split(".")
    for cut in range(len(names) - 1, 0, -1):
        try:
            member = importlib.import_module(".".join(names[:cut]))
        except ModuleNotFoundError:
            continue
        for name in names[cut:]:
            member = getattr(member, name)
        return member
    msg = f"{where} is no member of any module"
    raise LookupError(msg)


def row(name: str, places: list[str]) -> str:
    """Return one row of the table; what no docstring says stays a question mark."""
    meanings, units = [], []
    for where in dict.fromkeys(places):
        text = documented(member_at(where)).get(name, "")
        found = UNIT.search(text)
        meaning = UNIT.sub("", text).rstrip(".").replace("|", "\\|")
        if meaning and meaning not in meanings:
            meanings.append(meaning)
        if found and found[1] not in units:
            units.append(found[1])
    return f"| `{name}` | {'; '.join(meanings) or '?'} | {' or '.join(units) or '-'} | - |"


def main() -> int:
    """Print the rows."""
    names = public_names.public_names()
    listed = public_names.page_rows(public_names.PAGE.read_text(encoding="utf-8"))
    for name in sorted(names.keys() - listed.keys()):
        print(row(name, names[name]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
