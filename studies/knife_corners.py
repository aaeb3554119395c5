"""Knife corners: the bottom is cut to the corner, the top t / tan(angle) past it, within 1 um.

Every case is a triangle of random shape, blade, thickness and depth. Where the first side is cut
to is read off the motion with the blade's outline cut by level lines, not with the model's chord.
No part lies beside the triangles, so each is cut side by side.
"""

from __future__ import annotations

from math import pi, tan

import numpy as np

from kerfwright import toolpath
from kerfwright.geometry.paths import make_path
from kerfwright.model.cut import CutOrder, CutSetup
from kerfwright.model.motion import Role
from kerfwright.model.operation import HeadKind, Operation, Process, Tolerance
from kerfwright.model.tooling import Blade

DEFAULT_SIZE = 10_000
SMALL_SIZE = 200
LIMIT_MM = 1e-3


def run(seed, size, progress):
    """Cut `size` corners; return the worst errors [um]."""
    failures, worst = [], {"bottom_um": 0.0, "top_um": 0.0, "start_um": 0.0}
    for n in range(size):
        case = draw(np.random.default_rng((seed, n)))
        errors = measure(*case)
        for name, error in zip(worst, errors, strict=True):
            worst[name] = max(worst[name], error * 1000.0)
        if max(errors) > LIMIT_MM:
            failures.append({"case": n, "errors_mm": list(errors)})
        if n % 100 == 99 or n + 1 == size:
            progress(n + 1, size)
    return {**worst, "failures": failures}


def draw(rng):
    """Return blade, thickness, depth below the sheet and corner points of a case."""
    lead, trail = np.radians(rng.uniform(30.0, 90.0, 2))
    if rng.random() < 0.3:
        trail = pi / 2.0
    blade = Blade(
        id="drawn", width_mm=60.0, lead_rad=float(lead), trail_rad=float(trail),
        tip_mm=float(rng.uniform(0.0, 2.0)), reference_mm=float(rng.uniform(-3.0, 3.0)),
        bevel="both", free_length_mm=30.0, fits=(HeadKind.TANGENTIAL_KNIFE,),
    )  # fmt: skip
    angle = rng.uniform(0.0, 2.0 * pi) + np.array(
        (0.0, rng.uniform(1.5, 2.2), rng.uniform(3.5, 4.6))
    )
    points = rng.uniform(-900.0, 900.0, 2) + rng.uniform(60.0, 200.0) * np.column_stack(
        (np.cos(angle), np.sin(angle))
    )
    return blade, float(rng.uniform(0.5, 10.0)), float(rng.uniform(0.0, 1.0)), points


def measure(blade, thickness, below, points):
    """Return the errors of bottom reach, top overcut and start at the first side [mm]."""
    operation = Operation(
        id="cut", process=Process.CUTTING, head_kind=HeadKind.TANGENTIAL_KNIFE, tool_id="drawn",
        card_id="card", depth_mm=-below, depth_from="bottom",
        tolerance_mm=Tolerance(print_mm=0.3, size_mm=0.3),
    )  # fmt: skip
    setup = CutSetup(
        bottom_z_mm=0.0, top_z_mm=thickness, feed_mm_s=100.0, plunge_mm_s=50.0, turn_rad_s=10.0,
        lift_angle_rad=0.3, lift_z_mm=20.0, tolerance_mm=0.1,
    )  # fmt: skip
    order = CutOrder(
        contour=("c",), operation=("cut",), pass_no=np.zeros(1), entry_s=np.zeros(1),
        reversed=np.zeros(1, bool), group=np.zeros(1),
    )  # fmt: skip
    motion = toolpath.plan(
        operation, blade, make_path(points, closed=True), order,
        contours=("c",), part_side=[1], setup=setup,
    )  # fmt: skip
    side = points[1] - points[0]
    u = side / np.hypot(*side)
    down, up = motion.end[motion.role == Role.PLUNGE][0], motion.end[motion.role == Role.CUT][0]
    front = (up[:2] - points[1]) @ u + blade.reference_mm + blade.tip_mm / 2.0
    back = (down[:2] - points[0]) @ u + blade.reference_mm - blade.tip_mm / 2.0
    bottom = abs(front + cotangent(blade.lead_rad) * below)
    top = abs(front + cotangent(blade.lead_rad) * (below + thickness) - overcut(blade, thickness))
    return bottom, top, abs(back - cotangent(blade.trail_rad) * below)


def overcut(blade, thickness):
    """Overcut at the top face by the closed form: thickness over the tangent of the edge."""
    return thickness * cotangent(blade.lead_rad)


def cotangent(angle):
    """One over the tangent, 0 for an upright edge."""
    return 0.0 if angle == pi / 2.0 else 1.0 / tan(angle)
