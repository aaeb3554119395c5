"""The door to compiled kernels: read-only and strided arrays, and a cache that is never stale."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np

import kerfwright
from kerfwright.kernels import SHARED_FILES, kernel

PACKAGE = Path(kerfwright.__file__).parent
TREE = Path(__file__).parent
COMPILED = {"kernel", "inner", "dual"}


@kernel
def _twice(values):
    return values * 2.0


def test_read_only_strided_and_empty_arrays_pass_the_door():
    values = np.arange(6.0)
    values.flags.writeable = False
    assert _twice(values).tolist() == [0, 2, 4, 6, 8, 10]
    assert _twice(values[::2]).tolist() == [0, 4, 8]
    assert _twice(np.zeros(0)).tolist() == []
    assert not values.flags.writeable


def test_a_changed_callee_in_another_file_is_compiled_anew(tmp_path):
    """Seen stale when the cache folder is left to the compiler."""
    room = tmp_path / "mini" / "geometry"
    room.mkdir(parents=True)
    for folder in (tmp_path / "mini", room):
        (folder / "__init__.py").touch()
    door = (PACKAGE / "kernels.py").read_text(encoding="utf-8")
    (tmp_path / "mini" / "kernels.py").write_text(door, encoding="utf-8")
    (room / "caller.py").write_text(
        "from mini.kernels import kernel\nfrom mini.geometry.callee import answer\n"
        "@kernel\ndef ask(x):\n    return answer(x)\nprint(ask(1.0))\n",
        encoding="utf-8",
    )
    told = []
    for number in (1, 2, 2):
        (room / "callee.py").write_text(
            f"from mini.kernels import inner\n@inner\ndef answer(x):\n    return x * {number}.0\n",
            encoding="utf-8",
        )
        run = subprocess.run(
            [sys.executable, "-m", "mini.geometry.caller"],
            cwd=tmp_path,
            env={
                "XDG_CACHE_HOME": str(tmp_path / "cache"),
                "PATH": "/usr/bin",
                "HOME": str(tmp_path),
            },
            capture_output=True,
            text=True,
            check=True,
        )
        told.append(float(run.stdout))
    assert told == [1.0, 2.0, 2.0]
    shutil.rmtree(tmp_path / "cache")


def _foreign_names(tree, room):
    """Return names of a module that come from another room, directly or through a constant."""
    foreign = {}
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("kerfwright."):
            home = "/".join(node.module.split(".")[1:]) + ".py"
            if not home.startswith((room + "/", room + ".py")) and home not in SHARED_FILES:
                foreign |= {a.asname or a.name: home for a in node.names}
        if isinstance(node, (ast.Assign, ast.AnnAssign)) and node.value is not None:
            used = {n.id for n in ast.walk(node.value) if isinstance(n, ast.Name)} & foreign.keys()
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            for target in targets:
                foreign |= {n.id: foreign[u] for n in ast.walk(target) for u in used
                            if isinstance(n, ast.Name)}  # fmt: skip
    return foreign


def test_kernels_use_nothing_that_the_hash_of_their_cache_leaves_out():
    count, wrong = 0, []
    for file in sorted(PACKAGE.rglob("*.py")):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        foreign = _foreign_names(tree, file.relative_to(PACKAGE).parts[0])
        for node in ast.walk(tree):
            if not isinstance(node, ast.FunctionDef):
                continue
            marks = {d.id for d in node.decorator_list if isinstance(d, ast.Name)}
            if not marks & COMPILED:
                continue
            count += 1
            names = {n.id for b in node.body for n in ast.walk(b) if isinstance(n, ast.Name)}
            wrong += [(file.name, node.name, n, foreign[n]) for n in names & foreign.keys()]
    assert count > 100
    assert wrong == []


def _marks(node):
    return {d.id for d in getattr(node, "decorator_list", ()) if isinstance(d, ast.Name)}


def _names_outside_kernels(node):
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Name) and isinstance(child.ctx, ast.Load):
            yield child.id
        if not _marks(child) & COMPILED:
            yield from _names_outside_kernels(child)


def test_python_never_calls_an_inner_function():
    """It would end the process: an inner function has no door for Python."""
    folders = (PACKAGE, TREE, TREE.parent / "benchmarks", TREE.parent / "studies")
    trees = {
        ".".join(f.relative_to(folder.parent).with_suffix("").parts): ast.parse(f.read_bytes())
        for folder in folders
        for f in folder.rglob("*.py")
    }
    inner = {
        name: {n.name for n in tree.body if "inner" in _marks(n)} for name, tree in trees.items()
    }
    assert sum(map(len, inner.values())) > 50
    wrong = []
    for name, tree in trees.items():
        known = set(inner[name])
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and node.module in inner:
                known |= {a.asname or a.name for a in node.names if a.name in inner[node.module]}
        wrong += [(name, used) for used in _names_outside_kernels(tree) if used in known]
    assert wrong == []
