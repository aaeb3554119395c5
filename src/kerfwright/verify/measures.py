"""Everything measured of a program, contour by contour, before anything is judged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kerfwright.verify.aiming import aim_errors
from kerfwright.verify.case import Case
from kerfwright.verify.columns import BHALF, BOOL, F64, I64
from kerfwright.verify.covering import ANY, DEEP, Level, Stretches, levels_of, stretches_of
from kerfwright.verify.foot import OVERRUN_MM, Past
from kerfwright.verify.inner_leads import with_leads
from kerfwright.verify.nesting import Nesting, nesting_of
from kerfwright.verify.overcut import Overcut, overcut_of
from kerfwright.verify.repeating import repeated_mm
from kerfwright.verify.sides import wrong_bevels, wrong_tools
from kerfwright.verify.sweeping import sweep

STEPS = 5
_AIM_SHARE = 10.0
"""A blade may point so many times the allowed angle past a corner's headings and still be said to
go straight on."""
_CLEAR_SHARE = 0.5
_RESOLUTION_MM = 5e-4
_RESOLUTION_SHARE = 1.0 / 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Worst:
    """Greatest value per contour, 0 for none, and where in the table frame.

    Parameters
    ----------
    value : ndarray of shape (K,), float
        Values [mm or rad].
    xy : ndarray of shape (K, 2), float
        Places [mm].
    """

    value: F64
    xy: F64


@dataclass(frozen=True, slots=True, kw_only=True)
class Measures:
    """K contours.

    Parameters
    ----------
    deviation : Worst
        Of the swept blade [mm].
    overcut : Overcut
        Past the ends of runs.
    levels : dict of int to Level
        Length covered and the greatest gap, by level of depth.
    lowest : Worst
        How far the lowest tip is below full depth [mm].
    shallow : ndarray of shape (K,), bool
        Whether the tip stays too high somewhere.
    touched : Level
        What is cut at the top face, of contours where the tip stays too high.
    tip_at_gap : ndarray of shape (K,), float
        Lowest tip where full depth is missing [mm].
    repeated : ndarray of shape (K,), float
        Longest stretch cut again at full depth [mm].
    aim, backwards : Worst
        Angle between blade and contour, and between blade and way [rad].
    bevel : Worst
        Length cut with the ground side on the part [mm].
    wrong_tool : ndarray of shape (K,), int
        A slice cut with another tool or head than asked for, -1 for none.
    """

    deviation: Worst
    overcut: Overcut
    levels: dict[int, Level]
    lowest: Worst
    shallow: BOOL
    touched: Level
    tip_at_gap: F64
    repeated: F64
    aim: Worst
    backwards: Worst
    bevel: Worst
    wrong_tool: I64


def measure(case: Case, tell: Callable[[], None]) -> Measures:
    """Measure a program against its contours; `tell` is called after each of `STEPS` steps."""
    nesting = nesting_of(case.design, case.wanted)
    tell()
    deviation, overcut = _sweep(case, nesting)
    tell()
    aim, backwards = _aim(case)
    tell()
    stretches = _cover(case, case.assignment.shared, case.wanted.reference_z)
    levels = levels_of(case, case.assignment.shared, with_leads(case, stretches))
    shallow = levels[ANY].length - levels[DEEP].length > case.tolerances.uncut_mm
    tell()
    bevel, bevel_at = wrong_bevels(case, stretches, nesting)
    own = np.flatnonzero(case.assignment.row >= 0)
    row = case.assignment.row[own]
    below = case.wanted.target_z[row] - case.tips[own]
    result = Measures(
        deviation=deviation,
        overcut=overcut,
        levels=levels,
        lowest=_worst(row, below, case.slices.at[own, :2], case.rows),
        shallow=shallow,
        touched=_touched(case, shallow),
        tip_at_gap=_tip_at_gap(case, stretches, levels[DEEP].gap),
        repeated=repeated_mm(case, stretches),
        aim=aim,
        backwards=backwards,
        bevel=Worst(value=bevel, xy=_at(case.slices.at[:, :2], bevel_at)),
        wrong_tool=wrong_tools(case),
    )
    tell()
    return result


def _past_end(case: Case) -> Past:
    tolerances = case.tolerances
    return Past(_AIM_SHARE * tolerances.blade_rad, tolerances.cut_mm * _CLEAR_SHARE)


def _sweep(case: Case, nesting: Nesting) -> tuple[Worst, Overcut]:
    shape, tolerances = case.wanted.shape, case.tolerances
    resolution = min(_RESOLUTION_MM, tolerances.cut_mm * _RESOLUTION_SHARE)
    worst, where, over, over_at = sweep(
        shape,
        *case.picked(case.main()),
        case.design.top_z_mm,
        OVERRUN_MM,
        _past_end(case),
        resolution,
    )
    overcut = overcut_of(
        shape,
        nesting,
        over,
        over_at,
        noise_mm=2.0 * tolerances.program_mm,
        resolution_mm=resolution,
    )
    return Worst(value=np.maximum(worst, 0.0), xy=where), overcut


def _aim(case: Case) -> tuple[Worst, Worst]:
    """Return the worst angles of the blade to the contour and to its way; a pen has none."""
    main, least = case.main(), case.tolerances.blade_rad
    main = main[~case.moves.draws[case.station_of(case.views.slice[main])]]
    error, xy, backwards = aim_errors(
        case.wanted.shape,
        *case.picked(main)[:-1],
        _aimed_blades(case),
        case.design.top_z_mm - case.wanted.target_z,
        _past_end(case),
        least,
    )
    row, at = case.views.row[main], case.slices.at[case.views.slice[main], :2]
    return _worst(row, error, xy, case.rows), _worst(row, backwards, at, case.rows)


def _aimed_blades(case: Case) -> F64:
    """Return the blades; of a wheel a little of its contact, which may lie over a joint."""
    blades, moves = case.moves.blades.copy(), case.moves
    blades[moves.blade[moves.rolls[:-1]], BHALF] = case.tolerances.uncut_mm
    return blades


def _touched(case: Case, shallow: BOOL) -> Level:
    """Return what is cut at the top face, looking only at the contours asked for."""
    shared = case.assignment.shared
    picked = shared[shallow[case.views.row[shared]]]
    top = np.full(case.rows, case.design.top_z_mm)
    return levels_of(case, picked, _cover(case, picked, top))[ANY]


def _cover(case: Case, views: I64, plane_z: F64) -> Stretches:
    return stretches_of(
        case.wanted.shape,
        *case.picked(views),
        plane_z,
        case.wanted.reached_z,
        case.wanted.deep_z,
        _past_end(case),
    )


def _worst(row: I64, value: F64, xy: F64, rows: int) -> Worst:
    out, at = np.zeros(rows), np.full(rows, -1, np.int64)
    order = np.argsort(value, kind="stable")
    order = order[value[order] > 0.0]
    out[row[order]], at[row[order]] = value[order], order
    return Worst(value=out, xy=_at(xy, at))


def _at(xy: F64, index: I64) -> F64:
    """Return rows by index, zero for index -1."""
    rows: F64 = np.vstack((xy, np.zeros((1, 2))))[index]
    return rows


def _tip_at_gap(case: Case, stretches: Stretches, gap: F64) -> F64:
    """Return the lowest tip over the middle of each contour's greatest gap at full depth."""
    own = case.assignment.shared[stretches.entry]
    row, tip = case.views.row[own], case.tips[case.views.slice[own]]
    length = case.wanted.shape.length[row]
    wraps = case.wanted.shape.closed[row] & (length > 0.0)
    turns = np.ceil((stretches.low - gap[row]) / np.where(wraps, length, 1.0))
    place = gap[row] + np.where(wraps, turns * length, 0.0)
    over = (place >= stretches.low) & (place <= stretches.high)
    out = np.full(len(gap), np.inf)
    np.minimum.at(out, row[over], tip[over])
    return out
