"""Writer and reader share no code: what one gets wrong the other must see."""

from __future__ import annotations

import ast
from pathlib import Path

import kerfwright.program

ROOM = Path(kerfwright.program.__file__).parent
SHARED = ("kerfwright.model", "kerfwright.errors", "kerfwright.units", "kerfwright.geometry.record")


def imports(folder: str) -> set[str]:
    found = set()
    for file in (ROOM / folder).rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                found.add(node.module)
            if isinstance(node, ast.Import):
                found |= {name.name for name in node.names}
    return {name for name in found if name.startswith("kerfwright")}


def test_each_side_imports_only_itself_and_the_model():
    for side in ("read", "write"):
        names = imports(side)
        assert names
        strange = [n for n in names if not n.startswith((f"kerfwright.program.{side}", *SHARED))]
        assert strange == []
