"""Ellipses and splines: measured distance both ways to what ezdxf computes of its own.

Reference: `ezdxf.math.ConstructionEllipse` and `ezdxf.math.BSpline` (MIT), sampled densely; the
samples are joined to chords, whose own rise is measured and added to the tolerance.
"""

from __future__ import annotations

from math import pi

import ezdxf
import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from kerfwright.errors import OutOfResourcesError
from kerfwright.errors.messages import sentence_of
from kerfwright.formats.limits import ReadLimits
from kerfwright.geometry import edges
from kerfwright.geometry.distance import nearest_on_paths
from kerfwright.geometry.paths import edges_of, make_path

NEW = settings(max_examples=15, phases=set(Phase) - {Phase.explain})
TOLERANCE_MM = 0.001
SAMPLES = 8001


def dense(points):
    return make_path([(p.x, p.y) for p in points], closed=False)


def points_along(paths, per_edge=9):
    e = edges_of(paths)
    fractions = np.linspace(0.0, 1.0, per_edge)
    return np.concatenate(
        [edges.point_at(e.start, e.end, e.bulge, np.full(len(e.bulge), f)) for f in fractions]
    )


def rise_of_chords(p):
    """How far a smooth curve through samples leaves their chords: a quarter of what each sample
    leaves the chord of its neighbours by; corners, which are samples themselves, aside."""
    before, after = p[1:-1] - p[:-2], p[2:] - p[1:-1]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    dot = (before * after).sum(axis=1)
    chord = np.hypot(*(before + after).T)
    smooth = np.abs(np.arctan2(cross, dot)) < 0.3
    rise = np.abs(cross[smooth]) / np.maximum(chord[smooth], 1e-12)
    return rise.max(initial=0.0) / 2.0  # twice a quarter, since samples are not evenly spaced


def assert_same_curve(paths, points, tolerance_mm=TOLERANCE_MM):
    curve = dense(points)
    forth = nearest_on_paths(paths, curve.points).distance_mm.max()
    back = nearest_on_paths(curve, points_along(paths)).distance_mm.max()
    assert forth <= tolerance_mm * (1.0 + 1e-6)
    assert back <= tolerance_mm + rise_of_chords(curve.points)
    if not paths.closed[0]:
        assert np.abs(paths.points[[0, -1]] - curve.points[[0, -1]]).max() <= 1e-9 * (
            1.0 + np.abs(curve.points).max()
        )


@NEW
@given(
    st.tuples(st.floats(-500, 500), st.floats(-500, 500)),
    st.floats(0.5, 300.0),
    st.floats(-pi, pi),
    st.floats(0.05, 0.99),
    st.one_of(st.just((0.0, 2.0 * pi)), st.tuples(st.floats(0, 6.28), st.floats(0, 6.28))),
    st.booleans(),
)
def test_ellipse(read_here, centre, major, turn, ratio, span, mirrored):
    document = ezdxf.new("R2010", units=4)
    ellipse = document.modelspace().add_ellipse(
        centre, (major * np.cos(turn), major * np.sin(turn)), ratio, *span,
        dxfattribs={"extrusion": (0, 0, -1 if mirrored else 1)},
    )  # fmt: skip
    sweep = (span[1] - span[0]) % (2.0 * pi) or 2.0 * pi
    t = span[0] + sweep * np.linspace(0.0, 1.0, SAMPLES)
    drawing = read_here(document)
    assert drawing.paths.closed.tolist() == [sweep > 2.0 * pi - 1e-9]
    assert_same_curve(drawing.paths, list(ellipse.construction_tool().vertices(t)))
    (note,) = drawing.findings
    assert note.code == "DXF-105"
    assert note.measured <= note.limit == TOLERANCE_MM
    assert "{" not in sentence_of(note)


POINT = st.tuples(st.floats(-200, 200), st.floats(-200, 200))


@NEW
@given(
    st.lists(POINT, min_size=5, max_size=12, unique=True),
    st.integers(1, 4),
    st.booleans(),
    st.randoms(use_true_random=False),
)
def test_spline(read_here, frame, degree, rational, random):
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    if rational:
        weights = [random.uniform(0.3, 3.0) for _ in frame]
        spline = space.add_rational_spline(frame, weights, degree=degree)
    else:
        spline = space.add_open_spline(frame, degree=degree)
    curve = spline.construction_tool()
    drawing = read_here(document)
    t = np.unique(np.concatenate((np.linspace(0, curve.max_t, SAMPLES), curve.knots())))
    assert_same_curve(drawing.paths, list(curve.points(t)))


def test_a_circle_stretched_by_a_block_is_an_ellipse(read_here):
    document = ezdxf.new("R2010", units=4)
    block = document.blocks.new("HOLE")
    block.add_circle((2, 1), 10)
    block.add_lwpolyline([(0, 0, 1), (10, 0, 0), (10, 20, -0.4)], format="xyb", close=True)
    insert = document.modelspace().add_blockref(
        "HOLE", (5, 6), dxfattribs={"xscale": 3.0, "yscale": -0.5, "rotation": 25}
    )
    drawing = read_here(document)
    assert drawing.paths.closed.tolist() == [True, True]
    ellipse, *rest = insert.virtual_entities()
    t = np.linspace(0.0, 2.0 * pi, SAMPLES)
    first = drawing.paths.select([0])
    assert_same_curve(first, list(ellipse.construction_tool().vertices(t)))
    second = drawing.paths.select([1])
    points = []
    for entity in rest:
        if entity.dxftype() == "LINE":
            points += [entity.dxf.start, entity.dxf.end]
        else:
            tool = entity.construction_tool()
            points += list(tool.vertices(np.array(list(tool.params(2001)))))
    away = nearest_on_paths(second, np.array([(p.x, p.y) for p in points])).distance_mm
    assert away.max() <= TOLERANCE_MM
    # Corners of the polyline stay where they are, to the last bit of rounding.
    corner = np.array([(p.x, p.y) for p in insert.matrix44().transform_vertices([(10, 20, 0)])])
    assert np.abs(second.points - corner).max(axis=1).min() <= 1e-9


def test_a_spline_written_as_a_chain_of_bezier_curves(read_here):
    """Every knot four times, every joint two control points: one curve, in one piece."""
    document = ezdxf.new("R2010", units=4)
    frame = [(0, 0), (5, 10), (15, 10), (20, 0), (20, 0), (22, -8), (30, -9), (40, 0)]
    spline = document.modelspace().add_spline()
    spline.dxf.degree = 3
    spline.control_points = frame
    spline.knots = [0] * 4 + [0.5] * 4 + [1] * 4
    drawing = read_here(document)
    points = [
        p
        for part in (frame[:4], frame[4:])
        for p in ezdxf.math.Bezier4P(ezdxf.math.Vec3.list(part)).approximate(SAMPLES)
    ]
    assert_same_curve(drawing.paths, points)
    assert len(drawing.paths) == 1


def test_a_closed_spline_is_a_closed_path(read_here):
    document = ezdxf.new("R2010", units=4)
    frame = [(0, 0, 0), (40, 0, 0), (40, 30, 0), (0, 30, 0)]
    spline = document.modelspace().add_spline()
    spline.set_closed(frame, degree=3)
    spline.closed = True
    drawing = read_here(document)
    assert drawing.paths.closed.tolist() == [True]
    assert np.unique(drawing.paths.points, axis=0).shape == drawing.paths.points.shape


def test_a_closed_flag_on_an_open_curve_closes_nothing(read_here):
    document = ezdxf.new("R2010", units=4)
    spline = document.modelspace().add_open_spline([(0, 0), (40, 0), (40, 30), (0, 30)])
    spline.closed = True
    assert read_here(document).paths.closed.tolist() == [False]


def test_fit_points_alone_are_said(read_here):
    document = ezdxf.new("R2010", units=4)
    spline = document.modelspace().add_spline([(0, 0), (10, 20), (30, -5), (40, 10)])
    drawing = read_here(document)
    curve = spline.construction_tool()
    assert_same_curve(drawing.paths, list(curve.points(np.linspace(0, curve.max_t, SAMPLES))))
    assert [f.code for f in drawing.findings] == ["DXF-133", "DXF-105"]


def test_copies_that_are_only_shifted_share_one_fit(read_here):
    document = ezdxf.new("R2010", units=4)
    block = document.blocks.new("WAVE")
    block.add_open_spline([(0, 0), (10, 20), (30, -5), (40, 10)])
    block.add_ellipse((3, 4), (10, 2), 0.4)
    document.modelspace().add_blockref("WAVE", (1, 2)).grid((20, 20), (37.3, 51.7))
    drawing = read_here(document)
    assert len(drawing.paths) == 800
    lengths = drawing.paths.lengths_mm().reshape(400, 2)
    assert np.ptp(lengths, axis=0).max() < 1e-8
    (note,) = drawing.findings
    assert note.params["count"] == 800


def test_spans_in_which_a_spline_stands_still_are_skipped(read_here):
    document = ezdxf.new("R2010", units=4)
    frame = [(0, 0), (5, 9), (9, 9), (9, 9), (9, 9), (9, 9), (20, 0), (30, 5)]
    spline = document.modelspace().add_spline()
    spline.dxf.degree = 3
    spline.control_points = frame
    spline.knots = [0, 0, 0, 0, 1, 1 + 1e-10, 3, 4, 5, 5, 5, 5]
    curve = spline.construction_tool()
    assert_same_curve(read_here(document).paths, list(curve.points(np.linspace(0, 5, SAMPLES))))


@pytest.mark.parametrize("frame", ["aabb", "aaab", "abbb", "aaaabbbbbb"])
def test_a_straight_spline_with_its_control_points_at_its_ends_is_a_line(read_here, frame):
    document = ezdxf.new("R2010", units=4)
    places = {"a": (3, 4), "b": (33, 44)}
    document.modelspace().add_open_spline([places[c] for c in frame], degree=3)
    paths = read_here(document).paths
    assert not paths.bulges.any()
    assert paths.lengths_mm() == pytest.approx([50.0], abs=1e-9)
    np.testing.assert_allclose(paths.points[[0, -1]], [(3, 4), (33, 44)], atol=1e-9)


def test_curves_without_length_are_left_out_and_said(read_here):
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    space.add_open_spline([(1, 1)] * 6)
    space.add_ellipse((0, 0), (100, 0), 0.3, 5.0, 5.0 + 1e-15)
    space.add_ellipse((0, 0), (100, 0), 0.3)
    drawing = read_here(document)
    assert len(drawing.paths) == 1
    (left_out,) = [f for f in drawing.findings if f.code == "DXF-130"]
    assert left_out.params["count"] == 2
    for words in ("a spline without length", "a piece of an ellipse without length"):
        assert words in left_out.params["names"]


def test_too_many_arcs_are_refused(read_here):
    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_ellipse((0, 0), (9e4, 0), 0.3)
    with pytest.raises(OutOfResourcesError, match=r"drawing\.dxf: .*larger tolerance"):
        read_here(document, tolerance_mm=1e-5, limits=ReadLimits(points=60))
