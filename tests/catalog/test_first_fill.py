"""What the catalogue holds: every entry loads, every value has a source, all names meet."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from datetime import date
from importlib.resources import files
from itertools import pairwise
from math import degrees
from typing import Any

import numpy as np
import pytest

from kerfwright import catalog
from kerfwright.geometry.record import digest_of
from kerfwright.mechanics import chip_load_mm, feed_mm_s
from kerfwright.model.material import Range
from kerfwright.model.operation import HeadKind, Process
from kerfwright.program import load_dialect

LOADERS = {
    "tables": catalog.load_tables,
    "tools": catalog.load_tools,
    "materials": catalog.load_materials,
    "cards": catalog.load_cards,
    "rules": catalog.load_rule_tables,
}
BOOKS = {name: load() for name, load in LOADERS.items()}
ENTRIES = [(book, key) for book, entries in BOOKS.items() for key in entries]
TEXTS = {
    name: files("kerfwright.catalog").joinpath("data", f"{name}.toml").read_text("utf-8")
    for name in LOADERS
}
RAW = {name: tomllib.loads(text) for name, text in TEXTS.items()}


def numbers_of(row: Any, place: str) -> Iterator[tuple[str, float]]:
    if isinstance(row, Mapping):
        for key, value in row.items():
            yield from numbers_of(value, f"{place}.{key}")
    elif isinstance(row, list):
        for i, value in enumerate(row):
            yield from numbers_of(value, f"{place}[{i}]")
    elif isinstance(row, int | float):
        yield place, row


def ranges_of(value: Any) -> Iterator[Range]:
    if isinstance(value, Range):
        yield value
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from ranges_of(item)
    elif hasattr(value, "__dataclass_fields__"):
        for name in value.__dataclass_fields__:
            yield from ranges_of(getattr(value, name))


RANGES = [(b, k, r) for b, k in ENTRIES for r in ranges_of(BOOKS[b][k])]


def test_the_books_hold_two_tables_and_a_dozen_of_tools_and_materials():
    assert len(BOOKS["tables"]) == 2
    assert len(BOOKS["tools"]) >= 12
    assert {tool.kind for tool in BOOKS["tools"].values()} == {"blade", "cutter", "wheel", "pen"}
    assert len(BOOKS["materials"]) >= 12
    assert set(BOOKS["rules"]) == set(BOOKS["materials"])
    assert {h.kind for h in BOOKS["tables"]["quay-3217"].heads} == set(HeadKind)
    assert {c.process for c in BOOKS["cards"].values()} == set(Process)


@pytest.mark.parametrize("key", BOOKS["tables"])
def test_the_control_of_a_table_has_a_word_for_everything_its_heads_do(key):
    table = BOOKS["tables"][key]
    words = load_dialect(table.control).words
    kinds = {head.kind for head in table.heads}
    assert "tool" in words
    assert ("spindle_on" in words) >= (HeadKind.ROUTER_SPINDLE in kinds)
    assert ("oscillation_on" in words) >= (HeadKind.OSCILLATING_KNIFE in kinds)


def test_the_second_table_has_a_changer_many_zones_two_surfaces_and_room():
    table = BOOKS["tables"]["quay-3217"]
    assert sum(s.head_id == "spindle" for s in table.stations) >= 4
    assert len(table.zones) >= 6
    assert table.pump.kind == "displacement"
    assert (table.bed_surface, set(table.other_surfaces)) == ("spoilboard", {"mat"})
    x0, y0, x1, y1 = table.bed
    for width, height in ((2440.0, 1220.0), (3050.0, 1600.0)):
        assert table.load_pose.x_mm + width <= x1 - x0
        assert table.load_pose.y_mm + height <= y1 - y0
    assert (table.axes.acceleration > BOOKS["tables"]["pier-2616"].axes.acceleration).all()


@pytest.mark.parametrize(("book", "key"), ENTRIES)
def test_every_entry_is_named_by_its_id(book, key):
    entry = BOOKS[book][key]
    assert getattr(entry, "id", key) == key
    assert len(digest_of(entry)) == 64


@pytest.mark.parametrize("book", LOADERS)
def test_every_row_with_numbers_has_a_source_and_a_date(book):
    defaults = {k: v for k, v in RAW[book].items() if not isinstance(v, Mapping)}
    rows = {k: v for k, v in RAW[book].items() if isinstance(v, Mapping)}
    assert rows
    for key, row in rows.items():
        whole = defaults | row
        assert list(numbers_of(row, key)), f"{key} holds no number at all"
        assert whole["source"].strip()
        assert date.fromisoformat(whole["date"]).year >= 2020


@pytest.mark.parametrize(("book", "key", "figure"), RANGES)
def test_every_range_has_source_date_and_unit(book, key, figure):
    assert figure.source.strip(), (book, key)
    assert date.fromisoformat(figure.date) <= date.fromisoformat("2100-01-01")
    assert figure.unit
    assert np.isfinite([figure.low, figure.high]).all()
    assert figure.low < figure.high, "a figure without spread was never measured"


def test_there_are_ranges_in_every_book_that_should_hold_some():
    assert {book for book, _, _ in RANGES} == {"tables", "materials", "cards"}
    assert len(RANGES) > 200
    said = {figure.source for _, _, figure in RANGES}
    assert len(said - {"common practice, no source"}) >= 8, "figures with a source of their own"


@pytest.mark.parametrize("key", BOOKS["cards"])
def test_cards_name_a_tool_and_material_that_exist_and_fit(key):
    card = BOOKS["cards"][key]
    assert card.id == key
    tool = BOOKS["tools"][card.tool_id]
    assert card.head_kind in tool.fits
    material = BOOKS["materials"][card.material_id]
    low, high = material.thickness_mm.low, material.thickness_mm.high
    assert card.thickness_mm.low <= low
    assert high <= card.thickness_mm.high
    assert tables_for([card]), "some table can run the card"


def tables_for(wanted):
    """Tables that hold head and tool of all of these cards or operations."""
    pairs = {(w.head_kind, w.tool_id) for w in wanted}
    return [
        table
        for table in BOOKS["tables"].values()
        if pairs <= {(table.head(s.head_id).kind, s.tool_id) for s in table.stations}
    ]


FEEDS = {"feed_mm_s", "feed_fine_mm_s", "feed_fast_mm_s", "plunge_mm_s", "lift_mm"}
BLADE = {"lift_angle_rad", "side_offset_mm"}
NEEDED = {
    HeadKind.TANGENTIAL_KNIFE: FEEDS | BLADE,
    HeadKind.OSCILLATING_KNIFE: FEEDS | BLADE | {"stroke_hz"},
    HeadKind.CREASING_WHEEL: FEEDS | {"lift_angle_rad", "lead_in_mm", "lead_out_mm", "depth_share"},
    HeadKind.PEN: FEEDS,
    HeadKind.ROUTER_SPINDLE: FEEDS | {"spindle_hz", "chip_load_mm", "max_step_mm"},
}


@pytest.mark.parametrize("key", BOOKS["cards"])
def test_cards_hold_every_value_their_process_needs(key):
    card = BOOKS["cards"][key]
    through = {"mat_mm"} if card.process is Process.CUTTING else set()
    assert set(card.values) == NEEDED[card.head_kind] | through
    feeds = [card.value(f"feed{quality}_mm_s") for quality in ("_fine", "", "_fast")]
    assert all(a < b for a, b in pairwise(feeds)), "finer is slower"
    for setting in card.values.values():
        assert setting.range.low <= setting.value <= setting.range.high


ROUTED = [k for k, c in BOOKS["cards"].items() if c.head_kind is HeadKind.ROUTER_SPINDLE]


@pytest.mark.parametrize("key", ROUTED)
def test_router_feeds_are_what_the_chip_load_makes_of_them(key):
    card = BOOKS["cards"][key]
    cutter, chip, hz = (
        BOOKS["tools"][card.tool_id],
        card.values["chip_load_mm"],
        card.values["spindle_hz"].value,
    )
    feed = feed_mm_s(chip.value, flutes=cutter.flutes, spindle_hz=hz)
    assert card.value("feed_mm_s") == pytest.approx(feed, rel=0.01)
    for quality in ("_fine", "", "_fast"):
        per_tooth = chip_load_mm(
            card.value(f"feed{quality}_mm_s"), flutes=cutter.flutes, spindle_hz=hz
        )
        assert chip.range.low <= per_tooth <= chip.range.high
    assert card.value("max_step_mm") <= cutter.length_mm
    assert card.value("max_step_mm") <= 2.0 * cutter.radius_mm, "charts hold to one diameter"


# Ranges for cutters of 1/4 inch [inch per tooth]: a supplier's chart, and another page of a
# supplier where it names the material.
CHIP_LOADS = {
    "plywood-12-route": [(0.006, 0.009), (0.010, 0.018)],
    "mdf-12-route": [(0.012, 0.015), (0.015, 0.025)],
    "acrylic-5-route": [(0.005, 0.008)],  # hard plastic
    "pvc-foam-10-route": [(0.006, 0.009)],  # soft plastic
}


@pytest.mark.reference("supplier's chip-load chart and another supplier's page, 1/4 inch")
@pytest.mark.parametrize("key", CHIP_LOADS)
def test_chip_loads_span_what_suppliers_say(key):
    within = BOOKS["cards"][key].values["chip_load_mm"].range
    low, high = zip(*CHIP_LOADS[key], strict=True)
    assert within.low == pytest.approx(min(low) * 25.4, abs=1e-3)
    assert within.high == pytest.approx(max(high) * 25.4, abs=1e-3)


@pytest.mark.parametrize("key", BOOKS["cards"])
def test_feeds_of_cards_are_within_what_the_table_can_do(key):
    card = BOOKS["cards"][key]
    for table in tables_for([card]):
        assert card.value("feed_fast_mm_s") <= table.axes.speed[:2].min()
        assert card.value("plunge_mm_s") <= table.axes.speed[2]


@pytest.mark.parametrize("key", BOOKS["rules"])
def test_house_rules_name_cards_and_tools_that_agree(key):
    rules, material = BOOKS["rules"][key], BOOKS["materials"][key]
    assert rules.operations
    for operation in rules.operations:
        card = BOOKS["cards"][operation.card_id]
        tool = BOOKS["tools"][operation.tool_id]
        assert card.material_id == key
        assert card.process is operation.process
        assert (card.head_kind, card.tool_id) == (operation.head_kind, operation.tool_id)
        for thickness_mm in (material.thickness_mm.low, material.thickness_mm.high):
            check_depth(operation, thickness_mm, tool, card)
    assert tables_for(rules.operations), "one table can do all of it"
    used = {rule.operation for rule in rules.rules} - {""}
    assert used == {operation.id for operation in rules.operations}, "no operation without a rule"


def check_depth(operation, thickness_mm, tool, card):
    tip = operation.tip_z_mm(thickness_mm)
    deep = thickness_mm - tip
    if operation.goes_through:
        surfaces = [
            thick
            for table in tables_for([operation])
            for thick in (table.bed_surface_mm, *table.other_surfaces.values())
        ]
        assert -min(surfaces) <= tip <= 0.0
    else:
        assert 0.0 < tip < thickness_mm
    assert deep <= tool.free_length_mm
    if tool.kind == "cutter":
        assert deep <= tool.length_mm
        assert deep / operation.passes <= card.value("max_step_mm")
    if tool.kind == "wheel":
        share = card.values["depth_share"].range
        assert share.low <= deep / thickness_mm <= share.high


def test_corrugated_slots_keep_their_size_and_outlines_follow_the_print():
    for key in ("corrugated-3", "corrugated-7"):
        operations = {o.id: o for o in BOOKS["rules"][key].operations}
        assert {o.fidelity for o in operations.values() if o.id in {"slot", "crease"}} == {"size"}
        assert operations["outline"].fidelity == "print"
        assert operations["crease"].process is Process.CREASING


def test_plywood_is_routed_with_tabs_outside_and_without_inside():
    operations = {o.id: o for o in BOOKS["rules"]["plywood-12"].operations}
    outline, hole = operations["outline"], operations["hole"]
    assert (outline.side, hole.side) == ("outside", "inside")
    assert outline.routing.tabs.count_for(1500.0) == 5
    assert hole.routing.tabs is None
    raw = RAW["rules"]["plywood-12"]["operations"]["outline"]["routing"]
    assert degrees(outline.routing.entry_rad) == pytest.approx(raw["entry_deg"])


def test_a_kiss_cut_goes_through_the_film_and_not_through_the_liner():
    figures = BOOKS["materials"]["film-on-liner-0_2"].ranges
    kiss = next(o for o in BOOKS["rules"]["film-on-liner-0_2"].operations if o.id == "kiss")
    assert kiss.depth_from == "top"
    assert figures["film_mm"].high < kiss.depth_mm
    assert kiss.depth_mm < figures["film_mm"].low + figures["liner_mm"].low


@pytest.mark.parametrize("key", BOOKS["materials"])
def test_materials_know_their_curl(key):
    assert BOOKS["materials"][key].figure("curl_mm").high > 0.0


@pytest.mark.parametrize("key", BOOKS["tables"])
def test_the_table_is_of_one_piece(key):
    table = BOOKS["tables"][key]
    x0, y0, x1, y1 = table.bed
    assert x0 <= table.load_pose.x_mm < x1
    assert y0 <= table.load_pose.y_mm < y1
    covered = sum((z.box_mm[2] - z.box_mm[0]) * (z.box_mm[3] - z.box_mm[1]) for z in table.zones)
    assert covered == pytest.approx((x1 - x0) * (y1 - y0)), "zones cover the bed"
    for head in table.heads:
        assert set(head.tools) <= set(BOOKS["tools"])
        for tool_id in head.tools:
            assert head.kind in BOOKS["tools"][tool_id].fits
        assert bool(head.tools) == (head.kind is not HeadKind.CAMERA)
        assert table.travel_z_mm <= head.z_travel_mm[1]
    mounted = {(h.id, t) for h in table.heads for t in h.tools}
    assert {(s.head_id, s.tool_id) for s in table.stations} <= mounted


def test_degrees_of_the_files_are_radians_inside():
    tool = BOOKS["tools"]["point-45"]
    assert degrees(tool.lead_rad) == pytest.approx(RAW["tools"]["point-45"]["lead_deg"])
    card = BOOKS["cards"]["film-kiss"]
    raw = RAW["cards"]["film-kiss"]["values"]["lift_angle_deg"]
    setting = card.values["lift_angle_rad"]
    found = (setting.value, setting.range.low, setting.range.high)
    assert [degrees(x) for x in found] == pytest.approx(raw[:3])
    assert setting.range.unit == "rad"
    table = BOOKS["tables"]["pier-2616"]
    axes = RAW["tables"]["pier-2616"]["axes"]
    assert degrees(table.axes.speed[3]) == pytest.approx(axes["c_speed_deg_s"])
    knife = RAW["tables"]["pier-2616"]["heads"][1]
    assert degrees(table.head("straight").c_zero_rad) == pytest.approx(knife["c_zero_deg"])
    sd = np.sqrt(np.diag(table.head("straight").offset_cov_mm2))
    assert sd.tolist() == pytest.approx(knife["offset_sd_mm"])


@pytest.mark.parametrize("name", LOADERS)
def test_loading_twice_gives_the_same_book(name):
    assert LOADERS[name]() is LOADERS[name]()
