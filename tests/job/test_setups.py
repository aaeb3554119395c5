"""What makes an operation impossible on this table, tool, card or stock, each with its numbers."""

from __future__ import annotations

from dataclasses import replace

import pytest

from job.orders import job_over, sheet_of
from kerfwright import catalog
from kerfwright.errors import Severity, UnknownNameError
from kerfwright.errors.messages import cure_of, load_catalogue, sentence_of
from kerfwright.job.context import JobContext
from kerfwright.job.setups import check_setups, setup_for, travel_height_mm
from kerfwright.model.operation import HeadKind, Process

TABLE = catalog.load_tables()["pier-2616"]
MATERIAL = catalog.load_materials()["pvc-foam-3"]
RULES = catalog.load_rule_tables()["pvc-foam-3"]
THROUGH = RULES.operations[0]
SCORE = RULES.operations[1]
CARD = catalog.load_cards()[THROUGH.card_id]
TOOL = catalog.load_tools()[THROUGH.tool_id]


def context(
    operation=THROUGH, *, card=CARD, tool=TOOL, table=TABLE, material=MATERIAL, top=3.0
) -> JobContext:
    operation = replace(operation, card_id=card.id)
    rule = replace(RULES.rules[0], operation=operation.id)
    rules = replace(RULES, operations=(operation,), rules=(rule,))
    return JobContext(
        job=job_over(sheet_of(thickness_mm=top), rules=rules),
        table=table,
        material=material,
        tools={operation.tool_id: tool},
        cards={card.id: card},
    )


PROVEN = replace(CARD, proven_on="2026-02-01", by="A. Operator")


def found(**change):
    findings = check_setups(context(**({"card": PROVEN} | change)))
    for finding in findings:
        assert finding.severity is load_catalogue()[finding.code].severity
        for text in (sentence_of(finding), cure_of(finding)):
            assert text
            assert "{" not in text
            assert "None" not in text
    return findings


def test_a_proven_operation_on_its_own_stock_has_no_finding():
    assert found() == ()


UNMOUNTED = replace(TABLE, stations=tuple(s for s in TABLE.stations if s.number != 1))
SHORT = replace(TOOL, free_length_mm=3.2)
LOW = replace(
    TABLE,
    heads=tuple(
        replace(h, z_travel_mm=(-3.0, 20.0)) if h.id == "straight" else h for h in TABLE.heads
    ),
)
THIN_MAT = replace(TABLE, bed_surface_mm=0.2)
SHAKEN = replace(THROUGH, head_kind=HeadKind.OSCILLATING_KNIFE)

CASES = [
    ({"table": UNMOUNTED}, "JOB-120", None, None, ("through", "steep-point-6", "pier-2616")),
    ({"tool": replace(TOOL, fits=())}, "JOB-121", None, None, ("through", "tangential_knife")),
    ({"table": LOW}, "JOB-122", 25.0, 20.0, ("straight", "25.00 mm", "20.00 mm")),
    ({"tool": SHORT}, "JOB-123", 3.3, 3.2, ("through", "3.30 mm", "3.20 mm")),
    ({"table": THIN_MAT}, "JOB-124", 0.3, 0.2, ("through", "0.30 mm", "0.20 mm")),
    ({"operation": replace(THROUGH, depth_mm=0.4)}, "JOB-125", 0.4, 0.0, ("through", "0.40 mm")),
    ({"operation": replace(SCORE, depth_mm=3.0)}, "JOB-126", 3.0, 3.0, ("score", "3.00 mm")),
    (
        {"operation": replace(SCORE, depth_from="top", depth_mm=3.5)},
        "JOB-126",
        -0.5,
        3.0,
        ("score", "-0.50 mm"),
    ),
    ({"card": CARD}, "JOB-131", None, None, ("pvc-foam-3-through", "through")),
    (
        {"card": replace(PROVEN, material_id="corrugated-4")},
        "JOB-130",
        None,
        None,
        ("material", "corrugated-4", "pvc-foam-3"),
    ),
    (
        {"card": replace(PROVEN, process=Process.PARTIAL_CUTTING)},
        "JOB-130",
        None,
        None,
        ("process", "partial_cutting", "cutting"),
    ),
    ({"operation": SHAKEN}, "JOB-130", None, None, ("head", "tangential", "oscillating_knife")),
    ({"card": replace(PROVEN, tool_id="point-45")}, "JOB-130", None, None, ("tool", "point-45")),
    ({"top": 3.1, "material": replace(MATERIAL, thickness_mm=replace(MATERIAL.thickness_mm,
      high=3.05))}, "JOB-140", 3.1, 3.05, ("3.10 mm", "2.80 to 3.05 mm")),
]  # fmt: skip


@pytest.mark.parametrize(
    ("change", "code", "measured", "limit", "words"),
    CASES,
    ids=[f"{n}-{case[1]}" for n, case in enumerate(CASES)],
)
def test_what_is_impossible_is_said_with_its_numbers(change, code, measured, limit, words):
    findings = [f for f in found(**change) if f.code == code]
    assert len(findings) == 1, [f.code for f in found(**change)]
    finding = findings[0]
    assert finding.measured == (None if measured is None else pytest.approx(measured))
    assert finding.limit == limit
    sentence = sentence_of(finding)
    assert [w for w in words if w not in sentence] == [], sentence
    assert finding.where.stage == "plan"


def test_stock_outside_both_ranges_is_told_twice():
    codes = [f.code for f in found(top=5.0)]
    assert codes == ["JOB-130", "JOB-140"]


def test_operations_no_rule_names_are_not_looked_at():
    made = context(table=UNMOUNTED)
    job = made.job
    nobody = replace(job, rules=replace(job.rules, rules=()))
    assert check_setups(replace(made, job=nobody)) == ()


def test_travel_goes_over_sheet_curl_and_clearance():
    curl = MATERIAL.figure("curl_mm").high
    assert travel_height_mm(context()) == TABLE.travel_z_mm
    low = replace(TABLE, travel_z_mm=1.0)
    assert travel_height_mm(context(table=low)) == pytest.approx(3.0 + curl + TABLE.clearance_mm)


@pytest.mark.parametrize(
    ("quality", "name"),
    [("fine", "feed_fine_mm_s"), ("standard", "feed_mm_s"), ("fast", "feed_fast_mm_s")],
)
def test_the_feed_is_the_cards_unless_the_operation_names_its_own(quality, name):
    operation = replace(THROUGH, quality=quality)
    made = context(operation)
    assert setup_for(operation, made).feed_mm_s == CARD.value(name)
    own = replace(operation, feed_mm_s=77.0)
    assert setup_for(own, made).feed_mm_s == 77.0


def test_a_setup_holds_the_numbers_of_card_table_and_job():
    made = context()
    setup = setup_for(THROUGH, made)
    tolerances = made.job.choices.tolerances
    assert (setup.bottom_z_mm, setup.top_z_mm) == (0.0, 3.0)
    assert setup.plunge_mm_s == CARD.value("plunge_mm_s")
    assert setup.lift_angle_rad == CARD.value("lift_angle_rad")
    assert setup.lift_z_mm == 3.0 + max(CARD.value("lift_mm"), TABLE.clearance_mm)
    assert setup.side_offset_mm == CARD.value("side_offset_mm")
    assert setup.turn_rad_s == TABLE.axes.speed[3]
    assert setup.tolerance_mm == min(tolerances.cut_mm, tolerances.overcut_mm)
    assert setup.stroke_hz == 0.0


def test_only_an_oscillating_knife_strokes():
    card = catalog.load_cards()["foam-board-10-through"]
    operation = catalog.load_rule_tables()["foam-board-10"].operations[0]
    made = context(operation, card=card, tool=catalog.load_tools()[operation.tool_id], top=10.0)
    assert setup_for(operation, made).stroke_hz == card.value("stroke_hz") > 0.0


def test_a_card_that_lacks_a_value_is_named():
    values = {k: v for k, v in CARD.values.items() if k != "plunge_mm_s"}
    card = replace(CARD, values=values)
    with pytest.raises(UnknownNameError, match="pvc-foam-3-through has no value plunge_mm_s"):
        setup_for(THROUGH, context(card=card))


def test_only_findings_that_make_it_impossible_block():
    blocking = {code for code in load_catalogue() if code.startswith("JOB-12")}
    for code in blocking:
        assert load_catalogue()[code].severity is Severity.BLOCKS
    assert blocking == {case[1] for case in CASES if case[1].startswith("JOB-12")}
