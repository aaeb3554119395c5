"""The door to compiled kernels: read-only and strided arrays, and a cache that is never stale."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np

import kerfwright
from kerfwright.kernels import kernel

PACKAGE = Path(kerfwright.__file__).parent


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
