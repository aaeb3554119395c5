"""How long a motion takes on given drives, with a bracket and the reasons.

High end
    The time of the fastest plan: its boundaries by two passes, every piece in closed form. On
    straight blocks the plan is the exact optimum; on arcs it is too by the argument in `quadrant`.
    That it keeps every limit between the points as well is measured: the tests follow every plan
    they make and find no acceleration above 1 + 1e-9 times its limit.
Low end
    A bound proved for every motion within the limits, whatever its shape (see `bound`), on a grid
    that is refined until the bracket is as narrow as asked.

Without arcs both ends are one number. The times hold for drives with limits of speed, acceleration
and sudden change of speed; jerk, settling, tool changes and pauses are not in them.
"""

from __future__ import annotations

from collections.abc import Callable
from math import fsum
from typing import Final

import numpy as np

from kerfwright.errors import UsageError
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.motion import Kind, TimedMotion, ToolMotion
from kerfwright.model.table import Limits
from kerfwright.motion.blocks import ARC, STILL, Blocks
from kerfwright.motion.bound import least_block_s, steps_of
from kerfwright.motion.causes import Cause
from kerfwright.motion.checks import bracket_finding, check_turns, findings_of
from kerfwright.motion.planning import Planned, planned
from kerfwright.motion.playback import playback
from kerfwright.motion.run import run_through

MOST_STEPS: Final = 20_000_000
"""The grid of the lower bound gets no more steps than this in all (160 MB)."""

_FIRST_STEPS: Final = 4  # in a quarter turn
_FINER: Final = 4
_ROUNDING: Final = 1e-12
_FLAT: Final = 1e-7  # rounding of the bound on arcs that turn by a millionth of a degree
_STAGES: Final = 4

Progress = Callable[[int, int], None]


def time_motion(
    motion: ToolMotion,
    limits: Limits,
    *,
    bracket: float = 1e-3,
    corner_tolerance_mm: float | None = None,
    progress: Progress | None = None,
) -> TimedMotion:
    """Return when the tool is where, at the fastest the drives allow, and why it is not faster.

    The motion begins and ends at rest and stops at every event and dwell.

    Parameters
    ----------
    motion : ToolMotion
        The motion; feeds are upper limits, and C keeps up with x, y, z or slows them down.
    limits : Limits
        What the drives may do.
    bracket : float, default 1e-3
        Greatest ``(time_high_s - time_low_s) / time_high_s`` wanted; where `MOST_STEPS` forbids it
        a finding says how far it got.
    corner_tolerance_mm : float, optional
        Pass corners of x, y, z by the tolerance circle instead of the jump of the axes [mm].
    progress : callable, optional
        Called with steps done and steps in all; may raise `CancelledError`.

    Returns
    -------
    TimedMotion
        Times, their bracket and reasons, and points to play back.

    Raises
    ------
    UsageError
        If `bracket` is not between 0 and 1, or the corner tolerance is not above 0.
    ModelError
        If an arc turns about its centre absurdly often.
    OutOfResourcesError
        If all arcs together turn more often than can be timed.
    """
    _check_arguments(bracket, corner_tolerance_mm)
    check_turns(motion)
    tell = progress or _silent
    plan = planned(motion, limits, corner_tolerance_mm=corner_tolerance_mm)
    tell(1, _STAGES)
    run = run_through(plan.pieces, plan.blocks, plan.plan, acceleration=limits.acceleration)
    tell(2, _STAGES)
    waits, wait_cause = _waits(motion, plan.blocks, limits)
    block_s = run.block_s + waits
    high = fsum(block_s)
    wanted = max(bracket, _ROUNDING) * high
    low, steps = _low_end(plan, limits, run.block_s, waits, wanted=wanted, tell=tell)
    # Above it only by rounding; a greater excess is a contradiction, which the model refuses.
    low = high if high * (1.0 - _ROUNDING) <= low <= high * (1.0 + _FLAT) else low
    causes = run.cause_s + np.bincount(wait_cause, weights=waits, minlength=len(Cause))
    s, v, block, binding = playback(plan.blocks, run, waits, wait_cause)
    findings = findings_of(motion, plan.blocks)
    if high - low > bracket * high:
        findings = (*findings, bracket_finding(low, high, bracket, steps))
    tell(_STAGES, _STAGES)
    return TimedMotion(
        motion=motion,
        s=s,
        v=v,
        block=block,
        binding=binding,
        time_low_s=low,
        time_high_s=high,
        by_cause={cause.name.lower(): float(causes[cause]) for cause in Cause},
        by_cut=_by_cut(motion.cut, block_s),
        block_s=block_s,
        findings=findings,
    )


def _low_end(
    plan: Planned, limits: Limits, block_s: F64, waits: F64, *, wanted: float, tell: Progress
) -> tuple[float, int]:
    """Return the lower bound on the first grid that is fine enough, and its steps."""
    per_quarter = np.full(len(block_s), _FIRST_STEPS)
    steps = steps_of(plan.pieces, per_quarter)
    while True:
        least = least_block_s(plan.pieces, plan.blocks, steps, acceleration=limits.acceleration)
        loose = block_s - least
        tell(3, _STAGES)
        arc = plan.blocks.shape == ARC
        if float(loose.sum()) <= wanted or not arc.any():
            break
        share = wanted / float((block_s + waits).sum())
        per_quarter = np.where(_to_refine(arc, loose, share * block_s), _FINER, 1) * per_quarter
        finer = steps_of(plan.pieces, per_quarter)
        if int(finer.sum()) > MOST_STEPS:
            break
        steps = finer
    return fsum(least + waits), int(steps.sum())


def _to_refine(arc: BOOL, loose: F64, allowed: F64) -> BOOL:
    """Return which arcs to cut more finely: those that are loose and their neighbours, or all."""
    wide = loose > 0.5 * allowed
    wide[1:] |= wide[:-1]
    wide[:-1] |= wide[1:]
    return arc & wide if (arc & wide).any() else arc


def _waits(motion: ToolMotion, blocks: Blocks, limits: Limits) -> tuple[F64, I64]:
    """Return how long each block stands still, and why."""
    dwells = motion.kind == Kind.DWELL
    still = np.where(blocks.shape == STILL, limits.block_time_s, 0.0)
    waits = np.where(dwells, np.maximum(motion.dwell_s, still), still)
    return waits, np.where(dwells, Cause.DWELL, Cause.BLOCK_TIME).astype(np.int64)


def _by_cut(cut: I64, block_s: F64) -> F64:
    mine = cut >= 0
    return np.bincount(cut[mine], weights=block_s[mine], minlength=0).astype(np.float64)


def _check_arguments(bracket: float, corner_tolerance_mm: float | None) -> None:
    if not 0.0 < bracket < 1.0:
        msg = f"bracket is {bracket}; give a share of the time between 0 and 1, as 0.001"
        raise UsageError(msg)
    if corner_tolerance_mm is not None and not corner_tolerance_mm > 0.0:
        msg = f"corner_tolerance_mm is {corner_tolerance_mm}; give a distance above 0, or None"
        raise UsageError(msg)


def _silent(done: int, of: int) -> None:
    """Report to nobody."""
