"""Arcs that follow curves within a tolerance, both ways, with what was reached measured.

Every curve is fitted once, from its source: each end of an edge or of a pair of edges is a true
point of the curve, and the error is measured on true points of the curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import GeometryError
from kerfwright.geometry._checks import require_positive
from kerfwright.geometry._fit_spans import SpanFit, fit_spans, joint_jumps_rad
from kerfwright.geometry._map_edges import MappedEdges, map_edges
from kerfwright.geometry.curves import Curve, bezier_curve, bspline_curve, ellipse_curve
from kerfwright.geometry.paths import Edges, PathSet, edges_of, empty_paths
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import BOOL, F64, I64, Record, frozen_array

_CLOSURE = 1e-9  # of the farthest coordinate


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedPath(Record):
    """Paths of lines and arcs that follow curves, and how well.

    Parameters
    ----------
    paths : PathSet
        One path for each of K curves [mm].
    hausdorff_mm : float
        Greatest distance between a curve and its path, from either to the other, measured [mm].
    tangent_jump_rad : float
        Most that a joint of two edges turns beyond what the curve turns there [rad].
    tangent_error_rad : float
        Largest angle between a curve and its path [rad].
    path_hausdorff_mm : ndarray of shape (K,), float
        `hausdorff_mm` of each path [mm].
    source : ndarray of shape (M,), int
        Smooth span of the curve on which each vertex lies; of mapped paths, the vertex of the
        source that the edge leaves.
    parameter : ndarray of shape (M,), float
        Parameter of each vertex there; of mapped paths, the fraction of the source edge's length.
        Between the two arcs of a pair it is shared out by length and not exact.
    """

    paths: PathSet
    hausdorff_mm: float
    tangent_jump_rad: float
    tangent_error_rad: float
    path_hausdorff_mm: F64
    source: I64
    parameter: F64

    def __post_init__(self) -> None:
        frozen_array(self, "path_hausdorff_mm", dtype=np.float64, shape=(len(self.paths),))
        frozen_array(self, "source", dtype=np.int64, shape=(len(self.paths.points),))
        frozen_array(self, "parameter", dtype=np.float64, shape=(len(self.paths.points),))


def unfitted(paths: PathSet) -> FittedPath:
    """Return paths that follow their source exactly, vertex by vertex."""
    return FittedPath(
        paths=paths,
        hausdorff_mm=0.0,
        tangent_jump_rad=0.0,
        tangent_error_rad=0.0,
        path_hausdorff_mm=np.zeros(len(paths)),
        source=np.arange(len(paths.points)),
        parameter=np.zeros(len(paths.points)),
    )


def fit_arcs(curve: Curve, *, tolerance_mm: float, max_arcs: int = 100_000) -> FittedPath:
    """Return lines and arcs that follow one curve; see `fit_curves`."""
    return fit_curves([curve], tolerance_mm=tolerance_mm, max_arcs=max_arcs)


def fit_curves(
    curves: Sequence[Curve], *, tolerance_mm: float, max_arcs: int = 1_000_000
) -> FittedPath:
    """Return lines and arcs that follow each of K curves.

    Between corners the path is smooth: pairs of arcs leave and arrive in the curve's own
    directions. Each pair reaches as far as the tolerance lets it. A stretch between corners that
    one line or arc follows within a quarter of the tolerance becomes that line or arc; arcs that
    rise less than a thousandth of the tolerance become lines.

    Parameters
    ----------
    curves : sequence of Curve
        The curves [mm].
    tolerance_mm : float
        Greatest distance from a curve to its path and back [mm].
    max_arcs : int
        Limit of the edges of all paths together.

    Raises
    ------
    GeometryError
        If a curve is not finite, jumps, has no length, or `tolerance_mm` is not above 0 or below
        the rounding of the coordinates.
    OutOfResourcesError
        If more than `max_arcs` edges would be needed.

    Notes
    -----
    With a curvature that changes by k per length along s, the error of a pair over a length L is
    ``k L^3 / 324`` (derived in the tests), which sets the number of pairs.
    """
    require_positive("tolerance_mm", tolerance_mm)
    if not curves:
        return unfitted(empty_paths())
    size = np.array([len(c.breaks) - 1 for c in curves])
    group = np.repeat(np.arange(len(curves)), size)
    ends = np.concatenate([np.column_stack((c.breaks[:-1], c.breaks[1:])) for c in curves])

    def evaluate(span: I64, t: F64) -> tuple[F64, F64]:
        return _evaluate_all(curves, group[span], t)

    fit = fit_spans(
        evaluate,
        ends,
        group,
        tolerance_mm=tolerance_mm,
        first_parts=8,
        max_arcs=max_arcs,
    )
    return _from_spans(fit, group, ends, np.array([c.closed for c in curves]))


def fit_bezier(control: ArrayLike, *, tolerance_mm: float, closed: bool = False) -> FittedPath:
    """Return lines and arcs that follow a Bezier curve; see `bezier_curve` and `fit_curves`."""
    return fit_arcs(bezier_curve(control, closed=closed), tolerance_mm=tolerance_mm)


def fit_bspline(
    control: ArrayLike,
    knots: ArrayLike,
    *,
    degree: int,
    tolerance_mm: float,
    weights: ArrayLike | None = None,
    closed: bool = False,
) -> FittedPath:
    """Return lines and arcs that follow a B-spline; see `bspline_curve` and `fit_curves`."""
    curve = bspline_curve(control, knots, degree=degree, weights=weights, closed=closed)
    return fit_arcs(curve, tolerance_mm=tolerance_mm)


def fit_ellipse_arc(
    centre: ArrayLike,
    major: ArrayLike,
    *,
    ratio: float,
    tolerance_mm: float,
    start_rad: float = 0.0,
    end_rad: float = 2.0 * np.pi,
) -> FittedPath:
    """Return lines and arcs that follow an ellipse; see `ellipse_curve` and `fit_curves`."""
    curve = ellipse_curve(centre, major, ratio=ratio, start_rad=start_rad, end_rad=end_rad)
    return fit_arcs(curve, tolerance_mm=tolerance_mm)


def map_paths(
    paths: PathSet, plane_map: PlaneMap, *, tolerance_mm: float, max_arcs: int = 2_000_000
) -> FittedPath:
    """Return the images of paths under a plane map as lines and arcs.

    Under a similarity every edge is exact. Under another affine map lines are exact and arcs are
    fitted; under bow, steps or a field all edges are. Each source edge is fitted by itself, so
    every source vertex has its exact image among the vertices; what `fit_curves` says of
    smoothness and of single edges holds for each.

    Parameters
    ----------
    paths : PathSet
        K paths in the frame the map takes [mm].
    plane_map : PlaneMap
        The map.
    tolerance_mm : float
        Greatest distance between the true image and its arcs, both ways [mm].
    max_arcs : int
        Limit of the edges of all paths together.

    Returns
    -------
    FittedPath
        The K images, in order, with the source vertex and the fraction of its edge for each vertex.

    Raises
    ------
    GeometryError
        If the map is not finite on the paths, or `tolerance_mm` is not above 0 or below the
        rounding of the coordinates.
    OutOfResourcesError
        If more than `max_arcs` edges would be needed.
    """
    require_positive("tolerance_mm", tolerance_mm)
    if plane_map.is_similarity:
        return unfitted(paths.transformed(plane_map.affine))
    source = edges_of(paths)
    mapped = map_edges(source, plane_map, tolerance_mm=tolerance_mm, max_arcs=max_arcs)
    return _from_mapped(paths, source, plane_map, mapped)


def _from_mapped(
    paths: PathSet, source: Edges, plane_map: PlaneMap, mapped: MappedEdges
) -> FittedPath:
    fit, vertex = mapped.fit, source.vertex[mapped.owner]
    parts = np.bincount(vertex, minlength=len(paths.points))
    ends = np.flatnonzero(parts == 0)  # last vertices of open paths, and drill points
    every = np.concatenate((vertex, ends))
    order = np.argsort(every, kind="stable")
    every = every[order]
    points = np.concatenate((fit.edges[:, :2], np.zeros((len(ends), 2))))[order]
    is_source = np.concatenate(([True], every[1:] != every[:-1]))[: len(every)]
    points[is_source] = plane_map.map_points(paths.points)
    rows = np.concatenate(([0], np.cumsum(np.maximum(parts, 1))))
    images = PathSet(
        points=points,
        bulges=np.concatenate((fit.edges[:, 4], np.zeros(len(ends))))[order],
        starts=rows[paths.starts],
        closed=paths.closed,
    )
    path = source.path[mapped.owner]
    worst = np.zeros(len(paths))
    np.maximum.at(worst, path, fit.error_mm)
    jumps = joint_jumps_rad(fit, _after(path, paths.closed))
    return FittedPath(
        paths=images,
        hausdorff_mm=float(worst.max(initial=0.0)),
        tangent_jump_rad=float(jumps.max(initial=0.0)),
        tangent_error_rad=float(fit.angle_rad.max(initial=0.0)),
        path_hausdorff_mm=worst,
        source=every,
        parameter=np.concatenate((fit.t, np.zeros(len(ends))))[order],
    )


def _after(path: I64, closed: BOOL) -> I64:
    """Return the edge that follows each edge, -1 at the end of an open path."""
    count = np.bincount(path, minlength=len(closed))
    has_edges = count > 0
    last = (np.cumsum(count) - 1)[has_edges]
    after = np.arange(1, len(path) + 1)
    after[last] = np.where(closed[has_edges], last - count[has_edges] + 1, -1)
    return after


def _evaluate_all(curves: Sequence[Curve], which: I64, t: F64) -> tuple[F64, F64]:
    if len(curves) == 1:
        return curves[0].evaluate(t)
    order = np.argsort(which, kind="stable")
    index, first = np.unique(which[order], return_index=True)
    points, slopes = np.zeros((len(t), 2)), np.zeros((len(t), 2))
    for k, rows in zip(index, np.split(order, first[1:]), strict=True):
        points[rows], slopes[rows] = curves[k].evaluate(t[rows])
    return points, slopes


def _from_spans(fit: SpanFit, group: I64, ends: F64, closed: BOOL) -> FittedPath:
    """Return one path for each group of spans."""
    path = group[fit.span]
    count = np.bincount(path, minlength=len(closed))
    last = np.cumsum(count) - 1
    after = _after(path, closed)
    _require_closed(fit, last[closed], (last - count + 1)[closed])
    # an open path has one vertex more than edges: the end of its last edge
    rows = np.sort(np.concatenate((np.arange(len(path)) * 2, last[~closed] * 2 + 1)))
    edge, is_end = rows // 2, rows % 2 == 1
    first_span = np.searchsorted(group, np.arange(len(closed)))
    last_span = np.searchsorted(group, np.arange(len(closed)), side="right") - 1
    span = np.where(is_end, last_span[path[edge]], fit.span[edge])
    paths = PathSet(
        points=np.where(is_end[:, None], fit.edges[edge, 2:4], fit.edges[edge, :2]),
        bulges=np.where(is_end, 0.0, fit.edges[edge, 4]),
        starts=np.concatenate(([0], np.cumsum(count + ~closed))),
        closed=closed,
    )
    worst = np.zeros(len(closed))
    np.maximum.at(worst, path, fit.error_mm)
    return FittedPath(
        paths=paths,
        hausdorff_mm=float(worst.max(initial=0.0)),
        tangent_jump_rad=float(joint_jumps_rad(fit, after).max(initial=0.0)),
        tangent_error_rad=float(fit.angle_rad.max(initial=0.0)),
        path_hausdorff_mm=worst,
        source=span - first_span[path[edge]],
        parameter=np.where(is_end, ends[span, 1], fit.t[edge]),
    )


def _require_closed(fit: SpanFit, last: I64, first: I64) -> None:
    gap = np.abs(fit.edges[last, 2:4] - fit.edges[first, :2]).max(axis=1)
    far = np.abs(fit.edges[:, :4]).max(initial=0.0)
    if (gap > _CLOSURE * far).any():
        msg = f"a closed curve ends {gap.max():.6g} mm from where it began; give it as an open one"
        raise GeometryError(msg)
