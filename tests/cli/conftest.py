"""A shop with an earlier job in it, and ways to call the command line there."""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from cli.drawings import MAKERS
from kerfwright.cli.main import main

RULE = """
[pvc-foam-3.operations.through]
process = "cutting"
head_kind = "tangential_knife"
tool = "{tool}"
card = "{card}"
depth_from = "bottom"
depth_mm = {depth}
tolerance_mm = {{ print_mm = 0.5, size_mm = 0.25 }}
fidelity = "size"
[[pvc-foam-3.rules]]
operation = "through"
"""


def rules(tool="steep-point-6", card="pvc-foam-3-through", depth="-0.3") -> str:
    return RULE.format(tool=tool, card=card, depth=depth)


@dataclass(frozen=True)
class Said:
    """What a command said and left with."""

    code: int
    out: str
    err: str


@dataclass
class Place:
    """A folder to work in, with what stands in it."""

    folder: Path
    capture: pytest.CaptureFixture[str]
    patch: pytest.MonkeyPatch

    def call(self, *args: str) -> Said:
        """Call the command line in this process."""
        self.patch.chdir(self.folder)
        self.patch.setattr(sys, "argv", ["kerfwright", *args])
        self.capture.readouterr()
        with pytest.raises(SystemExit) as stop:
            main()
        out, err = self.capture.readouterr()
        return Said(code=stop.value.code, out=out, err=err)

    def start(self, *args: str, prepare: Callable[[], object] | None = None) -> Said:
        """Call the command line in a process of its own, prepared by a call inside it."""
        done = subprocess.run(
            [sys.executable, "-m", "kerfwright.cli.main", *args],
            cwd=self.folder,
            capture_output=True,
            text=True,
            check=False,
            preexec_fn=prepare,
        )
        return Said(code=done.returncode, out=done.stdout, err=done.stderr)

    def call_with_room(self, args: Sequence[str], limit_bytes: int | None) -> Said:
        """Call with a limit on the size of files: writing fails half-way, as on a full disk."""
        if limit_bytes is None:
            return self.call(*args)
        limit = (limit_bytes, limit_bytes)
        return self.start(*args, prepare=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, limit))

    def draw(self, maker: str, name: str = "order.dxf") -> Path:
        path = self.folder / name
        path.write_bytes(MAKERS[maker]())
        return path

    def files(self) -> dict[str, bytes]:
        """Content of every file, locks apart."""
        return {
            str(p.relative_to(self.folder)): p.read_bytes()
            for p in sorted(self.folder.rglob("*"))
            if p.is_file() and not p.name.endswith(".lock")
        }


@pytest.fixture(scope="session")
def earlier(tmp_path_factory) -> Path:
    """A folder where the job `kept` was handed over to `out` before."""
    folder = tmp_path_factory.mktemp("earlier")
    (folder / "kept.dxf").write_bytes(MAKERS["good"]())
    for args in (["new", "kept", "--artwork", "kept.dxf"], ["handover", "kept", "--out", "out"]):
        command = [sys.executable, "-m", "kerfwright.cli.main", *args]
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr
    assert sorted(os.listdir(folder / "out")) == ["program-air.nc", "program.nc", "summary.json"]  # noqa: PTH208
    (folder / "no-tool.toml").write_text(rules(tool="unobtainium"))
    (folder / "no-card.toml").write_text(rules(card="unobtainium"))
    (folder / "wrong-tool.toml").write_text(rules(tool="long-steep-7"))
    (folder / "too-deep.toml").write_text(rules(depth="-4.0"))
    (folder / "junk.nc").write_bytes(bytes(range(255, -1, -1)) * 10)
    (folder / "empty.nc").write_bytes(b"")
    (folder / "crowded" / "program.nc").mkdir(parents=True)
    return folder


@pytest.fixture
def place(earlier, tmp_path, capfd, monkeypatch) -> Place:
    """A copy of the earlier folder."""
    folder = tmp_path / "work"
    shutil.copytree(earlier, folder)
    monkeypatch.delenv("KERFWRIGHT_SHOP", raising=False)
    monkeypatch.setenv("COLUMNS", "200")
    return Place(folder=folder, capture=capfd, patch=monkeypatch)
