"""Every hostile or broken SVG file ends in a finding or one clear sentence, within the limits.

The kinds of attack are those readers of the format have met: copies of themselves, copies that
double, groups without end, numbers that are none, entities that multiply, files cut short.
"""

from __future__ import annotations

import gzip
import zlib

import numpy as np
import pytest

from formats.svg_text import NAMESPACES, codes, finding, path, read_svg, stroked, svg
from kerfwright.errors import KerfwrightError, OutOfResourcesError, UnreadableError, UsageError
from kerfwright.errors.messages import sentence_of
from kerfwright.formats.limits import ReadLimits


def doubling(levels):
    groups = "".join(
        f'<g id="g{k}"><use href="#g{k + 1}"/><use href="#g{k + 1}" x="1"/></g>'
        for k in range(levels)
    )
    return svg(f'<defs>{groups}<rect id="g{levels}" width="1" height="1"/></defs><use href="#g0"/>')


LAUGHS = "".join(f'<!ENTITY a{k} "{f"&a{k - 1};" * 10 if k else "ha"}">' for k in range(10))
REFUSED = {
    "copies that double 18 times": (doubling(18), OutOfResourcesError, "copies, limit 100000"),
    "copies that double 60 times": (
        doubling(60),
        OutOfResourcesError,
        "2305843009213693951 copies, limit 100000",
    ),
    "copies 40 deep": (
        svg(
            "<defs>"
            + "".join(f'<use id="u{k}" href="#u{k + 1}"/>' for k in range(40))
            + '<path id="u40" d="M0 0h1"/></defs><use href="#u0"/>'
        ),
        OutOfResourcesError,
        "more than 32 copies within one another",
    ),
    "20,000 groups": (
        svg("<g>" * 20_000 + path("M0 0h1") + "</g>" * 20_000),
        OutOfResourcesError,
        "groups within groups",
    ),
    "number 1e400": (svg(path("M0 0 L1e400 5")), UnreadableError, "path, line 1: the number 1e400"),
    "radius 1e400": (
        svg('<circle id="c" r="1e400"/>'),
        UnreadableError,
        "circle#c, line 1: the number 1e400",
    ),
    "page 1e400": (
        svg("", 'viewBox="0 0 1e400 1"'),
        UnreadableError,
        "the number 1e400 is beyond 1e30, which no page",
    ),
    "scale upon scale": (
        svg('<g transform="scale(1e20)"><g transform="scale(1e20)"><path d="M0 0h1"/></g></g>'),
        UnreadableError,
        "the number 1e+40 by transforms within one another",
    ),
    "coordinate of 1e20": (
        svg(path("M0 0 L1e20 5")),
        UnreadableError,
        "path, line 1: a coordinate of 1e+20 mm, limit 100000 mm",
    ),
    "scale of 1e9": (
        svg(f'<g transform="scale(1e9)">{path("M0 0h1")}</g>'),
        UnreadableError,
        "a coordinate of 1e+09 mm",
    ),
    "entities that multiply": (
        f"<!DOCTYPE svg [{LAUGHS}]><svg {NAMESPACES}><g id='&a9;'/>&a9;</svg>",
        UnreadableError,
        "the file declares entities (a0, a1, a2 and 7 more)",
    ),
    "entity of another file": (
        f'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]><svg {NAMESPACES}>&x;</svg>',
        UnreadableError,
        "the file declares entities (x)",
    ),
    "cut short": (
        svg(path("M0 0h1"))[:-20],
        UnreadableError,
        "drawing.svg: line 1, column",
    ),
    "no SVG": (
        "<?xml version='1.0'?><html><body/></html>",
        UnreadableError,
        "no SVG drawing: its outermost element is html",
    ),
    "SVG of another namespace": (
        '<svg xmlns="http://www.example.org/other"/>',
        UnreadableError,
        "no SVG drawing",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_refused_in_one_sentence(name):
    text, kind, words = REFUSED[name]
    with pytest.raises(kind) as caught:
        read_svg(text)
    assert words in str(caught.value)
    assert str(caught.value).startswith("drawing.svg: ")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("limits", "text", "words"),
    [
        ({"entities": 5}, svg("<g/>" * 6), "the drawing has 7 elements, limit 5"),
        (
            {"entities": 7},
            svg(f'<g id="a">{path("M0 0h1") * 3}</g><use href="#a"/><use href="#a"/>'),
            "more than 7 shapes",
        ),
        ({"points": 3}, svg(path("M0 0h1h1h1h1")), "more than 3 lines and curves"),
        ({"operators": 9}, svg(path("M0 0h1h1h1h1h1h1h1h1h1")), "more than 9 elements and lines"),
        ({"instances": 2}, svg('<path id="p"/>' + '<use href="#p"/>' * 3), "3 copies, limit 2"),
    ],
)
def test_limits(limits, text, words):
    with pytest.raises(OutOfResourcesError) as caught:
        read_svg(text, limits=ReadLimits(**limits))
    assert words in str(caught.value)


@pytest.mark.parametrize(
    "content",
    [
        '<use id="u" href="#u"/>',
        '<g id="a"><use href="#a"/></g>',
        '<use id="u" href="#g"/><g id="g"><use href="#u"/></g>',
        '<use href="#s"/><symbol id="s"><use href="#s"/></symbol>',
        '<use href="#root"/>',
        '<use id="u" xlink:href="#v"/><use id="v" xlink:href="#u"/>',
    ],
)
def test_copies_of_themselves_are_left_out_and_said(content):
    d = read_svg(svg(content + path("M0 0h9"), 'id="root" width="9mm" height="9mm"'))
    assert "SVG-134" in codes(d)
    assert len(d.paths) == 1


def test_a_part_that_shows_itself_keeps_the_rest():
    """The group is drawn once; its inner copy, which has no end, is left out."""
    d = read_svg(svg(f'<g id="a">{path("M0 0h9")}<use href="#a" x="5"/></g>'))
    assert len(d.paths) == 1
    assert sentence_of(finding(d, "SVG-134")).startswith("drawing.svg: 1 elements show themselves")


def test_not_a_number_ends_the_path_and_is_said():
    d = read_svg(svg(path("M1 2 L3 4 L NaN 5 L9 9")))
    assert d.paths.points == pytest.approx(np.array([[1.0, 78.0], [3.0, 76.0]]))
    assert "character 12" in str(finding(d, "SVG-130").params["names"])


def test_200_groups_are_read():
    assert len(read_svg(svg("<g>" * 200 + path("M0 0h1") + "</g>" * 200)).paths) == 1


def test_many_spaces_take_no_time():
    """White space before something that is no number must not be tried again from each place."""
    d = read_svg(
        svg(
            path("M0 0 L1 1" + " " * 300_000 + "x")
            + "<polyline points='1 1 2 2"
            + " " * 300_000
            + "x'/>"
        )
    )
    assert finding(d, "SVG-130").params["count"] == 2


def test_style_rules_beyond_reason_are_refused():
    rule = "<style>a ~ rect { fill: red }</style>"
    with pytest.raises(UnreadableError, match="style rule looks along more elements"):
        read_svg(svg(rule + "<g/>" * 5000 + '<rect width="1" height="1"/>'))


def test_nested_brackets_are_only_not_understood():
    depth = 5000
    rule = ":not(" * depth + "a" + ")" * depth
    deep = "(" * depth + ")" * depth
    d = read_svg(
        svg(
            f"<style>{rule} {{ fill: red }} path {{ fill: {deep} }} @media {deep} {{ }}</style>"
            f"{path('M0 0h1')}<path d='M0 0h9v9' fill='{deep}' style='stroke: {deep}'/>"
            f"<path d='M0 0h9' transform='{deep}' stroke='red'/>"
        )
    )
    assert {"SVG-133", "SVG-137"} <= codes(d)
    assert len(d.paths) == 3


def test_other_files_are_never_opened(tmp_path):
    inner = tmp_path / "inner.svg"
    inner.write_text(svg('<path id="p" d="M0 0h1"/>'))
    d = read_svg(
        '<?xml-stylesheet href="outside.css"?>'
        + svg(f'<style>@import "{inner}";</style><use href="{inner}#p"/>{path("M0 0h9")}')
    )
    assert finding(d, "SVG-136").params["count"] == 3
    assert len(d.paths) == 1


# ---------------------------------------------------------------- through the child process


def test_packed_drawings(read_file):
    text = svg(stroked('<rect x="10" y="10" width="30" height="20"/>'))
    packed = gzip.compress(text.encode())
    assert read_file(packed, name="a.svgz").digest == read_file(packed, name="b").digest
    assert read_file(text, name="a.svg").paths.box_mm() == pytest.approx((10.0, 50.0, 40.0, 70.0))


def test_packed_bombs_and_broken_packing(read_file):
    bomb = gzip.compress(svg(" " * 200_000_000).encode())
    with pytest.raises(OutOfResourcesError, match=r"a\.svgz: the packed drawing holds more than"):
        read_file(bomb, name="a.svgz")
    packed = gzip.compress(svg(path("M0 0h1") + "<!--" + "x" * 9000 + "-->").encode(), 0)
    with pytest.raises(UnreadableError, match=r"a\.svgz: the packed drawing is cut short"):
        read_file(packed[:-3000], name="a.svgz")
    broken = packed[:5000] + b"\xff" * 400 + packed[5400:]
    with pytest.raises(UnreadableError, match=r"a\.svgz: the packed drawing is damaged"):
        read_file(broken, name="a.svgz")
    with pytest.raises(UnreadableError, match="a gzip archive"):
        read_file(zlib.compress(b"x" * 99, wbits=31), name="a.svgz")


def test_content_counts_more_than_the_name(read_file):
    text = svg(path("M0 0h1"))
    long_head = "<!--" + "x" * 9000 + "-->" + text
    for content in (text, long_head, "\ufeff" + text, text.encode("utf-16")):
        assert len(read_file(content, name="drawing.txt").paths) == 1
    other = "<!--" + "x" * 9000 + "--><html/>"
    with pytest.raises(UnreadableError, match="no SVG drawing: its outermost element is html"):
        read_file(other, name="drawing.svg")
    with pytest.raises(UsageError, match="an SVG drawing has one page"):
        read_file(text, name="a.svg", page=2)


def test_bombs_end_in_the_child_too(read_file):
    with pytest.raises(OutOfResourcesError, match="copies, limit 100000"):
        read_file(doubling(18), name="a.svg")
    with pytest.raises(OutOfResourcesError, match=r"a\.svg: line 1, column \d+: more than"):
        read_file("<svg>" + "<g>" * 20_000, name="a.svg")


def test_broken_bytes_end_in_errors_of_the_tree():
    """In this process, for speed: nothing but the errors of the tree may come out."""
    sound = svg(
        "<style>.a &gt; rect { stroke: red; transform: rotate(3deg) }</style>"
        '<symbol id="s" viewBox="0 0 5 5"><ellipse rx="3" ry="2"/></symbol><g class="a">'
        '<rect x="1" y="2" width="30" height="20" rx="4" transform="skewX(3) scale(2 3)"/></g>'
        '<use href="#s" width="9" height="9"/>'
        + path("M1 2a3 4 5 0 1 6 7q1 2 3 4t1 1c1 2 3 4 5 6s1 1 2 2h3v4z", 'stroke-dasharray="1 2"')
    )
    bytes_ = np.frombuffer(sound.encode(), np.uint8)
    generator = np.random.default_rng(5)
    outcomes = {"read": 0, "refused": 0}
    for k in range(120):
        broken = bytes_.copy()
        where = generator.integers(60, len(broken), 1 + k % 3)
        broken[where] = generator.integers(32, 127, len(where))
        try:  # whatever else comes out fails the test
            read_svg(broken.tobytes())
            outcomes["read"] += 1
        except KerfwrightError as error:
            assert str(error).startswith("drawing.svg: ")  # noqa: PT017 - both ends are fine
            outcomes["refused"] += 1
    assert min(outcomes.values()) > 10
