"""Arcs that obey the arc rule in the numbers as written, or lines in their place.

The rule of NISTIR 6556 section 3.5.3: the radii from the centre as written to start and end
differ by at most 0.002 mm.
"""

from __future__ import annotations

from math import pi

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.dialect import Dialect
from kerfwright.model.motion import Kind
from kerfwright.program.write.axes import Axes
from kerfwright.program.write.moves import Moves, cut_arcs
from kerfwright.program.write.refuse import ProgramRefusedError, blocking

ARC_RULE_MM = 0.002 - 1e-9  # less the noise of binary numbers
GREATEST_RADIUS_MM = 1e5
"""Arcs beyond 100 m are lines for any table, and their centres would fill a line of text."""

_STEPS = np.array(sorted(np.ndindex(5, 5), key=lambda s: (s[0] - 2) ** 2 + (s[1] - 2) ** 2)) - 2


def settle_arcs(moves: Moves, axes: Axes, dialect: Dialect) -> tuple[Moves, I64]:
    """Return moves whose arcs can all be written, with I and J of each in counts, (R, 2).

    An arc that cannot is cut in two where that helps, else into chords.
    """
    if dialect.arcs:
        good, _ = _fits(moves, axes)
        halves = (moves.kind == Kind.ARC) & ~good & (np.abs(moves.sweep_rad) > pi)
        if halves.any():
            moves = cut_arcs(moves, np.where(halves, 2, 1), as_lines=np.zeros(len(moves), bool))
        good, _ = _fits(moves, axes)
    else:
        good = np.zeros(len(moves), bool)
    chords = (moves.kind == Kind.ARC) & ~good
    if chords.any():
        moves = cut_arcs(moves, _pieces(moves, chords, axes), as_lines=chords)
    return moves, _fits(moves, axes)[1]


def _pieces(moves: Moves, chords: BOOL, axes: Axes) -> I64:
    """Return into how many chords each arc goes, so that no gap is wider than allowed."""
    # The ends of a chord are rounded by at most 0.71 of the last decimal.
    allowed = axes.dialect.arc_chord_mm
    allowed = max(allowed - 0.71 * axes.unit_mm, 0.5 * allowed)
    arcs = moves.take(chords)
    radius = np.linalg.norm(arcs.begin[:, :2] - arcs.centre, axis=1)
    radius = np.maximum(radius, np.linalg.norm(arcs.end[:, :2] - arcs.centre, axis=1))
    # gap = r (1 - cos(step / 2)), and 1 - cos a = 2 sin(a / 2)^2
    share = np.minimum(allowed / np.maximum(radius, allowed), 1.0)
    step = 4.0 * np.arcsin(np.sqrt(share / 2.0))
    pieces = np.ones(len(moves), dtype=np.int64)
    pieces[chords] = np.maximum(np.ceil(np.abs(arcs.sweep_rad) / step - 1e-9), 1.0).astype(np.int64)
    total, limit = int(pieces.sum()), axes.dialect.max_lines
    if total > limit:
        raise ProgramRefusedError(blocking("PRG-211", measured=total, limit=limit))
    return pieces


def _fits(moves: Moves, axes: Axes) -> tuple[BOOL, I64]:
    """Return which arcs can be written, and their I and J in counts."""
    rows = np.flatnonzero(moves.kind == Kind.ARC)
    good = np.zeros(len(moves), bool)
    centres = np.zeros((len(moves), 2), dtype=np.int64)
    if not len(rows):
        return good, centres
    arcs = moves.take(rows)
    start = axes.counts(arcs.begin, arcs.tool)[:, :2]
    way = axes.counts(arcs.end, arcs.tool)[:, :2] - start
    wanted = axes.centre_numbers(arcs.centre, arcs.tool) - start
    near = np.hypot(*wanted.T) <= GREATEST_RADIUS_MM / axes.unit_mm
    wanted = np.where(near[:, None], wanted, 0.0)
    best = _best_centre(np.rint(wanted).astype(np.int64), way, axes.unit_mm)
    turn = arcs.sweep_rad * axes.handedness
    centres[rows] = best
    good[rows] = near & (_mismatch_mm(best, way, axes.unit_mm) <= ARC_RULE_MM)
    good[rows] &= np.abs(_written_sweep(best, way, turn) - np.abs(turn)) < pi
    good[rows] &= (best != 0).any(axis=1)
    return good, centres


def _mismatch_mm(centre: I64, way: I64, unit_mm: float) -> F64:
    """Return how far the radii to start and end differ."""
    to_end = centre - way
    gap: F64 = np.abs(np.hypot(*centre.T) - np.hypot(*to_end.T)) * unit_mm
    return gap


def _best_centre(centre: I64, way: I64, unit_mm: float) -> I64:
    """Move centres by up to two units where rounding broke the rule; the nearest that fits."""
    centre = centre.copy()
    bad = np.flatnonzero(_mismatch_mm(centre, way, unit_mm) > ARC_RULE_MM)
    for step in _STEPS:
        if not len(bad):
            break
        tried = centre[bad] + step
        fits = _mismatch_mm(tried, way[bad], unit_mm) <= ARC_RULE_MM
        centre[bad[fits]] = tried[fits]
        bad = bad[~fits]
    return centre


def _written_sweep(centre: I64, way: I64, turn: F64) -> F64:
    """Return the size of the turn that a control makes of the numbers as written."""
    i, j = centre.T.astype(np.float64)
    x, y = (way - centre).T.astype(np.float64)
    angle = np.arctan2(-i * y + j * x, -i * x - j * y)
    angle = np.where(turn > 0.0, angle, -angle) % (2.0 * pi)
    is_full = (way == 0).all(axis=1) | (angle == 0.0)
    return np.where(is_full, 2.0 * pi, angle)
