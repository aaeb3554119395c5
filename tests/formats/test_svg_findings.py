"""What reading an SVG drawing says: each code once, with its numbers and names."""

from __future__ import annotations

import pytest

from formats.svg_text import codes, finding, path, read_svg, svg
from kerfwright.errors import OutOfResourcesError, Severity
from kerfwright.errors.messages import cure_of, sentence_of
from kerfwright.formats.limits import ReadLimits

LINE = path("M10 10h20v20")
PAINTED = '<pattern id="p" width="5" height="5"><path d="M0 0h9"/></pattern>'
CASES = {
    "SVG-104": ('<rect style="width:9px" height="9"/>', "rect, line 1"),
    "SVG-105": ('<ellipse cx="50" cy="40" rx="9" ry="5"/>', "2 curves"),
    "SVG-107": ('<rect width="2rem" height="9"/>', "2rem of rect, line 1"),
    "SVG-109": (
        path("M10 10h9", 'style="transform:scale(2);transform-origin:0 0;transform-box:fill-box"'),
        "transform-box 'fill-box' of path",
    ),
    "SVG-110": ('<g id="Notes"><text x="5" y="5">Fold here</text></g>', "Notes (1)"),
    "SVG-113": ('<image id="i" href="a.png" width="9" height="9"/>', "image#i"),
    "SVG-114": ("<blob/>", "blob"),
    "SVG-115": (path("M10 10h9", 'marker-end="url(#arrow)"'), "path, line 1"),
    "SVG-116": (PAINTED + '<rect width="9" height="9" fill="url(#p)"/>', "p (1)"),
    "SVG-117": (path("M10 10h9", 'filter="url(#blur)"'), "path, line 1"),
    "SVG-118": ('<g><animate attributeName="x"/></g><script>x</script>', "2 animations"),
    "SVG-120": ('<path id="n" d="M1 1h9" fill="none"/>', "path#n, line 1"),
    "SVG-121": (
        '<g id="off" display="none"><path d="M1 1h9"/><text>x</text></g>',
        "g#off, line 1 (2)",
    ),
    "SVG-122": (
        '<g id="Crease">' + path("M10 10h9", 'stroke-dasharray="2 1"') + "</g>",
        "Crease (1)",
    ),
    "SVG-123": ('<g systemLanguage="fr"><path d="M1 1h9"/></g>', "g, line 1"),
    "SVG-130": (path("M10 10h9 10x"), "a command is wanted at character 12 ('x')"),
    "SVG-132": (path("M10 10M5 5zM10 10h9"), "1 points"),
    "SVG-133": ('<rect width="44mmx" height="9"/>', "width '44mmx' of rect, line 1"),
    "SVG-134": ('<g id="a"><use id="u" href="#a"/></g>', "use#u, line 1"),
    "SVG-135": ('<use href="#nothing"/>', "#nothing"),
    "SVG-136": ('<use href="other.svg#a"/>', "other.svg#a"),
    "SVG-137": ("<style>path:: { fill: red } @supports (x: y) {}</style>", "selector path::"),
    "SVG-141": ('<g id="Cut">' + path("M90 10h20") + "</g>", "Cut (1)"),
    "SVG-142": (path("M10 10h9", 'mask="url(#m)"'), "path, line 1"),
    "SVG-143": (path("M10 10h9", 'clip-path="circle(5px)"'), "path, line 1"),
}  # fmt: skip


@pytest.mark.parametrize("code", CASES)
def test_each_code(code):
    content, words = CASES[code]
    d = read_svg(svg(content + LINE))
    found = finding(d, code)
    assert words in sentence_of(found)
    assert sentence_of(found).startswith("drawing.svg: ")
    assert cure_of(found)
    assert found.where.stage == "formats"
    assert len(d.paths) >= 1  # the rest of the drawing is there
    assert code not in codes(read_svg(svg(LINE)))


def test_a_background_is_no_line():
    d = read_svg(svg(LINE, 'width="50mm" height="50mm" style="background-color: #fff"'))
    assert codes(d) == {"SVG-119"}
    assert (
        codes(read_svg(svg(LINE, 'width="50mm" height="50mm" style="background: none"'))) == set()
    )


def test_px_are_said():
    found = finding(read_svg(svg(LINE, 'width="960" height="480"')), "SVG-103")
    assert "it is 254 x 127 mm" in sentence_of(found)


def test_curves_that_cannot_be_followed_are_said():
    content = LINE + '<g transform="scale(900)"><ellipse cx="50" cy="40" rx="9" ry="5"/></g>'
    d = read_svg(svg(content), tolerance_mm=1e-12)
    assert finding(d, "SVG-131").params["count"] == 1
    assert len(d.paths) == 1


def test_nothing_to_cut_blocks():
    for content in ("", "<text>x</text>", '<symbol><path d="M1 1h9"/></symbol>'):
        found = finding(read_svg(svg(content)), "SVG-150")
        assert found.severity is Severity.BLOCKS


def test_a_clean_drawing_says_nothing():
    assert codes(read_svg(svg(LINE))) == set()


# ---------------------------------------------------------------- clips

CLIP = '<clipPath id="k" {}>{}</clipPath>'
SQUARE = '<rect x="5" y="5" width="50" height="50"/>'


@pytest.mark.parametrize(
    ("clip", "code"),
    [
        (CLIP.format("", SQUARE), ""),
        (CLIP.format("", '<rect x="15" y="5" width="50" height="50"/>'), "SVG-141"),
        (CLIP.format("", '<circle cx="20" cy="20" r="30"/>'), ""),
        (CLIP.format("", '<circle cx="20" cy="20" r="9"/>'), "SVG-141"),
        (CLIP.format('transform="scale(0.5)"', SQUARE), "SVG-141"),
        (CLIP.format("", SQUARE.replace("/>", ' transform="scale(0.5)"/>')), "SVG-141"),
        (CLIP.format("", ""), "SVG-141"),
        (CLIP.format("", SQUARE.replace("/>", ' display="none"/>')), "SVG-141"),
        (CLIP.format('display="none"', SQUARE), ""),  # clips are not displayed anyway
        (CLIP.format("", SQUARE * 2), "SVG-143"),
        (CLIP.format("", "<text>x</text>"), "SVG-143"),
        (CLIP.format('clipPathUnits="objectBoundingBox"', SQUARE), "SVG-143"),
        (CLIP.format('clip-path="url(#k2)"', SQUARE), "SVG-143"),
        ('<clipPath id="other"/>', "SVG-135"),
    ],
)
def test_clips(clip, code):
    d = read_svg(svg(f'{clip}<g clip-path="url(#k)">{LINE}</g>'))
    assert codes(d) == ({code} if code else set())
    assert d.paths.box_mm() == pytest.approx((10, 50, 30, 70))  # whole in any case


def test_rules_of_clips_count():
    """A ring: what lies in its hole is hidden by even-odd, shown by nonzero."""
    ring = '<path d="M0 0H60V60H0zM5 5H40V40H5z" clip-rule="{}"/>'
    for rule, found in (("evenodd", {"SVG-141"}), ("nonzero", set())):
        clip = CLIP.format("", ring.format(rule))
        assert codes(read_svg(svg(f'{clip}<g clip-path="url(#k)">{LINE}</g>'))) == found


@pytest.mark.parametrize(
    ("overflow", "found"),
    [
        ("", {"SVG-141"}),
        ('overflow="hidden"', {"SVG-141"}),
        ('overflow="visible"', set()),
        ('style="overflow:auto"', set()),
    ],
)
def test_inner_drawings_clip(overflow, found):
    d = read_svg(svg(f'<svg width="15" height="15" {overflow}>{LINE}</svg>'))
    assert codes(d) == found


def test_a_line_on_the_edge_of_the_page_is_on_it():
    assert codes(read_svg(svg('<rect width="100" height="80"/>'))) == set()


def test_too_many_vertices_are_refused():
    text = svg('<ellipse rx="90" ry="5"/>' * 30)
    with pytest.raises(OutOfResourcesError, match=r"drawing\.svg: "):
        read_svg(text, limits=ReadLimits(points=100))
