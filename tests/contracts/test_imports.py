"""The import rule holds, and each contract sees the fault it is there for."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).parents[2]
LINT = "from importlinter.cli import lint_imports_command; lint_imports_command()"

VERIFY_MAY_IMPORT = {
    "kerfwright.errors",
    "kerfwright.geometry.paths",
    "kerfwright.geometry.plane_map",
    "kerfwright.geometry.uncertain_map",
    "kerfwright.kernels",
    "kerfwright.model",
    "kerfwright.units",
    "kerfwright.verify",
}
LIBRARIES_OF_VERIFY = {"numpy", "scipy", "shapely"}

# Contract, and what is added to which modules to break it.
PLANTED = [
    ("layers", {"toolpath/planted.py": "import kerfwright.sequence"}),
    ("layers", {"geometry/planted.py": "import kerfwright.model"}),
    ("layers", {"motion/planted.py": "import kerfwright.program"}),
    ("layers", {"units.py": "import kerfwright.errors"}),
    ("layers", {"brand_new_room/planted.py": "x = 1"}),
    ("faces", {"cli/planted.py": "import kerfwright.toolpath"}),
    ("faces-motion", {"cli/planted.py": "import kerfwright.motion"}),
    ("verify-rooms", {"verify/planted.py": "import kerfwright.motion"}),
    ("verify-rooms", {"verify/planted.py": "import kerfwright.geometry.fit"}),
    (
        "verify-rooms",
        {
            "verify/planted.py": "import kerfwright.model.planted",
            "model/planted.py": "import kerfwright.geometry.fit",
        },
    ),
    ("verify-libraries", {"verify/planted.py": "import numba"}),
    ("exact-geometry", {"geometry/paths.py": "import kerfwright.geometry.fit"}),
    (
        "exact-geometry",
        {
            "geometry/offset.py": "",
            "geometry/plane_map.py": "from kerfwright.geometry import offset",
        },
    ),
    ("exact-model", {"model/planted.py": "import kerfwright.geometry.fit"}),
    ("kernels-only", {"geometry/planted.py": "from numba import njit"}),
    ("dxf-only", {"artwork/planted.py": "import ezdxf"}),
    ("cli-only", {"job/planted.py": "import rich.progress"}),
    ("camera-only", {"formats/planted.py": "import cv2"}),
    ("pdf-only", {"report/planted.py": "import pikepdf"}),
    ("report-only", {"job/planted.py": "import reportlab"}),
    ("database-only", {"job/planted.py": "import sqlalchemy"}),
    ("database-only", {"catalog/planted.py": "import alembic"}),
    ("not-yet", {"job/planted.py": "import fastapi"}),
    (
        "acyclic",
        {
            "job/planted.py": "import kerfwright.job.planted_too",
            "job/planted_too.py": "import kerfwright.job.planted",
        },
    ),
]


def lint(folder: Path, contract: str | None = None) -> subprocess.CompletedProcess[str]:
    chosen = ["--contract", contract] if contract else []
    return subprocess.run(
        [sys.executable, "-c", LINT, "--no-cache", *chosen],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(folder / "src")},
        capture_output=True,
        text=True,
        check=False,
    )


def plant(folder: Path, name: str, line: str) -> None:
    file = folder / "src" / "kerfwright" / name
    file.parent.mkdir(exist_ok=True)
    (file.parent / "__init__.py").touch()
    before = file.read_text(encoding="utf-8") if file.exists() else ""
    file.write_text(f"{before}\n{line}\n", encoding="utf-8")


@pytest.fixture
def copied_tree(tmp_path):
    ignored = shutil.ignore_patterns("__pycache__")
    shutil.copytree(ROOT / "src", tmp_path / "src", ignore=ignored)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def contracts() -> list[dict]:
    with (ROOT / "pyproject.toml").open("rb") as file:
        return tomllib.load(file)["tool"]["importlinter"]["contracts"]


def test_all_contracts_are_kept():
    result = lint(ROOT)
    assert result.returncode == 0, result.stdout + result.stderr
    assert f"{len(contracts())} kept, 0 broken" in result.stdout


@pytest.mark.parametrize(
    ("contract", "lines"), PLANTED, ids=[f"{c}:{'+'.join(lines.values())}" for c, lines in PLANTED]
)
def test_planted_violation_is_caught(copied_tree, contract, lines):
    for name, line in lines.items():
        plant(copied_tree, name, line)
    result = lint(copied_tree, contract)
    assert result.returncode == 1, result.stdout + result.stderr
    assert "0 kept, 1 broken" in result.stdout


def test_every_contract_has_a_planted_violation():
    assert {c["id"] for c in contracts()} == {contract for contract, _ in PLANTED}


def test_there_are_no_ignores():
    assert "exhaustive_ignores" not in str(contracts())
    assert "ignore_imports" not in str(contracts())
    assert contracts()[0]["exhaustive"] is True


def test_a_room_in_parentheses_has_no_folder_yet():
    layers = " ".join(contracts()[0]["layers"])
    waiting = set(re.findall(r"\((\w+)\)", layers))
    source = ROOT / "src" / "kerfwright"
    present = {f.stem for f in source.iterdir() if f.suffix == ".py" or f.is_dir()}
    assert waiting & present == set(), "a room with code stands without parentheses"


def test_geometry_has_an_empty_door():
    assert (ROOT / "src/kerfwright/geometry/__init__.py").read_text(encoding="utf-8") == ""


def test_a_module_named_by_text_is_of_the_same_room():
    # Contracts see import statements only; a module loaded by its name as text slips past them.
    named = re.compile(r"[\"']kerfwright\.(\w+)[\w.]*[\"']")
    source = ROOT / "src" / "kerfwright"
    strange = {
        (file.relative_to(source).as_posix(), room)
        for file in source.rglob("*.py")
        for room in named.findall(file.read_text(encoding="utf-8"))
        if room != file.relative_to(source).parts[0].removesuffix(".py")
    }
    assert strange == set()


def test_verify_imports_only_what_it_may():
    graph = grimp.build_graph("kerfwright", include_external_packages=True, cache_dir=None)
    modules = {"kerfwright.verify"} | graph.find_descendants("kerfwright.verify")
    used = set().union(*(graph.find_modules_directly_imported_by(m) for m in modules))
    standard = set(sys.stdlib_module_names)
    strange = {
        name
        for name in used
        if name not in standard | LIBRARIES_OF_VERIFY
        and not any(name == ok or name.startswith(f"{ok}.") for ok in VERIFY_MAY_IMPORT)
    }
    assert used & LIBRARIES_OF_VERIFY, "the graph must hold libraries, or this test sees nothing"
    assert strange == set()
