"""What a creasing wheel, or a pen, is to the machinery of knives: a blade without width."""

from __future__ import annotations

from math import inf, pi, sqrt

from kerfwright.model.cut import CutSetup
from kerfwright.model.operation import Operation
from kerfwright.model.tooling import Blade, Pen, Wheel
from kerfwright.toolpath.blade import Step, full_depth_z_mm, steps_of

_RIM_SHARE = 0.5
"""Share of the rim by which the wheel's contact may leave the line sideways: past it the groove
gets wider than the rim by as much on one side (common practice, no source)."""


def contact_half_mm(wheel: Wheel, depth_mm: float) -> float:
    """Return half the chord a wheel touches at the top face: ``sqrt(h (D - h))`` [mm]."""
    depth = min(max(depth_mm, 0.0), wheel.diameter_mm / 2.0)
    return sqrt(depth * (wheel.diameter_mm - depth))


def sideways_mm(wheel: Wheel) -> float:
    """Return how far the ends of the contact may leave the line [mm]."""
    return _RIM_SHARE * wheel.rim_mm


def least_radius_mm(wheel: Wheel, depth_mm: float) -> float:
    """Return the smallest bend a wheel rolls: where its contact's ends leave it by the limit.

    From ``sqrt(R^2 + a^2) - R = e`` follows ``R = (a^2 - e^2) / (2 e)``, a the half contact [mm].
    """
    half, limit = contact_half_mm(wheel, depth_mm), sideways_mm(wheel)
    return max((half * half - limit * limit) / (2.0 * limit), 0.0)


def wheel_steps(operation: Operation, wheel: Wheel, setup: CutSetup) -> tuple[Step, ...]:
    """Return the passes of a wheel, each deeper by the same share.

    `half` is half its contact at full depth, which says how far a turn moves its ends; `overlap`
    how far it goes on over a closed line, so that both leads lie on what is rolled at depth.
    """
    half = contact_half_mm(wheel, setup.top_z_mm - full_depth_z_mm(operation, setup))
    most_turn = sideways_mm(wheel) / half if half > 0.0 else pi
    angle = min(setup.lift_angle_rad, most_turn)
    return tuple(
        step._replace(
            half=half,
            side=0.0,
            lift_angle=angle,
            blunt_angle=angle,
            overlap=max(abs(setup.lead_in_mm) + abs(setup.lead_out_mm), step.overlap),
            both_ways=0.0,
        )
        for step in steps_of(operation, _plain(wheel, wheel.reference_mm), setup)
    )


def pen_steps(operation: Operation, pen: Pen, setup: CutSetup) -> tuple[Step, ...]:
    """Return the passes of a pen: it never lifts at a corner, and turning takes no time."""
    return tuple(
        step._replace(side=0.0, lift_angle=inf, blunt_angle=inf, turn=inf, both_ways=0.0)
        for step in steps_of(operation, _plain(pen, 0.0), setup)
    )


def _plain(tool: Wheel | Pen, reference_mm: float) -> Blade:
    """Return an upright blade of no width at the tool's lowest point; its width is never met."""
    return Blade(
        id=tool.id,
        width_mm=1.0,
        lead_rad=pi / 2.0,
        trail_rad=pi / 2.0,
        tip_mm=0.0,
        reference_mm=reference_mm,
        bevel="both",
        free_length_mm=tool.free_length_mm,
        fits=tool.fits,
    )
