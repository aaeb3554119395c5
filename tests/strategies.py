"""Shared strategies: valid random contours, built valid and never filtered.

    from strategies import contours, path_sets, similarities

All shapes are simple (no path crosses itself). Coordinates stay within some hundred millimetres
of the shape's own middle; `at` moves it.
"""

from __future__ import annotations

import math

import numpy as np
from hypothesis import strategies as st

from kerfwright.geometry.paths import PathSet, join_sets, make_circle, make_path


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    """Floats that are written with three decimals: no subnormal noise, still shrinking well."""
    return st.integers(math.ceil(low * 1000), math.floor(high * 1000)).map(lambda k: k / 1000.0)


@st.composite
def similarities(draw, *, mirrored: bool | None = None, scale: bool = True) -> np.ndarray:
    """A similarity (2, 3): any turn, scale 0.1 to 10, shift up to 1 m; mirrored or not."""
    turn = draw(numbers(-math.pi, math.pi))
    size = draw(numbers(0.1, 10.0)) if scale else 1.0
    flip = draw(st.booleans()) if mirrored is None else mirrored
    x, y = draw(numbers(-1000.0, 1000.0)), draw(numbers(-1000.0, 1000.0))
    cos, sin = size * math.cos(turn), size * math.sin(turn)
    sign = -1.0 if flip else 1.0
    return np.array([[cos, -sign * sin, x], [sin, sign * cos, y]])


@st.composite
def star_polygons(draw, *, least: int = 3, most: int = 9, radius: float = 100.0) -> np.ndarray:
    """Vertices (n, 2) of a simple polygon around the origin, counter-clockwise.

    Angles rise by 0.3 to 1 parts of a whole turn that is shared out, radii lie between 0.3 and 1 of
    `radius`; a triangle cannot leave the origin outside, but need not be convex beyond it.
    """
    count = draw(st.integers(least, most))
    share = np.array([draw(numbers(0.6, 1.0)) for _ in range(count)])
    angle = np.cumsum(share) / share.sum() * 2.0 * math.pi
    size = radius * np.array([draw(numbers(0.3, 1.0)) for _ in range(count)])
    return np.column_stack((size * np.cos(angle), size * np.sin(angle)))


def with_rounded_corners(vertices: np.ndarray, share: np.ndarray) -> PathSet:
    """A polygon with a tangent arc at each corner whose share of the shorter half side is over 0.

    Each arc lies inside the triangle of its corner; around the origin of a star polygon nothing
    else reaches into it, so the contour stays simple.
    """
    before, after = np.roll(vertices, 1, axis=0), np.roll(vertices, -1, axis=0)
    points, bulges = [], []
    for p, v, n, s in zip(before, vertices, after, share, strict=True):
        to_p, to_n = p - v, n - v
        size_p, size_n = np.hypot(*to_p), np.hypot(*to_n)
        leg = 0.45 * s * min(size_p, size_n)
        turn = math.atan2(-to_p[0] * to_n[1] + to_p[1] * to_n[0], -to_p @ to_n)
        if leg == 0.0 or abs(turn) < 1e-3:
            points.append(v)
            bulges.append(0.0)
            continue
        points += [v + leg * to_p / size_p, v + leg * to_n / size_n]
        bulges += [math.tan(turn / 4.0), 0.0]
    return make_path(points, bulges, closed=True)


@st.composite
def rounded_polygons(draw, **limits) -> PathSet:
    """A simple contour of lines and tangent arcs, counter-clockwise, around the origin."""
    vertices = draw(star_polygons(**limits))
    share = np.array([draw(st.sampled_from([0.0, 0.2, 0.5, 1.0])) for _ in vertices])
    return with_rounded_corners(vertices, share)


@st.composite
def bowed_polygons(draw) -> PathSet:
    """A convex polygon on a circle whose sides are arcs that rise outwards, up to half circles."""
    count = draw(st.integers(2, 7))
    share = np.array([draw(numbers(0.7, 1.0)) for _ in range(count)])
    angle = np.cumsum(share) / share.sum() * 2.0 * math.pi
    points = 80.0 * np.column_stack((np.cos(angle), np.sin(angle)))
    # a bulge up to that of the circle itself keeps the shape convex or straight at its vertices
    limit = np.tan(np.diff(angle, prepend=angle[-1] - 2.0 * math.pi) / 4.0)
    part = np.array([draw(st.sampled_from([0.0, 0.1, 0.7, 1.0])) for _ in range(count)])
    part[0] = max(part[0], 0.1)  # two sides must not lie on one another
    return make_path(points, np.roll(limit, -1) * part, closed=True)


@st.composite
def circles(draw) -> PathSet:
    """A circle around the origin."""
    return make_circle((0.0, 0.0), draw(numbers(0.5, 100.0)))


@st.composite
def slots(draw) -> PathSet:
    """A straight slot with half circles at both ends."""
    half, radius = draw(numbers(1.0, 80.0)), draw(numbers(0.5, 20.0))
    points = [(-half, -radius), (half, -radius), (half, radius), (-half, radius)]
    return make_path(points, [0.0, 1.0, 0.0, 1.0], closed=True)


def contours() -> st.SearchStrategy[PathSet]:
    """One simple closed contour around the origin, counter-clockwise."""
    return st.one_of(rounded_polygons(), bowed_polygons(), circles(), slots())


@st.composite
def open_paths(draw) -> PathSet:
    """One open path without crossings: a contour that lacks its last edge."""
    contour = draw(rounded_polygons(least=3, most=7))
    bulges = contour.bulges.copy()
    bulges[-1] = 0.0
    return make_path(contour.points, bulges, closed=False)


def shrunk(path: PathSet, factor: float) -> PathSet:
    """A star-shaped path scaled about the origin: strictly inside for a factor below 1."""
    return path.transformed([[factor, 0.0, 0.0], [0.0, factor, 0.0]])


@st.composite
def nested(draw) -> tuple[PathSet, np.ndarray]:
    """Paths inside one another and side by side, shuffled, with the parent of each (-1 for none).

    Stands (1 to 4) lie 300 mm apart, each with a star-shaped contour drawn up to five times at
    falling size; the innermost may be a drill point or an open path.
    """
    sets, parents = [], []
    for stand in range(draw(st.integers(1, 4))):
        outer = draw(rounded_polygons(least=4))
        depth = draw(st.integers(1, 5))
        for level in range(depth):
            parents.append(len(sets) - 1 if level else -1)
            sets.append(shrunk(outer, 0.75**level))
        extra = draw(st.sampled_from(["none", "drill", "open"]))
        if extra != "none":
            parents.append(len(sets) - 1)
            inner = sets[-1].points / 2.0
            last = inner[:1] if extra == "drill" else inner
            sets.append(make_path(last, closed=False))
        move = [[1.0, 0.0, 300.0 * stand], [0.0, 1.0, 0.0]]
        new = depth + (extra != "none")
        sets[-new:] = [s.transformed(move) for s in sets[-new:]]
    order = np.array(draw(st.permutations(range(len(sets)))))
    place = np.argsort(order)
    parent = np.array([place[parents[k]] if parents[k] >= 0 else -1 for k in order])
    flip = np.array([draw(st.booleans()) for _ in order])
    return join_sets([sets[k] for k in order]).reversed_where(flip), parent


@st.composite
def path_sets(draw, *, most: int = 5) -> PathSet:
    """One to `most` paths of all kinds anywhere within a metre; they may cross one another."""
    kinds = st.one_of(contours(), open_paths(), st.just(make_path([(0.0, 0.0)], closed=False)))
    placed = [
        draw(kinds).transformed(draw(similarities(scale=False)))
        for _ in range(draw(st.integers(1, most)))
    ]
    return join_sets(placed)
