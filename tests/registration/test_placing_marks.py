"""Marks placed: what holds of every set, and what is said where it cannot."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import GeometryError, UsageError
from kerfwright.geometry.paths import empty_paths, join_sets, make_circle, make_path
from kerfwright.model.prior import PrintPrior
from kerfwright.registration import layout_ambiguity, place_marks
from kerfwright.registration.placing_findings import findings_of
from kerfwright.registration.placing_sd import points_of_interest, predicted_sd_mm
from layout.pieces import box, polygon, sheet

BOARD = sheet(2440.0, 1220.0, margin_mm=20.0)
HOW = {
    "prior": PrintPrior(),
    "field_of_view_mm": (60.0, 45.0),
    "throw_rad": math.radians(3.4),
    "seed": 0,
}


def grid_of_parts(columns=6, rows=4, width=340.0, height=260.0, pitch=(390.0, 295.0)):
    cells = [(i, j) for i in range(columns) for j in range(rows)]
    return join_sets([box(width, height, 40 + pitch[0] * i, 30 + pitch[1] * j) for i, j in cells])


@st.composite
def scenes(draw):
    rng = np.random.default_rng(draw(st.integers(0, 1000)))
    columns, rows = draw(st.integers(1, 6)), draw(st.integers(1, 4))
    pitch = (2400.0 / columns, 1180.0 / rows)
    size = rng.uniform(0.4, 0.93, 2) * pitch
    parts = grid_of_parts(columns, rows, *size, pitch)
    stock = sheet(
        2440.0,
        1220.0,
        holes=make_circle(rng.uniform((100, 100), (2300, 1100)), 40.0),
        keep_outs=box(200.0, 100.0, *rng.uniform((0, 0), (2200, 1100))),
    )
    options = {
        "count": draw(st.sampled_from([None, 3, 6, 9])),
        "keep_outs": box(150.0, 150.0, 0.0, 0.0) if draw(st.booleans()) else None,
        "reach": (30.0, 10.0, 2300.0, 1215.0) if draw(st.booleans()) else None,
        "face_down": draw(st.booleans()),
        "throw_rad": draw(st.sampled_from([0.0, 0.02, 0.06])),
        "diameter_mm": draw(st.sampled_from([4.0, 6.0])),
        "seed": draw(st.integers(0, 5)),
    }
    return stock, parts, options


@settings(max_examples=8, deadline=None)
@given(scene=scenes())
def test_every_mark_is_clear_of_everything_by_its_quiet_zone(scene):
    stock, parts, options = scene
    marks = place_marks(stock, parts, **HOW | options)
    solids = [parts, stock.holes, stock.keep_outs, options["keep_outs"] or empty_paths()]
    every = shapely.union_all([polygon(s.select([k])) for s in solids for k in range(len(s))])
    edge = polygon(stock.outline)
    clear = marks.diameter_mm / 2.0 + marks.quiet_mm - 0.01
    for xy in marks.xy:
        here = shapely.Point(xy)
        assert every.distance(here) >= clear
        assert edge.contains(here)
        assert edge.exterior.distance(here) >= clear
    if options["reach"]:
        x0, y0, x1, y1 = options["reach"]
        assert (marks.xy >= (x0, y0)).all()
        assert (marks.xy <= (x1, y1)).all()


@settings(max_examples=5, deadline=None)
@given(scene=scenes())
def test_what_the_result_says_of_itself_is_so(scene):
    stock, parts, options = scene
    marks = place_marks(stock, parts, **HOW | options)
    assert marks.sheet == stock.id
    assert marks.ambiguity == layout_ambiguity(marks.xy, may_be_mirrored=options["face_down"])
    assert marks.losses_tolerated == len(marks.xy) - marks.ambiguity - 1
    at = points_of_interest(parts, stock.outline.box_mm())
    sd = predicted_sd_mm(marks.xy, at, HOW["prior"])
    assert marks.worst_sd_mm == pytest.approx(sd.max(), rel=1e-6)
    codes = {f.code for f in marks.findings}
    assert ("MRK-110" in codes) == (len(marks.xy) < (options["count"] or 8))
    zones = shapely.union_all([polygon(marks.zones.select([k])) for k in range(len(marks.xy))])
    for xy in marks.xy:
        reach = zones.intersection(shapely.Point(xy).buffer(20.0))
        assert reach.area == pytest.approx(math.pi * (marks.diameter_mm) ** 2, rel=0.01)
    assert place_marks(stock, parts, **HOW | options).digest == marks.digest


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("face_down", [False, True])
@pytest.mark.parametrize("parts", [empty_paths(), grid_of_parts()])
def test_a_usual_sheet_is_unambiguous_and_every_mark_has_a_neighbour_in_view(
    seed, face_down, parts
):
    how = HOW | {"seed": seed, "face_down": face_down}
    marks = place_marks(BOARD, parts, count=8, **how)
    assert marks.findings == ()
    assert marks.ambiguity == 2
    assert marks.losses_tolerated == 5
    # a dense look at all turns: some neighbour stays in the picture, all of the dot
    turns = np.linspace(-how["throw_rad"], how["throw_rad"], 41)
    c, s = np.cos(turns), np.sin(turns)
    for i, xy in enumerate(marks.xy):
        away = np.delete(marks.xy, i, axis=0) - xy
        dx = np.outer(c - 1.0, away[:, 0]) - np.outer(s, away[:, 1])
        dy = np.outer(s, away[:, 0]) + np.outer(c - 1.0, away[:, 1])
        seen = (np.abs(dx) <= 30.0 - 3.0).all(axis=0) & (np.abs(dy) <= 22.5 - 3.0).all(axis=0)
        assert seen.any(), f"mark {i}"


def test_the_first_mark_is_at_the_operators_left_with_the_second_in_view():
    marks = place_marks(BOARD, empty_paths(), count=8, **HOW)
    from_corner = np.hypot(*marks.xy.T)
    assert int(np.argmin(from_corner)) == 0
    assert from_corner[0] < 100.0
    away = np.abs(marks.xy[1] - marks.xy[0])
    turned = np.sin(HOW["throw_rad"]) * away[::-1]
    assert (turned <= (27.0, 19.5)).all()


def test_a_tighter_tolerance_takes_more_marks_as_few_as_will_do():
    counts = []
    for tolerance in (2.0, 0.4):
        marks = place_marks(BOARD, empty_paths(), tolerance_mm=tolerance, **HOW)
        counts.append(len(marks.xy))
        if not marks.findings:
            assert 2.0 * marks.worst_sd_mm <= tolerance / 4.0
        if len(marks.xy) > 6:
            fewer = place_marks(BOARD, empty_paths(), count=len(marks.xy) - 2, **HOW)
            assert 2.0 * fewer.worst_sd_mm > tolerance / 4.0
    assert counts == sorted(counts)
    assert counts[0] < counts[-1] <= 12


def test_a_tolerance_out_of_reach_is_said_with_the_worst_place():
    marks = place_marks(BOARD, empty_paths(), tolerance_mm=0.05, **HOW)
    assert len(marks.xy) == 12
    found = {f.code: f for f in marks.findings}["MRK-120"]
    assert found.measured == pytest.approx(2.0 * marks.worst_sd_mm)
    assert found.limit == pytest.approx(0.0125)
    at = np.array([found.where.xy_mm])
    assert predicted_sd_mm(marks.xy, at, HOW["prior"])[0] == pytest.approx(marks.worst_sd_mm)


def test_too_little_room_is_said():
    """A band of parts leaves two corners free."""
    corner = box(40.0, 40.0)
    far = box(40.0, 40.0, 2400.0, 1180.0)
    rest = polygon(BOARD.outline).difference(shapely.union_all([polygon(corner), polygon(far)]))
    full = make_path(np.array(rest.exterior.coords)[:-1], closed=True)
    marks = place_marks(BOARD, full, count=8, **HOW)
    assert 2 <= len(marks.xy) < 8
    found = {f.code: f for f in marks.findings}
    assert found["MRK-110"].params == {"placed": len(marks.xy), "wanted": 8}


def test_no_room_at_all_is_refused():
    with pytest.raises(GeometryError, match="one mark gives no angle"):
        place_marks(BOARD, box(2440.0, 1220.0), count=8, **HOW)


def test_a_neighbour_out_of_view_is_said_for_each_mark():
    how = HOW | {"field_of_view_mm": (12.0, 12.0), "throw_rad": 0.5}
    marks = place_marks(BOARD, empty_paths(), count=6, **how)
    alone = [f for f in marks.findings if f.code == "MRK-140"]
    assert [f.where.xy_mm for f in alone] == [tuple(xy) for xy in marks.xy.tolist()]


def test_two_marks_cannot_tell_a_half_turn():
    marks = place_marks(BOARD, empty_paths(), count=2, **HOW)
    assert [f.code for f in marks.findings if f.severity == "blocks"] == ["MRK-131"]
    assert marks.losses_tolerated == -1


def test_ambiguous_marks_are_said_with_what_may_be_lost():
    xy = np.array([(0.0, 0.0), (900.0, 0.0), (900.0, 500.0), (0.0, 500.0), (300.0, 0.0)])
    found = findings_of(
        BOARD,
        xy,
        np.zeros(5, bool),
        wanted=5,
        ambiguity=4,
        sd_mm=0.01,
        worst_xy=xy[0],
        tolerance_mm=None,
    )
    assert [(f.code, dict(f.params)) for f in found] == [
        ("MRK-130", {"ambiguity": 4, "count": 5, "lost": 0})
    ]


def test_defaults_stand_where_no_prior_is_given():
    given_ = place_marks(BOARD, empty_paths(), count=6, **HOW)
    assert (
        place_marks(BOARD, empty_paths(), count=6, **HOW | {"prior": None}).digest == given_.digest
    )


@pytest.mark.parametrize(
    "wrong",
    [
        {"count": 1},
        {"throw_rad": -0.1},
        {"throw_rad": math.nan},
        {"diameter_mm": 0.0},
        {"tolerance_mm": 0.0},
        {"field_of_view_mm": (5.0, 50.0)},
        {"reach": (10.0, 0.0, 5.0, 50.0)},
    ],
)
def test_wrong_input_is_refused(wrong):
    with pytest.raises(UsageError):
        place_marks(BOARD, empty_paths(), **HOW | wrong)
