"""What makes an operation impossible on this table, tool, card or stock, each with its numbers."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import pytest

from job.orders import job_over, sheet_of
from kerfwright import catalog
from kerfwright.errors import Severity, UnknownNameError
from kerfwright.errors.messages import cure_of, load_catalogue, sentence_of
from kerfwright.job.context import JobContext
from kerfwright.job.setups import check_setups, setup_for, travel_height_mm
from kerfwright.job.surfaces import surface_of, table_for_setup
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


QUAY = catalog.load_tables()["quay-3217"]
CARDS = {
    key: replace(card, proven_on="2026-02-01", by="A. Operator")
    for key, card in catalog.load_cards().items()
}
TOOLS = catalog.load_tools()


def operation_of(material_id, name):
    operations = catalog.load_rule_tables()[material_id].operations
    return next(o for o in operations if o.id == name)


def shop(*operations, material_id, table=QUAY, top=None, cards=CARDS, tools=TOOLS) -> JobContext:
    """Operations of the catalogue on the second table, in the middle of the stock's range."""
    material = catalog.load_materials()[material_id]
    thick = (material.thickness_mm.low + material.thickness_mm.high) / 2.0
    rules = tuple(replace(RULES.rules[0], operation=o.id) for o in operations)
    return JobContext(
        job=job_over(
            sheet_of(thickness_mm=thick if top is None else top),
            rules=replace(RULES, operations=operations, rules=rules),
        ),
        table=table,
        material=material,
        tools=tools,
        cards=cards,
    )


def told(made):
    findings = check_setups(made)
    for finding in findings:
        assert finding.severity is load_catalogue()[finding.code].severity
        for text in (sentence_of(finding), cure_of(finding)):
            assert text
            assert not {"{", "}"} & set(text), text
            assert "None" not in text
    return findings


OUTLINE = operation_of("plywood-12", "outline")
HOLE = operation_of("plywood-12", "hole")
LABEL = operation_of("plywood-12", "label")
CREASE = operation_of("corrugated-3", "crease")
SLOT = operation_of("corrugated-3", "slot")
FOLD = operation_of("composite-panel-3", "fold")


@pytest.mark.parametrize("material_id", catalog.load_rule_tables())
def test_the_catalogues_own_rules_are_possible_on_the_second_table(material_id):
    operations = catalog.load_rule_tables()[material_id].operations
    findings = told(shop(*operations, material_id=material_id))
    # Knives that go through want the mat; nothing else is worth a word.
    assert {f.code for f in findings} <= {"JOB-148"}
    for operation in operations:
        setup_for(operation, shop(*operations, material_id=material_id))


def without(card_id, *names):
    card = CARDS[card_id]
    values = {k: v for k, v in card.values.items() if k not in names}
    return CARDS | {card_id: replace(card, values=values)}


def changed(tool_id, **change):
    return TOOLS | {tool_id: replace(TOOLS[tool_id], **change)}


ROUTED_FROM_TOP = replace(OUTLINE, depth_from="top", depth_mm=13.0)
PLY, FLUTE = {"material_id": "plywood-12"}, {"material_id": "corrugated-3"}
MORE_CASES = [
    ((replace(OUTLINE, head_kind=HeadKind.PEN),), PLY, "JOB-127", None, None,
     ("outline", "routing", "pen", "router_spindle")),
    ((OUTLINE,), PLY | {"tools": changed("end-mill-6", length_mm=10.0)}, "JOB-128", 12.2, 10.0,
     ("outline", "end-mill-6", "12.20 mm", "10.00 mm")),
    ((OUTLINE,), PLY | {"cards": without("plywood-12-route", "spindle_hz")}, "JOB-129", None, None,
     ("plywood-12-route", "spindle_hz", "router_spindle")),
    ((CREASE,), FLUTE | {"cards": without("corrugated-3-crease", "lead_out_mm")}, "JOB-129",
     None, None, ("corrugated-3-crease", "lead_out_mm", "creasing_wheel")),
    ((replace(OUTLINE, passes=1),), PLY, "JOB-141", 12.2, 9.0, ("12.20 mm per pass", "9.00 mm")),
    ((replace(OUTLINE, passes=2),), PLY, "JOB-142", 6.1, 6.0, ("6.10 mm per pass", "6.00 mm")),
    ((replace(CREASE, depth_mm=3.0),), FLUTE, "JOB-143", 3.0, 3.0, ("crease", "3.00 mm")),
    ((replace(CREASE, depth_mm=3.2),), FLUTE, "JOB-143", 3.2, 3.0, ("crease", "3.20 mm")),
    ((replace(CREASE, depth_mm=2.5),), FLUTE, "JOB-144", 2.5, 1.95,
     ("crease", "2.50 mm", "1.05 to 1.95 mm")),
    ((ROUTED_FROM_TOP,), PLY, "JOB-145", 13.0, 11.9, ("outline", "13.00 mm", "11.90 mm")),
    ((replace(OUTLINE, depth_mm=12.0),), PLY, "JOB-126", 12.0, 11.9, ("outline", "12.00 mm")),
    ((replace(OUTLINE, feed_mm_s=400.0),), PLY, "JOB-149", 400.0 / 600.0, 0.4572,
     ("400 mm/s", "0.667 mm", "0.152 to 0.457 mm")),
    ((SLOT, replace(OUTLINE, depth_mm=0.0)), FLUTE, "JOB-146", None, None,
     ("set-up 1", "slot", "outline", "spoilboard, mat")),
    ((OUTLINE,), PLY | {"table": replace(QUAY, bed_surface="mat", other_surfaces={})}, "JOB-147",
     None, None, ("outline", "spoilboard", "quay-3217", "mat")),
    ((SLOT,), FLUTE | {"table": replace(QUAY, other_surfaces={})}, "JOB-147", None, None,
     ("slot", "mat", "quay-3217", "spoilboard")),
    ((SLOT,), FLUTE, "JOB-148", None, None, ("set-up 1", "mat", "spoilboard")),
    ((replace(OUTLINE, depth_mm=-19.0),), PLY, "JOB-124", 19.0, 18.0, ("outline", "spoilboard")),
    ((replace(SLOT, depth_mm=-3.5),), FLUTE, "JOB-124", 3.5, 3.0, ("slot", "mat", "3.00 mm")),
    ((LABEL,), PLY | {"tools": changed("felt-pen-0_8", free_length_mm=0.3)}, "JOB-123", 0.4, 0.3,
     ("label", "felt-pen-0_8")),
]  # fmt: skip


@pytest.mark.parametrize(
    ("operations", "change", "code", "measured", "limit", "words"),
    MORE_CASES,
    ids=[f"{n}-{case[2]}" for n, case in enumerate(MORE_CASES)],
)
def test_cutters_wheels_and_pens_are_told_what_they_cannot_do(
    operations, change, code, measured, limit, words
):
    findings = [f for f in told(shop(*operations, **change)) if f.code == code]
    assert len(findings) == 1, [f.code for f in told(shop(*operations, **change))]
    assert findings[0].measured == (None if measured is None else pytest.approx(measured))
    assert findings[0].limit == (None if limit is None else pytest.approx(limit))
    sentence = sentence_of(findings[0])
    assert [w for w in words if w not in sentence] == [], sentence


def test_two_setups_cure_mixed_surfaces():
    mixed = shop(replace(OUTLINE, setup=2), SLOT, **FLUTE)
    assert "JOB-146" not in {f.code for f in told(mixed)}
    assert [f.params["setup"] for f in told(mixed) if f.code == "JOB-148"] == [1]
    assert table_for_setup(mixed, 1).bed_surface == "mat"
    assert table_for_setup(mixed, 1).bed_surface_mm == 3.0
    assert table_for_setup(mixed, 2) is mixed.table


def test_an_underlay_cures_mixed_surfaces():
    bears = replace(QUAY, other_surfaces={"mat": 3.0, "underlay": 5.0})
    mixed = shop(OUTLINE, SLOT, table=bears, **FLUTE)
    assert {f.code for f in told(mixed)} & {"JOB-146", "JOB-147"} == set()
    assert table_for_setup(mixed, 1).bed_surface == "underlay"
    assert surface_of((OUTLINE,), bears) == "spoilboard", "the usual one where it will do"


def test_what_stays_inside_the_stock_minds_no_surface():
    """A crease, a pen line and a fold groove lie on the board as on the mat."""
    for operations, material_id in (((CREASE,), "corrugated-3"), ((FOLD,), "composite-panel-3")):
        for surface in ("mat", "spoilboard", "underlay"):
            table = replace(QUAY, bed_surface=surface, other_surfaces={})
            assert told(shop(*operations, material_id=material_id, table=table)) == ()


def test_a_surface_the_table_has_not_is_refused():
    with pytest.raises(UnknownNameError, match="no underlay for its bed; it has spoilboard, mat"):
        QUAY.laid_with("underlay")


def test_a_cutter_has_revolutions_and_no_values_of_blades():
    setup = setup_for(OUTLINE, shop(OUTLINE, **PLY))
    assert setup.spindle_hz == CARDS["plywood-12-route"].value("spindle_hz") == 300.0
    assert setup.lift_angle_rad == pi
    assert (setup.side_offset_mm, setup.stroke_hz) == (0.0, 0.0)
    assert (setup.lead_in_mm, setup.lead_out_mm) == (0.0, 0.0)
    assert setup.lift_z_mm == pytest.approx(11.9 + 5.0)


def test_a_wheel_has_leads_and_lifts_at_corners():
    setup = setup_for(CREASE, shop(CREASE, **FLUTE))
    card = CARDS["corrugated-3-crease"]
    assert setup.lead_in_mm == card.value("lead_in_mm") > 0.0
    assert setup.lead_out_mm == card.value("lead_out_mm") > 0.0
    assert setup.lift_angle_rad == card.value("lift_angle_rad")
    assert (setup.spindle_hz, setup.stroke_hz, setup.side_offset_mm) == (0.0, 0.0, 0.0)


def test_a_pen_needs_no_more_than_feeds_and_lift():
    setup = setup_for(LABEL, shop(LABEL, **PLY))
    assert setup.lift_angle_rad == pi
    assert (setup.spindle_hz, setup.lead_in_mm, setup.side_offset_mm) == (0.0, 0.0, 0.0)
    assert setup.feed_mm_s == CARDS["plywood-12-pen"].value("feed_mm_s")


MINE = {f"JOB-{n}" for n in (*range(120, 132), *range(140, 150))}


def test_every_finding_about_setups_is_tried():
    tried = {case[1] for case in CASES} | {case[2] for case in MORE_CASES}
    assert MINE & set(load_catalogue()) == tried
    for code in tried:
        blocks = code.startswith("JOB-12") or code in {
            "JOB-141", "JOB-143", "JOB-145", "JOB-146", "JOB-147",
        }  # fmt: skip
        assert (load_catalogue()[code].severity is Severity.BLOCKS) == blocks
