"""Style of SVG: which rule wins, what is painted, what a line is called."""

from __future__ import annotations

import pytest

from formats.svg_text import NAMESPACES, codes, finding, path, read_svg, svg
from kerfwright.formats.source import block_names
from kerfwright.formats.svg.paints import PaintError, paint_of


def colour_of(content):
    """Colour of the one line of some content."""
    (stroke,) = read_svg(svg(content)).stroke
    return stroke.colour


RECT = '<rect id="r" class="a b" width="9" height="9" {}/>'
GREEN, RED, BLUE, BLACK = "#008000", "#ff0000", "#0000ff", "#000000"


@pytest.mark.parametrize(
    ("rules", "attributes", "colour"),
    [
        ("", "", BLACK),
        ("", 'fill="green"', GREEN),
        ("rect { fill: green }", 'fill="red"', GREEN),  # attributes are the weakest
        ("rect { fill: red }", 'style="fill: green"', GREEN),
        ("rect { fill: green !important }", 'style="fill: red"', GREEN),
        ("rect { fill: red !important }", 'style="fill: green !important"', GREEN),
        ("#r { fill: green } .a { fill: red }", "", GREEN),
        (".a { fill: green } rect { fill: red }", "", GREEN),
        (".a { fill: red } .b { fill: green }", "", GREEN),
        (".a.b { fill: green } .a { fill: red }", "", GREEN),
        ("g > rect { fill: green }", "", GREEN),
        ("g rect[class~=b] { fill: green }", "", GREEN),
        ("rect:first-child { fill: green }", "", GREEN),
        ("rect:not(.c) { fill: green }", "", GREEN),
        ("circle, rect { fill: green }", "", GREEN),
        ("* { fill: green }", "", GREEN),
        ("/* x */ rect { fill: /* y */ green }", "", GREEN),
        ("rect { fill: nonsense }", 'fill="green"', GREEN),  # what cannot be read has no weight
        ("rect { fill: green } #r { fill: nonsense !important }", 'fill="red"', GREEN),
        ("@media screen { rect { fill: green } }", "", GREEN),
        ("@media all, print { rect { fill: green } }", "", GREEN),
        ("@media print { rect { fill: red } }", 'fill="green"', GREEN),
        ("@font-face { font-family: x }", 'fill="green"', GREEN),
        ('@namespace s "http://www.w3.org/2000/svg"; s|rect { fill: green }', "", GREEN),
        ("rect { fill: red", 'style="fill: green"', GREEN),
        ("g { color: green }", 'fill="currentColor"', GREEN),
        ("g { fill: green }", "", GREEN),
        ("g { fill: green }", 'fill="inherit"', GREEN),
        ("g { fill: red }", 'style="fill: initial"', BLACK),
        ("rect { fill: none; stroke: green }", "", GREEN),
        ("rect { stroke: green }", 'fill="red"', GREEN),  # the stroke names the line
    ],
)
def test_which_rule_wins(rules, attributes, colour):
    if "@media print" not in rules:
        assert colour_of(f"<style>{rules}</style><g>{RECT.format(attributes)}</g>") == colour
    else:
        d = read_svg(svg(f"<style>{rules}</style><g>{RECT.format(attributes)}</g>"))
        assert d.stroke[0].colour == colour
        assert "SVG-137" in codes(d)


@pytest.mark.parametrize(
    ("sheet", "found"),
    [
        ('<style type="text/css">rect { fill: red }</style>', RED),
        ('<style type="text/css; charset=utf-8">rect { fill: red }</style>', RED),
        ('<style type="text/x">rect { fill: red }</style>', BLACK),
        ('<style media="print">rect { fill: red }</style>', BLACK),
        ("<style><![CDATA[ g > rect { fill: red } ]]></style>", RED),
        ("<defs><style>rect { fill: red }</style></defs>", RED),
    ],
)
def test_sheets(sheet, found):
    assert colour_of(f"<g>{RECT.format('')}</g>{sheet}") == found


def test_rules_look_at_where_the_original_stands():
    """A copy keeps the rules of its original, and inherits where it is shown (SVG 2, 5.6)."""
    content = (
        "<style>defs rect { fill: green } g rect { fill: red }</style>"
        f'<defs>{RECT.format("")}</defs><g stroke="blue" fill="red"><use href="#r"/></g>'
    )
    d = read_svg(svg(content))
    assert d.stroke[0].colour == BLUE


COLOURS = {
    "#0a0": "#00aa00", "#00AA00": "#00aa00", "#0a08": "#00aa00", "GREEN": GREEN,
    "rgb(0, 128, 0)": GREEN, "rgb(0 128 0)": GREEN, "rgb(0%,50%,0%)": GREEN,
    "rgba(0,128,0,.5)": GREEN, "hsl(120, 100%, 25%)": GREEN, "hsl(120, 300%, 25%)": GREEN,
    "rgb(300,-5,0)": RED, "red icc-color(x, 1, 2)": RED, "color(srgb 1 0 0)": RED,
    "lab(50% 40 20)": "", "oklch(60% 0.1 30)": "",
}  # fmt: skip


@pytest.mark.parametrize("text", COLOURS)
def test_colours(text):
    """CSS Color level 4; what no screen colour tells is painted all the same."""
    assert paint_of(text).colour == COLOURS[text]
    assert not paint_of(text).is_none


@pytest.mark.parametrize(
    "text", ["", "#", "#12", "#qqq", "rgb(0, 50%, 0)", "nonsense", "none none"]
)
def test_colours_that_are_none(text):
    with pytest.raises(PaintError):
        paint_of(text)


def test_ink_of_a_named_colour():
    d = read_svg(svg('<rect width="9" height="9" fill="red icc-named-color(p, CutContour)"/>'))
    assert d.separation == ("CutContour",)
    assert d.stroke[0].colour == RED


SWATCH = (
    '<linearGradient id="Cut Line"><stop stop-color="{}"/><stop offset="1" stop-color="red"/>'
    "</linearGradient>"
)


def test_a_gradient_of_one_colour_is_a_swatch():
    d = read_svg(svg(SWATCH.format("#f00") + path("M1 1h9v3", "style=\"stroke:url('#Cut Line')\"")))
    assert d.separation == ("Cut Line",)
    assert d.stroke[0].colour == RED
    d = read_svg(svg(SWATCH.format("blue") + path("M1 1h9v3", "style=\"stroke:url('#Cut Line')\"")))
    assert (d.separation, d.stroke[0].colour) == (("",), "")
    d = read_svg(
        svg('<solidColor id="Cut" solid-color="red"/><rect width="9" height="9" fill="url(#Cut)"/>')
    )
    assert (d.separation, d.stroke[0].colour) == (("Cut",), RED)
    linked = '<linearGradient id="Crease" href="#Cut Line"/>'
    d = read_svg(
        svg(SWATCH.format("red") + linked + '<rect width="9" height="9" fill="url(#Crease)"/>')
    )
    assert d.separation == ("Crease",)


GRADIENT = SWATCH.format("blue").replace("Cut Line", "g")


@pytest.mark.parametrize(
    ("paint", "lines"),
    [
        ("url(#g)", 1), ("url(#nothing)", 0), ("url(#nothing) red", 1), ("url(#nothing) none", 0),
        ("url(#r) red", 1), ("url(other.svg#g)", 0), ("url(#empty)", 0), ("url(#empty) red", 0),
        ("url(#bare)", 0), ("context-fill", 0), ("currentColor", 1), ("transparent", 0),
    ],
)  # fmt: skip
def test_which_paints_paint(paint, lines):
    more = '<linearGradient id="empty"/><pattern id="bare" width="9" height="9"/>'
    d = read_svg(svg(f'{GRADIENT}{more}<rect id="r" width="9" height="9" fill="{paint}"/>'))
    assert len(d.paths) == lines
    assert ("SVG-120" in codes(d)) == (not lines)


def test_gradients_of_its_box_do_not_paint_a_level_line():
    """The box has no height, so such a gradient is no paint; its fallback is (SVG 2, 14.2.1)."""
    for paint, lines in (("url(#g)", 0), ("url(#g) red", 1), ("red", 1)):
        d = read_svg(svg(GRADIENT + f'<path d="M1 5h9" fill="none" stroke="{paint}"/>'))
        assert len(d.paths) == lines
    user = GRADIENT.replace('id="g"', 'id="g" gradientUnits="userSpaceOnUse"')
    assert len(read_svg(svg(user + '<path d="M1 5h9" stroke="url(#g)"/>')).paths) == 1


@pytest.mark.parametrize(
    "attributes",
    [
        'fill="none"', 'fill-opacity="0"', 'opacity="0"', 'opacity="0%"', 'fill="#0000"',
        'fill="none" stroke="red" stroke-width="0"', 'fill="none" stroke="red" stroke-opacity="0"',
        'style="fill:none;stroke:none"',
    ],
)  # fmt: skip
def test_what_nobody_sees_is_no_line_and_is_said(attributes):
    d = read_svg(svg(f'<rect id="x" width="9" height="9" {attributes}/>'))
    assert codes(d) == {"SVG-120", "SVG-150"}
    assert "rect#x, line 1" in str(finding(d, "SVG-120").params["names"])
    grouped = svg(f'<g {attributes}><rect width="9" height="9"/></g>')
    assert codes(read_svg(grouped)) == {"SVG-120", "SVG-150"}


def test_a_filled_line_has_nothing_to_fill():
    d = read_svg(svg('<path d="M1 1L9 9"/><path d="M1 1H9V9"/>'))
    assert len(d.paths) == 1
    assert finding(d, "SVG-120").params["count"] == 1


R = '<rect width="9" height="9"/>'


@pytest.mark.parametrize(
    ("content", "lines", "hidden"),
    [
        (f'<g display="none">{R}<g display="inline"><circle r="5"/></g></g>', 0, 2),
        (f'<g visibility="hidden">{R}<circle r="5" visibility="visible"/></g>', 1, 1),
        (f'<g style="visibility:collapse">{R}</g>', 0, 1),
        (f'<defs><g id="a" display="none">{R}</g></defs><use href="#a"/>', 0, 1),
        (f'<defs display="none"><g id="a">{R}</g></defs><use href="#a"/>', 1, 0),
        (f'<g display="none"><g display="inherit" id="a">{R}</g></g><use href="#a"/>', 1, 1),
        ('<g display="none"><text>x</text></g>', 0, 1),
    ],
)
def test_hidden_lines_are_left_out_and_said(content, lines, hidden):
    d = read_svg(svg(content))
    assert len(d.paths) == lines
    assert ("SVG-121" in codes(d)) == (hidden > 0)
    if hidden:
        assert finding(d, "SVG-121").params["count"] == hidden


# ---------------------------------------------------------------- names

PART = path("M1 1h9")


@pytest.mark.parametrize(
    ("content", "layer"),
    [
        (PART, ""),
        (f'<g id="cut">{PART}</g>', "cut"),
        (f'<g id="outer"><g id="inner">{PART}</g></g>', "inner"),
        (f'<g id="outer"><g>{PART}</g></g>', "outer"),
        (f'<g id="g17" aria-label="Kiss  cut">{PART}</g>', "Kiss cut"),
        (f'<g id="g17" data-name="Crease">{PART}</g>', "Crease"),
        (f'<g id="g17" xmlns:any="urn:any" any:label="Layer 1">{PART}</g>', "Layer 1"),
        (f'<g id="g17"><title>Drill</title>{PART}</g>', "Drill"),
        (f'<a id="link">{PART}</a>', "link"),
        (f'<svg id="inner">{PART}</svg>', "inner"),
        (f'<symbol id="s"><g>{PART}</g></symbol><g id="cut"><use id="u" href="#s"/></g>', "cut"),
        (f'<symbol id="s"><g id="own">{PART}</g></symbol><g id="cut"><use href="#s"/></g>', "own"),
        (f'<defs><g id="d">{PART}</g></defs><g id="cut"><use href="#d"/></g>', "d"),
        (f'<g id="a&gt;b">{PART}</g>', "a?b"),
        (f'<g id="">{PART}</g>', ""),
    ],
)
def test_layers(content, layer):
    d = read_svg(svg(content))
    assert d.layer == (layer,)


def test_every_name_around_a_line_can_be_spoken_of():
    content = (
        '<symbol id="star"><path id="s 1" class="cut thin" d="M1 1h9v9"/></symbol>'
        '<g id="sheet" class="big" aria-label="Sheet one"><use id="u1" href="#star"/></g>'
    )
    (source,) = read_svg(svg(content)).source
    assert source == "PATH s_1 in Sheet one > sheet > big > u1 > star > s 1 > cut > thin"
    assert block_names(source)[-2:] == ("cut", "thin")


def test_lines_without_an_id_are_counted():
    d = read_svg(
        svg('<rect width="1" height="1"/><path id="p" d="M1 1h9v9z M20 20h5v5z"/><circle r="2"/>')
    )
    assert [s.partition(" in ")[0] for s in d.source] == ["RECT 1", "PATH p", "PATH p", "CIRCLE 3"]
    assert d.ids == ("c1", "c2", "c3", "c4")


# ---------------------------------------------------------------- choices


@pytest.mark.parametrize(
    ("attributes", "is_drawn"),
    [
        ("", True), ('systemLanguage="en"', True), ('systemLanguage="fr, en-GB"', True),
        ('systemLanguage="fr"', False), ('systemLanguage=""', False),
        ('systemLanguage="english"', False), ('requiredExtensions="http://x.y"', False),
        ('requiredExtensions=""', False), ('requiredFeatures="http://x.y"', True),
    ],
)  # fmt: skip
def test_a_switch_draws_the_first_child_that_may_be_drawn(attributes, is_drawn):
    first = f'<rect width="9" height="9" fill="green" {attributes}/>'
    content = (
        f'<switch><!-- x --><title>t</title>{first}<rect width="5" height="5" fill="red"/></switch>'
    )
    assert colour_of(content) == (GREEN if is_drawn else RED)
    alone = read_svg(svg(first))
    assert len(alone.paths) == is_drawn
    assert ("SVG-123" in codes(alone)) == (not is_drawn)
    assert ("SVG-123" in codes(read_svg(svg(content)))) == ("systemLanguage" in attributes)


def test_a_switch_may_choose_what_is_hidden():
    d = read_svg(svg('<switch><rect display="none" width="9" height="9"/><circle r="5"/></switch>'))
    assert not len(d.paths)


def test_names_of_elements_belong_to_their_namespace():
    inner = '<x:rect width="9" height="9"/><rect width="5" height="5"/>'
    text = f'<x:svg xmlns:x="http://www.w3.org/2000/svg" width="9mm" height="9mm">{inner}</x:svg>'
    assert len(read_svg(text).paths) == 1
    d = read_svg('<svg width="9mm" height="9mm"><rect width="9" height="9"/></svg>')
    assert len(d.paths) == 1
    assert codes(d) == {"SVG-108"}
    other = f'<svg {NAMESPACES} width="9mm" height="9mm"><o:g xmlns:o="urn:o">{R}</o:g></svg>'
    assert codes(read_svg(other)) == {"SVG-114", "SVG-150"}
