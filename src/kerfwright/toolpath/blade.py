"""The blade and its setting in one pass, as the numbers the kernels want."""

from __future__ import annotations

from typing import NamedTuple

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner
from kerfwright.model.cut import CutSetup
from kerfwright.model.operation import Operation, Process
from kerfwright.model.tooling import Blade

_JOIN_SHARE = 1 / 50
"""Share of the tolerance by which a joint may move the blade's ends and still count as smooth:
tangents out of drawing files are that far off."""
_NOISE_SHARE = 1 / 1000
"""Share of the tolerance below which a length is noise of the numbers."""
_TURN_SHARE = 1 / 4
"""Share of the tolerance that a corner turned in the material may use up; the curves on both
sides of it need the rest."""
_MOST_TURN_RAD = 0.025
"""Past a larger turn the cut is bent visibly, whatever the tolerance: the blade lifts."""


class Step(NamedTuple):
    """One pass.

    The blade's chord is centred on the *tracked point* at the top face, which gives the least
    deviation in curves; at the reference plane it is not.

    Parameters
    ----------
    z : float
        Height of the tip [mm].
    half : float
        Half the chord at the top face [mm].
    back, front : float
        Reach behind and ahead of the tracked point at the reference plane; below 0 where the
        chord does not get to the tracked point [mm].
    track : float
        Tracked point ahead of the C axis [mm].
    feed, plunge, turn : float
        Rates in the cut, downwards, and of C alone [mm/s, mm/s, rad/s].
    lift_z : float
        Height of the lifted tip [mm].
    side : float
        Drift of the blade to the left of travel, taken out [mm].
    lift_angle : float
        Greatest turn of a bend drawn with short lines that is followed in the material [rad].
    blunt_angle : float
        Greatest corner between sides longer than the blade that is turned in the material [rad].
    tolerance : float
        Greatest deviation allowed [mm].
    overlap : float
        How far strokes that meet go past each other [mm].
    join, noise : float
        Greatest move of the blade's ends at a smooth joint; length that is no length [mm].
    both_ways : float
        1 for a blade that may cut with either end ahead, being ground on both sides.
    """

    z: float
    half: float
    back: float
    front: float
    track: float
    feed: float
    plunge: float
    turn: float
    lift_z: float
    side: float
    lift_angle: float
    blunt_angle: float
    tolerance: float
    overlap: float
    join: float
    noise: float
    both_ways: float


@inner
def step_of(row: F64) -> Step:
    """Return a row of an array of passes by name."""
    return Step(
        row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7], row[8], row[9], row[10],
        row[11], row[12], row[13], row[14], row[15], row[16],
    )  # fmt: skip


def full_depth_z_mm(operation: Operation, setup: CutSetup) -> float:
    """Return the height of the tip above the bed at full depth [mm]."""
    return setup.bottom_z_mm + operation.tip_z_mm(setup.top_z_mm - setup.bottom_z_mm)


def reference_z_mm(operation: Operation, setup: CutSetup) -> float:
    """Return the height of the plane the cut has to cover exactly [mm].

    The bottom face for a through cut, the plane of the tip at full depth for a partial one.
    """
    if operation.process is Process.CUTTING:
        return setup.bottom_z_mm
    return full_depth_z_mm(operation, setup)


def steps_of(operation: Operation, blade: Blade, setup: CutSetup) -> tuple[Step, ...]:
    """Return the passes, shallowest first, each deeper by the same share; the last is exact."""
    full, n = full_depth_z_mm(operation, setup), operation.passes
    depth = setup.top_z_mm - full
    tips = [setup.top_z_mm - depth * (p + 1) / n for p in range(n - 1)] + [full]
    # A pass that stays above the reference plane covers the plane of its own tip.
    return tuple(_step_at(blade, z, max(reference_z_mm(operation, setup), z), setup) for z in tips)


def _step_at(blade: Blade, z: float, reference_z: float, setup: CutSetup) -> Step:
    top_back, top_front = blade.chord_mm(setup.top_z_mm - z)
    back, front = blade.chord_mm(reference_z - z)
    track = (top_back + top_front) / 2.0
    tolerance, half = setup.tolerance_mm, (top_front - top_back) / 2.0
    # Turned in the material about the tracked point, the far end of the chord goes sideways by
    # its reach times the turn, and the corner itself is left to the side by as much.
    reach = max(half, abs(track - back), abs(front - track))
    turn_allowed = tolerance * _TURN_SHARE / reach if reach > 0.0 else setup.lift_angle_rad
    numbers = (
        z, half, track - back, front - track, track, setup.feed_mm_s,
        setup.plunge_mm_s, setup.turn_rad_s, setup.lift_z_mm, setup.side_offset_mm,
        setup.lift_angle_rad, min(setup.lift_angle_rad, turn_allowed, _MOST_TURN_RAD), tolerance,
        tolerance, tolerance * _JOIN_SHARE, tolerance * _NOISE_SHARE, blade.bevel == "both",
    )  # fmt: skip
    return Step(*map(float, numbers))  # one type, so that kernels are compiled once
