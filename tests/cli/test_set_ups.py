"""Routed and creased orders, and a job of two set-ups: one folder each, each on its surface."""

from __future__ import annotations

import json

import pytest

TABLE = ("--table", "quay-3217", "--material", "pvc-foam-10")
RULES = """
[pvc-foam-10.operations.hole]
process = "routing"
head_kind = "router_spindle"
tool = "one-flute-6"
card = "pvc-foam-10-route"
depth_from = "bottom"
depth_mm = -0.3
tolerance_mm = {{ print_mm = 0.5, size_mm = 0.25 }}
fidelity = "size"
side = "inside"
passes = 2
setup = 1
[pvc-foam-10.operations.hole.routing]
sense = "climb"
entry = "helix"
entry_deg = 5.0
lead_mm = 1.0
[pvc-foam-10.operations.outline]
process = "cutting"
head_kind = "oscillating_knife"
tool = "long-steep-7"
card = "pvc-foam-10-through"
depth_from = "bottom"
depth_mm = -0.4
tolerance_mm = {{ print_mm = 0.5, size_mm = 0.25 }}
fidelity = "size"
setup = {setup}
[[pvc-foam-10.rules]]
layer = "holes"
operation = "hole"
[[pvc-foam-10.rules]]
operation = "outline"
"""


def start(place, setup: int) -> None:
    place.draw("good")
    (place.folder / "two.toml").write_text(RULES.format(setup=setup))
    made = place.call("new", "two", "--artwork", "order.dxf", "--rules", "two.toml", *TABLE)
    assert made.code == 0, made.err


def test_two_set_ups_go_into_a_folder_each(place):
    start(place, setup=2)
    said = place.call("handover", "two", "--out", "both", "--json")
    assert said.code == 0, said.out
    rows = json.loads(said.out)
    both = [json.loads((place.folder / f"both/setup-{n}/summary.json").read_text()) for n in (1, 2)]
    assert [row["setup"] for row in both] == [1, 2]
    assert [row["bed_surface"] for row in both] == ["spoilboard", "mat"]
    assert [row["plan"]["contours_cut"] for row in both] == [1, 1]
    assert all(row["verify"]["passed"] for row in both)
    assert [s["setup"] for s in rows["setups"]] == [1, 2]
    texts = [(place.folder / f"both/setup-{n}/program.nc").read_text() for n in (1, 2)]
    assert "SETUP 1" in texts[0].upper()
    assert "SETUP 2" in texts[1].upper()
    again = place.call("handover", "two", "--out", "both", "--json")
    assert again.code == 0
    assert [(place.folder / f"both/setup-{n}/program.nc").read_text() for n in (1, 2)] == texts


def test_knife_and_cutter_in_one_set_up_block_with_a_cure(place):
    start(place, setup=1)
    said = place.call("handover", "two", "--out", "one", "--json")
    assert said.code == 1
    found = {row["code"]: row for row in json.loads(said.out)["findings"]}
    assert found["JOB-146"]["severity"] == "blocks"
    assert "setup = 2" in found["JOB-146"]["cure"]
    assert not (place.folder / "one").exists()


@pytest.mark.parametrize(
    ("order", "held", "processes"),
    [("base", {"TLP-202"}, 88), ("carton", set(), 0)],
)
def test_drawn_demo_orders_are_checked_and_handed_over(place, order, held, processes):
    said = place.call("demo", "--order", order, "--out", order, "--json")
    assert said.code == 0, said.out[-3000:]
    rows = json.loads((place.folder / order / "summary.json").read_text())
    assert rows["verify"]["passed"]
    assert rows["plan"]["contours_cut"] >= processes
    assert {r["code"] for r in rows["findings"] if r["severity"] == "holds_part"} == held
    assert (place.folder / order / "program-air.nc").exists()
