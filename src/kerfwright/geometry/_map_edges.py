"""Edges of paths under a plane map, as curves that arcs can be fitted to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry import edges
from kerfwright.geometry._fit_spans import SpanFit, fit_spans
from kerfwright.geometry._hermite import unit
from kerfwright.geometry.paths import Edges
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import BOOL, F64, I64

_FIRST_PARTS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class MappedEdges:
    """What became of E edges, in their order: n edges; `owner` (n,) is the source of each."""

    fit: SpanFit
    owner: I64


def map_edges(
    source: Edges, plane_map: PlaneMap, *, tolerance_mm: float, max_arcs: int
) -> MappedEdges:
    """Return the images of edges; what stays straight is exact, the rest is fitted."""
    is_straight = _stays_straight(source, plane_map)
    straight = _images_of_lines(source, plane_map, np.flatnonzero(is_straight))
    bent = np.flatnonzero(~is_straight)
    if not bent.size:
        return straight
    span_edge, ends = _spans(source, plane_map, bent)

    def evaluate(span: I64, t: F64) -> tuple[F64, F64]:
        return _image(source, plane_map, span_edge[span], t)

    fit = fit_spans(
        evaluate,
        ends,
        span_edge,
        tolerance_mm=tolerance_mm,
        first_parts=_FIRST_PARTS,
        max_arcs=max_arcs,
    )
    return _merged(straight, MappedEdges(fit=fit, owner=span_edge[fit.span]))


def _stays_straight(source: Edges, plane_map: PlaneMap) -> BOOL:
    chord = edges.chord_mm(source.start, source.end)
    is_line = (source.bulge == 0.0) & plane_map.is_affine
    return np.asarray(is_line | (chord == 0.0), dtype=np.bool_)


def _image(source: Edges, plane_map: PlaneMap, edge: I64, t: F64) -> tuple[F64, F64]:
    """Return images of places on edges, and their derivatives by the fraction of the edge."""
    start, end, bulge = source.start[edge], source.end[edge], source.bulge[edge]
    point = edges.point_at(start, end, bulge, t)
    begin, _ = edges.heading_rad(start, end, bulge)
    heading = begin + edges.sweep_rad(bulge) * t
    length = edges.length_mm(start, end, bulge)
    way_x, way_y = length * np.cos(heading), length * np.sin(heading)
    bend = plane_map.jacobian(point)
    slope = bend[:, :, 0] * way_x[:, None] + bend[:, :, 1] * way_y[:, None]
    return plane_map.map_points(point), slope


def _images_of_lines(source: Edges, plane_map: PlaneMap, rows: I64) -> MappedEdges:
    begin, end = plane_map.map_points(source.start[rows]), plane_map.map_points(source.end[rows])
    way = unit(end - begin)
    zero = np.zeros(len(rows))
    fit = SpanFit(
        edges=np.column_stack((begin, end, zero)),
        span=rows,
        t=zero,
        ways=np.stack((way, way), axis=1),
        error_mm=zero,
        angle_rad=zero,
    )
    return MappedEdges(fit=fit, owner=rows)


def _merged(one: MappedEdges, two: MappedEdges) -> MappedEdges:
    owner = np.concatenate((one.owner, two.owner))
    order = np.argsort(owner, kind="stable")
    a, b = one.fit, two.fit
    fit = SpanFit(
        edges=np.concatenate((a.edges, b.edges))[order],
        span=np.concatenate((a.span, b.span))[order],
        t=np.concatenate((a.t, b.t))[order],
        ways=np.concatenate((a.ways, b.ways))[order],
        error_mm=np.concatenate((a.error_mm, b.error_mm))[order],
        angle_rad=np.concatenate((a.angle_rad, b.angle_rad))[order],
    )
    return MappedEdges(fit=fit, owner=owner[order])


def _spans(source: Edges, plane_map: PlaneMap, rows: I64) -> tuple[I64, F64]:
    """Return the edge and the fractions of each span.

    Edges are cut where a feed step begins or ends: between these places the map is smooth; across
    them it is not, and a search by halving could step over a blend zone that an edge just enters.
    """
    edge, place = [rows, rows], [np.zeros(len(rows)), np.ones(len(rows))]
    for axis, middle, _, _ in plane_map.steps:
        for level in (middle - 0.5 * plane_map.blend_mm, middle + 0.5 * plane_map.blend_mm):
            for found in _crossings(source, rows, int(axis), float(level)):
                inside = (found > 0.0) & (found < 1.0)
                edge.append(rows[inside])
                place.append(found[inside])
    every, at = np.concatenate(edge), np.concatenate(place)
    order = np.lexsort((at, every))
    every, at = every[order], at[order]
    is_span = (every[1:] == every[:-1]) & (at[1:] > at[:-1])
    return every[:-1][is_span], np.column_stack((at[:-1], at[1:]))[is_span]


def _crossings(source: Edges, rows: I64, axis: int, level: float) -> tuple[F64, F64]:
    """Return two fractions of each edge at which a coordinate takes a value; NaN where none.

    With tau from -1 to 1 a coordinate of an arc of bulge b is a quadratic in tau over
    ``1 + b^2 tau^2``; a line is the case b = 0.
    """
    start, end, bulge = source.start[rows], source.end[rows], source.bulge[rows]
    half = (end - start) / 2.0
    middle = (start + end)[:, axis] / 2.0 - level
    square = bulge * bulge
    # the arc rises by -b times its half chord, turned a quarter to the left
    rise = bulge * (half[:, 1] if axis == 0 else -half[:, 0])
    c0, c1, c2 = middle + rise, half[:, axis] * (1.0 + square), middle * square - rise
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(c1 * c1 - 4.0 * c0 * c2)
        down = -0.5 * (c1 + np.copysign(root, c1))
        return _fraction(c0 / down, bulge), _fraction(down / c2, bulge)


def _fraction(tau: F64, bulge: F64) -> F64:
    """Return the fraction of the length at tau."""
    b = np.abs(bulge)
    bent = np.arctan(b * tau) / np.where(b > 0.0, np.arctan(b), 1.0)
    return np.asarray(0.5 + 0.5 * np.where(b > 1e-12, bent, tau), dtype=np.float64)
