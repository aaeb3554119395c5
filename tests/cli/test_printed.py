"""Printed sheets through the command line: what is wrong is said in one sentence."""

from __future__ import annotations

import json
from importlib.resources import files

import cv2
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
        (("look", "fest"), 2, "--bed-picture with --bed-points"),
        (("look", "fest", "--bed-picture", "bed.png"), 2, "--bed-picture with --bed-points"),
        (("look", "fest", "--photos", ".", "--bed-points", "p.json"), 2, "not both at once"),
        (("look", "fest", "--bed-picture", "b.png", "--bed-points", "p.json"), 3, "p.json"),
        (("fit", "fest"), 2, "no sheet yet"),
        (("fit", "fest", "--serial", "3"), 2, "no sheet 3"),
        (("handover", "fest", "--serial", "3"), 2, "no sheet 3"),
        (("demo", "--order", "moon"), 2, "boards, film, base, carton, plain"),
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


def write_bed(folder, image, px, table):
    Image.fromarray(image).save(folder / "bed.png", compress_level=1)
    rows = [dict(zip(("x_px", "y_px", "x_mm", "y_mm"), (*p, *t), strict=True))
            for p, t in zip(px, table, strict=True)]  # fmt: skip
    (folder / "points.json").write_text(json.dumps(rows), encoding="utf-8")


def test_a_bed_picture_says_where_the_marks_lie(printed):
    """Marks painted where the sheet would lie at the load pose, shifted and seen from above."""
    from kerfwright.job.pipeline import run_stages
    from kerfwright.job.stages import STAGES
    from kerfwright.job.store import FolderStore

    store = FolderStore(printed.folder / "shop")
    run = run_stages(STAGES, store.load_job("fest"), store, last="layout")
    x0, y0, x1, y1 = run.context.table.bed
    scale, marks = 2.0, run.upstream["layout"].marks
    image = np.full((round((y1 - y0) * scale), round((x1 - x0) * scale)), 90, np.uint8)
    empty = image.copy()
    x, y = round((400.0 - x0) * scale), round((y1 - 300.0) * scale)
    cv2.rectangle(image, (x, y), (x + round(700 * scale), y - round(500 * scale)), 215, -1)
    places = np.add(marks.xy, (400.0, 300.0))
    for x, y in places:
        at = (round((x - x0) * scale), round((y1 - y) * scale))
        cv2.circle(image, at, round(marks.diameter_mm / 2.0 * scale), 30, -1, cv2.LINE_AA)
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    px = [((x - x0) * scale - 0.5, (y1 - y) * scale - 0.5) for x, y in corners]
    write_bed(printed.folder, cv2.GaussianBlur(image, (0, 0), 0.8), px, corners)
    args = ("look", "fest", "--bed-picture", "bed.png", "--bed-points", "points.json")
    said = printed.call(*args, "--json")
    assert said.code == 0, said.out + said.err
    rows = json.loads(said.out)["marks"]
    assert len(rows) == len(marks.xy)
    told = np.array([(row["x_mm"], row["y_mm"]) for row in rows])
    assert np.abs(told - places).max() < 1.5
    said = printed.call(*args)
    assert said.code == 0
    assert "Marks on the bed, roughly" in said.out
    write_bed(printed.folder, empty, px, corners)
    said = printed.call(*args, "--json")
    assert said.code == 1
    assert "LOK-151" in {f["code"] for f in json.loads(said.out)["findings"]}
