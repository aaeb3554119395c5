"""Operators of the page to outlines: every number computed by hand, after ISO 32000-1, 8.5."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from formats.pdf_pages import UNIT_MM, Page, codes, found, lines_of, read_here
from kerfwright.formats.pdf.lexer import Stand, operators
from kerfwright.geometry.edges import length_mm

EXACT_MM = 1e-9
K = 0.5522847498307936  # 4/3 (sqrt 2 - 1): the usual cubic for a quarter of a circle


def units(points):
    return np.array(points, dtype=float) * UNIT_MM


def control(folder, content, **options):
    return lines_of(folder, Page(content), **options).control


def test_the_operators_of_curves(tmp_path):
    got = control(tmp_path, b"10 20 m 11 25 15 30 20 20 c 30 40 50 20 v 60 0 70 10 y S")
    wanted = [
        [(10, 20), (11, 25), (15, 30), (20, 20)],
        [(20, 20), (20, 20), (30, 40), (50, 20)],
        [(50, 20), (60, 0), (70, 10), (70, 10)],
    ]
    assert np.abs(got - units(wanted)).max() < EXACT_MM


def test_a_rectangle_and_what_follows_it(tmp_path):
    """`re` is closed, and the current point is its corner."""
    o = lines_of(tmp_path, Page(b"10 20 30 -5 re 1 2 l S"))
    assert o.closed.tolist() == [True, False]
    corners = units([(10, 20), (40, 20), (40, 15), (10, 15)])
    assert np.abs(o.control[:4, 0] - corners).max() < EXACT_MM
    assert np.abs(o.control[4, [0, 3]] - units([(10, 20), (1, 2)])).max() < EXACT_MM


@pytest.mark.parametrize(
    ("content", "closed", "pieces"),
    [
        (b"0 0 m 9 0 l 9 9 l S", [False], [2]),
        (b"0 0 m 9 0 l 9 9 l s", [True], [3]),
        (b"0 0 m 9 0 l 9 9 l h S", [True], [3]),
        (b"0 0 m 9 0 l 9 9 l f", [True], [3]),
        (b"0 0 m 9 0 l 9 9 l F", [True], [3]),
        (b"0 0 m 9 0 l 9 9 l f*", [True], [3]),
        (b"0 0 m 9 0 l 9 9 l B", [False], [2]),
        (b"0 0 m 9 0 l 9 9 l B*", [False], [2]),
        (b"0 0 m 9 0 l 9 9 l b", [True], [3]),
        (b"0 0 m 9 0 l 9 9 l b*", [True], [3]),
        (b"0 0 m 9 0 l 9 9 l n", [], []),
        (b"0 0 m 9 0 l 9 9 l 0 0 l S", [True], [3]),
        (b"0 0 m 9 0 l 9 9 l 0 0 l h S", [True], [3]),
        (b"0 0 m 9 0 l h h 5 5 l S", [False, False], [1, 1]),
        (b"0 0 m 9 0 l 0 0 l S", [False], [1]),
        (b"0 0 m 9 0 l h S", [False], [1]),
        (b"1 1 m 0 0 m 9 0 l S", [False], [1]),
        (b"0 0 m 9 0 l 4 4 m S", [False], [1]),
        (b"5 5 0 20 re S", [False], [1]),
        (b"0 0 m 0 0 l 9 0 l 9 0 l S", [False], [1]),
    ],
)
def test_ends_are_as_painted(tmp_path, content, closed, pieces):
    o = lines_of(tmp_path, Page(content))
    assert o.closed.tolist() == closed
    assert np.diff(o.starts).tolist() == pieces


def test_matrices_are_applied_inner_first(tmp_path):
    """By hand: (1, 2) doubled is (2, 4), turned a quarter (-4, 2), moved (6, 22)."""
    content = b"q 0 1 -1 0 10 20 cm q 2 0 0 2 0 0 cm 1 2 m 3 2 l S Q 1 2 m 3 2 l S Q 1 2 m 3 2 l S"
    got = control(tmp_path, content)[:, [0, 3]]
    wanted = [[(6, 22), (6, 26)], [(8, 21), (8, 23)], [(1, 2), (3, 2)]]
    assert np.abs(got - units(wanted)).max() < EXACT_MM


def test_forms_within_forms(tmp_path):
    """By hand: inner (1, 1) by its matrix (4, 1), by the outer one (8, -2), by cm (18, -2)."""
    page = Page(b"1 0 0 1 10 0 cm /Outer Do 0 0 m 1 0 l S")
    page.form("Inner", b"1 1 m 2 1 l S", Matrix=(1, 0, 0, 1, 3, 0))
    # no resources of its own: those of the page count
    page.form("Outer", b"q 5 0 0 5 0 0 cm Q /Inner Do", Matrix=(2, 0, 0, -2, 0, 0))
    o = lines_of(tmp_path, page)
    wanted = [[(18, -2), (20, -2)], [(10, 0), (11, 0)]]
    assert np.abs(o.control[:, [0, 3]] - units(wanted)).max() < EXACT_MM
    assert read_here(tmp_path, page).source == ("PATH 1 in Outer > Inner", "PATH 2")


def test_fill_and_stroke_of_one_shape_are_one_line(tmp_path):
    page = Page(
        b"/Spot CS 1 SCN 1 0 0 rg 3 w 0 0 m 9 0 l 9 9 l h B "
        b"20 0 9 9 re f 20 0 9 9 re S "
        b"40 0 9 9 re S 40 0 9 9 re f "
        b"60 0 9 9 re f 60 0 9 8 re S"
    )
    page.spot("Spot", "CutContour")
    drawing = read_here(tmp_path, page)
    spot = "CutContour"
    assert drawing.separation == (spot, spot, spot, "", spot)
    assert [s.colour for s in drawing.stroke] == ["#ff00ff"] * 3 + ["#ff0000", "#ff00ff"]
    assert drawing.stroke[0].width_mm == pytest.approx(3 * UNIT_MM)
    assert drawing.stroke[3].width_mm == 0.0


def test_widths_follow_matrix_and_parameters(tmp_path):
    page = Page(
        b"/Wide gs 2 0 0 8 0 0 cm 0 0 m 9 0 l S [3 1] 0 d 1 J 2 j 9 M 1 i 0.5 w 0 1 m 9 1 l S"
    )
    page.resources.ExtGState["/Wide"] = page.pdf.make_indirect({"/LW": 3})
    widths = [s.width_mm for s in read_here(tmp_path, page).stroke]
    assert widths == pytest.approx([3 * 4 * UNIT_MM, 0.5 * 4 * UNIT_MM])


def circle(x, y, r):
    k = K * r
    return (
        f"{x + r} {y} m {x + r} {y + k} {x + k} {y + r} {x} {y + r} c "
        f"{x - k} {y + r} {x - r} {y + k} {x - r} {y} c "
        f"{x - r} {y - k} {x - k} {y - r} {x} {y - r} c "
        f"{x + k} {y - r} {x + r} {y - k} {x + r} {y} c h S\n"
    )


@pytest.mark.parametrize("tolerance_mm", [0.001, 0.02])
def test_arcs_follow_the_curves_within_the_tolerance(tmp_path, tolerance_mm):
    """Points of the cubics by de Casteljau, and their distance by brute force."""
    content = circle(50, 50, 30) + "10 10 m 40 10 l 60 10 60 30 40 40 c 20 60 10 40 10 30 c h S"
    page = Page(content.encode())
    o = lines_of(tmp_path, page)
    drawing = read_here(tmp_path, page, tolerance_mm=tolerance_mm)
    assert drawing.paths.closed.all()
    t = np.linspace(0, 1, 400)[:, None]
    for k in range(2):
        p = o.control[o.starts[k] : o.starts[k + 1]][o.is_curve[o.starts[k] : o.starts[k + 1]]]
        q = p[:, None, :-1] * (1 - t[..., None]) + p[:, None, 1:] * t[..., None]
        q = q[:, :, :-1] * (1 - t[..., None]) + q[:, :, 1:] * t[..., None]
        q = (q[:, :, 0] * (1 - t) + q[:, :, 1] * t).reshape(-1, 2)
        assert brute_distance(q, drawing.paths.select([k])).max() < tolerance_mm * 1.01
    # a circle of four cubics is at most 2.73e-4 of its radius off (common practice, no source)
    radius_mm = 30 * UNIT_MM
    r = np.hypot(*(drawing.paths.select([0]).points - units((50, 50))).T)
    assert np.abs(r - radius_mm).max() < 2.74e-4 * radius_mm + tolerance_mm
    assert found(drawing, "PDF-105").measured <= tolerance_mm


def brute_distance(points, path):
    """Distance from points to a closed path whose arcs are cut into very short chords (GEOS)."""
    dense = []
    ends = np.roll(path.points, -1, axis=0)
    for p, q, h in zip(path.points, ends, path.bulges, strict=True):
        s = np.linspace(0, 1, 200, endpoint=False)[:, None]
        if h == 0.0:
            dense.append(p + s * (q - p))
            continue
        across = np.array([-(q - p)[1], (q - p)[0]])
        centre = (p + q) / 2 + across * (1 - h * h) / (4 * h)
        r = p - centre
        turn = 4 * np.arctan(h) * s
        dense.append(centre + np.cos(turn) * r + np.sin(turn) * np.array([-r[1], r[0]]))
    ring = shapely.LinearRing(np.concatenate(dense))
    return shapely.distance(shapely.points(points), ring)


def test_equal_curves_share_one_fit_and_straight_cubics_are_lines(tmp_path):
    content = circle(20, 20, 10) + circle(60, 40, 10) + "0 0 m 3 0 6 0 9 0 c S"
    drawing = read_here(tmp_path, Page(content.encode()))
    a, b, line = (drawing.paths.select([k]) for k in range(3))
    assert np.abs(b.points - a.points - units((40, 20))).max() < 1e-9
    assert np.abs(a.bulges - b.bulges).max() < 1e-9
    assert np.abs(line.points - units([(0, 0), (9, 0)])).max() < EXACT_MM
    ends = drawing.paths.points
    assert length_mm(ends[:1], ends[1:2], drawing.paths.bulges[:1])[0] > 0.0


def test_a_curve_that_rests_at_its_ends_and_one_that_turns_back(tmp_path):
    content = b"0 0 m 0 0 90 90 90 90 c S 0 0 m 90 0 -60 0 30 0 c S 0 5 m 60 50 0 50 60 5 c S"
    drawing = read_here(tmp_path, Page(content))
    assert codes(drawing) == []
    assert len(drawing.paths) == 3
    # x(t) = 270 t u^2 - 180 t^2 u + 30 t^3 by hand; out, back and out again
    t = np.linspace(0.0, 1.0, 200_001)
    x = 270 * t * (1 - t) ** 2 - 180 * t * t * (1 - t) + 30 * t**3
    way = np.abs(np.diff(x)).sum() * UNIT_MM
    assert drawing.paths.lengths_mm()[1] == pytest.approx(way, abs=0.01)


def test_points_and_unreadable_operators_are_said(tmp_path):
    drawing = read_here(
        tmp_path,
        Page(b"5 5 m 5 5 l S 7 7 m S 1 2 l S 0 0 m 1 l 9 9 l S (a) 4 l n Q foo 0 0 m 5 0 l S q"),
    )
    assert len(drawing.paths) == 1
    assert codes(drawing) == ["PDF-130", "PDF-131", "PDF-132"]
    assert found(drawing, "PDF-130").params["count"] == 6  # l, l, l, Q, foo, q
    assert found(drawing, "PDF-131").params["count"] == 2
    assert found(drawing, "PDF-132").params["count"] == 2


def test_a_matrix_changed_inside_a_path_leaves_the_path_out(tmp_path):
    drawing = read_here(tmp_path, Page(b"0 0 m 2 0 0 2 0 0 cm 5 5 l S 0 0 m 5 5 l S"))
    assert codes(drawing) == ["PDF-131"]
    assert len(drawing.paths) == 1


def test_nothing_to_work_blocks(tmp_path):
    drawing = read_here(tmp_path, Page(b"BT (words) Tj ET /Sh0 sh"))
    assert codes(drawing) == ["PDF-150", "PDF-110"]
    assert found(drawing, "PDF-150").severity == "blocks"


def test_tokens():
    data = (
        b"q\x00.5 -3. +2 cm%1 2 l\n[1(a\\)(b))<41>]0 d<</A[1]>>DP/OC /M#43 BDC"
        b" BI /W 1 ID \x01 EI\xff EI Q 5 true l 3re"
    )
    assert list(operators(data)) == [
        (b"q", []),
        (b"cm", [0.5, -3.0, 2.0]),
        (b"d", [[1.0, Stand.STRING, Stand.STRING], 0.0]),
        (b"DP", [Stand.DICTIONARY]),
        (b"BDC", [b"OC", b"MC"]),
        (b"BI", []),
        (b"Q", []),
        (b"l", [5.0, Stand.JUNK]),
    ]


@given(st.binary(max_size=60))
@settings(max_examples=300)
def test_any_bytes_are_read_to_the_end(data):
    for word, operands in operators(data):
        assert word
        assert isinstance(operands, list)


@given(
    st.lists(st.tuples(*[st.floats(-500, 500)] * 2), min_size=2, max_size=6, unique=True),
    st.tuples(st.floats(-3, 3), st.floats(-3, 3), st.floats(-300, 300), st.floats(-300, 300)),
)
@settings(max_examples=25)
def test_drawing_moved_points_or_moving_the_paper_is_the_same(tmp_path_factory, points, matrix):
    a, b, e, f = matrix
    folder = tmp_path_factory.getbasetemp()
    text = " ".join(f"{x:.6f} {y:.6f} {'m' if k == 0 else 'l'}" for k, (x, y) in enumerate(points))
    moved = control(
        folder, f"{a:.6f} {b:.6f} {-b:.6f} {a:.6f} {e:.6f} {f:.6f} cm {text} S".encode()
    )
    plain = control(folder, f"{text} S".encode())
    a, b, e, f = (round(v, 6) for v in matrix)
    if len(plain) != len(moved):  # what is tiny may vanish under a small matrix
        assert np.hypot(a, b) * np.abs(np.diff(plain, axis=1)).max(axis=(1, 2)).min() < 1e-6
        return
    turned = plain @ np.array([(a, b), (-b, a)]) + units((e, f))
    assert np.abs(moved - turned).max() < 1e-8
