"""The page of an SVG drawing: its size, its units, and what is asked when they are left out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.svg_text import codes, finding, path, read_svg, svg
from kerfwright import formats
from kerfwright.errors import Severity
from kerfwright.errors.messages import sentence_of

PX_MM = 25.4 / 96.0
LINE = path("M10 10H20")
# Units of CSS, in px (CSS Values level 4, 6.2, from memory).
UNITS = {
    "px": 1.0, "": 1.0, "in": 96.0, "cm": 96 / 2.54, "mm": 96 / 25.4, "Q": 96 / 101.6,
    "pt": 4 / 3, "pc": 16.0,
}  # fmt: skip


@pytest.mark.parametrize("unit", UNITS)
@given(size=st.floats(1, 1000))
def test_equal_sizes_in_any_unit_are_equal_drawings(unit, size):
    """The same page said in px and in another unit; lengths of shapes likewise."""
    n = size / UNITS[unit]
    said = svg(LINE, f'width="{n!r}{unit}" height="{n!r}{unit}" viewBox="0 0 100 100"')
    in_px = svg(LINE, f'width="{size!r}" height="{size!r}px" viewBox="0 0 100 100"')
    want = read_svg(in_px).paths.points
    assert read_svg(said).paths.points == pytest.approx(want, rel=1e-12, abs=1e-12)
    shape = f'<rect width="{n!r}{unit}" height="1"/>'
    box = read_svg(svg(shape, 'width="99px" height="99px"')).paths.box_mm()
    assert box[2] == pytest.approx(size * PX_MM, rel=1e-12)


def test_origin_is_the_lower_left_corner_of_the_page():
    d = read_svg(svg(LINE, 'width="50mm" height="40mm" viewBox="10 10 50 40"'))
    assert d.paths.points == pytest.approx(np.array([[0, 40], [10, 40]]), abs=1e-12)
    assert (d.unit, d.unit_is_certain, codes(d)) == ("mm", True, set())


@pytest.mark.parametrize(
    ("attributes", "box", "found"),
    [
        ('width="100mm" height="50mm" viewBox="0 0 200 100"', (5, 45, 10, 45), set()),
        ('width="100mm" viewBox="0 0 200 100"', (5, 45, 10, 45), set()),
        ('height="50mm" viewBox="0 0 200 100"', (5, 45, 10, 45), set()),
        ('width="100mm" height="100%" viewBox="0 0 200 100"', (5, 45, 10, 45), set()),
        (
            'width="96" height="96px"',
            (10 * PX_MM, 86 * PX_MM, 20 * PX_MM, 86 * PX_MM),
            {"SVG-103"},
        ),
        (
            'width="1in" viewBox="0 0 96 48"',
            (10 * PX_MM, 38 * PX_MM, 20 * PX_MM, 38 * PX_MM),
            set(),
        ),
        (
            'viewBox="0 0 200 100"',
            (10 * PX_MM, 90 * PX_MM, 20 * PX_MM, 90 * PX_MM),
            {"SVG-101"},
        ),
        (
            'width="100%" height="100%" viewBox="0 0 200 100"',
            (10 * PX_MM, 90 * PX_MM, 20 * PX_MM, 90 * PX_MM),
            {"SVG-101"},
        ),
        (
            'width="50vw" height="auto" viewBox="0 0 200 100"',
            (10 * PX_MM, 90 * PX_MM, 20 * PX_MM, 90 * PX_MM),
            {"SVG-101"},
        ),
        ("", (10 * PX_MM, 140 * PX_MM, 20 * PX_MM, 140 * PX_MM), {"SVG-101"}),
        (
            'style="width:100mm;height:50mm" viewBox="0 0 200 100"',
            (5, 45, 10, 45),
            {"SVG-104"},
        ),
        (
            'width="-5" viewBox="0 0 200 100"',
            (10 * PX_MM, 90 * PX_MM, 20 * PX_MM, 90 * PX_MM),
            {"SVG-101", "SVG-133"},
        ),
        (
            'width="x" viewBox="0 0 200"',
            (10 * PX_MM, 140 * PX_MM, 20 * PX_MM, 140 * PX_MM),
            {"SVG-101", "SVG-133"},
        ),
        (
            'width="100mm" height="50mm" viewBox="0 0 100 50" preserveAspectRatio="maybe"',
            (10, 40, 20, 40),
            {"SVG-133"},
        ),
    ],
)
def test_sizes(attributes, box, found):
    d = read_svg(svg(LINE, attributes))
    assert d.paths.box_mm() == pytest.approx(box)
    assert codes(d) == found


@pytest.mark.parametrize(
    "attributes",
    ['width="0" height="9"', 'width="9mm" height="9mm" viewBox="0 0 0 9"', 'viewBox="0 0 9 0"'],
)
def test_pages_without_area_hold_nothing(attributes):
    d = read_svg(svg(LINE, attributes))
    assert not len(d.paths)
    assert finding(d, "SVG-150").severity is Severity.BLOCKS


def test_without_a_size_every_unit_is_a_candidate():
    d = read_svg(svg(LINE + path("M10 10V40"), 'viewBox="0 0 200 100"'))
    assert not d.unit_is_certain
    assert d.unit == "px"
    sizes = {c.unit: (c.width_mm, c.height_mm) for c in d.unit_candidates}
    assert sizes["mm"] == pytest.approx((10, 30))
    assert sizes["in"] == pytest.approx((254, 762))
    said = sentence_of(finding(d, "SVG-101"))
    assert "because it gives no size" in said
    assert "10 x 30 mm if in mm" in said
    assert "neither a size nor a viewBox" in sentence_of(
        finding(read_svg(svg(LINE, "")), "SVG-101")
    )


@given(st.sampled_from(("mm", "cm", "in", "m")), st.sampled_from((0.1, 1.0, 2.5)))
def test_a_person_says_what_a_unit_is(units, scale):
    mm = {"mm": 1.0, "cm": 10.0, "in": 25.4, "m": 1000.0}[units] * scale
    for attributes in ('viewBox="5 5 30 20"', 'width="7in" viewBox="5 5 30 20"'):
        d = read_svg(svg(LINE, attributes), units=units, scale=scale)
        assert d.paths.points == pytest.approx(np.array([[5, 15], [15, 15]]) * mm)
        assert (d.unit, d.unit_is_certain) == (units, True)
        assert codes(d) == ({"SVG-102"} if "width" in attributes else set())
    d = read_svg(svg(LINE, 'width="30" height="20"'), units=units, scale=scale)
    assert d.paths.points == pytest.approx(np.array([[10, 10], [20, 10]]) * mm)


def test_what_the_file_says_is_told():
    d = read_svg(svg(LINE, 'width="7in" height="5in" viewBox="5 5 30 20"'), units="mm")
    said = sentence_of(finding(d, "SVG-102"))
    assert "as one mm as told, though the file says 7in x 5in" in said


@given(st.floats(0.01, 100))
def test_scale_enlarges_about_the_origin(scale):
    text = svg(path("M10 10H20a5 5 0 0 1 9 3", 'stroke-width="2"'))
    plain, large = read_svg(text), read_svg(text, scale=scale)
    assert large.paths.points == pytest.approx(plain.paths.points * scale)
    assert large.paths.bulges == pytest.approx(plain.paths.bulges)
    assert large.stroke[0].width_mm == pytest.approx(2 * scale)


@pytest.mark.parametrize(
    ("width", "px"),
    [
        ("3em", 60), ("3ex", 30), ("3ch", 30), ("2rem", 40), ("10%", 20), ("10vw", 38.4),
        ("10vh", 19.2), ("10vmin", 19.2), ("10vmax", 38.4), ("5vi", 19.2), ("5vb", 9.6),
        ("2lh", 60), ("1rlh", 30),
    ],
)  # fmt: skip
def test_relative_lengths(width, px):
    """The page is 384 x 192 px and shows 200 x 100 units; the font is 20 units high."""
    d = read_svg(
        svg(
            f'<rect width="{width}" height="9"/>',
            'width="4in" height="2in" viewBox="0 0 200 100" style="font-size:20px;line-height:1.5"',
        )
    )
    assert d.paths.box_mm()[2] == pytest.approx(px * 384 / 200 * PX_MM)
    wanted = set() if width in ("3em", "3ex", "10%") else {"SVG-107"}
    assert codes(d) - {"SVG-141"} == wanted


@pytest.mark.parametrize(
    ("size", "px"),
    [
        ("2em", 40), ("200%", 40), ("40", 40), ("30pt", 40), ("larger", 24), ("smaller", 20 / 1.2),
        ("medium", 16), ("xx-large", 32), ("inherit", 20), ("2rem", 40), ("nonsense", 20),
    ],
)  # fmt: skip
def test_font_sizes(size, px):
    inner = f'<g font-size="{size}"><rect width="1em" height="9"/></g>'
    page = 'width="96px" height="96px" font-size="20"'
    d = read_svg(svg(f'<g font-size="20">{inner}</g>', page))
    assert d.paths.box_mm()[2] == pytest.approx(px * PX_MM)
    assert ("SVG-133" in codes(d)) == (size == "nonsense")


def test_percentages_are_of_the_nearest_drawing():
    """Across, upright and, for radii and strokes, of the diagonal by the root of 2 (SVG 2, 8.9)."""
    d = read_svg(
        svg(
            '<circle cx="50%" cy="50%" r="10%" stroke="red" stroke-width="1%"/>',
            'width="30mm" height="40mm" viewBox="0 0 30 40"',
        )
    )
    r = 0.1 * np.hypot(30, 40) / np.sqrt(2)
    assert d.paths.box_mm() == pytest.approx((15 - r, 20 - r, 15 + r, 20 + r))
    assert d.stroke[0].width_mm == pytest.approx(0.1 * r)


def test_strokes_grow_with_what_they_are_in():
    d = read_svg(
        svg(
            f'<g transform="scale(2 8)">{path("M1 1h1", "stroke-width=3")}</g>'.replace(
                "=3", '="3"'
            )
        )
    )
    assert d.stroke[0].width_mm == pytest.approx(12)  # by the root of the area
    fixed = path("M1 1h1", 'stroke-width="3" vector-effect="non-scaling-stroke"')
    d = read_svg(svg(f'<g transform="scale(2 8)">{fixed}</g>'))
    assert d.stroke[0].width_mm == pytest.approx(3 * PX_MM)


def test_the_front_door(tmp_path):
    file = tmp_path / "part.svg"
    file.write_text(svg(LINE, 'width="50mm" height="40mm" viewBox="0 0 50 40"'), encoding="utf-8")
    d = formats.read_artwork(file)
    assert d.paths.points == pytest.approx(np.array([[10, 30], [20, 30]]))
    assert formats.read_artwork(file, units="cm", scale=0.5).paths.box_mm() == pytest.approx(
        (50, 150, 100, 150)
    )
    pages = formats.read_artwork_pages(file, (1, 1))
    assert [p.digest for p in pages] == [d.digest] * 2
