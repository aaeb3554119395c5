"""Slow and independent answers to compare with: dense samples, Shapely, SciPy."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.integrate import quad

from kerfwright.geometry.paths import PathSet, edges_of


def sampled_edges(paths: PathSet, each: int = 65) -> tuple[np.ndarray, np.ndarray]:
    """Points (E, each, 2) on every edge by angle about its centre, and the path of each edge.

    Written apart from the closed forms under test: centre and radius by the classic formulas, and
    complex numbers for the turn.
    """
    e = edges_of(paths)
    a, b = e.start @ [1, 1j], e.end @ [1, 1j]
    t = np.linspace(0.0, 1.0, each)
    out = np.zeros((len(a), each), complex)
    for i, (p, q, bulge) in enumerate(zip(a, b, e.bulge, strict=True)):
        if abs(bulge) < 1e-9:
            out[i] = p + (q - p) * t
            continue
        centre = (p + q) / 2 + 1j * (q - p) * (1 - bulge**2) / (4 * bulge)
        out[i] = centre + (p - centre) * np.exp(4j * np.arctan(bulge) * t)
    return np.stack((out.real, out.imag), axis=2), e.path


def polyline_of(paths: PathSet, index: int, each: int = 65) -> np.ndarray:
    """Dense vertices (N, 2) along one path; a closed one does not come back to the first."""
    if paths.starts[index + 1] - paths.starts[index] == 1:
        return paths.points[paths.starts[index]][None]
    points, path = sampled_edges(paths, each)
    mine = points[path == index]
    return np.concatenate([*mine[:, :-1], mine[-1, -1:][: int(not paths.closed[index])]])


def shape_of(paths: PathSet, index: int, each: int = 65) -> shapely.Geometry:
    """A path as Shapely's polygon (closed), line string (open) or point."""
    points = polyline_of(paths, index, each)
    if len(points) == 1:
        return shapely.Point(points[0])
    return shapely.Polygon(points) if paths.closed[index] else shapely.LineString(points)


def quad_length_and_area(paths: PathSet, index: int) -> tuple[float, float]:
    """Length and signed area of one path by adaptive quadrature of its parametric form."""
    e = edges_of(paths)
    length = area = 0.0
    for i in np.flatnonzero(e.path == index):
        p, q = e.start[i] @ [1, 1j], e.end[i] @ [1, 1j]
        sweep = 4.0 * np.arctan(e.bulge[i])
        if e.bulge[i] == 0.0:
            length += abs(q - p)
            area += (np.conj(p) * q).imag / 2.0
            continue
        centre = (p + q) / 2 + 1j * (q - p) * (1 - e.bulge[i] ** 2) / (4 * e.bulge[i])

        def place(t, c=centre, p=p, w=sweep):
            return c + (p - c) * np.exp(1j * w * t), 1j * w * (p - c) * np.exp(1j * w * t)

        length += quad(lambda t, f=place: abs(f(t)[1]), 0.0, 1.0)[0]
        area += quad(lambda t, f=place: (np.conj(f(t)[0]) * f(t)[1]).imag / 2.0, 0.0, 1.0)[0]
    return length, area


def brute_forest(paths: PathSet) -> np.ndarray:
    """Parents by Shapely on dense polygons, every pair tried; for shapes that do not touch."""
    shapes = [shape_of(paths, k) for k in range(len(paths))]
    parent = np.full(len(paths), -1)
    for k, shape in enumerate(shapes):
        around = [
            (outer.area, j)
            for j, outer in enumerate(shapes)
            if j != k and paths.closed[j] and outer.contains(shape)
        ]
        if around:
            parent[k] = min(around)[1]
    return parent


def distance_to_polyline(points: np.ndarray, vertices: np.ndarray, *, closed: bool) -> np.ndarray:
    """Distances (N,) of points to a polyline."""
    if len(vertices) == 1:
        return np.hypot(*(points - vertices).T)
    line = shapely.LinearRing(vertices) if closed else shapely.LineString(vertices)
    return shapely.distance(shapely.points(points), line)
