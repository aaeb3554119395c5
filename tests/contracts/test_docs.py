"""The pages say what the code holds: names, findings, exit codes."""

from __future__ import annotations

import importlib.util
import re
import string
from pathlib import Path
from types import ModuleType

import pytest

from kerfwright.cli.main import DEFECT, INTERRUPTED
from kerfwright.errors import KerfwrightError, Severity
from kerfwright.errors.messages import load_catalogue

ROOT = Path(__file__).parents[2]
SOURCES = sorted((ROOT / "src").rglob("*.py"))
CODE = re.compile(r"[A-Z]{2,4}-\d{3}")
# Longest first: a name that ends in _mm_s is a speed.
UNIT_OF_ENDING = {
    "_mm_s2": "mm/s2",
    "_rad_s2": "rad/s2",
    "_mm_s": "mm/s",
    "_mm_min": "mm/min",
    "_rad_s": "rad/s",
    "_n_mm2": "N/mm2",
    "_n_mm": "N/mm",
    "_mm2": "mm2",
    "_mm": "mm",
    "_rad": "rad",
    "_deg": "deg",
    "_kg": "kg",
    "_n": "N",
    "_pa": "Pa",
    "_s": "s",
}
# Counts and fractions whose name speaks of mm, degrees or arc length s.
WITHOUT_UNIT = {"decimals_mm", "decimals_deg", "entry_s"}


def script(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, ROOT / "scripts" / "lib" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def rows() -> dict[str, tuple[str, str, str]]:
    page = (ROOT / "docs" / "nomenclature.md").read_text(encoding="utf-8")
    return script("public_names").page_rows(page)


@pytest.fixture(scope="module")
def names() -> dict[str, list[str]]:
    return script("public_names").public_names()


def test_every_public_name_is_in_the_nomenclature(names, rows):
    assert {"points", "bulges"} <= names.keys(), "the search must find the fields of PathSet"
    missing = {n: where[0] for n, where in sorted(names.items()) if n not in rows}
    assert missing == {}, "scripts/docs-names lists what is missing"


def test_the_nomenclature_lists_nothing_that_is_gone(names, rows):
    assert sorted(rows.keys() - names.keys()) == []


def test_each_row_has_a_meaning_a_unit_and_a_source(rows):
    assert [n for n, cells in rows.items() if not all(cells)] == [], "write - where there is none"


def test_units_agree_with_the_ending_of_the_name(rows):
    wrong = {}
    for name, (_, unit, _) in rows.items():
        ending = next((e for e in UNIT_OF_ENDING if name.endswith(e)), None)
        expected = "-" if name in WITHOUT_UNIT else UNIT_OF_ENDING.get(ending)
        if expected and unit != expected:
            wrong[name] = unit
    assert wrong == {}


def test_findings_page_is_what_the_generator_writes():
    written = (ROOT / "docs" / "findings.md").read_text(encoding="utf-8")
    assert written == script("findings_page").page(load_catalogue()), "run scripts/docs-findings"


def test_command_line_page_is_what_the_generator_writes():
    written = (ROOT / "docs" / "cli.md").read_text(encoding="utf-8")
    assert written == script("cli_page").page(), "run scripts/docs-cli"


def test_every_code_has_an_entry_on_the_page():
    page = (ROOT / "docs" / "findings.md").read_text(encoding="utf-8")
    on_page = re.findall(rf"^### ({CODE.pattern}) \(", page, flags=re.MULTILINE)
    assert sorted(on_page) == sorted(load_catalogue())


def test_codes_in_the_source_and_in_the_catalogue_are_the_same():
    quoted = re.compile(rf"[\"']({CODE.pattern})[\"']")
    used = {code for f in SOURCES for code in quoted.findall(f.read_text(encoding="utf-8"))}
    assert used == set(load_catalogue())


def test_every_entry_is_complete():
    for code, entry in load_catalogue().items():
        assert CODE.fullmatch(code), code
        assert isinstance(entry.severity, Severity), code
        for text in (entry.sentence, entry.cause, entry.cure):
            assert text.strip() == text, f"{code}: an empty or ragged text"
            assert text, f"{code}: an empty text"
            assert list(string.Formatter().parse(text)), f"{code}: no format string"


def all_errors(base: type[KerfwrightError] = KerfwrightError) -> set[type[KerfwrightError]]:
    return {base}.union(*(all_errors(child) for child in base.__subclasses__()))


def test_readme_lists_every_exit_code():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    listed = {int(n) for n in re.findall(r"^\| (\d+) \|", readme, flags=re.MULTILINE)}
    assert listed == {0, DEFECT, INTERRUPTED, *(e.exit_code for e in all_errors())}


def test_readme_names_the_two_commands():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert re.findall(r"^    (scripts/\w+)$", readme, flags=re.MULTILINE)[:2] == [
        "scripts/demo",
        "scripts/test",
    ]
