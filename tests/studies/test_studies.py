"""Every study of studies/ holds on its small sample, run by the same code as the large one."""

from __future__ import annotations

import importlib
import json
from pathlib import Path

import pytest

STUDIES = sorted(
    f.stem
    for f in (Path(__file__).parents[2] / "studies").glob("*.py")
    if not f.stem.startswith("_")
)


@pytest.mark.study
@pytest.mark.parametrize("name", STUDIES)
def test_small_sample_holds(name):
    study = importlib.import_module(f"studies.{name}")
    seen = []
    result = study.run(0, study.SMALL_SIZE, lambda done, total: seen.append((done, total)))
    assert json.loads(json.dumps(result)) == result, "a result must survive JSON"
    assert result["failures"] == []
    assert seen, "a study reports its progress"
    assert study.DEFAULT_SIZE >= study.SMALL_SIZE >= 1
    assert (study.__doc__ or "").strip(), "the first line says what is compared"
