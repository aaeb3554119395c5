"""Exact offsets of lines and arcs: what keeps a distance from contours or from open lines.

Every source edge is shifted to both sides (a line to a line, an arc to an arc of another radius),
corners get the arc about them; all these primitives are cut where they meet, and the pieces that
nowhere come nearer to the source than the distance are chained to rings. So the result is made
of exact lines and arcs, islands, collapse and needles need no rules of their own, and nothing
smaller than a chord is lost. Where primitives only just touch (a slot exactly twice the distance
wide) the distance is changed by less than 0.3 um until they do not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import GeometryError
from kerfwright.geometry import edges
from kerfwright.geometry._offset_chain import offset_groups
from kerfwright.geometry._offset_meet import SNAP_MM
from kerfwright.geometry._packed import Packed, pack
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import BOOL, F64, I64, Record

Ends = Literal["round", "flat", "square"]

_NO_LENGTH_MM = 1e-9
_FARTHEST_MM = 1e7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Offset(Record):
    """R rings with V vertices; the region they bound lies to the left.

    Parameters
    ----------
    paths : PathSet
        The rings [mm].
    source : ndarray of shape (V,), int
        Vertex of the source whose edge the edge leaving each vertex follows; for a corner the
        vertex it goes round.
    kind : ndarray of shape (V,), int
        0 an edge shifted, 1 a corner gone round, 2 the end of an open line.
    region : ndarray of shape (R,), int
        Region each ring belongs to.
    unmade : ndarray of shape (U,), int
        Regions whose rings could not be closed; nothing of them is in `paths`.
    """

    paths: PathSet
    source: I64
    kind: I64
    region: I64
    unmade: I64


def offset_regions(
    contours: PathSet, distance_mm: ArrayLike, *, region: ArrayLike | None = None
) -> Offset:
    """Return the outlines of regions grown or shrunk by a distance.

    Parameters
    ----------
    contours : PathSet
        K closed paths [mm]. A region is what lies in an odd number of its contours, so islands
        need no direction.
    distance_mm : float or array_like of shape (G,)
        Distance of all regions or of each; above 0 grows, below 0 shrinks [mm].
    region : array_like of shape (K,), int, optional
        Region of each contour, from 0 to G - 1; each its own by default.

    Returns
    -------
    Offset
        Each point of the rings is at the distance from the source within 1e-6 mm. A region that
        vanishes has no ring.

    Raises
    ------
    GeometryError
        If a path is open, a distance is 0 or not finite, a contour lies beyond 10 km, or regions
        and contours do not belong together.
    """
    if not contours.closed.all():
        row = int(np.flatnonzero(~contours.closed)[0])
        msg = f"path {row} is open and bounds no region; close it, or offset it as a line"
        raise GeometryError(msg)
    owner, distance = _regions(contours, distance_mm, region)
    return _offset(contours, owner, np.abs(distance), np.where(distance < 0.0, 1, 0), flat=None)


def offset_lines(
    lines: PathSet,
    distance_mm: ArrayLike,
    *,
    ends: Ends = "round",
    region: ArrayLike | None = None,
) -> Offset:
    """Return the outlines of all points within a distance of lines.

    Parameters
    ----------
    lines : PathSet
        K paths, open, closed, or points [mm].
    distance_mm : float or array_like of shape (G,)
        Distance of all regions or of each, above 0 [mm].
    ends : {'round', 'flat', 'square'}
        How open ends are closed: by half a circle, by a line across the end, or by one that
        lies the distance further on. Points are always round.
    region : array_like of shape (K,), int, optional
        Region of each line, from 0 to G - 1; each its own by default.

    Returns
    -------
    Offset
        As for `offset_regions`; across flat and square ends points are nearer than the distance.

    Raises
    ------
    GeometryError
        If a distance is not above 0, or as for `offset_regions`.
    """
    if ends not in {"round", "flat", "square"}:
        raise GeometryError(f"ends are round, flat or square, not {ends!r}")
    owner, distance = _regions(lines, distance_mm, region)
    if (distance < 0.0).any():
        raise GeometryError(f"a line has no inside to shrink to: distance {distance.min()} mm")
    flat = None if ends == "round" else ends == "square"
    return _offset(lines, owner, distance, np.full(len(distance), -1), flat=flat)


def _regions(paths: PathSet, distance_mm: ArrayLike, region: ArrayLike | None) -> tuple[I64, F64]:
    """Return the region of each path and the distance of each region, checked."""
    owner = np.arange(len(paths)) if region is None else np.asarray(region, dtype=np.int64)
    if owner.shape != (len(paths),):
        raise GeometryError(f"{len(paths)} paths came with regions of shape {owner.shape}")
    given = np.asarray(distance_mm, dtype=np.float64)
    count = len(given) if given.ndim else int(owner.max(initial=-1)) + 1
    if given.ndim > 1 or (owner < 0).any() or (owner >= count).any():
        raise GeometryError(f"regions must be from 0 to {count - 1}, with one distance or one each")
    distance = np.broadcast_to(given, (count,)).copy()
    if not np.isfinite(distance).all() or (distance == 0.0).any():
        raise GeometryError("an offset needs finite distances other than 0 mm")
    reach = np.abs(paths.points).max(initial=0.0) + np.abs(distance).max(initial=0.0)
    if reach > _FARTHEST_MM:
        raise GeometryError(f"contours reach to {reach:.6g} mm, limit {_FARTHEST_MM:.6g} mm")
    return owner, distance


def _offset(paths: PathSet, owner: I64, distance: F64, inside: I64, *, flat: bool | None) -> Offset:
    """Return the rings; `flat` is None for round ends, else whether they reach further on."""
    by = np.argsort(owner, kind="stable")
    packed = _with_length(pack(paths.select(by)))
    vertex = _vertices_of(paths, by)[packed.vertex]
    groups = np.searchsorted(owner[by], np.arange(len(distance) + 1))
    closed = paths.closed[by]
    rows, ends = packed.edges, np.zeros((len(packed.edges), 2), bool)
    starts = packed.starts
    if flat is not None:
        rows, starts, vertex, ends = _with_flat_ends(
            packed, closed, vertex, distance[owner[by]] if flat else None
        )
    made, out, what, sizes, group = offset_groups(
        rows, starts, closed, ends, groups, distance, inside
    )
    rings = PathSet(
        points=out[:, :2],
        bulges=np.clip(out[:, 2], -1.0, 1.0),
        starts=np.concatenate(([0], np.cumsum(sizes))).astype(np.int64),
        closed=np.ones(len(sizes), bool),
    )
    # What has collapsed to a line or a point bounds nothing.
    has_area = np.abs(rings.areas_mm2()) > SNAP_MM * rings.lengths_mm()
    kept = np.repeat(has_area, sizes)
    return Offset(
        paths=rings.select(has_area),
        source=vertex[what[kept, 0]],
        kind=what[kept, 1],
        region=group[has_area],
        unmade=np.flatnonzero(~made),
    )


def _vertices_of(paths: PathSet, by: I64) -> I64:
    """Return the row in `paths` of each vertex of ``paths.select(by)``."""
    sizes = np.diff(paths.starts)[by]
    begin = np.repeat(paths.starts[:-1][by] - np.cumsum(sizes) + sizes, sizes)
    return np.asarray(begin + np.arange(len(begin)), np.int64)


def _with_length(packed: Packed) -> Packed:
    """Return edges without those of no length, which have no direction; a point keeps its one."""
    chord = edges.chord_mm(packed.edges[:, :2], packed.edges[:, 2:4])
    long = chord > _NO_LENGTH_MM
    any_long = np.zeros(len(packed.starts) - 1, bool)
    np.logical_or.at(any_long, packed.path, long)
    first = np.zeros(len(long), bool)
    first[packed.starts[:-1]] = True
    keep: BOOL = long | (first & ~any_long[packed.path])
    counts = np.bincount(packed.path[keep], minlength=len(packed.starts) - 1)
    return Packed(
        edges=packed.edges[keep],
        boxes=packed.boxes[keep],
        starts=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
        vertex=packed.vertex[keep],
        path=packed.path[keep],
    )


def _with_flat_ends(
    packed: Packed, closed: BOOL, vertex: I64, further_mm: F64 | None
) -> tuple[F64, I64, I64, BOOL]:
    """Return edges, starts, vertices and cut off ends; lines lengthened by `further_mm` each."""
    rows, starts = packed.edges, packed.starts
    is_open = ~closed
    chord = edges.chord_mm(rows[:, :2], rows[:, 2:4])
    is_open &= chord[starts[:-1]] > _NO_LENGTH_MM
    first, last = starts[:-1][is_open], starts[1:][is_open] - 1
    if further_mm is None:
        ends = np.zeros((len(rows), 2), bool)
        ends[first, 0], ends[last, 1] = True, True
        return rows, starts, vertex, ends
    way = further_mm[is_open][:, None]
    begin, _ = edges.heading_rad(rows[first, :2], rows[first, 2:4], rows[first, 4])
    _, end = edges.heading_rad(rows[last, :2], rows[last, 2:4], rows[last, 4])
    before = rows[first, :2] - way * np.column_stack((np.cos(begin), np.sin(begin)))
    after = rows[last, 2:4] + way * np.column_stack((np.cos(end), np.sin(end)))
    none = np.zeros((len(first), 1))
    heads = np.hstack((before, rows[first, :2], none))
    tails = np.hstack((rows[last, 2:4], after, none))
    place = np.concatenate((np.arange(len(rows)) * 3.0, first * 3.0 - 1.0, last * 3.0 + 1.0))
    order = np.argsort(place, kind="stable")
    n, k = len(rows), len(first)
    flags = np.zeros((n + 2 * k, 2), bool)
    flags[n : n + k, 0], flags[n + k :, 1] = True, True
    longer = np.where(is_open, 2, 0)
    return (
        np.vstack((rows, heads, tails))[order],
        starts + np.concatenate(([0], np.cumsum(longer))),
        np.concatenate((vertex, vertex[first], vertex[last]))[order],
        flags[order],
    )
