"""What is wanted: every contour of the design as lines and arcs in the table frame.

A similarity keeps lines and arcs exactly. Under any other map the true curve, nominal edge mapped
point by point, is replaced by arcs within half of the program's own tolerance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.paths import edges_of
from kerfwright.model.design import Design, Tolerances
from kerfwright.model.operation import Process
from kerfwright.verify.bent import bend_edges
from kerfwright.verify.columns import (
    AFTER,
    BEFORE,
    BOOL,
    CORNER_COLUMNS,
    CX,
    CY,
    END_CORNER,
    F64,
    HEAD,
    I64,
    KHEAD,
    KINX,
    KOUTX,
    KTURN,
    KX,
    LENGTH,
    NEXT,
    PIECE_COLUMNS,
    PLACE,
    PREVIOUS,
    RADIUS,
    ROW,
    START_CORNER,
    SWEEP,
    TURN,
    UX,
    UY,
    X0,
    X1,
    Y0,
    Y1,
    Shape,
)

FARTHEST_MM = 1e6
"""No table is a kilometre long: what lies beyond is not looked at, and so counts as not cut."""
CORNER_SHARE = 3.0
"""A turn of more than so many times the angle the blade may be off is a corner."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Contours and what is asked of each; K rows.

    Parameters
    ----------
    shape : Shape
        The contours.
    target_z : ndarray of shape (K,), float
        Tip height at full depth [mm].
    reference_z : ndarray of shape (K,), float
        Plane the cut has to cover from end to end [mm].
    reached_z : ndarray of shape (K,), float
        A tip at or below it reaches that plane [mm].
    deep_z : ndarray of shape (K,), float
        A tip at or below it is at full depth [mm].
    through : ndarray of shape (K,), bool
        Whether the operation cuts through.
    passes_at_depth : ndarray of shape (K,), int
        How many of the passes planned count as full depth.
    turns_over : ndarray of shape (K,), bool
        Whether the map mirrors the contour.
    """

    shape: Shape
    target_z: F64
    reference_z: F64
    reached_z: F64
    deep_z: F64
    through: BOOL
    passes_at_depth: I64
    turns_over: BOOL


def wanted_of(design: Design, tolerances: Tolerances) -> Wanted:
    """Return the contours of a design in the table frame."""
    row, start, end, bulge, turns_over = _edges_on_table(design, tolerances)
    shape = _shape(row, start, end, bulge, design, tolerances)
    operations = design.operations
    thickness = design.top_z_mm - design.bottom_z_mm
    target = np.array([design.bottom_z_mm + o.tip_z_mm(thickness) for o in operations])
    through = np.array([o.process is Process.CUTTING for o in operations], bool)
    passes = np.array([o.passes for o in operations], np.int64)
    own = design.operation
    target, through, passes = target[own], through[own], passes[own]
    reference = np.where(through, design.bottom_z_mm, target)
    slack = np.where(through, tolerances.program_mm, tolerances.depth_mm)
    step = np.maximum(design.top_z_mm - target, 0.0) / np.maximum(passes, 1)
    near = np.floor(tolerances.depth_mm / np.where(step > 0.0, step, np.inf)).astype(np.int64)
    return Wanted(
        shape=shape,
        target_z=target,
        reference_z=reference,
        reached_z=reference + slack,
        deep_z=target + tolerances.depth_mm,
        through=through,
        passes_at_depth=1 + np.minimum(near, passes - 1),
        turns_over=turns_over,
    )


def _edges_on_table(design: Design, tolerances: Tolerances) -> tuple[I64, F64, F64, F64, BOOL]:
    """Return row, start, end and bulge of every edge in the table frame, and which maps mirror."""
    edges = edges_of(design.nominal)
    if not design.maps:
        return edges.path, edges.start, edges.end, edges.bulge, np.zeros(0, bool)
    affine = np.array([m.affine for m in design.maps])
    linear, shift = affine[:, :, :2], affine[:, :, 2]
    mirrors = np.linalg.det(linear) < 0.0
    own = design.map[edges.path]
    plain = _keeps_arcs(design, linear)[own]
    start = np.einsum("nab,nb->na", linear[own], edges.start) + shift[own]
    end = np.einsum("nab,nb->na", linear[own], edges.end) + shift[own]
    bulge = np.where(mirrors[own], -edges.bulge, edges.bulge)
    kept = np.flatnonzero(plain)
    found = [(kept, start[kept], end[kept], bulge[kept])]
    for m in np.unique(own[~plain]).tolist():
        rows = np.flatnonzero(~plain & (own == m))
        of, begin, finish, bent = bend_edges(
            edges.start[rows],
            edges.end[rows],
            edges.bulge[rows],
            design.maps[m],
            tolerance_mm=tolerances.program_mm,
        )
        found.append((rows[of], begin, finish, bent))
    edge, start, end, bulge = (np.concatenate(c) for c in zip(*found, strict=True))
    order = np.argsort(edge, kind="stable")
    edge = edge[order]
    return edges.path[edge], start[order], end[order], bulge[order], mirrors[design.map]


def _keeps_arcs(design: Design, linear: F64) -> BOOL:
    bare = [not (m.bow.any() or len(m.steps) or m.weights.any()) for m in design.maps]
    square = linear @ linear.transpose(0, 2, 1)
    scale2 = np.abs(np.linalg.det(linear))
    off = np.abs(square - scale2[:, None, None] * np.eye(2)).max(axis=(1, 2))
    kept: BOOL = np.array(bare, bool) & (off <= 1e-12 * scale2)
    return kept


def _shape(
    row: I64, start: F64, end: F64, bulge: F64, design: Design, tolerances: Tolerances
) -> Shape:
    chord = end - start
    size = np.hypot(chord[:, 0], chord[:, 1])
    near = np.isfinite(bulge) & (np.abs(np.hstack((start, end))) <= FARTHEST_MM).all(axis=1)
    keep = near & (size > tolerances.program_mm)
    row, start, end, bulge, size = row[keep], start[keep], end[keep], bulge[keep], size[keep]
    pieces = pieces_between(start, end, bulge, size, flat_mm=tolerances.program_mm / 10.0)
    count = len(design.nominal)
    closed = design.nominal.closed.copy()
    length = np.bincount(row, weights=pieces[:, LENGTH], minlength=count).astype(np.float64)
    before = np.cumsum(pieces[:, LENGTH]) - pieces[:, LENGTH]
    first = np.searchsorted(row, np.arange(count))
    pieces[:, PLACE] = before - before[first[row]] if len(row) else before
    links = _links(row, first, closed, count)
    corners, ends = _corners(pieces, links, CORNER_SHARE * tolerances.blade_rad)
    return Shape(pieces, links, corners, ends, length, closed)


def pieces_between(start: F64, end: F64, bulge: F64, chord: F64, *, flat_mm: float) -> F64:
    """Return lines and arcs by columns of `columns`; a rise below `flat_mm` is a line."""
    bent = np.where(np.abs(bulge) * chord / 2.0 > flat_mm, bulge, 0.0)
    is_arc = bent != 0.0
    safe = np.where(is_arc, bent, 1.0)
    sweep = 4.0 * np.arctan(bent)
    radius = np.where(is_arc, chord * (1.0 + safe * safe) / (4.0 * safe), 0.0)
    d = end - start
    head = np.arctan2(d[:, 1], d[:, 0]) - sweep / 2.0
    out = np.zeros((len(bulge), PIECE_COLUMNS))
    out[:, X0 : Y0 + 1], out[:, X1 : Y1 + 1] = start, end
    out[:, RADIUS], out[:, SWEEP], out[:, HEAD] = radius, sweep, head
    safe_chord = np.maximum(chord, np.finfo(float).tiny)
    out[:, UX] = np.where(is_arc, np.cos(head), d[:, 0] / safe_chord)
    out[:, UY] = np.where(is_arc, np.sin(head), d[:, 1] / safe_chord)
    out[:, CX], out[:, CY] = start[:, 0] - radius * out[:, UY], start[:, 1] + radius * out[:, UX]
    out[:, LENGTH] = np.where(is_arc, np.abs(radius * sweep), chord)
    return out


def _links(row: I64, first: I64, closed: BOOL, count: int) -> I64:
    n = len(row)
    links = np.full((n, 5), -1, np.int64)
    links[:, ROW] = row
    size = np.bincount(row, minlength=count)
    place = np.arange(n) - first[row] if n else np.zeros(0, np.int64)
    is_last = place == size[row] - 1
    links[:, NEXT] = np.where(is_last, np.where(closed[row], first[row], -1), np.arange(n) + 1)
    has_next = links[:, NEXT] >= 0
    links[links[has_next, NEXT], PREVIOUS] = np.flatnonzero(has_next)
    return links


def _corners(pieces: F64, links: I64, least_rad: float) -> tuple[F64, I64]:
    """Note the turn at the end of each piece; return corners and open ends and what meets there."""
    after = links[:, NEXT]
    joined = after >= 0
    heading_out = pieces[:, HEAD] + pieces[:, SWEEP]
    turn = np.where(joined, pieces[after, HEAD] - heading_out, 0.0)
    turn = np.pi - np.mod(np.pi - turn, 2.0 * np.pi)
    pieces[:, TURN] = turn
    at_end = np.flatnonzero(~joined | (np.abs(turn) > least_rad))
    at_start = np.flatnonzero(links[:, PREVIOUS] < 0)
    ends = np.full((len(at_end) + len(at_start), 2), -1, np.int64)
    ends[: len(at_end), BEFORE], ends[: len(at_end), AFTER] = at_end, after[at_end]
    ends[len(at_end) :, AFTER] = at_start
    corners = np.zeros((len(ends), CORNER_COLUMNS))
    corners[: len(at_end), KX : KX + 2] = pieces[at_end, X1 : Y1 + 1]
    corners[len(at_end) :, KX : KX + 2] = pieces[at_start, X0 : Y0 + 1]
    corners[: len(at_end), KHEAD] = heading_out[at_end]
    corners[len(at_end) :, KHEAD] = pieces[at_start, HEAD]
    corners[: len(at_end), KTURN] = turn[at_end]
    heading = corners[:, KHEAD]
    corners[:, KINX : KINX + 2] = np.column_stack((np.cos(heading), np.sin(heading)))
    heading = heading + corners[:, KTURN]
    corners[:, KOUTX : KOUTX + 2] = np.column_stack((np.cos(heading), np.sin(heading)))
    links[at_end, END_CORNER] = np.arange(len(at_end))
    links[at_start, START_CORNER] = len(at_end) + np.arange(len(at_start))
    corner_after = ends[: len(at_end), AFTER]
    has = corner_after >= 0
    links[corner_after[has], START_CORNER] = np.flatnonzero(has)
    return corners, ends
