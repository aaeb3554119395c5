"""Routed motion looked at by dense points: an oracle apart from the code that makes it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright import toolpath
from kerfwright.geometry.paths import PathSet
from kerfwright.model.cut import CutOrder, CutSetup
from kerfwright.model.motion import Kind, ToolMotion
from kerfwright.model.operation import HeadKind, Operation, Process, Tolerance
from kerfwright.model.routing import Routing
from kerfwright.model.tooling import Cutter

SETUP = CutSetup(
    bottom_z_mm=0.0,
    top_z_mm=12.0,
    feed_mm_s=60.0,
    plunge_mm_s=15.0,
    turn_rad_s=5.0,
    lift_angle_rad=0.1,
    lift_z_mm=15.0,
    spindle_hz=300.0,
    tolerance_mm=0.03,
)


def cutter(diameter_mm: float = 6.0, **other) -> Cutter:
    radius = diameter_mm / 2.0
    given = {
        "id": "end-mill",
        "profile_mm": np.array([[radius, 0.0], [radius, 22.0]]),
        "flutes": 2,
        "length_mm": 22.0,
        "free_length_mm": 30.0,
        "plunges": True,
        "fits": (HeadKind.ROUTER_SPINDLE,),
    }
    return Cutter(**(given | other))


def routing(**other) -> Routing:
    given = {"sense": "conventional", "entry": "ramp", "entry_rad": 0.05, "lead_mm": 3.0}
    return Routing(**(given | other))


def operation(**other) -> Operation:
    given = {
        "id": "rout",
        "process": Process.ROUTING,
        "head_kind": HeadKind.ROUTER_SPINDLE,
        "tool_id": "end-mill",
        "card_id": "card",
        "side": "outside",
        "depth_mm": -0.3,
        "depth_from": "bottom",
        "passes": 3,
        "tolerance_mm": Tolerance(print_mm=0.2, size_mm=0.2),
        "routing": routing(),
    }
    return Operation(**(given | other))


def names(paths: PathSet) -> tuple[str, ...]:
    return tuple(f"c{k}" for k in range(len(paths)))


def choose(op: Operation, tool: Cutter, paths: PathSet, setup: CutSetup = SETUP):
    sides = np.ones(len(paths), np.int64)
    return toolpath.choices(op, tool, paths, contours=names(paths), part_side=sides, setup=setup)


def order_of(found, pick: int = 0) -> CutOrder:
    """The cuts of all contours, each by its way number `pick` or the last it has."""
    rows = [
        np.flatnonzero(found.contour == k)[: pick + 1][-1]
        for k in np.unique(found.contour).tolist()
    ]
    return CutOrder(
        contour=tuple(found.contours[found.contour[i]] for i in rows),
        operation=(found.operation,) * len(rows),
        pass_no=found.pass_no[rows],
        entry_s=found.entry_s[rows],
        reversed=found.reversed[rows],
        group=np.zeros(len(rows), np.int64),
    )


def route(op: Operation, tool: Cutter, paths: PathSet, pick: int = 0, setup: CutSetup = SETUP):
    """The ways there are, and the motion by one of them."""
    found = choose(op, tool, paths, setup)
    motion = toolpath.plan(
        op, tool, paths, order_of(found, pick), contours=names(paths),
        part_side=np.ones(len(paths), np.int64), setup=setup,
    )  # fmt: skip
    return found, motion


def dense(motion: ToolMotion, step_mm: float = 0.2) -> tuple[np.ndarray, np.ndarray]:
    """Points (P, 3) all along a motion, and the block of each; arcs by complex numbers."""
    points, block = [], []
    begin = motion.begins()
    for i in range(len(motion)):
        a, b = begin[i, :3], motion.end[i, :3]
        if motion.kind[i] == Kind.ARC:
            centre = complex(*motion.centre[i])
            arm = complex(a[0], a[1]) - centre
            n = max(2, int(abs(motion.sweep_rad[i]) * abs(arm) / step_mm) + 2)
            t = np.linspace(0.0, 1.0, n)
            z = centre + arm * np.exp(1j * motion.sweep_rad[i] * t)
            assert abs(z[-1] - complex(b[0], b[1])) < 1e-6, "an arc must end where it says"
            xy = np.column_stack((z.real, z.imag))
        else:
            n = max(2, int(np.hypot(*(b - a)[:2]) / step_mm) + 2)
            t = np.linspace(0.0, 1.0, n)
            xy = a[:2] + t[:, None] * (b - a)[:2]
        points.append(np.column_stack((xy, a[2] + t * (b[2] - a[2]))))
        block += [i] * n
    return np.concatenate(points), np.array(block)


def with_routing(op: Operation, **other) -> Operation:
    return replace(op, routing=replace(op.routing, **other))
