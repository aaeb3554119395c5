"""Strategies that draw any valid instance of every record of the model."""

from __future__ import annotations

import types
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from math import pi
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import numpy as np
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from kerfwright.errors import Finding
from kerfwright.geometry.paths import PathSet, join_sets
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.model.cut import CutChoices, CutOrder, CutSetup
from kerfwright.model.design import Design, Tolerances
from kerfwright.model.dialect import Dialect
from kerfwright.model.drawing import ArtRef, Drawing, Stroke, UnitCandidate
from kerfwright.model.job import Job, JobChoices, JobInput, MarkChoices
from kerfwright.model.marks import View
from kerfwright.model.material import Material, Range, Setting, SettingCard
from kerfwright.model.motion import Event, FeedKind, Kind, Role, TimedMotion, ToolMotion
from kerfwright.model.operation import Operation, Process, Tolerance
from kerfwright.model.part import Part
from kerfwright.model.routing import Routing, Tabs
from kerfwright.model.rules import Rule, RuleTable
from kerfwright.model.run import Release, SheetRun
from kerfwright.model.sheet import Layout, Sheet
from kerfwright.model.table import Head, Limits, Pump, Station, Table, Zone
from kerfwright.model.tooling import Blade, Cutter, Pen, Wheel
from kerfwright.model.verification import Verification
from model import look_records

Strategy = st.SearchStrategy[Any]

texts = st.text(max_size=6)
finite = st.floats(allow_nan=False, allow_infinity=False)
moderate = st.floats(-1e5, 1e5)
above_0 = st.floats(1e-6, 1e6)
from_0 = st.floats(0.0, 1e6)
few = st.integers(0, 3)


def by_hint(hint: Any) -> Strategy:
    """Any value of a type hint without arrays."""
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return st.one_of(*(by_hint(a) for a in args))
    if origin is Literal:
        return st.sampled_from(args)
    if origin is tuple and args[-1] is Ellipsis:
        return st.lists(by_hint(args[0]), max_size=2).map(tuple)
    if origin is tuple:
        return st.tuples(*(by_hint(a) for a in args))
    if origin is not None and issubclass(origin, Mapping):
        return st.dictionaries(texts, by_hint(args[1]), max_size=2)
    if is_dataclass(hint):
        return records(hint)
    if issubclass(hint, Enum):
        return st.sampled_from(hint)
    plain = {str: texts, float: finite, int: st.integers(-9, 9), bool: st.booleans()}
    return st.none() if hint is type(None) else plain[hint]


def build(kind: type, /, **given: Strategy) -> Strategy:
    """Draw the fields by their hints, the given ones by their own strategy."""
    hints = get_type_hints(kind)
    rest = {f.name: by_hint(hints[f.name]) for f in fields(kind) if f.name not in given}
    return st.builds(kind, **rest, **given)


def ordered_pairs(numbers: Strategy = moderate, least_gap: float = 1e-3) -> Strategy:
    gaps = st.floats(least_gap, 1e5)
    return st.tuples(numbers, gaps).map(lambda p: (p[0], p[0] + p[1]))


def boxes() -> Strategy:
    pair = ordered_pairs()
    return st.tuples(pair, pair).map(lambda p: (p[0][0], p[1][0], p[0][1], p[1][1]))


def floats_of(shape: Any, elements: Strategy = moderate) -> Strategy:
    return arrays(np.float64, shape, elements=elements)


def indices(count: int, below: int) -> Strategy:
    return arrays(np.int64, count, elements=st.integers(0, below - 1))


def flags(count: int) -> Strategy:
    return arrays(np.bool_, count)


@st.composite
def single_paths(draw: Callable, *, closed: bool | None = None) -> PathSet:
    shut = draw(st.booleans()) if closed is None else closed
    count = draw(st.integers(2 if shut else 1, 4))
    bulges = draw(floats_of(count, st.floats(-1.0, 1.0)))
    if not shut:
        bulges[-1] = 0.0
    points = draw(floats_of((count, 2)))
    return PathSet(points=points, bulges=bulges, starts=np.array([0, count]), closed=[shut])


def path_sets(count: int | None = None) -> Strategy:
    sizes = (0, 3) if count is None else (count, count)
    return st.lists(single_paths(), min_size=sizes[0], max_size=sizes[1]).map(join_sets)


@st.composite
def plane_maps(draw: Callable) -> PlaneMap:
    affine = np.column_stack((np.diag(draw(floats_of(2, st.floats(0.5, 2.0)))), np.zeros(2)))
    affine[:, 2] = draw(floats_of(2))
    steps, centres = draw(few), draw(few)
    rows = draw(floats_of((steps, 4)))
    rows[:, 0] = draw(arrays(np.float64, steps, elements=st.sampled_from((0.0, 1.0))))
    return PlaneMap(
        affine=affine,
        bow=draw(floats_of((2, 3))),
        steps=rows,
        blend_mm=draw(above_0),
        centres=draw(floats_of((centres, 2))),
        weights=draw(floats_of((centres, 2))),
        domain=draw(boxes()),
    )


def ranges() -> Strategy:
    pair = ordered_pairs(above_0)
    sources = st.text(min_size=1, max_size=6)
    return st.tuples(pair, sources, texts, texts).map(
        lambda t: Range(low=t[0][0], high=t[0][1], source=t[1], unit=t[2], date=t[3])
    )


def settings() -> Strategy:
    return st.tuples(ranges(), st.floats(0.0, 1.0)).map(
        lambda t: Setting(
            range=t[0], value=min(t[0].low + t[1] * (t[0].high - t[0].low), t[0].high)
        )
    )


def tabs() -> Strategy:
    return st.tuples(above_0, above_0, above_0).map(
        lambda t: Tabs(length_mm=min(t[0], t[2]) / 2.0, height_mm=t[1], spacing_mm=max(t[0], t[2]))
    )


def routings() -> Strategy:
    return build(
        Routing,
        allowance_mm=from_0,
        entry_rad=st.floats(0.01, pi / 2),
        lead_mm=st.floats(0.1, 100.0),
        tabs=st.none() | tabs(),
    )


@st.composite
def cutters(draw: Callable) -> Cutter:
    steps = draw(st.lists(st.tuples(above_0, from_0), min_size=1, max_size=4))
    length = draw(above_0)
    return draw(
        build(
            Cutter,
            profile_mm=st.just(np.cumsum(np.minimum(steps, 1e6), axis=0)),
            flutes=st.integers(1, 4),
            length_mm=st.just(length),
            free_length_mm=st.just(2.0 * length),
        )
    )


def wheels() -> Strategy:
    return build(
        Wheel,
        diameter_mm=above_0,
        rim_mm=above_0,
        reference_mm=moderate,
        free_length_mm=above_0,
    )


def pens() -> Strategy:
    return build(Pen, line_mm=above_0, free_length_mm=above_0)


@st.composite
def operations(draw: Callable) -> Operation:
    process = draw(st.sampled_from(Process))
    presses = process in {Process.CREASING, Process.DRAWING}
    through = process is Process.CUTTING
    routes = process is Process.ROUTING
    top = presses or (not through and draw(st.booleans()))
    return draw(
        build(
            Operation,
            process=st.just(process),
            routing=routings() if routes else st.none(),
            setup=st.integers(1, 4),
            depth_from=st.just("top" if top else "bottom"),
            depth_mm=finite if through or (routes and not top) else above_0,
            passes=st.integers(1, 5),
            feed_mm_s=st.none() | above_0,
        )
    )


@st.composite
def drawings(draw: Callable) -> Drawing:
    paths = draw(path_sets())
    n = len(paths)
    words = {name: st.tuples(*[texts] * n) for name in ("source", "layer", "separation", "step")}
    parent = np.array([draw(st.sampled_from([-1, *range(i)])) for i in range(n)], np.int64)
    return draw(
        build(
            Drawing,
            paths=st.just(paths),
            ids=st.lists(texts, min_size=n, max_size=n, unique=True).map(tuple),
            stroke=st.tuples(*[records(Stroke)] * n),
            parent=st.just(parent),
            fit_tolerance_mm=above_0,
            **words,
        )
    )


@st.composite
def parts(draw: Callable) -> Part:
    paths = draw(path_sets().filter(len))
    held = draw(st.lists(operations(), min_size=1, max_size=2).map(tuple))
    n = len(paths)
    return draw(
        build(
            Part,
            paths=st.just(paths),
            contour_ids=st.tuples(*[texts] * n),
            operations=st.just(held),
            operation=indices(n, len(held)),
            outline=st.integers(-1, n - 1),
            quantity=st.integers(1, 9),
            bleed_mm=from_0,
        )
    )


def sheets() -> Strategy:
    return build(
        Sheet,
        outline=single_paths(closed=True),
        holes=path_sets(),
        keep_outs=path_sets(),
        thickness_mm=above_0,
        margin_mm=from_0,
    )


@st.composite
def layouts(draw: Callable) -> Layout:
    count, known = draw(few), draw(st.lists(sheets(), min_size=1, max_size=2).map(tuple))
    turn = draw(floats_of(count, st.floats(-pi, pi)))
    cos, sin = np.cos(turn), np.sin(turn)
    maps = np.zeros((count, 2, 3))
    maps[:, :, :2] = np.moveaxis(np.array([[cos, -sin], [sin, cos]]), 2, 0)
    maps[:, :, 2] = draw(floats_of((count, 2)))
    return draw(
        build(
            Layout,
            sheets=st.just(known),
            part=indices(count, 9),
            sheet=indices(count, len(known)),
            sheet_from_part=st.just(maps),
        )
    )


@st.composite
def blades(draw: Callable) -> Blade:
    width = draw(above_0)
    angles = st.floats(0.05, pi / 2)
    return draw(
        build(
            Blade,
            width_mm=st.just(width),
            tip_mm=st.floats(0.0, width),
            lead_rad=angles,
            trail_rad=angles,
            reference_mm=moderate,
            free_length_mm=above_0,
        )
    )


def limits() -> Strategy:
    return build(
        Limits,
        speed=floats_of(4, above_0),
        acceleration=floats_of(4, above_0),
        jump=floats_of(4, from_0),
        rapid_mm_s=above_0,
        block_time_s=from_0,
    )


def heads(**given: Strategy) -> Strategy:
    factors = floats_of((3, 3), st.floats(-10.0, 10.0))
    defaults = {
        "offset_mm": floats_of(3),
        "offset_cov_mm2": factors.map(_covariance),
        "c_limits_rad": st.none() | ordered_pairs(),
        "mass_kg": above_0,
        "depth_kind": st.sampled_from(("foot", "bed", "pressure")),
        "reach": boxes(),
        "z_travel_mm": ordered_pairs(),
    }
    return build(Head, **(defaults | given))


def _covariance(factor: np.ndarray) -> np.ndarray:
    product = factor @ factor.T
    return (product + product.T) / 2.0


@st.composite
def tables(draw: Callable) -> Table:
    names = draw(st.lists(texts, min_size=1, max_size=2, unique=True))
    tools = st.lists(texts, min_size=1, max_size=2).map(tuple)
    mounted = tuple(draw(heads(id=st.just(name), tools=tools)) for name in names)
    stations = [
        Station(number=i + 1, head_id=head.id, tool_id=head.tools[0])
        for i, head in enumerate(mounted)
    ]
    zones = [Zone(number=i + 1, box_mm=draw(boxes())) for i in range(draw(few))]
    lengths = ("bed_surface_mm", "gantry_kg", "travel_z_mm", "clearance_mm")
    return draw(
        build(
            Table,
            bed=boxes(),
            bed_surface=st.sampled_from(("mat", "spoilboard")),
            other_surfaces=st.dictionaries(st.sampled_from(("mat", "underlay")), above_0),
            z_reference=st.sampled_from(("bed", "top")),
            heads=st.just(mounted),
            stations=st.just(tuple(stations)),
            zones=st.just(tuple(zones)),
            **dict.fromkeys(lengths, above_0),
        )
    )


@st.composite
def setups(draw: Callable) -> CutSetup:
    bottom, top = draw(ordered_pairs())
    rates = ("feed_mm_s", "plunge_mm_s", "turn_rad_s", "lift_angle_rad", "tolerance_mm")
    return draw(
        build(
            CutSetup,
            bottom_z_mm=st.just(bottom),
            top_z_mm=st.just(top),
            lift_z_mm=st.just(top + draw(st.floats(0.001, 10.0))),
            stroke_hz=from_0,
            spindle_hz=from_0,
            **dict.fromkeys(rates, above_0),
        )
    )


@st.composite
def cut_choices(draw: Callable) -> CutChoices:
    contours, passes, per_cut = draw(few), draw(st.integers(1, 2)), draw(st.integers(1, 2))
    cut = np.repeat(np.arange(contours * passes), per_cut)
    n = len(cut)
    before = [[i + 1, i] for i in range(contours * passes - 1)][: draw(few)]
    return draw(
        build(
            CutChoices,
            contours=st.tuples(*[texts] * contours),
            contour=st.just(cut // passes),
            pass_no=st.just(cut % passes),
            entry_s=floats_of(n, st.floats(0.0, 1.0)),
            reversed=flags(n),
            xyc_in=floats_of((n, 3)),
            xyc_out=floats_of((n, 3)),
            time_s=floats_of(n, from_0),
            before=st.just(np.array(before, np.int64).reshape(-1, 2)),
        )
    )


@st.composite
def cut_orders(draw: Callable) -> CutOrder:
    n = draw(st.integers(0, 4))
    return draw(
        build(
            CutOrder,
            contour=st.tuples(*[texts] * n),
            operation=st.tuples(*[texts] * n),
            pass_no=st.just(np.arange(n)),
            entry_s=floats_of(n, st.floats(0.0, 1.0)),
            reversed=flags(n),
            group=indices(n, 3).map(np.sort),
            lower_bound_s=from_0,
        )
    )


@st.composite
def motions(draw: Callable) -> ToolMotion:
    n = draw(st.integers(0, 4))
    kind = draw(indices(n, len(Kind)))
    feed_kind = draw(indices(n, len(FeedKind)))
    arc, dwell, fed = kind == Kind.ARC, kind == Kind.DWELL, feed_kind != FeedKind.NONE
    before = draw(st.lists(st.integers(0, n), max_size=2).map(sorted))
    return draw(
        build(
            ToolMotion,
            start=floats_of(4),
            kind=st.just(kind),
            end=floats_of((n, 4)),
            centre=floats_of((n, 2)).map(lambda a: np.where(arc[:, None], a, np.nan)),
            sweep_rad=floats_of(n, above_0).map(lambda a: np.where(arc, a, 0.0)),
            feed=floats_of(n, above_0).map(lambda a: np.where(fed, a, 0.0)),
            feed_kind=st.just(feed_kind),
            dwell_s=floats_of(n, from_0).map(lambda a: np.where(dwell, a, 0.0)),
            role=indices(n, len(Role)),
            cut=indices(n, 9).map(lambda a: a - 1),
            tool=indices(n, 9),
            events=st.tuples(*(build(Event, before_block=st.just(b)) for b in before)),
        )
    )


@st.composite
def timed_motions(draw: Callable) -> TimedMotion:
    motion = draw(motions())
    blocks = len(motion)
    n = draw(few) if blocks else 0
    low, high = draw(ordered_pairs(from_0, 0.0))
    return draw(
        build(
            TimedMotion,
            motion=st.just(motion),
            s=floats_of(n),
            v=floats_of(n),
            block=indices(n, max(blocks, 1)),
            binding=indices(n, 6),
            time_low_s=st.just(low),
            time_high_s=st.just(high),
            by_cut=floats_of(draw(few)),
            block_s=floats_of(blocks),
        )
    )


@st.composite
def rule_tables(draw: Callable) -> RuleTable:
    held = draw(st.lists(operations(), max_size=2, unique_by=lambda o: o.id).map(tuple))
    named = st.sampled_from(["", *(o.id for o in held)])
    return draw(
        build(
            RuleTable,
            rules=st.lists(build(Rule, operation=named, colour=_colours()), max_size=2).map(tuple),
            operations=st.just(held),
            join_tolerance_mm=above_0,
            duplicate_tolerance_mm=above_0,
        )
    )


@st.composite
def designs(draw: Callable) -> Design:
    paths = draw(path_sets())
    n = len(paths)
    bottom, top = draw(ordered_pairs())
    pools = {
        "operations": draw(st.lists(operations(), min_size=1, max_size=2).map(tuple)),
        "tools": draw(st.lists(blades(), min_size=1, max_size=2).map(tuple)),
        "maps": draw(st.lists(plane_maps(), min_size=1, max_size=2).map(tuple)),
    }
    index = {
        name: indices(n, len(pools[pool]))
        for name, pool in (("operation", "operations"), ("tool", "tools"), ("map", "maps"))
    }
    return draw(
        build(
            Design,
            contours=st.tuples(*[texts] * n),
            nominal=st.just(paths),
            bottom_z_mm=st.just(bottom),
            top_z_mm=st.just(top),
            travel_z_mm=st.just(top + draw(st.floats(0.001, 10.0))),
            keep_outs=path_sets(),
            leads_mm=floats_of((draw(st.sampled_from((0, len(pools["operations"])))), 2)),
            **{name: st.just(pool) for name, pool in pools.items()},
            **index,
        )
    )


@st.composite
def verifications(draw: Callable) -> Verification:
    n = draw(few)
    lengths = ("worst_mm", "uncut_mm", "overcut_part_mm", "overcut_waste_mm")
    return draw(
        build(
            Verification,
            contour=st.tuples(*[texts] * n),
            worst_xy=floats_of((n, 2)),
            **{name: floats_of(n, from_0) for name in lengths},
        )
    )


def _colours() -> Strategy:
    return st.just("") | st.integers(0, 0xFFFFFF).map("#{:06x}".format)


def _names() -> Strategy:
    return st.text(st.characters(exclude_characters="/\\\0.", codec="utf-8"), min_size=1)


STRATEGIES: dict[type, Callable[[], Strategy]] = {
    ArtRef: lambda: build(ArtRef, page=st.integers(1, 9), box_mm=boxes()),
    Stroke: lambda: build(Stroke, colour=_colours(), width_mm=from_0),
    UnitCandidate: lambda: build(UnitCandidate),
    Drawing: drawings,
    Tolerance: lambda: build(Tolerance, print_mm=above_0, size_mm=above_0),
    Operation: operations,
    Part: parts,
    Sheet: sheets,
    Layout: layouts,
    Tabs: tabs,
    Routing: routings,
    Blade: blades,
    Cutter: cutters,
    Wheel: wheels,
    Pen: pens,
    Range: ranges,
    Setting: settings,
    Material: lambda: build(Material, thickness_mm=ranges()),
    SettingCard: lambda: build(SettingCard),
    Limits: limits,
    Head: heads,
    Station: lambda: build(Station, number=st.integers(1, 9)),
    Zone: lambda: build(Zone, number=st.integers(1, 9), box_mm=boxes()),
    Pump: lambda: build(Pump, kind=st.sampled_from(("blower", "displacement"))),
    Table: tables,
    CutSetup: setups,
    CutChoices: cut_choices,
    CutOrder: cut_orders,
    ToolMotion: motions,
    TimedMotion: timed_motions,
    Dialect: lambda: build(
        Dialect,
        arc_chord_mm=above_0,
        **dict.fromkeys(
            ("decimals_mm", "decimals_deg", "max_line_chars", "max_lines"), st.integers(1, 9)
        ),
    ),
    Tolerances: lambda: build(
        Tolerances, **dict.fromkeys((f.name for f in fields(Tolerances)), above_0)
    ),
    Design: designs,
    Rule: lambda: build(Rule, colour=_colours()),
    RuleTable: rule_tables,
    Verification: verifications,
    JobInput: lambda: build(
        JobInput,
        name=_names(),
        size_bytes=st.integers(0, 2**60),
        scale=st.none() | above_0,
        page=st.integers(1, 9),
        quantity=st.integers(1, 9),
    ),
    MarkChoices: lambda: build(
        MarkChoices,
        diameter_mm=st.floats(1, 9),
        count=st.none() | st.integers(2, 12),
        throw_rad=above_0,
        field_of_view_mm=st.tuples(st.floats(20, 90), st.floats(20, 90)),
        feed_step_sd_mm=from_0,
    ),
    JobChoices: lambda: build(JobChoices, spacing_mm=above_0, layout_time_s=above_0),
    View: lambda: build(View, camera_xy_mm=floats_of(2), mark=st.integers(0, 9), search_mm=above_0),
    Release: lambda: look_records.releases(lambda **given: build(Release, **given)),
    SheetRun: lambda: build(
        SheetRun, serial=st.integers(1, 9), caliper_mm=st.none() | st.floats(0.1, 50)
    ),
    Job: lambda: build(
        Job,
        schema_version=st.just(1),
        version=st.integers(0, 2**60),
        inputs=st.lists(records(JobInput), min_size=1, max_size=2).map(tuple),
        runs=st.lists(records(SheetRun), max_size=1).map(tuple),
    ),
    PathSet: path_sets,
    PlaneMap: plane_maps,
    Finding: lambda: build(Finding),
}


def records(kind: type) -> Strategy:
    """Any valid instance of a record type."""
    known = STRATEGIES | look_records.STRATEGIES
    return known[kind]() if kind in known else build(kind)
