"""Which contour each slice cuts: by where it is, never by what the program says.

A stroke follows one contour, so the contour it lies on best along its whole way is preferred for
each of its slices; a slice that lies clearly better on another one goes there. A contour whose
tool or depth does not fit counts as a little farther away. Contours that lie on top of one another
within what reading, mapping and writing add up to are cut together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.model.design import Design, Tolerances
from kerfwright.verify.columns import BOOL, F64, I64, SZ0, SZ1
from kerfwright.verify.moves import Moves
from kerfwright.verify.near import REACH_MM, Views
from kerfwright.verify.slices import Slices
from kerfwright.verify.wanted import Wanted

_MISFIT_MM = 0.25
_CLEARLY_MM = 0.5
_LEAST_WAY_MM = 0.01  # weight of a slice that only goes down


@dataclass(frozen=True, slots=True, kw_only=True)
class Assignment:
    """What belongs to what.

    Parameters
    ----------
    main : ndarray of int
        Views of the contour each slice belongs to, at most one per slice.
    shared : ndarray of int
        Views of every contour each slice cuts: the main one and those on top of it.
    sharing : ndarray of int
        Number of contours cut by the slice of each entry of `shared`.
    stray : ndarray of shape (N,), bool
        Slices that belong to no contour.
    row : ndarray of shape (N,), int
        Contour of each slice, -1 for strays.
    stroke_row : ndarray of shape (S,), int
        Contour each stroke follows, -1 for none.
    """

    main: I64
    shared: I64
    sharing: I64
    stray: BOOL
    row: I64
    stroke_row: I64


def assign(
    views: Views,
    slices: Slices,
    moves: Moves,
    wanted: Wanted,
    design: Design,
    tolerances: Tolerances,
) -> Assignment:
    """Return which contour each slice cuts."""
    strokes = int(moves.stroke.max(initial=-1)) + 1
    rows = len(wanted.target_z)
    stroke = slices.stroke[views.slice]
    fits_tool, fits_depth = _fits(views, slices, moves, wanted, design, tolerances)
    in_reach = np.isfinite(views.cost)
    cost = np.where(in_reach, views.cost, REACH_MM)
    cost += _MISFIT_MM * (~fits_tool + 1.0 * ~fits_depth)
    weight = np.maximum(slices.length[views.slice], _LEAST_WAY_MM)
    gain = np.maximum(2.0 * REACH_MM - cost, 0.0) * weight * in_reach
    stroke_row = _best_rows(stroke, views.row, gain, strokes, rows)
    follows = views.row == stroke_row[stroke]
    usable = in_reach | (views.across & follows)
    cost = np.where(usable, np.where(in_reach, cost, 2.0 * REACH_MM), np.inf)
    preferred = np.where(follows, cost - _CLEARLY_MM, cost)
    main = _least(views.slice, preferred, usable)
    best = np.full(len(slices), -np.inf)
    best[views.slice[main]] = cost[main]
    tied = usable & (cost <= best[views.slice] + tolerances.sum_mm)
    tied[main] = True
    shared = np.flatnonzero(tied)
    count = np.bincount(views.slice[shared], minlength=len(slices))
    row = np.full(len(slices), -1, np.int64)
    row[views.slice[main]] = views.row[main]
    return Assignment(
        main=main,
        shared=shared,
        sharing=count[views.slice[shared]],
        stray=row < 0,
        row=row,
        stroke_row=stroke_row,
    )


def tool_of_rows(design: Design) -> tuple[list[str], list[str]]:
    """Return tool id and kind of head each row of the design asks for."""
    tools = [design.tools[t].id for t in design.tool.tolist()]
    kinds = [design.operations[o].head_kind.value for o in design.operation.tolist()]
    return tools, kinds


def is_right_tool(rows: I64, stations: I64, moves: Moves, design: Design) -> BOOL:
    """Return whether a station holds the tool and head a row asks for, pair by pair."""
    tools, kinds = tool_of_rows(design)
    wanted = np.array([f"{k}/{t}" for k, t in zip(kinds, tools, strict=True)] or [""])
    pairs = zip(moves.heads, moves.stations, strict=True)
    held = np.array([f"{h.kind.value}/{s.tool_id}" for h, s in pairs] or [""])
    names, index = np.unique(np.concatenate((wanted, held)), return_inverse=True)
    del names
    right: BOOL = index[: len(wanted)][rows] == index[len(wanted) :][stations]
    return right


def _fits(
    views: Views,
    slices: Slices,
    moves: Moves,
    wanted: Wanted,
    design: Design,
    tolerances: Tolerances,
) -> tuple[BOOL, BOOL]:
    station = moves.station[slices.block[views.slice]]
    tool = is_right_tool(views.row, station, moves, design)
    strokes = int(moves.stroke.max(initial=-1)) + 1
    tip = np.full(strokes, np.inf)
    np.minimum.at(tip, slices.stroke, np.minimum(slices.at[:, SZ0], slices.at[:, SZ1]))
    passes = np.array([o.passes for o in design.operations], np.int64)[design.operation[views.row]]
    full = np.maximum(design.top_z_mm - wanted.target_z[views.row], 0.0)
    depth = design.top_z_mm - tip[slices.stroke[views.slice]]
    number = np.clip(np.round(depth * passes / np.where(full > 0.0, full, 1.0)), 1, passes)
    return tool, np.abs(depth - full * number / passes) <= tolerances.depth_mm


def _best_rows(stroke: I64, row: I64, gain: F64, strokes: int, rows: int) -> I64:
    """Return the row with the greatest gain per stroke; the first of equal ones."""
    best = np.full(strokes, -1, np.int64)
    key, index = np.unique(stroke * max(rows, 1) + row, return_inverse=True)
    total = np.bincount(index, weights=gain, minlength=len(key))
    total = np.round(total, 9)  # equal contours must not be told apart by rounding
    order = np.lexsort((-key, total, key // max(rows, 1)))
    of = (key // max(rows, 1))[order]
    last = np.flatnonzero(np.append(of[1:] != of[:-1], np.ones(min(len(of), 1), bool)))
    found = order[last]
    found = found[total[found] > 0.0]
    best[key[found] // max(rows, 1)] = key[found] % max(rows, 1)
    return best


def _least(group: I64, value: F64, usable: BOOL) -> I64:
    """Return, per group, the index of the least value among the usable, the first of equal ones."""
    index = np.flatnonzero(usable)
    order = index[np.lexsort((index, value[index], group[index]))]
    new = np.ones(len(order), bool)
    new[1:] = group[order[1:]] != group[order[:-1]]
    return order[new]
