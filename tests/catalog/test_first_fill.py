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
from kerfwright.model.material import Range
from kerfwright.model.operation import HeadKind, Process

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


def test_the_books_hold_what_the_first_half_needs():
    assert len(BOOKS["tables"]) == 1
    assert len(BOOKS["tools"]) >= 4
    assert len(BOOKS["materials"]) >= 4
    assert set(BOOKS["rules"]) == set(BOOKS["materials"])
    heads = {h.kind for t in BOOKS["tables"].values() for h in t.heads}
    assert heads == set(HeadKind)


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
    assert len(RANGES) > 60


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
    stations = [t.station_for(card.head_kind, card.tool_id) for t in BOOKS["tables"].values()]
    assert stations, "some table can run the card"


@pytest.mark.parametrize("key", BOOKS["cards"])
def test_cards_hold_every_value_their_process_needs(key):
    card = BOOKS["cards"][key]
    needed = {"feed_mm_s", "feed_fine_mm_s", "feed_fast_mm_s", "plunge_mm_s"}
    needed |= {"lift_angle_rad", "lift_mm", "side_offset_mm"}
    needed |= {"mat_mm"} if card.process is Process.CUTTING else set()
    needed |= {"stroke_hz"} if card.head_kind is HeadKind.OSCILLATING_KNIFE else set()
    assert set(card.values) == needed
    feeds = [card.value(f"feed{quality}_mm_s") for quality in ("_fine", "", "_fast")]
    assert all(a < b for a, b in pairwise(feeds)), "finer is slower"
    for setting in card.values.values():
        assert setting.range.low <= setting.value <= setting.range.high


@pytest.mark.parametrize("key", BOOKS["cards"])
def test_feeds_of_cards_are_within_what_the_table_can_do(key):
    card = BOOKS["cards"][key]
    for table in BOOKS["tables"].values():
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
            check_depth(operation, thickness_mm, tool)
        for table in BOOKS["tables"].values():
            assert table.station_for(operation.head_kind, operation.tool_id)
    used = {rule.operation for rule in rules.rules} - {""}
    assert used == {operation.id for operation in rules.operations}, "no operation without a rule"


def check_depth(operation, thickness_mm, tool):
    tip = operation.tip_z_mm(thickness_mm)
    mats = [table.bed_surface_mm for table in BOOKS["tables"].values()]
    if operation.process is Process.CUTTING:
        assert -min(mats) <= tip <= 0.0
    else:
        assert 0.0 < tip < thickness_mm
    assert thickness_mm - tip <= tool.free_length_mm


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
