"""Every hostile or broken PDF file ends in one clear sentence, within the limits."""

from __future__ import annotations

import zlib
from functools import partial

import numpy as np
import pikepdf
import pytest
from pikepdf import Dictionary, Name

from formats.pdf_pages import Page, codes, read_here, written
from kerfwright import formats
from kerfwright.errors import KerfwrightError, OutOfResourcesError, UnreadableError
from kerfwright.formats.limits import ReadLimits

LIMITS = ReadLimits(instances=4000, seconds=60.0)
SOUND = b"0 0 m 50 50 l S"

DOORS = {
    "read": formats.read_artwork,
    "render": partial(formats.render_page, px_per_mm=1.0),
}


def nested(count, content, last=SOUND):
    """A chain of forms, each with `content`, which places ``/N``, the next one."""
    page = Page(b"/F0 Do")
    follower = None
    for k in reversed(range(count)):
        form = page.form(f"F{k}", content if follower is not None else last)
        form.Resources = Dictionary(XObject=Dictionary())
        if follower is not None:
            form.Resources.XObject.N = follower
        follower = form
    return page


def itself():
    page = Page(b"/A Do")
    form = page.form("A", b"/A Do /A Do")
    form.Resources = Dictionary(XObject=Dictionary(A=form))
    return page


def packed(data):
    page = Page()
    page.bytes()
    page.page.Contents = pikepdf.Stream(page.pdf, zlib.compress(data, 9), Filter=Name.FlateDecode)
    page.bytes = lambda: Page.bytes(Kept(page))
    return page


class Kept:
    """A page whose content stays as it is packed."""

    def __init__(self, page):
        self.pdf, self.page = page.pdf, _Fixed(page.page)
        self.content = b""


class _Fixed:
    def __init__(self, page):
        object.__setattr__(self, "page", page)

    def __setattr__(self, name, value):
        """Leave the content alone."""


def stray():
    page = Page(SOUND)
    data = page.plain_bytes()
    return data.replace(b"/Contents 4 0 R", b"/Contents [ 1 ]")


CASES = {
    "form in itself": (itself, UnreadableError, r"form A holds itself (A > A)"),
    "doubling forms": (
        lambda: nested(28, b"/N Do /N Do"),
        OutOfResourcesError,
        "more than 4000 placed forms",
    ),
    "deep forms": (
        lambda: nested(200, b"/N Do"),
        OutOfResourcesError,
        "more than 32 forms within one another",
    ),
    "content that unpacks without end": (
        lambda: packed(b"0 0 m 1 1 l S\n" * 14_000_000),
        OutOfResourcesError,
        "unpacks to more than 134217728 bytes",
    ),
    "saved states": (lambda: Page(b"q " * 20_000), OutOfResourcesError, "more than 10000 saved"),
    "huge coordinate": (
        lambda: Page(SOUND + b" 0 0 m 9999999999 0 l S"),
        UnreadableError,
        "path 2 has a coordinate of 3.52778e+09 mm, limit 100000 mm",
    ),
    "digits without end": (
        lambda: Page(b"0 0 m " + b"9" * 5000 + b" 0 l S"),
        UnreadableError,
        "path 1 has a coordinate of inf mm",
    ),
    "matrix that overflows": (
        lambda: Page(b"1" + b"0" * 200 + b" 0 0 1 0 0 cm " * 2 + SOUND),
        UnreadableError,
        "has a coordinate of 1.76389e+201 mm",
    ),
    "no size": (lambda: Page(SOUND, MediaBox=(0, 0, 0, 0)), UnreadableError, "has no size"),
    "size beyond reason": (
        lambda: Page(SOUND, UserUnit=1e9), UnreadableError, "the page is 7.05556e+10 x",
    ),
    "content that is none": (
        stray,
        UnreadableError,
        "where a stream should be",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_one_clear_sentence(tmp_path, name):
    make, kind, words = CASES[name]
    with pytest.raises(kind) as caught:
        read_here(tmp_path, make(), limits=LIMITS)
    message = str(caught.value)
    assert words in message
    assert message.startswith("page.pdf: ")
    assert "\n" not in message


@pytest.mark.parametrize(
    "name", ["form in itself", "doubling forms", "content that unpacks without end"]
)
@pytest.mark.parametrize("door", DOORS)
def test_the_same_through_the_child(tmp_path, name, door):
    make, kind, words = CASES[name]
    path = written(tmp_path, make())
    with pytest.raises(kind) as caught:
        DOORS[door](path, limits=LIMITS)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"user": "secret", "owner": "other"}, "the PDF file is encrypted"),
        ({"user": "", "owner": "other"}, "the PDF file is encrypted"),
    ],
)
def test_encrypted_files(tmp_path, options, words):
    data = Page(SOUND).bytes(encryption=pikepdf.Encryption(**options))
    for door in DOORS.values():
        with pytest.raises(UnreadableError, match=words):
            door(written(tmp_path, data))


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_files_cut_short(tmp_path, share):
    data = Page(SOUND).bytes()
    with pytest.raises(UnreadableError, match="it was cut short"):
        read_here(tmp_path, data[: int(share * len(data))])


def test_files_that_are_no_longer_files(tmp_path):
    for data in (b"%PDF-1.7\n%%EOF\n", b"%PDF-1.7\n" + bytes(5000) + b"\n%%EOF"):
        with pytest.raises(UnreadableError, match=r"page\.pdf: the PDF file is damaged"):
            read_here(tmp_path, data)


def test_a_repaired_file_says_so(tmp_path):
    data = b"\n\n\n" + Page(SOUND).plain_bytes().replace(b"startxref\n", b"startxref\n1")
    drawing = read_here(tmp_path, data)
    assert codes(drawing) == ["PDF-140"]
    assert len(drawing.paths) == 1


def test_damaged_content_is_no_half_drawing(tmp_path):
    page = Page()
    noise = np.random.default_rng(3).integers(0, 400, 4000)
    content = " ".join(f"{a} {b} l" for a, b in zip(noise[::2], noise[1::2], strict=True))
    page.content = b"0 0 m " + content.encode() + b" S"
    data = bytearray(page.bytes(object_stream_mode=pikepdf.ObjectStreamMode.disable))
    at = data.index(b"stream") + 2000
    data[at : at + 40] = bytes(40)
    with pytest.raises(UnreadableError, match="the content of the page is damaged"):
        read_here(tmp_path, bytes(data))


def test_limits_of_paths_pieces_and_operators(tmp_path):
    content = b"0 0 m 9 9 l 5 9 l S " * 50
    for limits, words in (
        (ReadLimits(entities=20), "more than 20 painted paths"),
        (ReadLimits(points=120), "more than 120 pieces"),
        (ReadLimits(operators=99), "more than 99 operators"),
        (ReadLimits(decoded_bytes=500), "unpacks to more than 500 bytes"),
    ):
        with pytest.raises(OutOfResourcesError, match=words):
            read_here(tmp_path, Page(content), limits=limits)
    curves = b"0 0 m 90 0 0 90 90 90 c S"
    with pytest.raises(OutOfResourcesError, match=r"page\.pdf: more than 3 arcs"):
        read_here(tmp_path, Page(curves), limits=ReadLimits(points=3))


def test_long_runs_of_anything_are_read_in_one_go(tmp_path):
    for unit in (b"1 ", b"[", b"(", b"<", b"/", b"BI ", b"<< "):
        drawing = read_here(tmp_path, Page(SOUND + b" " + unit * 50_000))
        assert len(drawing.paths) == 1


def test_forms_that_are_none_are_said(tmp_path):
    page = Page(b"/Gone Do /Odd Do /Skew Do 5 Do " + SOUND)
    page.resources.XObject["/Odd"] = page.pdf.make_stream(b"", Subtype=Name.PS)
    page.form("Skew", SOUND, Matrix=(1, 2))
    drawing = read_here(tmp_path, page)
    assert codes(drawing) == ["PDF-130", "PDF-131", "PDF-135"]
    assert len(drawing.paths) == 1


def test_flipped_bytes_end_in_a_drawing_or_a_sentence(tmp_path):
    page = Page(b"/OC /A BDC /Spot CS 1 SCN 5 5 30 30 re S EMC /F Do")
    page.group("A", "Cut")
    page.spot("Spot", "Cut")
    page.form("F", b"0 0 m 9 0 9 9 20 20 c S")
    sound = np.frombuffer(page.plain_bytes(), np.uint8)
    generator = np.random.default_rng(11)
    outcomes = []
    for _ in range(120):
        broken = sound.copy()
        where = generator.integers(9, len(broken) - 8, 6)
        broken[where] = generator.integers(0, 256, 6)
        try:  # whatever else comes out fails the test
            outcomes.append(f"read {len(read_here(tmp_path, broken.tobytes()).paths)}")
        except KerfwrightError as error:
            outcomes.append(str(error))
    assert [o for o in outcomes if not o.startswith(("read ", "page.pdf: "))] == []
    assert any(o.startswith("page.pdf: ") for o in outcomes)
    assert sum(o == "read 2" for o in outcomes) > 5
