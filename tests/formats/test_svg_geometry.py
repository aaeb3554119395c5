"""Shapes, arcs, curves, copies and transforms of SVG: where each line lies, exactly or fitted."""

from __future__ import annotations

from math import cos, pi, radians, sin, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.svg_text import TOLERANCE_MM, codes, path, read_svg, stroked, svg
from kerfwright.geometry.distance import nearest_on_paths

PAGE_MM = 80.0


def user(points):
    """Points of the artwork frame in user units of the plain page, y down."""
    return np.column_stack((points[:, 0], PAGE_MM - points[:, 1]))


def only(content):
    """Read one path and return it with its vertices in user units."""
    d = read_svg(svg(content))
    assert len(d.paths) == 1
    return d, user(d.paths.points)


# ---------------------------------------------------------------- shapes


def test_rectangle():
    d, xy = only('<rect x="10" y="20" width="30" height="5"/>')
    assert xy == pytest.approx(np.array([[10, 20], [40, 20], [40, 25], [10, 25]]))
    assert d.paths.closed.all()
    assert not d.paths.bulges.any()


@pytest.mark.parametrize(
    ("radii", "rx", "ry"),
    [
        ('rx="3"', 3, 3),
        ('ry="3"', 3, 3),
        ('rx="3" ry="auto"', 3, 3),
        ('rx="-1" ry="3"', 3, 3),
        ('rx="99" ry="99"', 15, 10),
        ('rx="99"', 15, 10),
        ('rx="0" ry="3"', 0, 0),
        ('rx="10%"', 10, 10),
        ('rx="3" ry="4"', 3, 4),
    ],
)
def test_rounded_rectangles(radii, rx, ry):
    """Clamped after "auto" is resolved; with one radius 0 the corners are square (SVG 2, 10.3)."""
    d, _ = only(f'<rect x="10" y="20" width="30" height="20" {radii}/>')
    lost = (4.0 - pi) * rx * ry
    assert d.paths.areas_mm2() == pytest.approx([-(30 * 20 - lost)], abs=0.2 if rx != ry else 1e-9)
    assert d.paths.box_mm() == pytest.approx((10, 40, 40, 60), abs=2e-3)
    assert ("SVG-105" in codes(d)) == (rx != ry)


def test_circle_is_two_halves():
    d, xy = only('<circle cx="50" cy="40" r="7"/>')
    assert xy == pytest.approx(np.array([[57, 40], [43, 40]]))
    assert d.paths.bulges == pytest.approx([-1.0, -1.0])  # by six o'clock: clockwise on the page
    assert "SVG-105" not in codes(d)


@pytest.mark.parametrize(
    ("content", "count"),
    [
        ('<ellipse cx="9" cy="9" rx="5"/>', 1),  # the other radius is "auto" (SVG 2, 10.5)
        ('<ellipse cx="9" cy="9" rx="5" ry="0"/>', 0),
        ('<circle cx="9" cy="9"/>', 0),
        ('<circle r="-5"/>', 0),
        ('<rect width="5"/>', 0),
        ('<rect width="5" height="-5"/>', 0),
        ('<line x2="5" stroke="red"/>', 1),
        ('<line x2="5"/>', 0),  # a line has no inside
        ('<polyline points=""/>', 0),
        ('<polygon points="1 1"/>', 0),
    ],
)
def test_which_shapes_draw(content, count):
    assert len(read_svg(svg(content)).paths) == count


def test_polygon_and_polyline():
    points = 'points="10 10, 20 10 20,30" fill="none" stroke="red"'
    d, xy = only(f"<polygon {points}/>")
    assert xy.tolist() == pytest.approx(np.array([[10, 10], [20, 10], [20, 30]]))
    assert d.paths.closed.all()
    d, xy = only(f"<polyline {points}/>")
    assert not d.paths.closed.any()
    assert len(xy) == 3


@pytest.mark.parametrize(
    ("data", "paint", "closed", "vertices"),
    [
        ("M1 1H9V9", "fill='red'", True, 3),  # filling closes it
        ("M1 1H9V9", "fill='red' stroke='red'", False, 3),
        ("M1 1H9V9z", "fill='none' stroke='red'", True, 3),
        ("M1 1H9V9L1 1", "fill='none' stroke='red'", True, 3),  # ends where it began
        ("M1 1H9z", "fill='none' stroke='red'", False, 2),  # there and back is one line
        ("M1 1H9H9V9", "fill='none' stroke='red'", False, 3),
    ],
)
def test_closed_or_open(data, paint, closed, vertices):
    d = read_svg(svg(f'<path d="{data}" {paint}/>'))
    assert d.paths.closed.tolist() == [closed]
    assert len(d.paths.points) == vertices


def test_paths_part_into_outlines():
    d = read_svg(svg(path("M1 1h5v5z m10 10h3 M30 30l5 5 5 0")))
    assert d.paths.closed.tolist() == [True, False, False]
    assert user(d.paths.points)[3].tolist() == pytest.approx([11, 11])
    assert {s.partition(" in ")[0] for s in d.source} == {"PATH 1"}


def test_a_mirrored_pair_of_smooth_curves_is_smooth():
    d, xy = only(path("M10 40C10 20 30 20 30 40S50 60 50 40"))
    assert xy[0].tolist() == pytest.approx([10, 40])
    assert xy[-1].tolist() == pytest.approx([50, 40])
    truth = bezier([[10, 40], [10, 20], [30, 20], [30, 40]])
    assert away(d, truth).max() <= TOLERANCE_MM
    assert away(d, bezier([[30, 40], [30, 60], [50, 60], [50, 40]])).max() <= TOLERANCE_MM


def bezier(control, count=200):
    t = np.linspace(0, 1, count)[:, None]
    p = np.array(control, float)
    if len(p) == 3:
        return (1 - t) ** 2 * p[0] + 2 * t * (1 - t) * p[1] + t**2 * p[2]
    return (
        (1 - t) ** 3 * p[0] + 3 * t * (1 - t) ** 2 * p[1] + 3 * t**2 * (1 - t) * p[2] + t**3 * p[3]
    )


def away(d, points):
    """Distance from points in user units to the paths [mm]."""
    return nearest_on_paths(d.paths, user(np.asarray(points))).distance_mm


@pytest.mark.parametrize(
    "data", ["M0 40 C1 40 2 40 30 40", "M0 40Q10 40 30 40", "M0 40 C30 40 0 40 30 40"]
)
def test_straight_curves_are_lines(data):
    d, xy = only(path(data))
    assert xy[[0, -1]].tolist() == pytest.approx(np.array([[0, 40], [30, 40]]))
    assert len(xy) == 2
    assert not d.paths.bulges.any()


# ---------------------------------------------------------------- transforms

numbers = st.floats(-3, 3).map(lambda v: round(v, 3))
places = st.floats(-40, 40).map(lambda v: round(v, 3))
CONTENT = (
    '<rect x="1" y="2" width="6" height="4" rx="1"/><circle cx="3" cy="4" r="2"/>'
    '<path d="M0 0 A5 5 0 0 1 4 4 A9 9 0 1 0 7 1 L2 2"/><polyline points="1 1 2 3 4 5"/>'
)


def matrix_text(m):
    return "matrix({})".format(" ".join(repr(float(v)) for v in m))


@given(st.floats(0.1, 5), st.floats(0, 2 * pi), st.booleans(), places, places)
def test_arcs_stay_arcs_under_similarity(scale, angle, mirrored, e, f):
    c, s = scale * cos(angle), scale * sin(angle)
    m = (c, s, s, -c, e, f) if mirrored else (c, s, -s, c, e, f)
    plain, moved = (
        read_svg(svg(stroked(f'<g transform="{t}">{CONTENT}</g>'))) for t in ("", matrix_text(m))
    )
    assert "SVG-105" not in codes(moved)
    x, y = user(plain.paths.points).T
    wanted = np.column_stack((m[0] * x + m[2] * y + e, m[1] * x + m[3] * y + f))
    assert user(moved.paths.points) == pytest.approx(wanted, abs=1e-9)
    sign = -1.0 if mirrored else 1.0
    assert moved.paths.bulges == pytest.approx(sign * plain.paths.bulges, abs=1e-9)


def arc_points(centre, radius, start, sweep):
    t = start + sweep * np.linspace(0, 1, 200)
    return np.array(centre) + radius * np.column_stack((np.cos(t), np.sin(t)))


@given(st.tuples(numbers, numbers, numbers, numbers, places, places))
def test_other_transforms_are_followed_within_the_tolerance(m):
    if abs(m[0] * m[3] - m[1] * m[2]) < 0.05:
        return
    content = (
        '<circle cx="3" cy="4" r="2"/><path d="M-5 0A5 5 0 0 1 0 5Q5 5 5 9C1 2 3 4 9 9L20 20"/>'
    )
    d = read_svg(svg(stroked(f'<g transform="{matrix_text(m)}">{content}</g>')))
    truth = np.concatenate(
        (
            arc_points((3, 4), 2, 0, 2 * pi),
            arc_points((-5, 5), 5, -pi / 2, pi / 2),
            bezier([[0, 5], [5, 5], [5, 9]]),
            bezier([[5, 9], [1, 2], [3, 4], [9, 9]]),
            [[9, 9], [20, 20]],
        )
    )
    mapped = truth @ np.array([[m[0], m[1]], [m[2], m[3]]]) + m[4:]
    assert away(d, mapped).max() <= TOLERANCE_MM * (1 + 1e-6)


TRANSFORMS = {
    "translate(3)": (1, 0, 0, 1, 3, 0),
    "translate(3,4)": (1, 0, 0, 1, 3, 4),
    "scale(2)": (2, 0, 0, 2, 0, 0),
    "scale(2 -3)": (2, 0, 0, -3, 0, 0),
    "rotate(90)": (0, 1, -1, 0, 0, 0),
    "rotate(90 5 5)": (0, 1, -1, 0, 10, 0),
    "skewX(45)": (1, 0, 1, 1, 0, 0),
    "skewY(45)": (1, 1, 0, 1, 0, 0),
    "matrix(1,2,3 4 5-6)": (1, 2, 3, 4, 5, -6),
    "translate(3 4) scale(2),rotate(90)": (0, 2, -2, 0, 3, 4),
    " translate ( 1 , 2 )\n": (1, 0, 0, 1, 1, 2),
}
STYLED = {
    "translate(3px, 4px)": (1, 0, 0, 1, 3, 4),
    "translate(10%, 10%)": (1, 0, 0, 1, 10, 8),
    "translateX(1mm) translateY(2px)": (1, 0, 0, 1, 96 / 25.4, 2),
    "scale(2, 3)": (2, 0, 0, 3, 0, 0),
    "scaleX(2) scaleY(3)": (2, 0, 0, 3, 0, 0),
    "rotate(0.25turn)": (0, 1, -1, 0, 0, 0),
    "rotate(100grad)": (0, 1, -1, 0, 0, 0),
    "rotate(1.5707963267948966rad)": (0, 1, -1, 0, 0, 0),
    "skewX(45deg)": (1, 0, 1, 1, 0, 0),
    "skew(45deg, 0deg)": (1, 0, 1, 1, 0, 0),
    "matrix(1, 2, 3, 4, 5, -6)": (1, 2, 3, 4, 5, -6),
    "none": (1, 0, 0, 1, 0, 0),
}


@pytest.mark.parametrize("form", ["transform='{}'", "style='transform:{}'"])
@pytest.mark.parametrize("text", [*TRANSFORMS, *STYLED])
def test_transforms(text, form):
    table = TRANSFORMS if form.startswith("transform=") else STYLED
    d = read_svg(svg(path("M1 2L30 40", form.format(text))))
    if text not in table:
        if codes(d) & {"SVG-133"}:  # each grammar refuses what only the other one has
            assert user(d.paths.points)[0].tolist() == pytest.approx([1, 2])
            return
        table = {**STYLED, **TRANSFORMS}
    a, b, c, e, f, g = table[text]
    wanted = np.array([[a + 2 * c + f, b + 2 * e + g], [30 * a + 40 * c + f, 30 * b + 40 * e + g]])
    assert user(d.paths.points) == pytest.approx(wanted)


@pytest.mark.parametrize(
    "text",
    ["scale()", "rotate(1 2)", "scale(2) bogus(3)", "matrix(1 2 3)", "rotate(a)", "scale(2", "x"],
)
def test_transforms_that_cannot_be_read_do_nothing_and_are_said(text):
    d = read_svg(svg(path("M1 2L30 40", f'transform="{text}"')))
    assert user(d.paths.points)[0].tolist() == pytest.approx([1, 2])
    assert "SVG-133" in codes(d)


@pytest.mark.parametrize(
    ("origin", "x", "y"),
    [
        ("center", 50, 40),
        ("top left", 0, 0),
        ("left top", 0, 0),
        ("right", 100, 40),
        ("bottom", 50, 80),
        ("10 20", 10, 20),
        ("10px 25%", 10, 20),
        ("25% top", 25, 0),
        ("top center", 50, 0),
        ("10 20 0", 10, 20),
    ],
)
def test_transform_origin(origin, x, y):
    turned = [
        read_svg(svg(path("M1 2L30 40", more)))
        for more in (
            f'transform="rotate(30)" transform-origin="{origin}"',
            f'transform="rotate(30 {x} {y})"',
        )
    ]
    assert turned[0].paths.points == pytest.approx(turned[1].paths.points)
    assert codes(turned[0]) <= {"SVG-141"}


@pytest.mark.parametrize("origin", ["top 25%", "left right", "top bottom", "1 2 3 4", "1 2 3", "x"])
def test_origins_that_are_none(origin):
    d = read_svg(svg(path("M1 2L30 40", f'transform="scale(2)" transform-origin="{origin}"')))
    assert user(d.paths.points)[0].tolist() == pytest.approx([2, 4])
    assert "SVG-133" in codes(d)


def test_origin_of_its_own_box_is_said():
    more = 'style="transform: rotate(30deg); transform-origin: center; transform-box: fill-box"'
    assert "SVG-109" in codes(read_svg(svg(path("M1 2L30 40", more))))


def test_a_transform_that_leaves_nothing_leaves_no_line():
    d = read_svg(svg(path("M1 2L30 40", 'transform="scale(0 1)"') + path("M0 0h9")))
    assert len(d.paths) == 1
    assert "SVG-120" in codes(d)


# ---------------------------------------------------------------- copies


@given(places, places, st.floats(-180, 180), st.floats(0.5, 3))
def test_a_copy_is_the_group_moved(x, y, turn, scale):
    move = f'transform="rotate({turn}) scale({scale})"'
    copied = svg(
        f'<defs><g id="a" transform="skewX(10)">{stroked(CONTENT)}</g></defs>'
        f'<use href="#a" x="{x}" y="{y}" {move}/>'
    )
    grouped = svg(
        f'<g {move}><g transform="translate({x} {y})">'
        f'<g transform="skewX(10)">{stroked(CONTENT)}</g></g></g>'
    )
    a, b = read_svg(copied), read_svg(grouped)
    assert a.paths.points == pytest.approx(b.paths.points, abs=1e-9)
    assert a.paths.bulges == pytest.approx(b.paths.bulges, abs=1e-9)


def test_symbols_are_drawings_of_their_own():
    box = '<rect width="10" height="10"/>'
    symbol = f'<symbol id="s" viewBox="0 0 10 10">{box}</symbol>'
    d = read_svg(svg(symbol))
    assert not len(d.paths)  # never drawn where it stands
    cases = {
        'x="5" y="6" width="20" height="20"': (5, 6, 25, 26),
        'width="20" height="40"': (0, 10, 20, 30),  # fitted and centred
        'width="50%" height="50%"': (5, 0, 45, 40),
        "": (10, 0, 90, 80),  # as large as what is around it
    }
    for use, (x0, y0, x1, y1) in cases.items():
        d = read_svg(svg(f'{symbol}<use href="#s" {use}/>'))
        assert d.paths.box_mm() == pytest.approx((x0, 80 - y1, x1, 80 - y0)), use


def test_drawings_within_drawings():
    inner = '<rect x="50%" y="25%" width="50%" height="10%"/>'
    d = read_svg(svg(f'<svg x="10" y="20" width="40" height="20">{inner}</svg>'))
    assert d.paths.box_mm() == pytest.approx((30, 80 - 27, 50, 80 - 25))
    d = read_svg(svg(f'<svg x="10" y="20" width="40" height="20" viewBox="0 0 4 1">{inner}</svg>'))
    assert d.paths.box_mm() == pytest.approx((30, 80 - 28.5, 50, 80 - 27.5))
    d = read_svg(svg(f'<svg width="0" height="20">{inner}</svg>'))
    assert codes(d) == {"SVG-121", "SVG-150"}


ASPECTS = {
    "": (30, 0), "xMidYMid": (30, 0), "xMinYMin": (0, 0), "xMaxYMax meet": (60, 0),
    "xMinYMid": (0, 0), "xMidYMid slice": (0, -30), "xMinYMin slice": (0, 0),
    "xMidYMax slice": (0, -60), "none": (0, 0),
}  # fmt: skip


@pytest.mark.parametrize("aspect", ASPECTS)
def test_aspects(aspect):
    """A square viewBox in a viewport of 100 x 40: see SVG 2, 8.6."""
    inner = '<rect width="10" height="10"/>'
    d = read_svg(
        svg(
            f'<svg width="100" height="40" viewBox="0 0 10 10" preserveAspectRatio="{aspect}">'
            f"{inner}</svg>"
        )
    )
    x, y = ASPECTS[aspect]
    w, h = (100, 100) if "slice" in aspect else (100, 40) if aspect == "none" else (40, 40)
    assert d.paths.box_mm() == pytest.approx((x, 80 - y - h, x + w, 80 - y))


# ---------------------------------------------------------------- fits


@given(st.floats(0.05, 50), st.floats(0.05, 50), st.floats(0, 360), st.sampled_from((0.01, 0.001)))
def test_ellipses_are_followed_within_the_tolerance(rx, ry, turn, tolerance):
    text = svg(f'<ellipse rx="{rx}" ry="{ry}" transform="translate(50 40) rotate({turn})"/>')
    d = read_svg(text, tolerance_mm=tolerance)
    t = np.linspace(0, 2 * pi, 500)
    c, s = cos(radians(turn)), sin(radians(turn))
    truth = np.column_stack((rx * np.cos(t), ry * np.sin(t))) @ np.array([[c, s], [-s, c]])
    assert away(d, truth + np.array((50, 40))).max() <= tolerance * (1 + 1e-6)
    assert d.paths.closed.all()
    assert d.fit_tolerance_mm == tolerance


def test_equal_shapes_share_one_fit_and_lie_apart():
    ellipse = '<ellipse rx="9" ry="5" transform="translate({} 20)"/>'
    d = read_svg(svg("".join(ellipse.format(x) for x in (10, 30, 50))))
    box = d.paths.bounds_mm()
    assert np.diff(box[:, 0]) == pytest.approx([20, 20])
    sizes = np.diff(d.paths.starts)
    assert len(set(sizes.tolist())) == 1


def test_half_circles_and_more_keep_their_bulge():
    d, xy = only(path("M20 40A10 10 0 1 1 30 50"))
    assert len(xy) == 3  # three quarters of a circle in two pieces
    assert np.abs(d.paths.bulges) == pytest.approx([tan(3 * pi / 16), tan(3 * pi / 16), 0])
    assert d.paths.lengths_mm() == pytest.approx([1.5 * pi * 10])
