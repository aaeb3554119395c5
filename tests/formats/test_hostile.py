"""Every hostile or broken file ends in one clear sentence, within the limits, in its own process.

The kinds of attack are those seen in the wild by readers of the format: blocks that hold
themselves, that double, huge grids, numbers that are none, radii beyond reason, files cut short.
"""

from __future__ import annotations

import logging
import time

import ezdxf
import numpy as np
import pytest

from formats.dxf_text import block, circle, drawing, insert, line, read_path, tags
from kerfwright import formats
from kerfwright.errors import KerfwrightError, OutOfResourcesError, UnreadableError, UsageError
from kerfwright.formats.limits import ReadLimits

DOUBLING = [
    block(f"B{k}", insert(f"B{k + 1}"), insert(f"B{k + 1}", x=2**k))
    if k < 40
    else block("B40", line())
    for k in range(41)
]
CHAIN = [
    block(f"B{k}", insert(f"B{k + 1}")) if k < 1500 else block("B1500", line()) for k in range(1501)
]
SPLINE = (0, "SPLINE", 5, "A1", 100, "AcDbEntity", 8, "CUT", 100, "AcDbSpline", 70, 8)


def spline(degree, knots, points, weights=()):
    return tags(
        *SPLINE, 71, degree, 72, len(knots), 73, len(points), 74, 0,
        *[v for k in knots for v in (40, k)],
        *[v for w in weights for v in (41, w)],
        *[v for x, y in points for v in (10, x, 20, y, 30, 0)],
    )  # fmt: skip


CASES = {
    "block in itself": (
        drawing(insert("A"), blocks=[block("A", insert("A"), line())]),
        UnreadableError,
        "block A holds itself (A > A)",
    ),
    "ring of blocks": (
        drawing(
            insert("A"),
            blocks=[block("A", insert("B")), block("B", insert("C")), block("C", insert("A"))],
        ),
        UnreadableError,
        "block A holds itself (A > B > C > A)",
    ),
    "doubling blocks": (
        drawing(insert("B0"), blocks=DOUBLING),
        OutOfResourcesError,
        "2199023255551 copies of blocks, limit 100000",
    ),
    "huge grid": (
        drawing(insert("A", 70, 30000, 71, 30000, 44, 1, 45, 1), blocks=[block("A", line())]),
        OutOfResourcesError,
        "limit 100000",
    ),
    "grid of grids": (
        drawing(
            insert("A", 70, 300, 71, 300, 44, 1, 45, 1),
            blocks=[block("A", insert("B", 70, 300, 71, 300, 44, 1, 45, 1)), block("B", line())],
        ),
        OutOfResourcesError,
        "copies of blocks, limit 100000",
    ),
    "radius of 1e300": (
        drawing(line(), circle(radius=1e300)),
        UnreadableError,
        "CIRCLE",
    ),
    "radius of 1e9": (
        drawing(circle(radius=1e9)),
        UnreadableError,
        "coordinate of 1e+09 mm (read in mm), limit 100000 mm",
    ),
    "distant centre": (
        drawing(tags(0, "ARC", 8, "CUT", 10, 1e12, 20, 0, 40, 1e12, 50, 180, 51, 180.0000001)),
        UnreadableError,
        "ARC",
    ),
    "nan": (
        drawing(line(), line(x1="nan")),
        UnreadableError,
        "on layer CUT holds nan, which is no finite number",
    ),
    "infinity": (drawing(line(y0="inf")), UnreadableError, "holds inf, which"),
    "nan bulge": (
        drawing(
            tags(0, "POLYLINE", 8, "CUT", 66, 1, 10, 0, 20, 0, 30, 0, 70, 0),
            tags(0, "VERTEX", 8, "CUT", 10, 0, 20, 0, 42, "nan"),
            tags(0, "VERTEX", 8, "CUT", 10, 5, 20, 0),
            tags(0, "SEQEND", 8, "CUT"),
        ),
        UnreadableError,
        "holds nan, which is no finite number",
    ),
    "huge bulge": (
        drawing(
            tags(0, "POLYLINE", 8, "CUT", 66, 1, 10, 0, 20, 0, 30, 0, 70, 0),
            tags(0, "VERTEX", 8, "CUT", 10, 0, 20, 0, 42, 1e300),
            tags(0, "VERTEX", 8, "CUT", 10, 5, 20, 0),
            tags(0, "SEQEND", 8, "CUT"),
        ),
        UnreadableError,
        "limit 100000 mm",
    ),
    "far from the origin": (
        drawing(line(x0=3.5e6, x1=3.5e6 + 100)),
        UnreadableError,
        "move the drawing to its origin",
    ),
    "scale that overflows": (
        drawing(insert("A", 41, 1e308, 42, 1e308), blocks=[block("A", line(x1=1e10))]),
        UnreadableError,
        "LINE",
    ),
    "cut short": (drawing(line(), circle())[:-40], UnreadableError, "without its end mark EOF"),
    "words": ("Dear all,\nplease cut this.\n" * 20, UnreadableError, "without its end mark"),
    "words that end right": (
        "Dear all,\nplease cut this.\n" * 20 + "0\nEOF\n",
        UnreadableError,
        "no sound DXF file",
    ),
}  # fmt: skip


def assert_clear(error, words):
    message = str(error)
    assert words in message
    assert message.startswith("drawing.dxf: ")
    assert "\n" not in message
    assert "Traceback" not in message


@pytest.mark.parametrize("name", CASES)
def test_one_clear_sentence(tmp_path, name):
    """In this process: the reader itself must answer, not only the limits around it."""
    content, kind, words = CASES[name]
    path = tmp_path / "drawing.dxf"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(kind) as caught:
        read_path(path)
    assert_clear(caught.value, words)


@pytest.mark.parametrize("name", ["ring of blocks", "doubling blocks", "nan", "cut short"])
def test_one_clear_sentence_through_the_child(read_file, name):
    content, kind, words = CASES[name]
    began = time.monotonic()
    with pytest.raises(kind) as caught:
        read_file(content, units="mm", limits=ReadLimits(seconds=40.0))
    assert_clear(caught.value, words)
    assert time.monotonic() - began < 60.0, "answered, not stopped"


def test_an_end_mark_alone_is_an_empty_drawing(read_file):
    found = read_file(tags(0, "EOF"))
    assert [f.code for f in found.findings] == ["DXF-150", "DXF-140"]
    assert not len(found.paths)


def test_a_deep_chain_of_blocks_is_no_recursion(tmp_path):
    path = tmp_path / "drawing.dxf"
    path.write_text(drawing(insert("B0"), blocks=CHAIN))
    header, _ = read_path(path)
    assert len(header["source"]) == 1


@pytest.mark.parametrize(
    ("spline_tags", "words"),
    [
        (spline(25, range(60), [(k, 0) for k in range(34)]), "degree 25"),
        (spline(3, [0, 0, 0, 0, 1, 1, 1, 1], [(0, 0), (1, 1)]), "2 control points"),
        (spline(1, [0, 0, 2, 1, 3, 3], [(0, 0), (1, 1), (2, 0), (3, 3)]), "backwards"),
        (spline(1, [1, 1, 1, 1], [(0, 0), (1, 1)]), "no curve"),
        (spline(1, [0, 0, 1, 1], [(0, 0), (1, 1)], weights=[1, 0]), "a weight of 0"),
        (spline(3, [], []), "0 fit points"),
        (
            spline(1, [0, 0, 1, 1, 2, 2], [(0, 0), (1, 1), (5, 5), (6, 6)]),
            "knots that tear the curve",
        ),
    ],
)
def test_an_unusable_spline_is_said_and_the_rest_is_read(tmp_path, spline_tags, words):
    path = tmp_path / "drawing.dxf"
    path.write_text(drawing(line(), spline_tags).replace("AC1009", "AC1015"))
    header, _ = read_path(path)
    assert len(header["source"]) == 1
    (note,) = [n for n in header["notes"] if n["code"] == "DXF-130"]
    assert words in note["params"]["names"]


def test_limits_of_size_entities_and_points(read_file, tmp_path):
    text = drawing(*[line(y0=k) for k in range(50)])
    with pytest.raises(OutOfResourcesError, match="bytes, limit 100"):
        read_file(text, limits=ReadLimits(file_bytes=100))
    path = tmp_path / "drawing.dxf"
    path.write_text(text)
    for limits, words in (
        (ReadLimits(entities=20), "more than 20 entities"),
        (ReadLimits(points=60), "100 vertices, limit 60"),
    ):
        with pytest.raises(OutOfResourcesError, match=words):
            read_path(path, limits=limits)


def test_a_reader_out_of_memory_or_time_says_so(read_file):
    text = drawing(*[line(y0=k) for k in range(40_000)])
    with pytest.raises(OutOfResourcesError, match="memory than the limit of 143 MiB"):
        read_file(text, units="mm", limits=ReadLimits(memory_bytes=150_000_000))
    with pytest.raises(OutOfResourcesError, match=r"limit of 1 s"):
        read_file(text, units="mm", limits=ReadLimits(seconds=1.0))


@pytest.mark.parametrize("binary", [False, True])
def test_flipped_bytes_end_in_a_drawing_or_a_sentence(tmp_path, monkeypatch, binary):
    """In this process, for speed: nothing but the errors of the tree may come out."""
    # The library quotes broken bytes in its log, and those cannot be passed between processes.
    monkeypatch.setattr(logging.getLogger("ezdxf"), "disabled", True)
    document = ezdxf.new("R2010", units=4)
    document.blocks.new("HOLE").add_circle((1, 2), 3)
    document.modelspace().add_blockref("HOLE", (5, 6))
    document.modelspace().add_lwpolyline([(0, 0, 0.3), (4, 1, -2), (2, 2, 0)], format="xyb")
    document.modelspace().add_line((0, 0), (9, 9))
    path = tmp_path / "sound.dxf"
    document.saveas(path, fmt="bin" if binary else "asc")
    sound = np.frombuffer(path.read_bytes(), np.uint8)
    generator = np.random.default_rng(5)
    outcomes = []
    for _ in range(25):
        broken = sound.copy()
        where = generator.integers(0, len(broken), 20)
        broken[where] = generator.integers(0, 256, 20)
        path.write_bytes(broken.tobytes())
        try:  # whatever else comes out fails the test
            header, _ = read_path(path)
            outcomes.append(f"read {len(header['source'])}")
        except KerfwrightError as error:
            outcomes.append(str(error))
    assert [o for o in outcomes if not o.startswith(("read ", "sound.dxf: "))] == []
    assert any(o.startswith("sound.dxf: ") for o in outcomes)


@pytest.mark.parametrize("name", ["a.pdf", "a.dxf"])
def test_a_page_cut_short_is_refused_whatever_its_name(tmp_path, name):
    (tmp_path / name).write_bytes(b"%PDF-1.7\n...")
    with pytest.raises(UnreadableError, match=f"{name}: .*cut short"):
        formats.read_artwork(tmp_path / name)


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("a.svg", b"hello", "a file of an unknown kind (.svg)"),
        ("a.dwg", b"AC1032\0\0\0", "DWG format"),
        ("a.png", b"\x89PNG\r\n\x1a\n", "a PNG picture"),
        ("a.dxf", b"PK\x03\x04", "a zip archive"),
        ("a.xyz", b"hello", "a file of an unknown kind (.xyz)"),
        ("a", b"hello", "a file of an unknown kind (no suffix)"),
    ],
)
def test_other_kinds_are_named(read_file, name, content, words):
    with pytest.raises(UnreadableError) as caught:
        read_file(content, name=name)
    assert words in str(caught.value)
    assert "export the lines as DXF, SVG or PDF" in str(caught.value)


@pytest.mark.parametrize("content", [b"", b"\n \r\n", b"\0" * 5000])
def test_empty_files(read_file, content):
    with pytest.raises(UnreadableError, match=r"drawing\.dxf: the file is empty"):
        read_file(content)


def test_content_counts_more_than_the_name(read_file):
    assert len(read_file(drawing(line()), name="drawing.txt", units="mm").paths) == 1


def test_missing_files_and_folders(tmp_path):
    with pytest.raises(UnreadableError, match=r"nothing\.dxf: there is no such file"):
        formats.read_artwork(tmp_path / "nothing.dxf")
    with pytest.raises(UnreadableError, match="no file but a folder"):
        formats.read_artwork(tmp_path)
    with pytest.raises(UnreadableError, match="cannot be opened"):
        formats.read_artwork(tmp_path / ("x" * 300 + ".dxf"))


@pytest.mark.parametrize(
    "options",
    [
        {"units": "parsec"},
        {"scale": 0.0},
        {"scale": float("nan")},
        {"tolerance_mm": -1.0},
        {"page": 2},
    ],
)
def test_wrong_use_is_said(read_file, options):
    with pytest.raises(UsageError):
        read_file(drawing(line()), **options)
