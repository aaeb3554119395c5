"""What no file of the repository may hold, and what the lock files must."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
# Patterns are written so that this file does not match them.
MACHINE_PATH = re.compile(r"(?:^|[^A-Za-z0-9_.$}{])/(?:home|root|tmp|work|Users)/\w")
INDEX_ADDRESS = re.compile(
    r"--(?:extra-)?index[-]url|--find[-]links|https?://[^\s\"]*\.(?:whl|tar\.gz)\b"
)
ABOUT_ITS_MAKING = re.compile(r"tran[s]cript|sub[-]?agent|\b[Ii]ssue #?\d+")
PIN = re.compile(r"^([a-z0-9-]+)==(\S+)(?: ; (.+?))? \\$", flags=re.MULTILINE)


@pytest.fixture(scope="module")
def texts() -> dict[str, str]:
    """Every text file that is tracked, or would be if it were added."""
    if shutil.which("git") is None or not (ROOT / ".git").exists():
        pytest.skip("this tree is no git checkout, so it has no list of tracked files")
    listed = subprocess.run(
        ["git", "-c", "safe.directory=*", "ls-files", "-z", "-c", "-o", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    )
    found = {}
    for name in filter(None, listed.stdout.decode().split("\0")):
        if (ROOT / name).is_file():
            data = (ROOT / name).read_bytes()
            if b"\0" not in data[:8192]:
                found[name] = data.decode("utf-8", errors="replace")
    assert "pyproject.toml" in found
    return found


def hits(texts: dict[str, str], pattern: re.Pattern[str]) -> list[str]:
    return [
        f"{name}:{number}: {line.strip()[:100]}"
        for name, text in texts.items()
        for number, line in enumerate(text.splitlines(), start=1)
        if pattern.search(line)
    ]


def test_no_paths_of_a_machine(texts):
    assert MACHINE_PATH.search("see /" + "home/someone")
    assert hits(texts, MACHINE_PATH) == []


def test_no_index_addresses(texts):
    assert INDEX_ADDRESS.search("--extra-index" + "-url somewhere")
    assert hits(texts, INDEX_ADDRESS) == []


def test_the_project_speaks_of_itself_alone(texts):
    assert ABOUT_ITS_MAKING.search("as issue" + " 12 asks")
    assert hits(texts, ABOUT_ITS_MAKING) == []


def test_commands_are_executable(texts):
    commands = [n for n in texts if n == ".ci/run" or re.fullmatch(r"scripts/[\w-]+", n)]
    assert {"scripts/demo", "scripts/test", ".ci/run"} <= set(commands)
    assert [n for n in commands if not os.access(ROOT / n, os.X_OK)] == []


def pins(name: str) -> set[tuple[str, ...]]:
    return set(PIN.findall((ROOT / "requirements" / name).read_text(encoding="utf-8")))


@pytest.mark.parametrize("name", ["run.txt", "dev.txt"])
def test_locks_hold_pins_and_hashes_only(name):
    blocks = re.split(r"\n(?! )", (ROOT / "requirements" / name).read_text("utf-8").strip())
    one = re.compile(r"[a-z0-9-]+==\S+(?: ; [^\n]+?)?(?: \\\n    --hash=sha256:[0-9a-f]{64})+")
    assert [b.splitlines()[0] for b in blocks if not one.fullmatch(b)] == []


def test_dev_lock_holds_the_run_lock():
    assert pins("run.txt") - pins("dev.txt") == set()
    assert len(pins("run.txt")) > 10


def test_run_lock_holds_every_dependency():
    with (ROOT / "pyproject.toml").open("rb") as file:
        project = tomllib.load(file)["project"]
    asked = {re.match(r"[\w-]+", d)[0].lower() for d in project["dependencies"]}
    assert asked - {name for name, *_ in pins("run.txt")} == set()
