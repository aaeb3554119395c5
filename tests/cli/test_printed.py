"""Printed sheets through the command line: what is wrong is said in one sentence."""

from __future__ import annotations

import json
from importlib.resources import files

import numpy as np
import pytest
from PIL import Image

BOARDS = files("kerfwright.job").joinpath("demo", "boards", "boards.pdf")


@pytest.fixture
def printed(place):
    """A job of one printed board, laid out."""
    (place.folder / "boards.pdf").write_bytes(BOARDS.read_bytes())
    args = ("--artwork", "boards.pdf", "--sheet", "700x500", "--nest", "--marks", "6")
    said = place.call("new", "fest", *args)
    assert said.code == 0, said.err
    return place


def write_photos(folder, image, **more):
    folder.mkdir()
    Image.fromarray(image).save(folder / "a.png")
    row = {"file": "a.png", "x_mm": 100.0, "y_mm": 100.0, "px_per_mm": 10.0} | more
    (folder / "photos.json").write_text(json.dumps([row]), encoding="utf-8")


def test_layout_writes_both_print_files(printed):
    said = printed.call("layout", "fest", "--out", "print")
    assert said.code == 0, said.err
    with_lines, without = (
        (printed.folder / "print" / name).read_bytes() for name in ("print.pdf", "print-no-cut.pdf")
    )
    assert b"GTS_ProcStepsGroup" in with_lines
    assert b"GTS_ProcStepsGroup" not in without


def test_a_drawing_without_marks_has_nothing_to_print(place):
    place.draw("good")
    assert place.call("new", "plain", "--artwork", "order.dxf").code == 0
    said = place.call("layout", "plain", "--out", "print")
    assert said.code == 0
    assert not (place.folder / "print").exists()


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (("look", "fest", "--photos", "nowhere"), 3, "photos.json"),
        (("look", "fest", "--photos", ".", "--zones", "one"), 3, "photos.json"),
        (("fit", "fest"), 2, "no sheet yet"),
        (("fit", "fest", "--serial", "3"), 2, "no sheet 3"),
        (("handover", "fest", "--serial", "3"), 2, "no sheet 3"),
        (("demo", "--order", "moon"), 2, "boards, film, plain"),
        (("new", "more", "--artwork", "boards.pdf", "--pages", "2-x"), 2, "no list of pages"),
        (("new", "more", "--artwork", "boards.pdf", "--pages", "0"), 2, "the first page is 1"),
    ],
)
def test_wrong_use_is_said_in_a_sentence(printed, args, code, words):
    said = printed.call(*args)
    assert said.code == code, said.out + said.err
    assert words in said.err
    assert len(said.err.splitlines()) == 1


def test_a_page_the_file_has_not_is_refused(printed):
    assert printed.call("new", "more", "--artwork", "boards.pdf", "--pages", "9").code == 0
    said = printed.call("check", "more")
    assert said.code == 3
    assert "page 9" in said.err


def test_a_picture_without_marks_blocks_and_says_so(printed):
    rng = np.random.default_rng(1)
    write_photos(printed.folder / "shots", rng.integers(90, 160, (480, 640)).astype(np.uint8))
    said = printed.call("look", "fest", "--photos", "shots", "--json")
    assert said.code == 1
    found = {f["code"] for f in json.loads(said.out)["findings"]}
    assert "LOK-125" in found


def test_a_damaged_picture_is_refused(printed):
    write_photos(printed.folder / "shots", np.zeros((48, 64), np.uint8))
    path = printed.folder / "shots" / "a.png"
    path.write_bytes(path.read_bytes()[:60])
    said = printed.call("look", "fest", "--photos", "shots")
    assert said.code == 3
    assert "a.png" in said.err


def test_a_number_that_is_none_is_refused(printed):
    write_photos(printed.folder / "shots", np.zeros((48, 64), np.uint8), x_mm="left")
    said = printed.call("look", "fest", "--photos", "shots")
    assert said.code == 3
    assert "x_mm" in said.err


def test_a_picture_too_dark_says_so(printed):
    dark = np.random.default_rng(2).integers(2, 9, (480, 640)).astype(np.uint8)
    write_photos(printed.folder / "shots", dark)
    said = printed.call("look", "fest", "--photos", "shots", "--json")
    assert said.code == 1
    assert "LOK-102" in {f["code"] for f in json.loads(said.out)["findings"]}


def test_a_picture_of_200_megapixels_is_refused_unread(printed):
    folder = printed.folder / "shots"
    write_photos(folder, np.zeros((48, 64), np.uint8))
    Image.new("1", (20000, 10000)).save(folder / "a.png")
    said = printed.call("look", "fest", "--photos", "shots")
    assert said.code == 4
    assert "a.png" in said.err
    assert "has 200000000 pixels, the limit is 80 million" in said.err
