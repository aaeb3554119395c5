"""Offsets: distance kept, the same however drawn, every edge tagged, and the nasty shapes."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry.oracles import polyline_of, sampled_edges
from kerfwright.errors import GeometryError
from kerfwright.geometry.containment import containment_forest
from kerfwright.geometry.distance import hausdorff, nearest_on_paths
from kerfwright.geometry.offset import Offset, offset_lines, offset_regions
from kerfwright.geometry.paths import PathSet, edges_of, join_sets, make_circle, make_path
from strategies import contours, numbers, similarities

WITHIN = 1e-6  # mm: what the module promises
NASTY = tomllib.loads((Path(__file__).parent / "nasty_offsets.toml").read_text(encoding="utf-8"))
DISTANCES = st.one_of(numbers(0.05, 45.0), numbers(-45.0, -0.05))


def path_of(case: dict) -> PathSet:
    return join_sets(
        make_path([row[:2] for row in rows], [(*row, 0.0)[2] for row in rows], closed=True)
        for rows in case["contours"]
    )


def off_by(source: PathSet, rings: PathSet, distance: float) -> float:
    """The worst miss of the distance over dense points of the rings."""
    if not len(rings):
        return 0.0
    points, _ = sampled_edges(rings, 33)
    near = nearest_on_paths(source, points.reshape(-1, 2))
    return float(np.abs(near.distance_mm - abs(distance)).max())


def same(one: PathSet, two: PathSet) -> bool:
    """Whether two sets of rings are the same within what is promised of each."""
    if len(one) != len(two):
        return False
    return not len(one) or hausdorff(one, two, accuracy_mm=1e-7).high_mm <= 2.0 * WITHIN + 1e-6


@given(contours(), DISTANCES)
@settings(max_examples=60, deadline=None)
def test_every_point_keeps_its_distance_and_its_side(paths: PathSet, distance: float) -> None:
    made = offset_regions(paths, distance)
    assert not len(made.unmade)
    assert off_by(paths, made.paths, distance) <= WITHIN
    solid = shapely.Polygon(polyline_of(paths, 0))
    if len(made.paths):
        points, _ = sampled_edges(made.paths, 3)
        inside = shapely.contains_xy(solid, *points[:, 1].T)
        assert (inside == (distance < 0.0)).all()


@given(contours(), DISTANCES)
@settings(max_examples=40, deadline=None)
def test_no_point_further_away_is_left_out(paths: PathSet, distance: float) -> None:
    """Points drawn at random lie in the rings exactly when their distance says so."""
    made = offset_regions(paths, distance).paths
    x0, y0, x1, y1 = paths.box_mm()
    xy = np.random.default_rng(5).uniform((x0 - 50, y0 - 50), (x1 + 50, y1 + 50), (400, 2))
    solid = shapely.Polygon(polyline_of(paths, 0))
    away = nearest_on_paths(paths, xy).distance_mm
    signed = np.where(shapely.contains_xy(solid, *xy.T), -away, away)
    clear = np.abs(signed - distance) > 0.05
    found = np.zeros(len(xy), int)
    for k in range(len(made)):
        ring = shapely.Polygon(polyline_of(made, k))
        found += np.where(shapely.contains_xy(ring, *xy.T), int(np.sign(made.areas_mm2()[k])), 0)
    assert ((found[clear] == 1) == (signed[clear] < distance)).all()


@given(contours(), DISTANCES, similarities(scale=False))
@settings(max_examples=40, deadline=None)
def test_it_commutes_with_moving_turning_and_mirroring(
    paths: PathSet, distance: float, map_: np.ndarray
) -> None:
    here = offset_regions(paths, distance).paths.transformed(map_)
    there = offset_regions(paths.transformed(map_), distance).paths
    if len(here) == len(there):
        assert same(here, there)
    else:  # only where a ring is about to vanish or to part
        near = [len(offset_regions(paths, distance + e).paths) for e in (-1e-5, 1e-5)]
        assert near[0] != near[1]


@given(contours(), DISTANCES, st.integers(0, 20))
@settings(max_examples=40, deadline=None)
def test_neither_direction_nor_first_vertex_matters(
    paths: PathSet, distance: float, shift: int
) -> None:
    n = shift % len(paths.points)
    other = PathSet(
        points=np.roll(paths.points, n, axis=0),
        bulges=np.roll(paths.bulges, n),
        starts=paths.starts,
        closed=paths.closed,
    ).reversed_where()
    assert same(offset_regions(paths, distance).paths, offset_regions(other, distance).paths)


@given(contours(), DISTANCES)
@settings(max_examples=40, deadline=None)
def test_every_edge_names_what_it_follows(paths: PathSet, distance: float) -> None:
    """Each output edge keeps the distance to the very edge or corner it is tagged with."""
    made = offset_regions(paths, distance)
    e = edges_of(made.paths)
    source = edges_of(paths)
    points, _ = sampled_edges(made.paths, 9)
    for i in range(len(e.bulge)):
        tag, kind = made.source[e.vertex[i]], made.kind[e.vertex[i]]
        if kind == 1:
            gap = np.hypot(*(points[i] - paths.points[tag]).T)
        else:
            row = int(np.flatnonzero(source.vertex == tag)[0])
            one = make_path(
                [source.start[row], source.end[row]], [source.bulge[row], 0.0], closed=False
            )
            gap = nearest_on_paths(one, points[i]).distance_mm
        assert np.abs(gap - abs(distance)).max() <= WITHIN


@given(contours(), numbers(0.1, 20.0), numbers(0.1, 20.0))
@settings(max_examples=30, deadline=None)
def test_growing_twice_is_growing_once(paths: PathSet, one: float, two: float) -> None:
    twice = offset_regions(offset_regions(paths, one).paths, two, region=None)
    outer = np.flatnonzero(twice.paths.areas_mm2() > 0.0)
    once = offset_regions(paths, one + two).paths
    biggest = once.select([int(np.argmax(once.areas_mm2()))])
    grown = twice.paths.select([int(outer[np.argmax(twice.paths.areas_mm2()[outer])])])
    assert hausdorff(biggest, grown, accuracy_mm=1e-7).high_mm <= 1e-5


@given(contours(), numbers(0.2, 40.0))
@settings(max_examples=30, deadline=None)
def test_what_shrinks_then_grows_never_leaves_the_contour(paths: PathSet, by: float) -> None:
    """Opening by a disc: what the disc can reach inside; the cutter's view of inner corners."""
    inner = offset_regions(paths, -by).paths
    if not len(inner):
        return
    opened = offset_regions(inner, by, region=np.zeros(len(inner), int)).paths
    points, _ = sampled_edges(opened, 17)
    solid = shapely.Polygon(polyline_of(paths, 0)).buffer(0.05)
    assert shapely.contains_xy(solid, *points.reshape(-1, 2).T).all()


@pytest.mark.parametrize("name", sorted(NASTY))
def test_nasty_shapes(name: str) -> None:
    case = NASTY[name]
    paths = path_of(case)
    for distance, rings in zip(case["distances"], case["rings"], strict=True):
        made = offset_regions(paths, distance, region=np.zeros(len(paths), int))
        assert not len(made.unmade), distance
        assert len(made.paths) == rings, distance
        assert off_by(paths, made.paths, distance) <= WITHIN, distance


def test_closed_forms() -> None:
    """Rectangle and circle: areas by hand, a x b grown by r is ab + 2r(a + b) + pi r^2."""
    plate = make_path([(0, 0), (10, 0), (10, 6), (0, 6)], closed=True)
    assert offset_regions(plate, 1.5).paths.areas_mm2() == pytest.approx(
        [60 + 3.0 * 16 + math.pi * 2.25], abs=1e-9
    )
    assert offset_regions(plate, -2.5).paths.areas_mm2() == pytest.approx([5.0], abs=1e-9)
    ring = join_sets([make_circle((0, 0), 9.0), make_circle((0, 0), 4.0)])
    made = offset_regions(ring, -2.0, region=[0, 0]).paths
    assert sorted(made.areas_mm2()) == pytest.approx([-36 * math.pi, 49 * math.pi], abs=1e-9)
    by_size = made.select(np.argsort(-np.abs(made.areas_mm2())))
    assert containment_forest(by_size, tolerance_mm=1e-9).tolist() == [-1, 0]


@given(numbers(0.1, 5.0), st.sampled_from(["round", "flat", "square"]), numbers(-3.0, 3.0))
@settings(max_examples=30, deadline=None)
def test_ends_of_a_straight_line(r: float, ends: str, turn: float) -> None:
    line = make_path([(1, 2), (1 + 30 * math.cos(turn), 2 + 30 * math.sin(turn))], closed=False)
    made = offset_lines(line, r, ends=ends)  # type: ignore[arg-type]
    more = {"round": math.pi * r * r, "flat": 0.0, "square": 4.0 * r * r}[ends]
    assert made.paths.areas_mm2() == pytest.approx([60.0 * r + more], rel=1e-9)
    assert set(made.kind[made.source == 1].tolist()) <= {0, 2}


@given(
    st.lists(st.tuples(numbers(-50, 50), numbers(-50, 50)), min_size=2, max_size=6), numbers(0.3, 9)
)
@settings(max_examples=40, deadline=None)
def test_open_lines_agree_with_shapely(points: list, r: float) -> None:
    xy = np.array(points) + np.arange(len(points))[:, None] * [1e-3, 1.7e-3]
    line = make_path(xy, closed=False)
    made = offset_lines(line, r)
    assert off_by(line, made.paths, r) <= WITHIN
    wanted = shapely.LineString(xy).buffer(r, quad_segs=256).area
    assert made.paths.areas_mm2().sum() == pytest.approx(wanted, rel=2e-5)


@pytest.mark.parametrize("ends", ["flat", "square"])
def test_flat_and_square_ends_of_bent_lines_agree_with_shapely(ends: str) -> None:
    rng = np.random.default_rng(3)
    for _ in range(40):
        xy = np.cumsum(rng.uniform(-20, 20, (rng.integers(2, 5), 2)), axis=0)
        r = float(rng.uniform(0.2, 3.0))
        made = offset_lines(make_path(xy, closed=False), r, ends=ends)  # type: ignore[arg-type]
        wanted = shapely.LineString(xy).buffer(r, quad_segs=256, cap_style=ends)
        assert made.paths.areas_mm2().sum() == pytest.approx(wanted.area, rel=2e-4)


def test_a_point_becomes_a_circle_and_a_closed_line_a_band() -> None:
    drill = make_path([(3, 4)], closed=False)
    assert offset_lines(drill, 2.0).paths.areas_mm2() == pytest.approx([4 * math.pi])
    band = offset_lines(make_circle((0, 0), 10.0), 1.0).paths
    assert sorted(band.areas_mm2()) == pytest.approx([-81 * math.pi, 121 * math.pi])


def test_many_regions_are_what_each_is_alone() -> None:
    rng = np.random.default_rng(8)
    sets = [
        make_circle(rng.uniform(-9, 9, 2), float(rng.uniform(1, 5)))
        if k % 2
        else make_path(np.add([(0, 0), (9, 0), (7, 4), (0, 5)], rng.uniform(0, 1, 2)), closed=True)
        for k in range(20)
    ]
    distance = rng.choice((-0.7, 0.4, 2.0), 20)
    whole = offset_regions(join_sets(sets), distance)
    for k, one in enumerate(sets):
        alone = offset_regions(one, distance[k])
        rows = whole.region == k
        assert np.array_equal(whole.paths.select(rows).points, alone.paths.points)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: offset_regions(make_path([(0, 0), (1, 0)], closed=False), 1.0), "open"),
        (lambda: offset_regions(make_circle((0, 0), 1.0), 0.0), "other than 0"),
        (lambda: offset_regions(make_circle((0, 0), 1.0), math.nan), "finite"),
        (lambda: offset_regions(make_circle((1e13, 0), 1.0), 1.0), "limit"),
        (lambda: offset_regions(make_circle((0, 0), 1.0), 1.0, region=[0, 1]), "of shape"),
        (lambda: offset_regions(make_circle((0, 0), 1.0), [1.0], region=[3]), "from 0 to 0"),
        (lambda: offset_lines(make_circle((0, 0), 1.0), -1.0), "no inside"),
        (lambda: offset_lines(make_circle((0, 0), 1.0), 1.0, ends="blunt"), "round, flat"),  # type: ignore[arg-type]
    ],
)
def test_wrong_use_is_said(call, words: str) -> None:
    with pytest.raises(GeometryError, match=words):
        call()


def test_a_region_of_short_edges_vanishes_whole() -> None:
    angle = np.arange(60) / 60 * 2 * math.pi
    disc = make_path(10.0 * np.column_stack((np.cos(angle), np.sin(angle))), closed=True)
    gone = offset_regions(disc, -11.0)
    assert len(gone.paths) == 0
    assert len(gone.unmade) == 0


def test_nothing_gives_nothing() -> None:
    made = offset_regions(make_circle((0, 0), 1.0).select([]), np.zeros(0))
    assert isinstance(made, Offset)
    assert len(made.paths) == 0
