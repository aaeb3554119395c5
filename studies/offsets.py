"""Offsets: every point keeps its distance, and rings and nesting equal Shapely's buffer.

Regions are star shapes with straight, bulging and rounded sides, combs, needles, staircases and
smooth shapes of hundreds of tangent arcs, with and without islands; distances go both ways from a
hundredth of the size to two fifths. Shapely's answer counts where it is the same a little to both
sides of the distance; the rest is checked by distance alone. Shapely's input is flattened to
chords of a fiftieth of the distance: finer ones make its buffer wrong.
"""

from __future__ import annotations

import numpy as np
import shapely

from kerfwright.geometry.distance import nearest_on_paths
from kerfwright.geometry.offset import offset_regions
from kerfwright.geometry.paths import edges_of, join_sets, make_circle, make_path

DEFAULT_SIZE = 10_000
SMALL_SIZE = 150
WITHIN_MM = 1e-6
CHORD_SHARE = 0.02
BUFFER_MM = 0.002
FRACTIONS = (0.0, 0.13, 0.5, 0.77)


def run(seed, size, progress):
    """Offset `size` regions; return the worst distance and how often Shapely agreed."""
    failures, worst, compared, unmade = [], 0.0, 0, 0
    for n in range(size):
        rng = np.random.default_rng((seed, n))
        kind, paths = region(rng)
        distance = float(np.exp(rng.uniform(np.log(0.3), np.log(40.0)))) * rng.choice((-1.0, 1.0))
        made = offset_regions(paths, distance, region=np.zeros(len(paths), int))
        if len(made.unmade):
            unmade += 1
            failures.append(
                {"case": n, "kind": str(kind), "distance": float(distance), "fault": "unmade"}
            )
            continue
        off = worst_distance_mm(paths, made.paths, abs(distance))
        worst = max(worst, off)
        if off > WITHIN_MM:
            failures.append(
                {"case": n, "kind": str(kind), "distance": float(distance), "off_mm": off}
            )
        wanted = nesting_by_buffer(paths, distance)
        if wanted is not None:
            compared += 1
            have = nesting_of(made.paths)
            if have != wanted:
                failures.append(
                    {
                        "case": n,
                        "kind": str(kind),
                        "distance": float(distance),
                        "have": have,
                        "want": wanted,
                    }
                )
        progress(n + 1, size)
    return {"worst_mm": worst, "compared": compared, "unmade": unmade, "failures": failures}


def worst_distance_mm(source, rings, distance):
    """Return how far points all along the rings are from keeping the distance."""
    if not len(rings):
        return 0.0
    e = edges_of(rings)
    xy = np.concatenate([point_of(e, np.full(len(e.bulge), f)) for f in FRACTIONS])
    return float(np.abs(nearest_on_paths(source, xy).distance_mm - distance).max())


def point_of(e, fraction):
    """Return points on edges by angle about the centre; apart from the closed forms in use."""
    a, b = e.start @ [1, 1j], e.end @ [1, 1j]
    straight = np.abs(e.bulge) < 1e-9
    k = np.where(straight, 1.0, e.bulge)
    centre = (a + b) / 2 + 1j * (b - a) * (1 - k**2) / (4 * k)
    curved = centre + (a - centre) * np.exp(4j * np.arctan(k) * fraction)
    out = np.where(straight, a + (b - a) * fraction, curved)
    return np.column_stack((out.real, out.imag))


def nesting_of(rings):
    """Return the number of rings and the holes of each outer one, sorted."""
    area = rings.areas_mm2()
    shapes = [shapely.Polygon(chords(rings, k, 0.05)) for k in range(len(rings))]
    outer = [k for k in range(len(rings)) if area[k] > 0.0]
    holes = dict.fromkeys(outer, 0)
    for k in np.flatnonzero(area < 0.0).tolist():
        point = shapely.Point(rings.points[rings.starts[k]])
        around = [j for j in outer if shapely.Polygon(shapes[j].exterior).covers(point)]
        if not around:
            return ("a hole outside of all rings",)
        holes[min(around, key=lambda j: area[j])] += 1
    return tuple(sorted(holes.values()))


def nesting_by_buffer(paths, distance):
    """Return what `nesting_of` should give, or None where Shapely does not agree with itself."""
    step = CHORD_SHARE * abs(distance)
    shape = shapely.Polygon()
    rise = 0.0
    for k in range(len(paths)):
        shape = shape.symmetric_difference(
            shapely.make_valid(shapely.Polygon(chords(paths, k, step)))
        )
    e = edges_of(paths)
    radius = np.hypot(*(e.end - e.start).T) * (1 + e.bulge**2) / np.maximum(4 * abs(e.bulge), 1e-12)
    if len(radius):
        rise = float((step**2 / (8.0 * np.maximum(radius, 0.05))).max())
    answers = set()
    for shift in (-BUFFER_MM - rise, 0.0, BUFFER_MM + rise):
        grown = shape.buffer(distance + shift, quad_segs=64)
        parts = shapely.get_parts(grown) if not grown.is_empty else []
        answers.add(tuple(sorted(len(p.interiors) for p in parts)))
    return answers.pop() if len(answers) == 1 else None


def chords(paths, k, step):
    """Return vertices along a closed path with chords of about a length."""
    one = paths.select([k])
    e = edges_of(one)
    rows = []
    for i in range(len(e.bulge)):
        length = np.hypot(*(e.end[i] - e.start[i])) * max(1.0, np.pi / 2 * abs(e.bulge[i]))
        count = 1 if abs(e.bulge[i]) < 1e-9 else int(np.clip(np.ceil(length / step), 2, 4000))
        part = edges_of(one.__class__(
            points=np.vstack((e.start[i], e.end[i])), bulges=np.array([e.bulge[i], 0.0]),
            starts=np.array([0, 2]), closed=np.array([False]),
        ))  # fmt: skip
        rows += [point_of(part, np.array([f]))[0] for f in np.arange(count) / count]
    return np.array(rows)


def region(rng):
    """Return a word and a region about 100 mm in size."""
    kind = rng.choice(("star", "bulging", "comb", "needle", "stairs", "smooth", "islands"))
    return kind, _KINDS[str(kind)](rng)


def star(rng, *, bulging=0.0, count=None, size=50.0):
    n = count or int(rng.integers(3, 14))
    share = rng.uniform(0.6, 1.0, n)
    angle = np.cumsum(share) / share.sum() * 2.0 * np.pi
    radius = size * rng.uniform(0.3, 1.0, n)
    xy = np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))
    bulges = np.where(rng.random(n) < bulging, rng.uniform(-0.15, 0.9, n), 0.0)
    return make_path(xy, bulges, closed=True) if not bulging else simple(xy, bulges)


def simple(xy, bulges):
    """Return a path of arcs that does not cross itself: bulges shrink until it is so."""
    for _ in range(12):
        path = make_path(xy, bulges, closed=True)
        if shapely.Polygon(chords(path, 0, 0.5)).is_valid:
            return path
        bulges = bulges * 0.5
    return make_path(xy, closed=True)


def comb(rng):
    teeth = int(rng.integers(2, 8))
    top = float(rng.uniform(20, 60))
    xy = [(0.0, 0.0)]
    at = 0.0
    for _ in range(teeth):
        tooth, gap = rng.uniform(1.0, 12.0, 2)
        foot = rng.uniform(5.0, 18.0)
        xy += [(at, top), (at + tooth, top), (at + tooth, foot), (at + tooth + gap, foot)]
        at += tooth + gap
    xy += [(at, top), (at + 5.0, top), (at + 5.0, 0.0)]
    return turned(make_path(xy, closed=True), rng)


def needle(rng):
    """Return a plate with spikes of next to no width, some of none."""
    width = float(rng.choice((0.0, 1e-6, 1e-3, 0.1, 2.0)))
    at, tall = rng.uniform(10, 60), rng.uniform(10, 50)
    xy = [
        (0, 0),
        (80, 0),
        (80, 30),
        (at + width, 30),
        (at + width / 2, 30 + tall),
        (at, 30),
        (0, 30),
    ]
    return turned(make_path(xy, closed=True), rng)


def stairs(rng):
    n = int(rng.integers(3, 9))
    step = rng.choice((2.0, 3.0, 5.0), n)
    xy = [(0.0, 0.0)]
    for s in step:
        xy += [(xy[-1][0] + float(s), xy[-1][1]), (xy[-1][0] + float(s), xy[-1][1] + float(s))]
    xy += [(0.0, xy[-1][1])]
    return (
        turned(make_path(xy, closed=True), rng)
        if rng.random() < 0.5
        else make_path(xy, closed=True)
    )


def smooth(rng):
    """Return an outline r(angle) as tangent arcs: two per piece, the way fitted curves come."""
    n = int(rng.integers(20, 200))
    t = np.arange(n) / n * 2.0 * np.pi
    waves = rng.integers(2, 7)
    r = 40.0 * (1.0 + rng.uniform(0.05, 0.3) * np.cos(waves * t + rng.uniform(0, 6)))
    xy = np.column_stack((r * np.cos(t), r * np.sin(t)))
    after = np.roll(xy, -1, axis=0)
    tangent = np.roll(xy, -1, axis=0) - np.roll(xy, 1, axis=0)
    heading = np.arctan2(tangent[:, 1], tangent[:, 0])
    chord = np.arctan2(*(after - xy)[:, ::-1].T)
    turn = np.angle(np.exp(1j * (chord - heading)))
    return make_path(xy, np.tan(turn / 2.0), closed=True)


def islands(rng):
    outer = star(rng, count=int(rng.integers(5, 12)), size=80.0)
    inner = [
        make_circle(rng.uniform(-12, 12, 2), float(rng.uniform(0.5, 5.0)), clockwise=bool(k % 2))
        for k in range(int(rng.integers(1, 5)))
    ]
    apart = []
    for one in inner:
        shape = shapely.Polygon(chords(one, 0, 0.3))
        near = [shapely.Polygon(chords(a, 0, 0.3)) for a in apart]
        if all(shape.distance(s) > 0.05 for s in near):
            apart.append(one)
    return join_sets([outer, *apart])


def turned(path, rng):
    a = rng.uniform(-np.pi, np.pi)
    return path.transformed([[np.cos(a), -np.sin(a), 300.0], [np.sin(a), np.cos(a), -120.0]])


_KINDS = {
    "star": star,
    "bulging": lambda rng: star(rng, bulging=0.7),
    "comb": comb,
    "needle": needle,
    "stairs": stairs,
    "smooth": smooth,
    "islands": islands,
}
