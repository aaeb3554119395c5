"""Every bad line ends in one clear error: code, line, and a message with a cure."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from kerfwright.errors import ModelError, ProgramSyntaxError
from kerfwright.errors.messages import load_catalogue
from kerfwright.program import load_dialect, read_program

DIALECT = load_dialect("offsets-in-control-arcs")
with (Path(__file__).parent / "refusals.toml").open("rb") as file:
    CASES = tomllib.load(file)["case"]
BEFORE, AFTER = "G21\nG0 X0 Y0 Z5 C0\n", "\nM2\n"


def whole(case: dict) -> str:
    return case["whole"] if "whole" in case else BEFORE + case["text"] + AFTER


@pytest.mark.reference("error list of the NIST RS274/NGC interpreter version 3, read in the source")
@pytest.mark.parametrize("case", CASES, ids=lambda c: c["name"])
def test_bad_line_is_refused(case):
    with pytest.raises(ProgramSyntaxError) as caught:
        read_program(whole(case), DIALECT)
    error = caught.value
    assert (error.code, error.line) == (case["code"], case["line"]), error.message
    assert error.message.startswith(f"line {case['line']}: ")
    assert "{" not in error.message
    assert error.message.isascii()
    assert error.finding.where.line == case["line"]


def test_the_cases_are_many_and_different():
    assert len({whole(c) for c in CASES}) == len(CASES)
    assert len([c for c in CASES if c["nist"]]) >= 60


def test_every_code_of_the_reader_has_a_case():
    codes = {c for c in load_catalogue() if c.startswith("PRG-1")}
    assert codes - {c["code"] for c in CASES} == {"PRG-102"}, "the last has a test of its own"


def test_the_same_text_without_the_fault_is_read():
    assert len(read_program(BEFORE + "G1 X1 F100" + AFTER, DIALECT)) == 1


def test_the_number_of_lines_is_limited():
    short = replace(DIALECT, max_lines=4)
    text = "G21\nG0 X0 Y0\nG0 X1\nM2\n"
    assert len(read_program(text, short)) == 1
    with pytest.raises(ProgramSyntaxError, match="beyond 4 lines") as caught:
        read_program(text.replace("M2", "G0 X2\nM2"), short)
    assert (caught.value.code, caught.value.line) == ("PRG-102", 5)


def test_values_and_limits_are_in_the_message():
    with pytest.raises(
        ProgramSyntaxError, match=r"0\.0021 mm apart in radius; 0\.002 mm"
    ) as caught:
        read_program(BEFORE + "G2 X20.0021 Y0 I10 J0 F100" + AFTER, DIALECT)
    assert caught.value.finding.measured == pytest.approx(0.0021, abs=1e-9)
    assert caught.value.finding.limit == pytest.approx(0.002)


@pytest.mark.parametrize(
    "words",
    [
        {"tool": "T{value}"},
        {"tool": "T1 M6"},
        {"oscillation_on": "M11"},
        {"oscillation_on": "M11 P{value} Q{per_minute}"},
        {"vacuum_on": "M{value}"},
        {"pause": "M2"},
        {"pause": "hold"},
    ],
)
def test_a_dialect_whose_words_cannot_be_read_back_is_refused(words):
    odd = replace(DIALECT, words={**DIALECT.words, **words})
    with pytest.raises(ModelError, match="cannot be read back"):
        read_program("G21\nM2\n", odd)
