"""The command line answers a call for help without loading anything heavy."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

# pydantic is not listed: typer loads it by itself once a command has typed options.
HEAVY = ("ezdxf", "numba", "numpy", "scipy", "shapely")

ASK = """
import json, sys
from kerfwright.cli.main import main
sys.argv = ["kerfwright", *{arguments}]
code = None
try:
    code = main()
except SystemExit as stop:
    code = stop.code
print()
print(json.dumps([code, [name for name in {heavy} if name in sys.modules]]))
"""


def ask(*arguments: str) -> tuple[int | None, list[str], str]:
    text = ASK.format(arguments=list(arguments), heavy=HEAVY)
    result = subprocess.run(
        [sys.executable, "-c", text], capture_output=True, text=True, check=True
    )
    code, loaded = json.loads(result.stdout.splitlines()[-1])
    return code, loaded, result.stdout


@pytest.mark.parametrize("arguments", [["--help"], ["demo", "--help"]])
def test_help_loads_nothing_heavy(arguments):
    code, loaded, text = ask(*arguments)
    assert code in (0, None), text
    assert loaded == []


def test_help_names_the_commands():
    _, _, text = ask("--help")
    for command in ("new", "check", "plan", "verify", "handover", "demo"):
        assert command in text


def test_the_package_itself_loads_nothing():
    code = "import kerfwright, sys; print([m for m in sys.modules if m.startswith('kerfwright.')])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
