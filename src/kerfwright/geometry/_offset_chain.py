"""Pieces that keep the distance -> closed rings."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from kerfwright.geometry._edge_kernels import point_on_edge, take_part, tangent_at
from kerfwright.geometry._offset_meet import (
    SNAP_MM,
    Splits,
    may_stay,
    pieces_of,
    source_of,
    splits_of,
)
from kerfwright.geometry._offset_parts import Parts, parts_of
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner, kernel

_TRIES = 7
_SHIFT_MM = 7e-8
"""Where primitives only just touch, a distance this much off has no such touch."""


class Rings(NamedTuple):
    """Rings of one group or of many.

    Parameters
    ----------
    rows : ndarray of shape (N, 3), float
        Vertices and the bulge of the edge that leaves each.
    what : ndarray of shape (N, 2), int
        Source edge and kind of each edge.
    sizes : ndarray of shape (R,), int
        Vertices of each ring.
    """

    rows: F64
    what: I64
    sizes: I64


@inner
def _middle_of(parts: Parts, piece: I64, span: F64) -> tuple[float, float]:
    return point_on_edge(parts.rows[piece[2]], 0.5 * (span[0] + span[1]))


@inner
def _sorted_by_node(pieces: I64, column: int, nodes: int) -> tuple[I64, I64]:
    """Return pieces in the order of a node, and where those of each node begin."""
    begins = np.zeros(nodes + 1, np.int64)
    for k in range(len(pieces)):
        begins[pieces[k, column] + 1] += 1
    begins = np.cumsum(begins)
    order, at = np.zeros(len(pieces), np.int64), begins.copy()
    for k in range(len(pieces)):
        order[at[pieces[k, column]]] = k
        at[pieces[k, column]] += 1
    return order, begins


@inner
def _drop_doubles(parts: Parts, pieces: I64, span: F64, nodes: int) -> BOOL:
    """Return which pieces stay: of two that run together one, of two that run back none."""
    stay = np.ones(len(pieces), np.bool_)
    order, begins = _sorted_by_node(pieces, 0, nodes)
    for k in range(len(pieces)):
        if not stay[k]:
            continue
        u, v = pieces[k, 0], pieces[k, 1]
        px, py = _middle_of(parts, pieces[k], span[k])
        for node in (u, v):
            for at in range(begins[node], begins[node + 1]):
                j = order[at]
                if j <= k or not stay[j] or pieces[j, 1] != (v if node == u else u):
                    continue
                qx, qy = _middle_of(parts, pieces[j], span[j])
                if math.hypot(px - qx, py - qy) <= 2.0 * SNAP_MM:
                    stay[j] = False
                    if node == v:
                        stay[k] = False
                    break
            if not stay[k]:
                break
    return stay


@inner
def _heading(parts: Parts, piece: I64, span: F64, end: int) -> tuple[float, float]:
    tx, ty = tangent_at(parts.rows[piece[2]], span[end])
    return (tx, ty) if span[0] < span[1] else (-tx, -ty)


@inner
def _next_of(
    parts: Parts, pieces: I64, span: F64, order: I64, begins: I64, used: BOOL, k: int
) -> int:
    """Return the piece that goes on from another: the one that turns most to the left.

    So rings that touch in a point stay apart.
    """
    best, most = -1, -10.0
    node = pieces[k, 1]
    hx, hy = _heading(parts, pieces[k], span[k], 1)
    for at in range(begins[node], begins[node + 1]):
        j = order[at]
        if used[j]:
            continue
        tx, ty = _heading(parts, pieces[j], span[j], 0)
        turn = math.atan2(hx * ty - hy * tx, hx * tx + hy * ty)
        if turn > most:
            best, most = j, turn
    return best


@inner
def rings_of(parts: Parts, splits: Splits, pieces: I64, span: F64) -> tuple[bool, Rings]:
    """Return whether all pieces close to rings, and the rings."""
    nodes = len(splits.root)
    stay = _drop_doubles(parts, pieces, span, nodes)
    pieces, span = pieces[stay], span[stay]
    order, begins = _sorted_by_node(pieces, 0, nodes)
    _, ends = _sorted_by_node(pieces, 1, nodes)
    rows, what = np.zeros((len(pieces), 3)), np.zeros((len(pieces), 2), np.int64)
    sizes = np.zeros(len(pieces), np.int64)
    for node in range(nodes):
        if begins[node + 1] - begins[node] != ends[node + 1] - ends[node]:
            return False, Rings(rows[:0], what[:0], sizes[:0])
    used = np.zeros(len(pieces), np.bool_)
    ring = np.zeros(len(pieces), np.int64)
    part = np.zeros(5)
    total, rings = 0, 0
    for first in range(len(pieces)):
        if used[first]:
            continue
        n, k = 0, first
        while True:
            used[k] = True
            ring[n] = k
            n += 1
            if pieces[k, 1] == pieces[first, 0]:
                j = _next_of(parts, pieces, span, order, begins, used, k)
                if j < 0 or not _turns_more(parts, pieces, span, k, j, first):
                    break
            else:
                j = _next_of(parts, pieces, span, order, begins, used, k)
                if j < 0:
                    return False, Rings(rows[:0], what[:0], sizes[:0])
            k = j
        before = total
        total = _write(parts, splits, pieces, span, ring[:n], part, rows, what, total)
        sizes[rings] = total - before
        rings += 1
    return True, Rings(rows[:total], what[:total], sizes[:rings])


@inner
def _turns_more(parts: Parts, pieces: I64, span: F64, k: int, j: int, first: int) -> bool:
    """Return whether going on to `j` turns more to the left than closing with `first`."""
    hx, hy = _heading(parts, pieces[k], span[k], 1)
    ax, ay = _heading(parts, pieces[j], span[j], 0)
    bx, by = _heading(parts, pieces[first], span[first], 0)
    to_j = math.atan2(hx * ay - hy * ax, hx * ax + hy * ay)
    to_first = math.atan2(hx * by - hy * bx, hx * bx + hy * by)
    return to_j > to_first


@inner
def _write(
    parts: Parts,
    splits: Splits,
    pieces: I64,
    span: F64,
    ring: I64,
    part: F64,
    rows: F64,
    what: I64,
    at: int,
) -> int:
    """Write a ring; pieces of one primitive that follow one another become one edge."""
    n = len(ring)
    shift = 0
    while shift < n and _goes_on(pieces, span, ring[shift - 1], ring[shift]):
        shift += 1
    k = 0
    while k < n:
        one = ring[(shift + k) % n]
        begin, end = span[one, 0], span[one, 1]
        k += 1
        while k < n and _goes_on(pieces, span, ring[(shift + k - 1) % n], ring[(shift + k) % n]):
            end = span[ring[(shift + k) % n], 1]
            k += 1
        i = pieces[one, 2]
        take_part(parts.rows[i], min(begin, end), max(begin, end), part)
        node = pieces[one, 0]
        rows[at, 0], rows[at, 1] = splits.xy[node, 0], splits.xy[node, 1]
        rows[at, 2] = part[4] if begin < end else -part[4]
        what[at, 0], what[at, 1] = parts.source[i], parts.kind[i]
        at += 1
    return at


@inner
def _goes_on(pieces: I64, span: F64, one: int, two: int) -> bool:
    return bool(pieces[one, 2] == pieces[two, 2] and span[one, 1] == span[two, 0] and one != two)


@inner
def _one_group(
    edges: F64, starts: I64, closed: BOOL, flat: BOOL, distance: float, inside: int
) -> tuple[bool, Rings]:
    source = source_of(edges, starts, closed, flat)
    made = False
    rings = Rings(np.zeros((0, 3)), np.zeros((0, 2), np.int64), np.zeros(0, np.int64))
    for attempt in range(_TRIES):
        shift = _SHIFT_MM * ((attempt + 1) // 2) * (1.0 if attempt % 2 else -1.0)
        d = distance + shift
        parts = parts_of(edges, starts, closed, flat, d)
        splits = splits_of(parts, may_stay(source, parts, d, inside))
        pieces, span = pieces_of(source, parts, splits, d, inside)
        made, rings = rings_of(parts, splits, pieces, span)
        if made:
            break
    return made, rings


@kernel
def offset_groups(
    edges: F64,
    starts: I64,
    closed: BOOL,
    flat: BOOL,
    groups: I64,
    distance: F64,
    inside: I64,
) -> tuple[BOOL, F64, I64, I64, I64]:
    """Offset many groups of runs.

    Parameters
    ----------
    edges : ndarray of shape (E, 5), float
        Edges of all runs, run after run, none without length unless a run is a point.
    starts : ndarray of shape (K + 1,), int
        First edge of each run.
    closed : ndarray of shape (K,), bool
        Whether a run is closed.
    flat : ndarray of shape (E, 2), bool
        Open ends cut off square.
    groups : ndarray of shape (G + 1,), int
        First run of each group.
    distance : ndarray of shape (G,), float
        Distances, above 0 [mm].
    inside : ndarray of shape (G,), int
        1 to shrink, 0 to grow, -1 to go round open runs.

    Returns
    -------
    made (G,), vertices with bulge (N, 3), source edge and kind (N, 2), sizes of rings (R,), group
    of each ring (R,).
    """
    made = np.zeros(len(distance), np.bool_)
    rows, what = np.zeros((2 * len(edges) + 64, 3)), np.zeros((2 * len(edges) + 64, 2), np.int64)
    sizes, owner = np.zeros(len(closed) + 64, np.int64), np.zeros(len(closed) + 64, np.int64)
    total, count = 0, 0
    for g in range(len(distance)):
        low, high = groups[g], groups[g + 1]
        e0, e1 = starts[low], starts[high]
        made[g], rings = _one_group(
            edges[e0:e1], starts[low : high + 1] - e0, closed[low:high], flat[e0:e1],
            distance[g], inside[g],
        )  # fmt: skip
        n, r = len(rings.rows), len(rings.sizes)
        while total + n > len(rows):
            more, what_more = np.zeros((2 * len(rows), 3)), np.zeros((2 * len(rows), 2), np.int64)
            more[:total], what_more[:total] = rows[:total], what[:total]
            rows, what = more, what_more
        while count + r > len(sizes):
            sizes_more, owner_more = (
                np.zeros(2 * len(sizes), np.int64),
                np.zeros(2 * len(sizes), np.int64),
            )
            sizes_more[:count], owner_more[:count] = sizes[:count], owner[:count]
            sizes, owner = sizes_more, owner_more
        rows[total : total + n] = rings.rows
        what[total : total + n] = rings.what
        what[total : total + n, 0] += e0
        sizes[count : count + r] = rings.sizes
        owner[count : count + r] = g
        total += n
        count += r
    return made, rows[:total], what[:total], sizes[:count], owner[:count]
