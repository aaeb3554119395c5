"""Every invariant of every record is refused in one sentence that names value and limit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from math import pi
from typing import Any

import numpy as np
import pytest

from kerfwright.errors import KerfwrightError, ModelError
from kerfwright.geometry.paths import empty_paths, join_sets
from kerfwright.model.cut import CutChoices, CutOrder, CutSetup
from kerfwright.model.design import Design, Tolerances
from kerfwright.model.dialect import Dialect
from kerfwright.model.drawing import ArtRef, Drawing, Stroke
from kerfwright.model.job import Job, JobInput
from kerfwright.model.material import Material, Range, Setting
from kerfwright.model.motion import Event, EventCode, TimedMotion, ToolMotion
from kerfwright.model.operation import Operation, Process, Tolerance
from kerfwright.model.part import Part
from kerfwright.model.routing import Routing, Tabs
from kerfwright.model.rules import Rule, RuleTable
from kerfwright.model.sheet import Layout, Sheet
from kerfwright.model.table import Head, Limits, Pump, Station, Table, Zone
from kerfwright.model.tooling import Blade, Cutter, Pen, Wheel
from kerfwright.model.verdict import ErrorBudget
from kerfwright.model.verification import Verification
from model.look_refused import LOOK_REFUSED
from model.samples import (
    CIRCLE,
    INPUT,
    KISS,
    KNIFE,
    LINE,
    RANGE,
    SAMPLES,
    STATION,
    STROKE,
    THREE,
    THROUGH,
    TOLERANCES,
    ZONE,
)
from model.walk import array_fields, float_fields, model_types

Case = tuple[type, dict[str, Any], tuple[str, ...]]


def changed(values: np.ndarray, *place: int, to: float) -> np.ndarray:
    """A copy of an array with one number replaced."""
    copy = np.array(values)
    copy[place] = to
    return copy


def of(kind: type, name: str, *place: int, to: float) -> dict[str, np.ndarray]:
    """A change of one number in an array field of the sample."""
    return {name: changed(getattr(SAMPLES[kind], name), *place, to=to)}


def event(before_block: int) -> Event:
    return Event(before_block=before_block, code=EventCode.PAUSE, value=0.0)


TWO_OUTLINES = join_sets([CIRCLE, CIRCLE])

# Record, change of its sample, words its refusal must hold: place, value, limit.
REFUSED: list[Case] = [
    (ArtRef, {"page": 0}, ("page", "0", "1")),
    (ArtRef, {"box_mm": (0.0, 0.0, 0.0, 5.0)}, ("box_mm", "(0.0, 0.0, 0.0, 5.0)", "empty")),
    (ArtRef, {"box_mm": (0.0, 5.0, 9.0, 5.0)}, ("box_mm", "empty")),
    (Stroke, {"width_mm": -0.1}, ("width_mm", "-0.1", "0")),
    (Stroke, {"colour": "#00FF00"}, ("#00FF00", "lower case")),
    (Stroke, {"colour": "green"}, ("green", "#rrggbb")),
    (Drawing, {"ids": ("c1", "c2")}, ("ids", "2", "3")),
    (Drawing, {"source": ("a",)}, ("source", "1", "3")),
    (Drawing, {"layer": ()}, ("layer", "0", "3")),
    (Drawing, {"separation": ("",) * 4}, ("separation", "4", "3")),
    (Drawing, {"step": ("",)}, ("step", "1", "3")),
    (Drawing, {"stroke": (STROKE,)}, ("stroke", "1", "3")),
    (Drawing, {"ids": ("c1", "c2", "c1")}, ("ids", "3", "2")),
    (Drawing, of(Drawing, "parent", 1, to=-2), ("parent", "-2", "row 1", "-1")),
    (Drawing, of(Drawing, "parent", 1, to=3), ("parent", "3", "row 1", "2")),
    (Drawing, of(Drawing, "parent", 1, to=1), ("parent", "1", "row 1", "itself")),
    (Drawing, {"fit_tolerance_mm": 0.0}, ("fit_tolerance_mm", "0.0", "above 0")),
    (Tolerance, {"print_mm": 0.0}, ("print_mm", "0.0", "above 0")),
    (Tolerance, {"size_mm": -1.0}, ("size_mm", "-1.0", "above 0")),
    (Operation, {"passes": 0}, ("kiss", "0", "1")),
    (Operation, {"feed_mm_s": 0.0}, ("kiss", "0.0", "above 0")),
    (Operation, {"depth_mm": 0.0}, ("kiss", "0.0", "above 0")),
    (Operation, {"depth_mm": -1.0}, ("kiss", "-1.0", "above 0")),
    (Operation, {"depth_from": "bottom", "depth_mm": 0.0}, ("kiss", "skin", "0.0", "above 0")),
    (Operation, {"process": Process.CUTTING}, ("kiss", "top", "bottom")),
    (Operation, {"side": "left"}, ("side", "left", "inside")),
    (Operation, {"depth_from": "middle"}, ("depth_from", "middle", "top, bottom")),
    (Operation, {"fidelity": "both"}, ("fidelity", "both", "print, size")),
    (Operation, {"quality": "best"}, ("quality", "best", "fine, standard, fast")),
    (Part, {"paths": empty_paths(), "operation": []}, ("p1", "0 lines", "1")),
    (Part, {"contour_ids": ("c1",)}, ("p1", "1 contour", "3 lines")),
    (Part, of(Part, "operation", 2, to=2), ("operation", "2", "row 2", "0 to 1")),
    (Part, of(Part, "operation", 0, to=-1), ("operation", "-1", "row 0", "0 to 1")),
    (Part, {"outline": 3}, ("outline", "3", "-1 to 2")),
    (Part, {"outline": -2}, ("outline", "-2", "-1 to 2")),
    (Part, {"quantity": 0}, ("quantity", "0", "1")),
    (Part, {"bleed_mm": -0.5}, ("bleed", "-0.5", "0")),
    (Sheet, {"outline": LINE}, ("s1", "1 paths", "0 of them closed", "one closed path")),
    (Sheet, {"outline": TWO_OUTLINES}, ("s1", "2 paths", "one closed path")),
    (Sheet, {"thickness_mm": 0.0}, ("s1", "thickness", "0.0", "above 0")),
    (Sheet, {"margin_mm": -1.0}, ("s1", "margin", "-1.0", "below 0")),
    (Layout, of(Layout, "sheet", 0, to=2), ("sheet", "2", "row 0", "0 to 1")),
    (Layout, of(Layout, "sheet", 1, to=-1), ("sheet", "-1", "row 1")),
    (Layout, of(Layout, "part", 1, to=-1), ("part", "-1", "row 1", "0 or more")),
    (Layout, of(Layout, "sheet_from_part", 1, 0, 0, to=1e-4), ("row 1", "rigid", "1e-9")),
    (Layout, of(Layout, "sheet_from_part", 0, 1, 1, to=1.001), ("row 0", "1.001", "rigid")),
    (Blade, {"lead_rad": 0.0}, ("steep", "lead_rad", "0.0", "above 0")),
    (Blade, {"lead_rad": 1.6}, ("steep", "lead_rad", "1.6", "pi/2")),
    (Blade, {"trail_rad": -0.1}, ("steep", "trail_rad", "-0.1", "above 0")),
    (Blade, {"trail_rad": pi}, ("steep", "trail_rad", "3.14", "pi/2")),
    (Blade, {"tip_mm": 6.1}, ("steep", "tip_mm", "6.1", "6.0")),
    (Blade, {"tip_mm": -0.1}, ("steep", "tip_mm", "-0.1", "0 to")),
    (Blade, {"width_mm": 0.0}, ("steep", "width_mm", "0.0", "above 0")),
    (Blade, {"free_length_mm": 0.0}, ("steep", "free_length_mm", "0.0", "above 0")),
    (Blade, {"bevel": "none"}, ("steep", "bevel", "none", "both, left, right")),
    (Tabs, {"length_mm": 0.0}, ("length_mm", "0.0", "above 0")),
    (Tabs, {"spacing_mm": 6.0}, ("6.0", "gap")),
    (Routing, {"sense": "up"}, ("sense", "up", "climb, conventional")),
    (Routing, {"entry": "drill"}, ("entry", "drill", "ramp, helix, plunge")),
    (Routing, {"allowance_mm": -0.1}, ("allowance_mm", "-0.1", "below 0")),
    (Routing, {"entry_rad": 0.0}, ("entry_rad", "0.0", "pi/2")),
    (Routing, {"entry_rad": 9e-4}, ("entry_rad", "0.0009", "0.001")),
    (Routing, {"lead_mm": 0.05}, ("lead_mm", "0.05", "0.1 to 1000")),
    (Routing, {"lead_mm": 1e300}, ("lead_mm", "1e+300", "0.1 to 1000")),
    (Routing, {"lead_mm": 0.0}, ("helix", "lead_mm")),
    (Operation, {"passes": 1001}, ("1001 passes", "1 to 1000")),
    (Cutter, {"profile_mm": np.zeros((0, 2))}, ("end-mill", "profile_mm", "no point")),
    (Cutter, {"profile_mm": [[3.0, 1.0], [2.0, 2.0]]}, ("profile_mm", "row 1", "less")),
    (Cutter, {"profile_mm": [[0.0, 0.0], [0.0, 2.0]]}, ("end-mill", "no radius")),
    (Cutter, {"flutes": 0}, ("end-mill", "0 flutes", "1")),
    (Cutter, {"length_mm": 0.0}, ("end-mill", "length_mm", "0.0", "above 0")),
    (Cutter, {"free_length_mm": 21.0}, ("end-mill", "21.0", "22.0")),
    (Wheel, {"diameter_mm": 0.0}, ("roller", "diameter_mm", "0.0", "above 0")),
    (Wheel, {"rim_mm": 0.0}, ("roller", "rim_mm", "0.0", "above 0")),
    (Pen, {"line_mm": 0.0}, ("felt", "line_mm", "0.0", "above 0")),
    (Operation, {"routing": SAMPLES[Routing]}, ("partial_cutting", "no routing")),
    (Operation, {"setup": 0}, ("set-up 0", "1")),
    (Range, {"low": 3.3}, ("3.3", "3.2", "mm", "empty")),
    (Range, {"source": ""}, ("source",)),
    (Setting, {"value": 2.7}, ("2.7", "2.8", "3.2")),
    (Setting, {"value": 3.3}, ("3.3", "2.8", "3.2")),
    (Material, {"thickness_mm": replace(RANGE, low=0.0)}, ("board-3", "0.0", "above 0")),
    (Limits, of(Limits, "speed", 1, to=0.0), ("speed", "0.0", "row 1", "above 0")),
    (Limits, of(Limits, "acceleration", 3, to=-1.0), ("acceleration", "-1.0", "row 3")),
    (Limits, of(Limits, "jump", 0, to=-0.1), ("jump", "-0.1", "row 0", "0 or more")),
    (Limits, {"rapid_mm_s": 0.0}, ("rapid_mm_s", "0.0", "above 0")),
    (Limits, {"block_time_s": -0.001}, ("block_time_s", "-0.001", "below 0")),
    (Head, {"offset_cov_mm2": np.diag([1.0, -0.5, 1.0])}, ("straight", "-0.5", "below 0")),
    (Head, of(Head, "offset_cov_mm2", 0, 1, to=0.001), ("straight", "symmetric")),
    (Head, {"depth_kind": "laser"}, ("straight", "laser", "foot, bed, pressure")),
    (Head, {"reach": (9.0, 0.0, 0.0, 9.0)}, ("straight", "(9.0, 0.0, 0.0, 9.0)", "empty")),
    (Head, {"mass_kg": 0.0}, ("straight", "mass", "0.0", "above 0")),
    (Head, {"z_travel_mm": (5.0, 5.0)}, ("straight", "(5.0, 5.0)", "empty")),
    (Head, {"c_limits_rad": (1.0, -1.0)}, ("straight", "(1.0, -1.0)", "empty")),
    (Station, {"number": 0}, ("station 0", "1")),
    (Zone, {"number": 0}, ("zone 0", "1")),
    (Zone, {"box_mm": (0.0, 9.0, 9.0, 9.0)}, ("zone 1", "(0.0, 9.0, 9.0, 9.0)", "empty")),
    (Pump, {"kind": "fan"}, ("blower", "fan", "blower, displacement")),
    (Table, {"bed": (0.0, 0.0, -1.0, 1.0)}, ("pier", "(0.0, 0.0, -1.0, 1.0)", "empty")),
    (Table, {"bed_surface": "glass"}, ("pier", "glass", "mat, spoilboard")),
    (Table, {"bed_surface_mm": 0.0}, ("pier", "bed_surface_mm", "0.0", "above 0")),
    (Table, {"gantry_kg": 0.0}, ("pier", "gantry_kg", "0.0", "above 0")),
    (Table, {"travel_z_mm": -1.0}, ("pier", "travel_z_mm", "-1.0", "above 0")),
    (Table, {"clearance_mm": 0.0}, ("pier", "clearance_mm", "0.0", "above 0")),
    (Table, {"z_reference": "middle"}, ("pier", "middle", "bed, top")),
    (Table, {"stations": (STATION, STATION)}, ("pier", "station number 1", "more than once")),
    (Table, {"zones": (ZONE, ZONE)}, ("pier", "zone number 1", "more than once")),
    (Table, {"heads": (KNIFE, KNIFE)}, ("pier", "head id straight", "more than once")),
    (Table, {"heads": ()}, ("pier", "station 1", "steep", "straight")),
    (Table, {"stations": (replace(STATION, tool_id="blunt"),)}, ("pier", "station 1", "blunt")),
    (CutSetup, {"bottom_z_mm": 3.0}, ("3.0 to 3.0", "thickness")),
    (CutSetup, {"lift_z_mm": 3.0}, ("lift_z_mm", "3.0", "above")),
    (CutSetup, {"feed_mm_s": 0.0}, ("feed_mm_s", "0.0", "above 0")),
    (CutSetup, {"plunge_mm_s": -1.0}, ("plunge_mm_s", "-1.0", "above 0")),
    (CutSetup, {"turn_rad_s": 0.0}, ("turn_rad_s", "0.0", "above 0")),
    (CutSetup, {"lift_angle_rad": 0.0}, ("lift_angle_rad", "0.0", "above 0")),
    (CutSetup, {"tolerance_mm": 0.0}, ("tolerance_mm", "0.0", "above 0")),
    (CutSetup, {"stroke_hz": -1.0}, ("stroke_hz", "-1.0", "below 0")),
    (CutChoices, of(CutChoices, "contour", 2, to=2), ("contour", "2", "row 2", "0 to 1")),
    (CutChoices, of(CutChoices, "contour", 0, to=-1), ("contour", "-1", "row 0", "0 to 1")),
    (CutChoices, of(CutChoices, "pass_no", 2, to=-1), ("pass_no", "-1", "row 2", "0 or more")),
    (CutChoices, of(CutChoices, "entry_s", 1, to=1.01), ("entry_s", "1.01", "row 1", "0 to 1")),
    (CutChoices, of(CutChoices, "entry_s", 0, to=-0.01), ("entry_s", "-0.01", "row 0")),
    (CutChoices, of(CutChoices, "time_s", 0, to=-1.0), ("time_s", "-1.0", "row 0")),
    (CutChoices, {"contour": [0, 1, 0]}, ("2 cuts", "3 runs", "together")),
    (CutChoices, {"before": [[0, 2]]}, ("before", "[0, 2]", "row 0", "0 to 1")),
    (CutChoices, {"before": [[1, 0], [-1, 0]]}, ("before", "[-1, 0]", "row 1", "0 to 1")),
    (CutChoices, {"before": [[1, 1]]}, ("before", "[1, 1]", "different")),
    (CutOrder, {"operation": ("through",)}, ("operation", "1", "3")),
    (CutOrder, {"pass_no": [0, 0, 0], "operation": ("a",) * 3}, ("3 cuts", "2 of them different")),
    (CutOrder, of(CutOrder, "pass_no", 1, to=-1), ("pass_no", "-1", "row 1", "0 or more")),
    (CutOrder, of(CutOrder, "entry_s", 2, to=1.5), ("entry_s", "1.5", "row 2", "0 to 1")),
    (CutOrder, of(CutOrder, "entry_s", 0, to=-0.5), ("entry_s", "-0.5", "row 0", "0 to 1")),
    (CutOrder, {"group": [0, 1, 0]}, ("group", "0", "row 2", "row before")),
    (CutOrder, {"lower_bound_s": -1.0}, ("lower_bound_s", "-1.0", "below 0")),
    (ToolMotion, {"frame": "sheet"}, ("frame", "sheet", "table, machine")),
    (ToolMotion, {"offsets_in": "both"}, ("offsets_in", "both", "program, control")),
    (ToolMotion, of(ToolMotion, "kind", 0, to=4), ("kind", "4", "row 0", "0 to 3")),
    (ToolMotion, of(ToolMotion, "feed_kind", 1, to=3), ("feed_kind", "3", "row 1", "0 to 2")),
    (ToolMotion, of(ToolMotion, "role", 2, to=-1), ("role", "-1", "row 2", "0 to 6")),
    (ToolMotion, of(ToolMotion, "centre", 2, 1, to=np.nan), ("centre", "nan", "row 2", "arc")),
    (ToolMotion, of(ToolMotion, "sweep_rad", 2, to=0.0), ("sweep_rad", "0.0", "row 2")),
    (ToolMotion, of(ToolMotion, "sweep_rad", 1, to=0.5), ("sweep_rad", "0.5", "row 1")),
    (ToolMotion, of(ToolMotion, "dwell_s", 3, to=-0.5), ("dwell_s", "-0.5", "row 3")),
    (ToolMotion, of(ToolMotion, "dwell_s", 1, to=0.5), ("dwell_s", "0.5", "row 1")),
    (ToolMotion, of(ToolMotion, "feed", 0, to=5.0), ("feed", "5.0", "row 0")),
    (ToolMotion, of(ToolMotion, "feed", 0, to=-5.0), ("feed", "-5.0", "row 0")),
    (ToolMotion, of(ToolMotion, "feed", 1, to=0.0), ("feed", "0.0", "row 1", "above 0")),
    (ToolMotion, {"events": (event(3), event(2))}, ("events", "[3, 2]", "not fall")),
    (ToolMotion, {"events": (event(6),)}, ("events", "[6]", "0 to 5")),
    (ToolMotion, {"events": (event(-1),)}, ("events", "[-1]", "0 to 5")),
    (TimedMotion, {"time_low_s": 1.1}, ("1.1", "1.001", "empty")),
    (TimedMotion, {"time_low_s": -0.1}, ("-0.1", "0")),
    (TimedMotion, of(TimedMotion, "block", 1, to=5), ("block", "5", "row 1", "0 to 4")),
    (TimedMotion, of(TimedMotion, "block", 0, to=-1), ("block", "-1", "row 0", "0 to 4")),
    (TimedMotion, {"block_s": [1.0]}, ("block_s", "(1,)", "(5,)")),
    *[(Dialect, {f"sign_{a}": 0}, ("mirrored-x", f"sign_{a}", "0", "1, -1")) for a in "xyzc"],
    (Dialect, {"offsets_in": "both"}, ("mirrored-x", "both", "program, control")),
    (Dialect, {"c_feed": "fast"}, ("mirrored-x", "fast", "degrees_per_minute")),
    (Dialect, {"arc_chord_mm": 0.0}, ("mirrored-x", "arc_chord_mm", "0.0", "above 0")),
    (Dialect, {"decimals_mm": 0}, ("mirrored-x", "decimals_mm", "0", "1")),
    (Dialect, {"decimals_deg": 0}, ("mirrored-x", "decimals_deg", "0", "1")),
    (Dialect, {"max_line_chars": 0}, ("mirrored-x", "max_line_chars", "0", "1")),
    (Dialect, {"max_lines": 0}, ("mirrored-x", "max_lines", "0", "1")),
    *[(Tolerances, {f.name: 0.0}, (f.name, "0.0", "above 0")) for f in fields(TOLERANCES)],
    (Design, {"contours": ("c1",)}, ("contours", "1", "3")),
    (Design, of(Design, "operation", 1, to=2), ("operation", "2", "row 1", "0 to 1")),
    (Design, of(Design, "tool", 1, to=2), ("tool", "2", "row 1", "0 to 1")),
    (Design, of(Design, "map", 0, to=-1), ("map", "-1", "row 0", "0 to 1")),
    (Design, {"top_z_mm": 0.0}, ("0.0 to 0.0", "thickness")),
    (Design, {"leads_mm": np.zeros((1, 2))}, ("leads_mm", "1 rows", "2 operations")),
    (Design, {"travel_z_mm": 3.0}, ("travel_z_mm", "3.0", "above")),
    (Rule, {"colour": "#00FF00"}, ("#00FF00", "lower case")),
    (RuleTable, {"operations": (THROUGH, KISS, KISS)}, ("kiss", "more than once")),
    (RuleTable, {"operations": (KISS,)}, ("through", "not listed")),
    (RuleTable, {"join_tolerance_mm": 0.0}, ("join_tolerance_mm", "0.0", "above 0")),
    (RuleTable, {"duplicate_tolerance_mm": -1.0}, ("duplicate_tolerance_mm", "-1.0", "above 0")),
    *[
        (Verification, of(Verification, name, 1, to=-0.1), (name, "-0.1", "row 1"))
        for name in ("worst_mm", "uncut_mm", "overcut_part_mm", "overcut_waste_mm")
    ],
    (JobInput, {"scale": 0.0}, ("order 7.dxf", "0.0", "above 0")),
    (JobInput, {"size_bytes": -1}, ("order 7.dxf", "-1", "0")),
    *[
        (JobInput, {"name": name}, ("name", repr(name), "without its folder"))
        for name in ("", ".", "..", "../a.dxf", "/a.dxf", "a\\b.dxf", "a\0.dxf")
    ],
    (Job, {"schema_version": 2}, ("order-7", "2", "1")),
    (Job, {"version": -1}, ("order-7", "-1", "0")),
    (Job, {"inputs": ()}, ("order-7", "0", "1")),
]


def refusal(kind: type, change: dict[str, Any]) -> str:
    with pytest.raises(ModelError) as caught:
        replace(SAMPLES[kind], **change)
    assert isinstance(caught.value, KerfwrightError)
    return str(caught.value)


def is_a_sentence(text: str) -> bool:
    return "\n" not in text and len(text) < 200


EVERY = [*REFUSED, *LOOK_REFUSED]


@pytest.mark.parametrize(
    ("kind", "change", "words"),
    EVERY,
    ids=[f"{kind.__name__}-{i}-{'-'.join(change)}" for i, (kind, change, _) in enumerate(EVERY)],
)
def test_a_wrong_value_is_refused(kind, change, words):
    sentence = refusal(kind, change)
    assert is_a_sentence(sentence)
    assert [w for w in words if w not in sentence] == [], sentence


FLOATS = [(kind, name) for kind in SAMPLES for name in float_fields(kind)]


@pytest.mark.parametrize(("kind", "name"), FLOATS, ids=[f"{k.__name__}-{n}" for k, n in FLOATS])
@pytest.mark.parametrize("number", [np.nan, np.inf, -np.inf])
def test_no_number_of_a_record_is_other_than_finite(kind, name, number):
    value = getattr(SAMPLES[kind], name)
    wrong = (*value[:-1], number) if isinstance(value, tuple) else number
    if kind is ErrorBudget and isinstance(value, Mapping):
        wrong = dict.fromkeys(value, number)
    sentence = refusal(kind, {name: wrong})
    assert is_a_sentence(sentence)
    where = (name, *wrong) if isinstance(wrong, Mapping) else (name,)
    assert any(word in sentence for word in where)
    assert str(number) in sentence


ARRAYS = [(kind, name) for kind in SAMPLES for name in array_fields(kind)]
IDS = [f"{k.__name__}-{n}" for k, n in ARRAYS]


@pytest.mark.parametrize(("kind", "name"), ARRAYS, ids=IDS)
def test_an_array_of_another_shape_is_refused(kind, name):
    array = getattr(SAMPLES[kind], name)
    for wrong in (array[None], array.ravel()[:1][0]):
        assert name in refusal(kind, {name: wrong})


FLOAT_ARRAYS = [
    (kind, name)
    for kind, name in ARRAYS
    if getattr(SAMPLES[kind], name).dtype.kind == "f" and name != "centre"
]


@pytest.mark.parametrize(("kind", "name"), FLOAT_ARRAYS)
@pytest.mark.parametrize("number", [np.nan, np.inf, -np.inf])
def test_no_number_of_an_array_is_other_than_finite(kind, name, number):
    array = np.array(getattr(SAMPLES[kind], name))
    array.flat[-1] = number
    sentence = refusal(kind, {name: array})
    assert f"{name} holds" in sentence
    assert str(number) in sentence


def test_every_record_type_of_the_room_has_a_sample():
    assert model_types() == set(SAMPLES)


def test_every_record_type_with_an_invariant_has_a_case():
    bare = {"UnitCandidate", "SettingCard", "StageResult"}
    only_finite = {"Event", "LoadPose", "Calibration"}
    tested = {kind.__name__ for kind, _, _ in (*REFUSED, *LOOK_REFUSED)}
    assert {k.__name__ for k in SAMPLES} - tested == bare | only_finite


def test_a_covariance_of_less_than_full_rank_is_accepted():
    # A camera that measures x and y from one mark knows no more than one direction in a sum.
    direction = np.array([0.3, 0.1, 0.7])
    kept = replace(KNIFE, offset_cov_mm2=np.outer(direction, direction))
    assert np.linalg.matrix_rank(kept.offset_cov_mm2) == 1


def test_a_name_with_a_line_break_is_still_a_name_of_a_file():
    assert replace(INPUT, name="order\n7.dxf").name == "order\n7.dxf"


def test_an_empty_part_list_is_no_error_of_a_drawing():
    sample = SAMPLES[Drawing]
    empty = dict.fromkeys(("ids", "source", "layer", "separation", "step", "stroke"), ())
    kept = replace(sample, paths=empty_paths(), parent=[], **empty)
    assert len(kept.paths) == 0
    assert len(THREE) == 3
