"""Drawings of others: each file is drawn as resvg draws it, or what is missing is said.

The files are part of resvg's own tests (MIT or Apache-2.0), not part of the repository. The first
list names those whose drawn shapes equal resvg's picture while nothing of them is left out; the
second says of each other file what the reader finds. `scripts/study svg_files` compares at four
times the size of the golden pictures, which the lists were made with; here it is twice.
"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import pytest
from PIL import Image

from kerfwright import formats
from kerfwright.errors import KerfwrightError
from kerfwright.errors.messages import cure_of, sentence_of
from kerfwright.formats.drawing import drawing_of
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.svg import reader
from studies._svg_pictures import compare, read_lines

TIMES = 2
MOST = 0.005  # of the pixels outside the edge band
DATA = Path(__file__).parent / "data"
# Codes of units and of fits say nothing of what is missing.
OF_SIZE = ("SVG-101", "SVG-103", "SVG-105")
# Where colour alone differs: the standard takes the plain colour before an ink it does not know
# (SVG 1.1 second edition, 11.2), resvg takes none of both and paints black.
OTHER_COLOURS = ("painting/fill/icc-color.svg",)

pytestmark = pytest.mark.extra_data


def listed(name):
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return [line for line in lines if line and not line.startswith("# ")]


def supported():
    return listed("svg_supported.txt")


def others():
    return dict(line.rsplit(": ", 1) for line in listed("svg_others.txt"))


@pytest.fixture(scope="module")
def folder(extra_data):
    return extra_data / "svg"


def width_of(path):
    with Image.open(path.with_suffix(".png")) as golden:
        return TIMES * golden.size[0]


def test_every_file_is_in_one_list(folder):
    names = {str(f.relative_to(folder)) for f in folder.glob("**/*.svg")}
    assert len(names) == 425
    assert set(supported()) | set(others()) == names
    assert not set(supported()) & set(others())
    assert len(supported()) >= 300
    assert len(supported()) == 346


def test_supported_files_are_drawn_as_resvg_draws_them(folder):
    worst, failed = 0.0, []
    for name in supported():
        found = compare(folder / name, width=width_of(folder / name))
        colours = 0.0 if name in OTHER_COLOURS else found.colours
        worst = max(worst, found.shapes, colours)
        if found.reason or max(found.shapes, colours) > MOST:
            failed.append((name, found))
    print(f"{len(supported())} files, at most {worst:.5f} of the pixels differ")
    assert failed == []


def test_of_other_files_it_is_said_what_is_missing(folder):
    for name, wanted in others().items():
        try:
            found = " ".join(c for c in read_lines(folder / name).codes if c not in OF_SIZE)
        except KerfwrightError:
            found = "refused"
        assert found == wanted, name
        assert found, name


def test_what_reaches_out_of_a_clip_is_whole_under_it(folder):
    """Where only clips hide something, the same lines under the same clips are resvg's picture."""
    checked = 0
    for name, codes in others().items():
        if codes == "SVG-141" and name != "structure/svg/no-size.svg":  # which has no common page
            found = compare(folder / name, width=width_of(folder / name), clipped=True)
            assert not found.reason, name
            assert max(found.shapes, found.colours) <= MOST, name
            checked += 1
    assert checked >= 20


def test_what_is_found_can_be_said(folder):
    for path in sorted(folder.glob("**/*.svg"))[::7]:
        request = {
            "path": path, "file": path.name, "units": None, "scale": 1.0, "tolerance_mm": 0.001,
            "limits": asdict(ReadLimits()),
        }  # fmt: skip
        try:
            drawing = drawing_of(*reader.read(request), file=path.name, tolerance_mm=0.001)
        except KerfwrightError as error:
            assert path.name in str(error)  # noqa: PT017 - a refusal is one of both good ends
            continue
        for f in drawing.findings:
            assert sentence_of(f).startswith(path.name)
            assert cure_of(f)


@pytest.mark.parametrize(
    "name",
    [
        "structure/style/rule-specificity.svg",
        "shapes/path/M-A-s.svg",
        "structure/use/simple-case.svg",
    ],
)
def test_the_child_gives_the_same(folder, name):
    path = folder / name
    request = {
        "path": path, "file": path.name, "units": None, "scale": 1.0, "tolerance_mm": 0.001,
        "limits": asdict(ReadLimits()),
    }  # fmt: skip
    here = drawing_of(*reader.read(request), file=path.name, tolerance_mm=0.001)
    assert formats.read_artwork(path).digest == here.digest
