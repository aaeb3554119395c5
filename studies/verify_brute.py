"""The check against dense sampling: worst deviation within 2 um, same codes, random contours."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.model.motion import Kind
from kerfwright.verify import check_program
from tests.verify import brute
from tests.verify.bench import BEVEL, KISS, TABLE, THROUGH, TIGHT, design
from tests.verify.planner import (
    cut_contour,
    finish,
    moved,
    plan_program,
    start_tool,
    sunk,
    with_offsets,
)
from tests.verify.shapes import random_outline, rounded

DEFAULT_SIZE = 2000
SMALL_SIZE = 30
AGREE_MM = 0.002
COMPARED = {
    "VER-110", "VER-111", "VER-112", "VER-113", "VER-114", "VER-120", "VER-121", "VER-130",
    "VER-140", "VER-141", "VER-142", "VER-150",
}  # fmt: skip
FAULTS = (
    "none", "none", "shift", "offset", "turn", "depth", "missing", "twice", "reversed", "tool",
    "jitter", "end",
)  # fmt: skip


def run(seed, size, progress):
    """Return the worst disagreement, how often each fault was planted, and what did not hold."""
    failures, worst, planted, borderline = [], 0.0, {}, 0
    for i in range(size):
        rng = np.random.default_rng([seed, i])
        wanted, motion, fault = random_case(rng)
        planted[fault] = planted.get(fault, 0) + 1
        fast = check_program(motion, wanted, TABLE, TIGHT)
        slow = brute.check(motion, wanted, TABLE, TIGHT)
        gap = float(np.abs(fast.worst_mm - slow.worst).max(initial=0.0))
        worst = max(worst, gap)
        own = {
            (f.code, wanted.contours.index(f.where.contour) if f.where.contour else None)
            for f in fast.findings
            if f.code in COMPARED
        }
        differ = own ^ slow.codes
        if differ and all(is_borderline(code, k, fast, slow) for code, k in differ):
            borderline += 1
            differ = set()
        if gap > AGREE_MM or differ:
            failures.append(
                {"case": i, "fault": fault, "gap_um": gap * 1e3, "codes": sorted(map(str, differ))}
            )
        progress(i + 1, size)
    return {
        "worst_um": worst * 1e3,
        "borderline": borderline,
        "planted": planted,
        "failures": failures,
    }


def is_borderline(code, k, fast, slow):
    """Return whether a measure lies so near to its limit that sampling cannot tell the side.

    Or a blade is off for less than three samples in a row, which other samples may miss.
    """
    if code == "VER-140":
        near = abs(slow.aim[k] - TIGHT.blade_rad) < 3e-4
        return near or 0 < slow.aim_way[k] < 3
    rows = {
        "VER-111": (fast.uncut_mm, slow.uncut, TIGHT.uncut_mm),
        "VER-113": (fast.worst_mm, slow.worst, TIGHT.cut_mm),
        "VER-114": (fast.overcut_part_mm, slow.over_part, TIGHT.overcut_mm),
    }
    if code not in rows:
        return False
    one, two, limit = rows[code]
    return min(abs(one[k] - limit), abs(two[k] - limit)) < AGREE_MM


def random_case(rng):
    """Return a design of one or two contours, a program for it with a fault, and the fault."""
    x, y = rng.uniform(50.0, 150.0, 2)
    paths, operations, ways = [random_outline(rng, x, y)], [THROUGH], ["forward"]
    kind = rng.integers(5)
    if kind == 0:
        operations = [KISS]
    elif kind == 1:
        operations = [BEVEL]
    elif kind == 2:  # a window in an outline
        paths.append(rounded(x - 45.0, y - 45.0, 90.0, 90.0, 12.0))
        operations, ways = [THROUGH, THROUGH], ["corners", "forward"]
    elif kind == 3:
        ways = ["reversed"]
    plane_map = random_map(rng)
    wanted = design(paths, operations, plane_map=plane_map)
    if operations == [BEVEL]:
        # The flat side is on the left: the part has to be there.
        area = paths[0].areas_mm2()[0] * np.linalg.det(plane_map.affine[:, :2])
        ways = ["forward" if area > 0.0 else "reversed"]
    fault = str(rng.choice(FAULTS))
    motion = planted_motion(rng, wanted, ways, fault)
    if rng.integers(2):
        motion = with_offsets(motion, TABLE)
    return wanted, motion, fault


def random_map(rng):
    """Return a rigid map, a similarity, one that mirrors, stretches, bows or has a feed step."""
    kind = rng.integers(6)
    angle = rng.uniform(-np.pi, np.pi)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    scale = np.eye(2)
    extra = {}
    if kind == 1:
        scale = np.eye(2) * rng.uniform(0.98, 1.02)
    elif kind == 2:
        scale = np.diag((1.0, -1.0))
    elif kind == 3:
        scale = np.diag(1.0 + rng.uniform(-0.004, 0.004, 2))
        scale[0, 1] = rng.uniform(-0.002, 0.002)
    elif kind == 4:
        extra["bow"] = rng.uniform(-1e-5, 1e-5, (2, 3))
    elif kind == 5:
        extra["steps"] = np.array(
            [[rng.integers(2), rng.uniform(60.0, 140.0), *rng.uniform(-0.02, 0.02, 2)]]
        )
        extra["blend_mm"] = 6.0
    shift = rng.uniform(300.0, 900.0, 2)
    return PlaneMap(affine=np.column_stack((turn @ scale, shift)), **extra)


def planted_motion(rng, wanted, ways, fault):
    """Return a program with one fault."""
    if fault == "missing":
        program = plan_program(design([]))
        for k in range(1, len(wanted.contours)):
            start_tool(program, wanted, k)
            cut_contour(program, wanted, k, way=ways[k])
        finish(program)
        return program.motion()
    if fault == "reversed":
        other = {"forward": "reversed", "reversed": "forward", "corners": "forward"}
        ways = [other[w] for w in ways]
    program = plan_program(wanted, ways)
    if fault == "twice":
        cut_contour(program, wanted, len(wanted.contours) - 1, way=ways[-1])
        finish(program)
    motion = program.motion()
    if fault in {"shift", "offset"}:
        size, angle = (0.2 if fault == "shift" else 0.05), rng.uniform(-np.pi, np.pi)
        return moved(motion, size * np.cos(angle), size * np.sin(angle))
    if fault == "turn":
        return moved(motion, dc=np.radians(rng.choice((-2.0, 2.0, 0.3, 6.0))))
    if fault == "depth":
        return sunk(motion, rng.choice((-0.2, 0.2, 0.04)))
    if fault == "tool":
        return with_changes(motion, tool=np.where(motion.tool == 1, 7, motion.tool))
    if fault in {"jitter", "end"}:
        return jittered(rng, motion, wanted.top_z_mm, only_last=fault == "end")
    return motion


def jittered(rng, motion, top_z, *, only_last):
    """Return the program with ends of straight cuts moved, and the lifts after them too."""
    end, before = motion.end.copy(), motion.begins()
    straight = (motion.sweep_rad == 0.0) & (end[:, 2] < top_z) & (before[:, 2] < top_z)
    next_is_lift = np.append(motion.kind[1:] == Kind.RAPID, [False])
    picked = np.flatnonzero(straight & next_is_lift)
    if only_last:
        picked = picked[-1:]
    shift = rng.uniform(-0.08, 0.08, (len(picked), 2))
    end[picked, :2] += shift
    end[picked + 1, :2] += shift
    after = picked + 2  # a second block up at the same place
    up = after < len(end)
    still = np.hypot(*(motion.end[after[up], :2] - motion.end[picked[up], :2]).T) == 0.0
    end[after[up][still], :2] += shift[up][still]
    return with_changes(motion, end=end)


def with_changes(motion, **changes):
    """Return the program with some columns replaced."""
    return replace(motion, **changes)
