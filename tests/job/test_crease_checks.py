"""Creases across holes, outlines and slits of their own part."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, sin

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright import catalog
from kerfwright.errors.messages import cure_of, load_catalogue, sentence_of
from kerfwright.geometry.paths import join_sets, make_circle, make_path
from kerfwright.geometry.plane_map import rigid_map
from kerfwright.job.crease_checks import crossed_creases
from kerfwright.job.results import PlacedContours

RULES = {o.id: o for o in catalog.load_rule_tables()["corrugated-3"].operations}
CREASE, SLOT, OUTLINE = RULES["crease"], RULES["slot"], RULES["outline"]
LIMIT = CREASE.tolerance_mm.size_mm
BLANK = make_path([(0, 0), (100, 0), (100, 60), (0, 60)], closed=True)
HOLE = make_circle((50.0, 30.0), 8.0)
PLY = catalog.load_rule_tables()["plywood-12"].operations[0]


def line(*points):
    return make_path(points, closed=False)


def placed(*rows, turn=0.0):
    """Rows of path, operation, part side and placement."""
    paths = join_sets([path for path, *_ in rows])
    m = np.array([[cos(turn), -sin(turn), 30.0], [sin(turn), cos(turn), -7.0]])
    operations = tuple({o.id: o for _, o, *_ in rows}.values())
    index = {o.id: i for i, o in enumerate(operations)}
    return PlacedContours(
        contours=tuple(f"c{k}" for k in range(len(rows))),
        placement=np.array([row[3] if len(row) > 3 else 0 for row in rows]),
        on_sheet=paths,
        on_table=paths.transformed(m),
        operations=operations,
        operation=np.array([index[o.id] for _, o, *_ in rows]),
        part_side=np.array([side for _, _, side, *_ in rows]),
        table_from_sheet=rigid_map(30.0, -7.0, turn),
    )


def found(*rows, turn=0.0):
    findings = crossed_creases(placed(*rows, turn=turn))
    for finding in findings:
        assert finding.severity is load_catalogue()[finding.code].severity
        for text in (sentence_of(finding), cure_of(finding)):
            assert not {"{", "}"} & set(text)
            assert "None" not in text
    return [(f.code, f.where.contour, f.params["other"]) for f in findings]


OUT = (BLANK, OUTLINE, 1)
WINDOW = (HOLE, SLOT, -1)


@pytest.mark.parametrize("turn", [0.0, 0.7, pi / 2.0])
@pytest.mark.parametrize("reverse", [False, True])
@pytest.mark.parametrize(
    ("path", "crossed"),
    [
        (line((10, 0), (10, 60)), []),  # from edge to edge
        (line((10, 10), (10, 50)), []),
        (line((0, 30), (42, 30)), []),  # from the edge to the hole
        (line((0, 30), (41.9 + LIMIT, 30)), []),  # within the tolerance
        (line((0, 30), (100, 30)), ["c1"]),  # across the hole
        (line((0, 30), (50, 30)), ["c1"]),  # into it
        (line((0, 30), (10, 30), (10, 62)), ["c0"]),  # out of the blank
        (line((-5, 30), (105, 30)), ["c0", "c1"]),
        (line((0, 38.5), (100, 38.5)), []),  # past the hole
        (line((0, 38), (100, 38)), []),  # touching it
        (line((0, 0), (100, 0)), []),  # along the edge
    ],
)
def test_a_crease_may_end_at_a_cut_but_not_cross_it(path, crossed, turn, reverse):
    out, window = OUT, WINDOW
    if reverse:
        out, window = (
            (p.reversed_where(), o, -side) for p, o, side in (OUT, WINDOW)
        )  # fmt: skip
    codes = found(out, window, (path, CREASE, 0), turn=turn)
    assert codes == [("JOB-151", "c2", other) for other in crossed]


@pytest.mark.parametrize(
    ("crease", "slit", "crossed"),
    [
        (line((0, 0), (40, 0)), line((20, -10), (20, 10)), True),
        (line((0, 0), (40, 0)), line((20, 0), (20, 10)), False),  # the slit begins at the crease
        (line((0, 0), (40, 0)), line((40, -10), (40, 10)), False),  # the crease ends at the slit
        (line((0, 0), (40, 0)), line((10, 0), (20, 0)), False),  # cut and crease take turns
        (line((0, 0), (40, 0)), line((20, 5), (20, 10)), False),
    ],
)
def test_a_crease_may_not_go_over_a_slit(crease, slit, crossed):
    codes = found((slit, SLOT, 0), (crease, CREASE, 0))
    assert codes == [("JOB-151", "c1", "c0")] * crossed


def test_only_through_cuts_of_its_own_part_count():
    across = (line((0, 30), (100, 30)), CREASE, 0)
    assert found((*WINDOW, 1), (*across, 0)) == []
    assert found((HOLE, replace(PLY, depth_mm=2.0), -1), across) == []
    assert found((HOLE, PLY, -1), across) == [("JOB-151", "c1", "c0")]
    assert found(across) == []
    assert found(WINDOW) == []


@given(st.floats(-20.0, 80.0), st.floats(0.0, 2.0 * pi), st.floats(1.0, 20.0))
@settings(max_examples=60)
def test_chords_of_a_hole_are_found_by_their_rise(offset, turn, radius):
    """A straight line at a distance from the centre of a hole goes in by what is missing."""
    hole = (make_circle((50.0, 30.0), radius), SLOT, -1)
    across = line((0.0, offset), (100.0, offset))
    deep = radius - abs(offset - 30.0)
    codes = found(hole, (across, CREASE, 0), turn=turn)
    if deep > 1.2 * LIMIT:
        assert codes == [("JOB-151", "c1", "c0")]
    elif deep < LIMIT:
        assert codes == []
