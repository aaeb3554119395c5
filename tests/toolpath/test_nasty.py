"""Named shapes that break planners: each is cut whole, or the right finding says why not."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from math import pi, radians
from pathlib import Path

import numpy as np
import pytest

from kerfwright.errors import Finding
from kerfwright.errors.messages import cure_of, entry_of, sentence_of
from kerfwright.geometry.paths import PathSet, make_path
from kerfwright.model.operation import HeadKind
from toolpath.blade_sweep import sweep
from toolpath.shop import BLADE, KISS, SETUP, THROUGH, Job, codes, rectangle
from toolpath.test_cover import assert_covered, predicted_mm

with (Path(__file__).parent / "nasty.toml").open("rb") as file:
    CASES = {case["name"]: case for case in tomllib.load(file)["case"]}

BLADES = {
    "usual": BLADE,
    "double edge": replace(BLADE, lead_rad=radians(70.0), trail_rad=radians(70.0)),
    "edge behind": replace(BLADE, lead_rad=pi / 2.0, trail_rad=radians(60.0), reference_mm=-1.0),
    "point": replace(BLADE, tip_mm=0.0, reference_mm=0.0),
    "ground left": replace(BLADE, bevel="left"),
}


def path_of(case: dict) -> PathSet:
    if "circle" in case:
        angle = np.linspace(0.0, 2.0 * pi, case["circle"]["lines"], endpoint=False)
        ring = case["circle"]["radius"] * np.column_stack((np.cos(angle), np.sin(angle)))
        return make_path(ring, closed=True)
    points = np.array(case["points"], float)
    bulges = np.array(case.get("bulges", np.zeros(len(points))), float)
    return make_path(points, bulges, closed=case.get("closed", True))


def said(finding: Finding) -> None:
    """The catalogue knows the finding, and its sentence says place, value and limit."""
    sentence, cure = sentence_of(finding), cure_of(finding)
    assert entry_of(finding.code).severity is finding.severity
    assert "{" not in sentence + cure
    if finding.where.contour:
        assert finding.where.contour in sentence
        assert finding.where.frame == "table"
        assert "({:.3f}, {:.3f})".format(*finding.where.xy_mm) in sentence
    if finding.limit is not None:
        assert finding.unit == "mm"
        assert finding.measured is None or finding.measured > 0.0


@pytest.mark.parametrize("name", CASES)
def test_it_is_cut_or_said(name):
    case = CASES[name]
    job = Job(path_of(case), case.get("side", 0))
    made = job.choices()
    assert codes(made) == case["codes"]
    for finding in made.findings:
        said(finding)
    noise_mm = SETUP.tolerance_mm / 1000.0  # shorter edges are merged
    for row in {0, len(made.contour) // 2, len(made.contour) - 1} if len(made.contour) else ():
        motion = job.plan(job.order([row], made))
        assert codes(motion) == case["codes"]
        assert_covered(job, motion, SETUP.bottom_z_mm, predicted_mm(job), noise_mm)
    assert len(made.contour) or case["codes"]


@pytest.mark.parametrize("blade", BLADES)
@pytest.mark.parametrize("name", CASES)
def test_no_blade_breaks_the_plan(name, blade):
    case = CASES[name]
    for operation in (THROUGH, KISS, replace(THROUGH, passes=3)):
        path = path_of(case)
        job = Job(path, case.get("side", 0), blade=BLADES[blade], operation=operation)
        made = job.choices()
        for finding in made.findings:
            said(finding)
        if len(made.contour):
            motion = job.plan(job.order([len(made.contour) - 1], made))
            box = np.array(path.box_mm())
            reach = np.abs(sweep(motion, BLADES[blade], SETUP.top_z_mm).points() - box[:2])
            assert reach.max() < (box[2:] - box[:2]).max() + 20.0, "never far from the contour"


OPERATIONS = {
    "TLP-103": {"operation": replace(THROUGH, head_kind=HeadKind.CAMERA)},
    "TLP-104": {"operation": replace(THROUGH, side="outside")},
    "TLP-105": {"operation": replace(KISS, depth_mm=4.0, depth_from="bottom")},
    "TLP-106": {"blade": replace(BLADE, free_length_mm=3.0)},
    "TLP-107": {"operation": replace(THROUGH, depth_mm=0.2)},
}


@pytest.mark.parametrize("code", OPERATIONS)
def test_what_no_contour_can_be_cut_with_blocks(code):
    job = Job(rectangle(0, 0, 40, 30), 1, **OPERATIONS[code])
    made = job.choices()
    assert codes(made) == [code]
    assert made.findings[0].severity == "blocks"
    said(made.findings[0])
    assert len(made.contour) == 0
    good = Job(rectangle(0, 0, 40, 30), 1)
    motion = job.plan(replace(good.order([0]), operation=(job.operation.id,)))
    assert codes(motion) == [code]
    assert len(motion) == 0


def test_no_contour_at_all_is_no_trouble():
    job = Job(rectangle(0, 0, 40, 30).select([]), [])
    assert len(job.choices().contour) == 0
    assert len(job.plan(Job(rectangle(0, 0, 1, 1)).order([]))) == 0
