"""The rows of the report: for each placement its worst moment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.holddown.bodies import Bodies
from kerfwright.holddown.figures import LOW, TYPICAL, Figures
from kerfwright.holddown.freeing import Freeing
from kerfwright.holddown.loads import Touches, Uses
from kerfwright.holddown.pieces import Pieces
from kerfwright.model.hold import MARGIN_MOST, HoldMode, HoldReport
from kerfwright.model.motion import TimedMotion, ToolMotion
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout
from kerfwright.model.table import Zone


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Work:
    """What the check has worked out of its inputs, the same at both ends of the ranges."""

    layout: Layout
    parts: Sequence[Part]
    placements: I64
    zones: tuple[Zone, ...]
    motion: ToolMotion
    timed: TimedMotion | None
    bodies: Bodies
    pieces: Pieces
    freeing: Freeing
    touches: Touches
    figures: Figures


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OneEnd:
    """Vacuum (before the first cut, at every touch, after the last) and use of hold."""

    vacuum_pa: F64
    uses: Uses
    closed_pa: float


def make_report(work: Work, low: OneEnd, typical: OneEnd) -> HoldReport:
    """Return the report without findings."""
    rows, own = len(work.placements), work.bodies.row
    use = np.maximum(low.uses.slide, low.uses.tip)
    worst = _worst_of_each(work.touches.body, use, len(own))
    at, uses = worst, low.uses
    piece = work.touches.piece[at]
    is_loaded = work.touches.size[at] > 0.0
    block = np.where(is_loaded, _block(work.pieces, piece), -1)
    freed = _block(work.pieces, work.freeing.freed)
    tips = np.where(uses.tip[at] > uses.slide[at], HoldMode.TIPS, HoldMode.SLIDES)
    usual = np.maximum(typical.uses.slide, typical.uses.tip)
    usual_worst = _worst_of_each(work.touches.body, usual, len(own))
    zone_kpa = np.tile(low.vacuum_pa[-1] / 1000.0, (rows, 1))
    zone_kpa[own] = low.vacuum_pa[1:-1][at] / 1000.0
    return HoldReport(
        placement=work.placements,
        contour=_names(work.layout, work.parts, work.placements),
        load_n=_spread(uses.load_n[at], own, rows),
        lift_n=_spread(uses.up_n[at], own, rows),
        moment_nmm=_spread(uses.moment_nmm[at], own, rows),
        hold_n=_spread(uses.normal_n[at], own, rows),
        friction_low=work.figures.friction[LOW],
        friction_typical=work.figures.friction[TYPICAL],
        margin_low=_spread(_margin(use[at]), own, rows, MARGIN_MOST),
        margin_typical=_spread(_margin(usual[usual_worst]), own, rows, MARGIN_MOST),
        mode=_spread(np.where(is_loaded, tips, HoldMode.NOTHING), own, rows),
        worst_xy=_spread(work.touches.xy[at], own, rows),
        at_cut=_spread(_cut(work.motion, block), own, rows, -1),
        at_block=_spread(block, own, rows, -1),
        freed_cut=_spread(_cut(work.motion, freed), own, rows, -1),
        freed_block=_spread(freed, own, rows, -1),
        uncut_mm=_spread(work.freeing.uncut_mm, own, rows),
        at_s=_times(work, block),
        freed_s=_times(work, freed),
        zones=tuple(z.number for z in work.zones),
        zone_kpa=zone_kpa,
        begin_kpa=np.stack((low.vacuum_pa[0], typical.vacuum_pa[0])) / 1000.0,
        end_kpa=np.stack((low.vacuum_pa[-1], typical.vacuum_pa[-1])) / 1000.0,
        bracket_gap=max(low.uses.gap, typical.uses.gap),
    )


def _worst_of_each(body: I64, use: F64, count: int) -> I64:
    """Return for each part the row of its greatest use; the earliest of equals."""
    order = np.lexsort((-np.arange(len(use)), use, body))
    last = np.searchsorted(body[order], np.arange(count), side="right") - 1
    return order[last]


def _margin(use: F64) -> F64:
    with np.errstate(divide="ignore"):
        return np.minimum(1.0 / use, MARGIN_MOST)


def _spread(values: np.ndarray, own: I64, rows: int, other: float = 0) -> np.ndarray:
    """Return values of the parts in their rows of the report, `other` in all other rows."""
    out = np.full((rows, *values.shape[1:]), other, values.dtype)
    out[own] = values
    return out


def _block(pieces: Pieces, piece: I64) -> I64:
    """Return the block of each piece, -1 where there is none."""
    there = piece < len(pieces)
    if not len(pieces):
        return np.full(len(piece), -1, np.int64)
    return np.where(there, pieces.block[np.where(there, piece, 0)], -1)


def _cut(motion: ToolMotion, block: I64) -> I64:
    if not len(motion):
        return np.full(len(block), -1, np.int64)
    return np.where(block >= 0, motion.cut[np.maximum(block, 0)], -1)


def _times(work: Work, block: I64) -> F64:
    """Return when blocks end, in rows of the report, -1 for none; nothing without times."""
    if work.timed is None:
        return np.zeros(0)
    ends = np.append(np.cumsum(work.timed.block_s), -1.0)
    return _spread(ends[block], work.bodies.row, len(work.placements), -1.0)


def _names(layout: Layout, parts: Sequence[Part], placements: I64) -> tuple[str, ...]:
    """Return the placed ids: the contour's own, with ``@`` and the copy where there are several."""
    copies = np.bincount(layout.part, minlength=len(parts))
    seen = np.zeros(len(parts), np.int64)
    names = []
    for which in layout.part.tolist():
        seen[which] += 1
        part = parts[which]
        tail = f"@{seen[which]}" if copies[which] > 1 else ""
        names.append(part.contour_ids[max(part.outline, 0)] + tail)
    return tuple(names[p] for p in placements.tolist())
