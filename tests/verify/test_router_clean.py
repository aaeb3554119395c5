"""Clean programs of many kinds pass; programs that make no sense are judged and never crash."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kerfwright.model.motion import EventCode, Kind
from kerfwright.model.routing import Routing
from kerfwright.verify import check_program
from tests.verify.bench import THROUGH, TRAVEL
from tests.verify.bench import design as knife_design
from tests.verify.planner import plan_program as knife_program
from tests.verify.router_bench import (
    CUTTERS,
    HELD,
    OUT,
    ROUTER,
    STATION,
    TIGHT,
    design,
    routed,
)
from tests.verify.router_maker import CLEAR, Router, Spec, cut_spec, go_round, plan
from tests.verify.shapes import circle


def random_spec(rng, x, y):
    kind = ("circle", "rectangle", "rounded")[rng.integers(3)]
    w, h = rng.uniform(30.0, 60.0, 2)
    figures = {
        "circle": (x, y, w / 2.0),
        "rectangle": (x, y, w, h),
        "rounded": (x, y, w, h, rng.uniform(1.0, 12.0)),
    }[kind]
    side = ("outside", "inside")[rng.integers(2)]
    tool = ("mill6", "mill3", "ball")[rng.integers(3)]
    lead = float(rng.choice((0.0, 2.0, 5.0)))
    operation = routed(
        f"{side}-{tool}-{lead}",
        side=side,
        tool_id=tool,
        passes=int(rng.integers(1, 4)),
        routing=Routing(lead_mm=lead),
    )
    return Spec(kind, figures, operation)


def cut_with_lead(program, spec, rng):
    """Come by a quarter circle from the open side, or by a helix, go round and leave likewise."""
    tool, lead = CUTTERS[spec.operation.tool_id], spec.operation.routing.lead_mm
    program.start(tool.id)
    legs = spec.legs(tool.radius_mm)
    while spec.kind != "circle" and legs[0].sweep != 0.0:
        legs = [*legs[1:], legs[0]]
    legs = [legs[0].part(0.5, 1.0), *legs[1:], legs[0].part(0.0, 0.5)]
    first = legs[0]
    if first.sweep == 0.0:
        ahead = (first.end - first.start) / first.length
    else:
        spoke = first.start - first.centre
        ahead = np.sign(first.sweep) * np.array((-spoke[1], spoke[0])) / np.hypot(*spoke)
    # The part is on the left, so the open side is on the right.
    right = np.array((ahead[1], -ahead[0]))
    centre = first.start + lead * right
    at = centre - lead * ahead if lead else first.start
    program.rapid(z=TRAVEL + 13.0)
    program.rapid(x=at[0], y=at[1])
    program.rapid(z=CLEAR)
    helix = lead > 0.0 and rng.integers(2)
    for z in spec.heights():
        if helix:
            for part in range(4):
                start = program.at[2]
                program.arc(centre, -np.pi / 2.0, z=start + (z - start) / (4.0 - part))
        else:
            program.line(z=z)
        if lead:
            program.arc(centre, -np.pi / 2.0)
        go_round(program, legs, z, [], 0.0)
        if lead:
            program.arc(centre, -np.pi / 2.0)
        if lead and z != spec.heights()[-1]:
            program.line(z=CLEAR)
            program.line(x=at[0], y=at[1])
    program.line(z=CLEAR)


@pytest.mark.parametrize("seed", range(20))
def test_leads_ramps_and_helices_pass(seed):
    rng = np.random.default_rng(seed)
    specs = [random_spec(rng, 50.0 + 110.0 * i, 60.0 + 110.0 * j) for i in range(3) for j in (0, 1)]
    program = Router()
    for spec in specs:
        cut_with_lead(program, spec, rng)
    result = check_program(
        program.finish(), design([s.path() for s in specs], [s.operation for s in specs]), ROUTER,
        TIGHT,
    )  # fmt: skip
    assert {f.code for f in result.findings} <= {"VER-215"}
    assert result.worst_mm.max() < 1e-9
    for k, spec in enumerate(specs):
        noted = any(f.where.contour == f"c{k}" for f in result.findings)
        inner = CUTTERS[spec.operation.tool_id].radius_mm
        corner = {"circle": 99.0, "rectangle": 0.0}.get(spec.kind, spec.figures[-1])
        excess = (inner - corner) * (np.sqrt(2.0) - 1.0)
        if spec.operation.side == "outside" or excess < TIGHT.cut_mm - 1e-3:
            assert not noted
        elif excess > TIGHT.cut_mm + 1e-2:
            assert noted


def test_knives_and_cutters_on_one_sheet():
    """Each kind is measured by its own: no knife row for the cutter, and the other way round."""
    knife = knife_design([circle((300.0, 100.0), 20.0)], [THROUGH])
    program = knife_program(knife, ["forward"])
    tall = [(k, (e[0], e[1], e[2] + 30.0 * (e[2] > 4.0), e[3]), *r) for k, e, *r in program.blocks]
    spec = Spec("circle", (100.0, 100.0, 30.0), OUT)
    mixed = design([spec.path(), circle((300.0, 100.0), 20.0)], [OUT, THROUGH])
    router = Router()
    router.blocks, router.events, router.tool = list(tall), list(program.events), program.tool
    router.at = (*tall[-1][1][:3], 0.0)
    cut_spec(router, spec)
    start = np.array((0.0, 0.0, 42.0, 0.0))
    motion = router.motion(start=start)
    result = check_program(motion, mixed, ROUTER, TIGHT)
    # What the knife does in stock of 12 mm instead of 3 is not looked at here.
    assert "VER-110" not in {f.code for f in result.findings}
    assert not [f for f in result.findings if f.code.startswith("VER-2") or f.code == "VER-150"]
    alone = check_program(motion, replace(mixed, operation=np.array([0, 0]), tool=np.array([0, 0])),
                          ROUTER, TIGHT)  # fmt: skip
    assert {"VER-210", "VER-150"} <= {f.code for f in alone.findings}


def test_a_cutter_on_a_knife_contour_is_a_stray():
    spec = Spec("circle", (100.0, 100.0, 30.0), OUT)
    wanted = design([spec.path(), circle((300.0, 100.0), 20.0)], [OUT, THROUGH])
    result = check_program(plan([spec]), wanted, ROUTER, TIGHT)
    assert [(f.code, f.where.contour) for f in result.findings] == [("VER-110", "c1")]
    stray = Spec("circle", (300.0, 100.0, 20.0), OUT)
    result = check_program(plan([spec, stray]), wanted, ROUTER, TIGHT)
    assert {f.code for f in result.findings} == {"VER-110", "VER-250"}


def test_no_contours_and_no_program():
    empty = Router().motion()
    spec = Spec("circle", (100.0, 100.0, 30.0), HELD)
    wanted = design([spec.path()], [HELD])
    assert [f.code for f in check_program(empty, wanted, ROUTER, TIGHT).findings] == ["VER-210"]
    none = replace(
        wanted, contours=(), nominal=wanted.nominal.select([]), operation=np.zeros(0, np.int64),
        tool=np.zeros(0, np.int64), map=np.zeros(0, np.int64),
    )  # fmt: skip
    assert check_program(empty, none, ROUTER, TIGHT).passed
    assert not check_program(plan([spec]), none, ROUTER, TIGHT).passed


@pytest.mark.parametrize("seed", range(40))
def test_nonsense_is_judged(seed):
    """Any blocks at all, near and far, end in findings or none, never in an exception."""
    rng = np.random.default_rng(seed)
    specs = [random_spec(rng, 50.0 + 80.0 * i, 60.0) for i in range(3)]
    specs.append(Spec("rectangle", (300.0, 20.0, 60.0, 60.0), HELD))
    program = Router()
    scale = float(rng.choice((1.0, 1.0, 1e5, 1e9)))
    for _ in range(int(rng.integers(1, 40))):
        kind = rng.integers(5)
        x, y = rng.uniform(0.0, 400.0 * scale), rng.uniform(0.0, 150.0 * scale)
        z = rng.uniform(-3.0, 14.0)
        if kind == 0:
            name = list(STATION)[rng.integers(len(STATION))]
            program.event(EventCode.TOOL, STATION[name] if rng.integers(8) else 99)
        elif kind == 1:
            program.rapid(x=x, y=y, z=z)
        elif kind == 2:
            program.arc((x, y), rng.uniform(-6.2, 6.2) or 1.0, z=z)
        elif kind == 3:
            program.line(z=z)
        else:
            program.line(x=x, y=y, z=z)
    motion = program.motion()
    if rng.integers(2):  # ends that do not lie on their arcs
        end = motion.end.copy()
        end[motion.kind == Kind.ARC, :2] += rng.normal(0.0, 5.0, 2)
        motion = replace(motion, end=end)
    wanted = design([s.path() for s in specs], [s.operation for s in specs])
    result = check_program(motion, wanted, ROUTER, TIGHT)
    assert np.isfinite(result.worst_mm).all()
    assert (result.uncut_mm <= wanted.nominal.lengths_mm() + 1e-6).all()
    assert not result.passed
