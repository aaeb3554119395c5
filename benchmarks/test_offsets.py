"""Time of offsetting many contours, beside Shapely's buffer and Clipper's offset of chords."""

from __future__ import annotations

import numpy as np
import pyclipr
import pytest
import shapely

from kerfwright.geometry.flatten import flatten
from kerfwright.geometry.offset import offset_regions
from kerfwright.geometry.paths import PathSet, join_sets
from studies.offsets import region

SIZES = (1_000, 10_000)
CHORD_MM = 0.01


@pytest.fixture(scope="module", params=SIZES)
def contours(request) -> tuple[PathSet, np.ndarray]:
    """Return n contours of the study's shapes, and a distance for each, to either side."""
    sets, n = [], 0
    while len(sets) < min(request.param, 1_000):
        paths = region(np.random.default_rng((1, n)))[1]
        n += 1
        if len(paths) == 1:
            sets.append(paths)
    paths = join_sets(sets * (request.param // len(sets)))
    return paths, np.where(np.arange(len(paths)) % 2 == 0, 3.0, -3.0)


def test_exact_offsets(benchmark, contours):
    paths, distance = contours
    benchmark.extra_info.update(stage="offset, exact", n=len(paths))
    made = benchmark.pedantic(offset_regions, args=(paths, distance), rounds=2, warmup_rounds=1)
    assert not len(made.unmade)


def test_buffers_of_chords(benchmark, contours):
    paths, distance = contours
    benchmark.extra_info.update(stage="offset, Shapely", n=len(paths))
    flat = flatten(paths, tolerance_mm=CHORD_MM)
    rings = np.split(flat.points, flat.starts[1:-1])
    shapes = shapely.polygons([shapely.linearrings(r) for r in rings])
    grown = benchmark.pedantic(shapely.buffer, args=(shapes, distance), rounds=2)
    assert len(grown) == len(paths)


def test_clipper_on_chords(benchmark, contours):
    paths, distance = contours
    benchmark.extra_info.update(stage="offset, Clipper", n=len(paths))
    flat = flatten(paths, tolerance_mm=CHORD_MM)
    rings = np.split(flat.points, flat.starts[1:-1])

    def go():
        return [clipped(ring, d) for ring, d in zip(rings, distance.tolist(), strict=True)]

    assert len(benchmark.pedantic(go, rounds=2)) == len(paths)


def clipped(ring: np.ndarray, distance_mm: float) -> list:
    offset = pyclipr.ClipperOffset()
    offset.scaleFactor = 1_000_000
    offset.arcTolerance = CHORD_MM * offset.scaleFactor
    offset.addPath(ring, pyclipr.JoinType.Round, pyclipr.EndType.Polygon)
    return offset.execute(distance_mm)
