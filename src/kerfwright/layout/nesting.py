"""Parts and sheets -> where each copy lies, lowest first, then leftmost."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from kerfwright.errors import UsageError
from kerfwright.geometry.record import F64, I64
from kerfwright.layout.filling import Filling, Shape, make_shape
from kerfwright.layout.outlines import outline_of
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout, Sheet

_SHUFFLES = 2
_FEW = 100
"""Up to so many copies more orders are tried."""
_SHUFFLE_SD = 0.25
_SAME_MM = 1e-6


def nest(
    parts: Sequence[Part],
    sheets: Sequence[Sheet],
    *,
    spacing_mm: float,
    time_limit_s: float,
    seed: int = 0,
) -> Layout:
    """Return places for all copies of all parts, as far as the sheets go.

    Large parts go first; each takes the lowest, then leftmost place that is free in one of its
    turns, on the first sheet that has one. When sheets run out, parts of higher priority go
    first; other orders are tried as well and the best layout is kept: most parts of the highest
    priority, least cost of sheets, lowest filling of the last sheet. Parts are not turned over.

    *Distances kept*: two outlines are at least `spacing_mm` apart, and at least both bleeds
    together, so that bleeds do not overlap. An outline keeps the sheet's margin from its edge and
    its holes, and the bleed from keep-outs; bleed may run into the margin and over the edge. No
    part lies inside another one's windows. What counts is the line that frees the part; of a part
    without one the box around its lines.

    Parameters
    ----------
    parts : sequence of Part
        Parts with their quantities, priorities and turns.
    sheets : sequence of Sheet
        Sheets in the order they are used, each one piece.
    spacing_mm : float
        Least distance between outlines [mm].
    time_limit_s : float
        Time after which the best layout so far is returned [s]. The same input gives the same
        layout as long as this limit is not met.
    seed : int, default 0
        Seed of the orders tried.

    Returns
    -------
    Layout
        Sheets used, placements, ids of copies without a place, parts' area over area of the
        sheets used (their holes taken off). `check_layout` says why copies have no place.

    Raises
    ------
    UsageError
        If the spacing is below 0 or not finite, the time is not above 0, or a part allows no turn.
    GeometryError
        If a hole or keep-out is open.
    """
    if not (np.isfinite(spacing_mm) and spacing_mm >= 0.0):
        raise UsageError(f"spacing_mm is {spacing_mm}, must be finite and not below 0")
    if not time_limit_s > 0.0:
        raise UsageError(f"time_limit_s is {time_limit_s}, must be above 0")
    deadline = time.monotonic() + time_limit_s
    stock = _make_stock(parts)
    best: _Result | None = None
    for order in _orders(stock, seed):
        found = _fill(stock, order, sheets, spacing_mm, lambda: time.monotonic() < deadline)
        if best is None or found.score < best.score:
            best = found
        if len(best.fills) <= 1 and not best.left:
            break
        if time.monotonic() >= deadline:
            break
    return _layout(parts, stock, best or _Result())


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stock:
    """All copies: part, area, priority and size of each, and the shapes of each part."""

    part: I64
    area: F64
    priority: I64
    size: F64
    shapes: tuple[tuple[Shape, ...], ...]


def _make_stock(parts: Sequence[Part]) -> _Stock:
    outlines = [outline_of(p) for p in parts]
    for p in parts:
        if not p.rotations_rad:
            raise UsageError(f"part {p.id} allows no turn; allow 0 at least")
    shapes = tuple(
        _different([make_shape(o, turn, p.bleed_mm) for turn in p.rotations_rad])
        for p, o in zip(parts, outlines, strict=True)
    )
    part = np.repeat(np.arange(len(parts)), [p.quantity for p in parts]).astype(np.int64)
    area = np.array([abs(float(o.areas_mm2()[0])) for o in outlines])
    size = np.array([float(s[0].size.max()) for s in shapes])
    priority = np.array([p.priority for p in parts], np.int64)
    return _Stock(
        part=part,
        area=area[part],
        priority=priority[part],
        size=size[part],
        shapes=shapes,
    )


def _different(shapes: list[Shape]) -> tuple[Shape, ...]:
    """Return the shapes without those that look like an earlier one, as a turned square does."""
    kept: list[Shape] = []
    for shape in shapes:
        ring = _sorted_ring(shape)
        if not any(
            len(ring) == len(s.ring) and np.abs(ring - _sorted_ring(s)).max() < _SAME_MM
            for s in kept
        ):
            kept.append(shape)
    return tuple(kept)


def _sorted_ring(shape: Shape) -> F64:
    """Return the ring begun at its lowest, then leftmost vertex."""
    coarse = np.round(shape.ring, 6)
    first = np.lexsort((coarse[:, 0], coarse[:, 1]))[0]
    return np.roll(shape.ring, -int(first), axis=0)


def _orders(stock: _Stock, seed: int) -> list[I64]:
    """Return the orders to try: by area, by priority first, by length, shuffled a little.

    Copies of one part stay together, because places that failed for one fail for the next.
    """
    rng = np.random.default_rng(seed)
    area, rank = np.round(stock.area, 3), -stock.priority
    orders = [np.lexsort((stock.part, rank, -area))]
    if np.ptp(rank) if len(rank) else False:
        orders.append(np.lexsort((stock.part, -area, rank)))
    if len(stock.part) <= _FEW:
        orders.append(np.lexsort((stock.part, -np.round(stock.size, 3), rank)))
    for _ in range(_SHUFFLES if len(stock.part) <= _FEW else 0):
        noise = np.exp(rng.normal(0.0, _SHUFFLE_SD, len(stock.shapes)))[stock.part]
        orders.append(np.lexsort((stock.part, -area * noise, rank)))
    kept: list[I64] = []
    for order in orders:
        if not any((stock.part[order] == stock.part[k]).all() for k in kept):
            kept.append(order)
    return kept


@dataclass(slots=True, kw_only=True)
class _Result:
    """What one order gave: per copy placed its part, sheet and map; copies left over."""

    fills: list[Filling] = field(default_factory=list)
    part: list[int] = field(default_factory=list)
    sheet: list[int] = field(default_factory=list)
    maps: list[F64] = field(default_factory=list)
    left: list[int] = field(default_factory=list)
    score: tuple[object, ...] = ()


def _fill(
    stock: _Stock,
    order: I64,
    sheets: Sequence[Sheet],
    spacing_mm: float,
    still_time: Callable[[], bool],
) -> _Result:
    out = _Result()
    waiting = list(sheets)
    for copy in order.tolist():
        part = int(stock.part[copy])
        if not _place(out, stock, part, waiting, spacing_mm, still_time):
            out.left.append(copy)
    while out.fills and not out.fills[-1].used:
        out.fills.pop()
    out.score = _score(out, stock)
    return out


def _place(
    out: _Result,
    stock: _Stock,
    part: int,
    waiting: list[Sheet],
    spacing_mm: float,
    still_time: Callable[[], bool],
) -> bool:
    """Put one copy on the first sheet that has room; open the next sheet when none has."""
    number = 0
    while number < len(out.fills) or waiting:
        if not still_time():
            return False
        if number == len(out.fills):
            out.fills.append(Filling(sheet=waiting.pop(0), spacing_mm=spacing_mm))
        fill = out.fills[number]
        found = _best_turn(fill, stock.shapes[part], part, still_time)
        if found is not None:
            shape, xy = found
            fill.put(shape, xy)
            out.part.append(part)
            out.sheet.append(number)
            out.maps.append(shape.sheet_from_part(xy))
            return True
        number += 1
    return False


def _best_turn(
    fill: Filling, shapes: tuple[Shape, ...], part: int, still_time: Callable[[], bool]
) -> tuple[Shape, F64] | None:
    """Return the shape whose top comes lowest, then its right side furthest left."""
    best, best_key = None, (np.inf, np.inf)
    for turn, shape in enumerate(shapes):
        below = best_key[0] - float(shape.size[1]) + _SAME_MM
        xy = fill.find(shape, (part, turn), still_time, below)
        if xy is None:
            continue
        key = (round(float(xy[1] + shape.size[1]), 5), round(float(xy[0] + shape.size[0]), 5))
        if key < best_key:
            best, best_key = (shape, xy), key
    return best


def _score(out: _Result, stock: _Stock) -> tuple[object, ...]:
    """Return what makes a layout better than another one; less is better."""
    left = np.array(out.left, np.int64)
    missing = []
    for priority in sorted(set(stock.priority.tolist()), reverse=True):
        of = left[stock.priority[left] == priority]
        missing.append((len(of), round(float(stock.area[of].sum()), 3)))
    cost = round(sum(f.sheet.cost for f in out.fills), 6)
    top = round(out.fills[-1].top_mm, 3) if out.fills else 0.0
    return (tuple(missing), cost, len(out.fills), top)


def _layout(parts: Sequence[Part], stock: _Stock, best: _Result) -> Layout:
    sheets = tuple(f.sheet for f in best.fills)
    areas = {p: float(stock.area[stock.part == p][0]) for p in set(best.part)}
    used = sum(areas[p] for p in best.part)
    stock_area = sum(_area_of(s) for s in sheets)
    return Layout(
        sheets=sheets,
        part=np.array(best.part, np.int64),
        sheet=np.array(best.sheet, np.int64),
        sheet_from_part=np.array(best.maps).reshape(-1, 2, 3),
        unplaced=tuple(parts[int(stock.part[c])].id for c in sorted(best.left)),
        density=used / stock_area if sheets else 0.0,
    )


def _area_of(sheet: Sheet) -> float:
    outer = abs(float(sheet.outline.areas_mm2()[0]))
    return outer - float(np.abs(sheet.holes.areas_mm2()).sum())
