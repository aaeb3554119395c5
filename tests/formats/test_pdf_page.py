"""Boxes, turn, unit and scale against millimetres computed by hand; clips; the record's values.

Rules of boxes, Rotate and UserUnit after ISO 32000-1, 7.7.3.3 and 14.11.2, from memory.
"""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
from pikepdf import Array, Name

from formats.pdf_pages import UNIT_MM, Page, codes, found, lines_of, read_here, step, written
from kerfwright import formats
from kerfwright.errors import UnreadableError, UsageError
from kerfwright.errors.messages import full_sentence_of

EXACT_MM = 1e-9
L_SHAPE = b"30 40 m 130 40 l 130 60 l S"
MEDIA, TRIM = (10, 20, 210, 120), (20, 30, 200, 110)  # trim 180 wide, 80 high


@pytest.mark.parametrize(
    ("rotate", "wanted", "size"),
    [
        # offsets in the trim box: (10, 10), (110, 10), (110, 30)
        (0, [(10, 10), (110, 10), (110, 30)], (180, 80)),
        # clockwise: x' = y, y' = 180 - x
        (90, [(10, 170), (10, 70), (30, 70)], (80, 180)),
        (180, [(170, 70), (70, 70), (70, 50)], (180, 80)),
        # x' = 80 - y, y' = x
        (270, [(70, 10), (70, 110), (50, 110)], (80, 180)),
        (-90, [(70, 10), (70, 110), (50, 110)], (80, 180)),
        (450, [(10, 170), (10, 70), (30, 70)], (80, 180)),
    ],
)
@pytest.mark.parametrize("unit", [None, 1, 2.5])
@pytest.mark.parametrize("scale", [1.0, 10.0])
def test_turn_unit_and_scale(tmp_path, rotate, wanted, size, unit, scale):
    boxes = {} if unit is None else {"UserUnit": unit}
    page = Page(L_SHAPE, MediaBox=MEDIA, TrimBox=TRIM, Rotate=rotate, **boxes)
    mm = UNIT_MM * (unit or 1) * scale
    got = lines_of(tmp_path, page, scale=scale).control
    ends = np.concatenate((got[:, 0], got[-1:, 3]))
    assert np.abs(ends - np.array(wanted) * mm).max() < EXACT_MM * scale
    drawing = read_here(tmp_path, page, scale=scale)
    assert drawing.art.box_mm == pytest.approx((0, 0, size[0] * mm, size[1] * mm), abs=1e-9)
    assert codes(drawing) == []


@pytest.mark.parametrize(
    ("boxes", "origin", "art", "wanted"),
    [
        ({}, (10, 20), (0, 0, 200, 100), []),
        ({"CropBox": (15, 25, 200, 110)}, (15, 25), (0, 0, 185, 85), []),
        ({"CropBox": (15, 25, 200, 110), "TrimBox": TRIM}, (20, 30), (0, 0, 180, 80), []),
        ({"TrimBox": (200, 110, 20, 30)}, (20, 30), (0, 0, 180, 80), []),
        ({"TrimBox": TRIM, "BleedBox": (15, 20, 205, 115)}, (20, 30), (-5, -10, 185, 85), []),
        ({"BleedBox": (15, 20, 205, 115)}, (10, 20), (5, 0, 195, 95), []),
        ({"TrimBox": TRIM, "BleedBox": (0, 0, 300, 300)}, (20, 30), (-10, -10, 190, 90), ["101"]),
        ({"TrimBox": (20, 30, 20, 110)}, (10, 20), (0, 0, 200, 100), ["101"]),
        ({"TrimBox": (400, 400, 500, 500)}, (10, 20), (0, 0, 200, 100), ["101"]),
        ({"TrimBox": (0, 0, 200, 100)}, (10, 20), (0, 0, 190, 80), ["101"]),
        ({"UserUnit": 0}, (10, 20), (0, 0, 200, 100), ["103"]),
        ({"UserUnit": Name.Two, "Rotate": 45}, (10, 20), (0, 0, 200, 100), ["103"]),
    ],
)
def test_the_chosen_box_and_the_art(tmp_path, boxes, origin, art, wanted):
    drawing = read_here(tmp_path, Page(L_SHAPE, MediaBox=MEDIA, **boxes))
    start = (np.array((30, 40)) - origin) * UNIT_MM
    assert np.abs(drawing.paths.points[0] - start).max() < EXACT_MM
    assert drawing.art.box_mm == pytest.approx(np.array(art) * UNIT_MM, abs=EXACT_MM)
    assert [c[4:] for c in codes(drawing)] == wanted
    has_trim = [f for f in drawing.findings if f.code == "PDF-102"] == []
    assert has_trim == ("TrimBox" in boxes and art[2] < 200)


def test_boxes_that_come_from_the_tree_above(tmp_path):
    page = Page(L_SHAPE, TrimBox=TRIM)
    parent = page.page.Parent
    for key, value in (("/MediaBox", Array(MEDIA)), ("/Rotate", 90), ("/Resources", None)):
        parent[key] = page.page[key] if value is None else value
        if key in page.page:
            del page.page[key]
    drawing = read_here(tmp_path, page)
    assert np.abs(drawing.paths.points[0] - np.array((10, 170)) * UNIT_MM).max() < EXACT_MM


def test_the_record(tmp_path):
    page = Page(b"q 1 0 0 RG 2 w " + L_SHAPE + b" Q", TrimBox=(0, 0, 200, 100))
    second = page.pdf.add_blank_page(page_size=(50, 50)).obj
    second.Contents = page.pdf.make_stream(b"0 0 m 1 1 l S 2 2 m 3 3 l S")
    path = written(tmp_path, page)
    drawing = formats.read_artwork(path, page=2)
    assert drawing.ids == ("c1", "c2")
    assert (drawing.unit, drawing.unit_is_certain, drawing.unit_candidates) == ("mm", True, ())
    assert drawing.art.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert drawing.art.page == 2
    assert found(drawing, "PDF-102").where.page == 2
    assert full_sentence_of(found(drawing, "PDF-102")).startswith("page 2: page.pdf: the page has")
    first = formats.read_artwork(path, units="mm", scale=10.0)
    assert first.stroke[0].width_mm == pytest.approx(20 * UNIT_MM)
    assert first.stroke[0].colour == "#ff0000"
    assert first.paths.closed.tolist() == [False]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"units": "in"}, "a PDF page knows its size"),
        ({"units": "parsec"}, "is no unit"),
        ({"page": 0}, "pages are counted from 1"),
        ({"page": 1.0}, "pages are counted from 1"),
        ({"scale": -1.0}, "must be a number above 0"),
    ],
)
def test_wrong_use(tmp_path, options, words):
    with pytest.raises(UsageError, match=words):
        formats.read_artwork(written(tmp_path, Page(L_SHAPE)), **options)


def test_a_page_that_is_not_there(tmp_path):
    with pytest.raises(UnreadableError, match="page 7 was asked for, the file has one page"):
        formats.read_artwork(written(tmp_path, Page(L_SHAPE)), page=7)


CLIPS = {
    "none": (b"", 0),
    "larger": (b"0 0 150 90 re W n", 0),
    "its own edge": (b"20 20 50 40 re W n", 0),
    "smaller": (b"0 0 60 90 re W n", 1),
    "elsewhere": (b"100 0 60 90 re W n", 1),
    "of nothing": (b"5 5 m W n", 1),
    "larger within smaller": (b"0 0 60 90 re W n 0 0 150 90 re W n", 1),
    "smaller, undone": (b"q 0 0 60 90 re W n Q", 0),
    "larger ring, inside": (b"0 0 180 95 re 1 1 5 5 re W* n", 0),
    "ring with the line in its hole": (b"0 0 180 95 re 10 10 100 70 re W* n", 1),
    "the same, not even-odd": (b"0 0 180 95 re 10 10 100 70 re W n", 0),
    "round, larger": (b"100 50 m 100 140 -60 140 -60 50 c -60 -60 100 -60 100 50 c W n", 0),
    "wedge": (b"0 0 m 180 0 l 0 95 l W n", 1),
    "turned": (b"q .8 .6 -.6 .8 0 0 cm 0 0 50 30 re W n 1 0 0 1 0 0 cm", 1),
    "huge": (b"-1e9 0 m -99999999 -99999999 199999999 199999999 re W n", 0),
}


@pytest.mark.parametrize("name", CLIPS)
def test_what_a_clip_hides_is_reported_and_read_whole(tmp_path, name):
    clip, hidden = CLIPS[name]
    close = b" Q" if name == "turned" else b""
    page = Page(clip + b" /OC /A BDC 20 20 50 40 re S EMC" + close)
    page.group("A", "Cut", step("Structural", "Cutting"))
    drawing = read_here(tmp_path, page)
    if name == "turned":
        assert drawing.paths.lengths_mm()[0] == pytest.approx(180 * UNIT_MM)
    else:
        assert drawing.paths.bounds_mm()[0] == pytest.approx(np.array((20, 20, 70, 60)) * UNIT_MM)
    assert [c for c in codes(drawing) if c != "PDF-130"] == ["PDF-141"] * hidden
    if hidden:
        finding = found(drawing, "PDF-141")
        assert finding.params["contours"] == "c1"
        assert "Structural/Cutting" in full_sentence_of(finding)
        assert finding.where.xy_mm is not None


def test_boxes_of_forms_and_the_page_are_clips_too(tmp_path):
    page = Page(b"/F Do 150 50 m 250 50 l S")
    page.form("F", b"/Spot CS 1 SCN 20 20 m 80 20 l S", box=(0, 0, 50, 50))
    page.spot("Spot", "Crease")
    drawing = read_here(tmp_path, page)
    assert codes(drawing) == ["PDF-141", "PDF-142"]
    assert found(drawing, "PDF-141").params["names"] == "Crease (1)"
    assert found(drawing, "PDF-142").params["count"] == 1


def test_clips_too_large_to_look_at_are_said(tmp_path):
    zigzag = " ".join(f"{k % 180} {(k * 7) % 90} l" for k in range(4000))
    many = " ".join(f"{10 + k % 150} {10 + k % 70} m 50 50 l" for k in range(2000))
    drawing = read_here(tmp_path, Page(f"0 0 m {zigzag} W n {many} S".encode()))
    assert "PDF-143" in codes(drawing)
