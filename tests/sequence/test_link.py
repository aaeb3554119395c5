"""Linked motion: what must hold for every job, whatever the cuts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import ModelError, Severity, UnknownNameError
from kerfwright.errors.messages import cure_of, entry_of, place_of, sentence_of
from kerfwright.model.motion import EventCode, FeedKind, Kind, Role
from kerfwright.sequence import link
from tests.sequence.moves import (
    LIFT,
    SETUPS,
    STATIONS,
    TOP,
    TRAVEL_Z,
    body,
    make_setup,
    motion_of,
    random_link_job,
    table_with,
)

LIMITS = st.sampled_from([None, (-6 * np.pi, 6 * np.pi), (-3 * np.pi, 3 * np.pi), (0.0, 14.0)])
SEED = st.integers(0, 2**32 - 1)
CLOSE = 1e-9


def linked(motions, order, table, **others):
    arguments = {"stations": STATIONS, "setups": SETUPS, "travel_z_mm": TRAVEL_Z, "zones": (1, 2)}
    return link(motions, order, table, **(arguments | others))


def kept_cuts(motion):
    return sorted(set(motion.cut.tolist()) - {-1})


def head_limits(table, station):
    return table.head(table.station(station).head_id).c_limits_rad or (-np.inf, np.inf)


@settings(max_examples=60)
@given(seed=SEED, limits=LIMITS)
def test_every_body_is_there_once_in_order_with_c_shifted_by_whole_turns(seed, limits):
    motions, order, bodies = random_link_job(seed)
    found = linked(motions, order, table_with(limits))
    held = {f.where.contour for f in found.findings}
    assert kept_cuts(found) == [k for k in bodies if order.contour[k] not in held]
    assert (np.diff(found.cut[found.cut >= 0]) >= 0).all()
    for k in kept_cuts(found):
        rows = np.flatnonzero(found.cut == k)
        assert (np.diff(rows) == 1).all(), "a cut is one piece"
        planned = bodies[k][-len(rows) :]  # the rapid down may have nowhere to go
        assert len(bodies[k]) - len(rows) in (0, 1)
        ends = np.array([r[1] for r in planned])
        assert np.array_equal(found.end[rows, :3], ends[:, :3])
        turns = (found.end[rows, 3] - ends[:, 3]) / (2 * np.pi)
        assert turns == pytest.approx(np.round(turns[0]), abs=1e-9)
        for name, place in (("kind", 0), ("sweep_rad", 3), ("feed", 4), ("role", 7)):
            assert getattr(found, name)[rows].tolist() == [r[place] for r in planned]
        entry = found.begins()[rows[0]] if len(rows) < len(bodies[k]) else found.end[rows[0]]
        first = np.array(bodies[k][0][1])
        assert entry[:3] == pytest.approx(first[:3], abs=CLOSE)
        assert np.exp(1j * entry[3]) == pytest.approx(np.exp(1j * first[3]), abs=1e-8)


@settings(max_examples=60)
@given(seed=SEED, limits=LIMITS)
def test_between_cuts_nothing_moves_below_the_travel_height(seed, limits):
    motions, order, _ = random_link_job(seed)
    found = linked(motions, order, table_with(limits))
    begin, end = found.begins(), found.end
    between = found.cut < 0
    sideways = (np.abs(end - begin)[:, [0, 1, 3]] > 1e-12).any(axis=1)
    low = np.minimum(begin[:, 2], end[:, 2])
    assert (low[between & sideways] >= TRAVEL_Z - CLOSE).all()
    down = np.flatnonzero((found.role == Role.LINK) & ~between)
    assert not sideways[down].any(), "the rapid down to a cut goes straight down"
    assert (low[down] >= LIFT - CLOSE).all()
    assert (found.kind[between] == Kind.RAPID).all()
    assert (found.feed_kind[between] == FeedKind.NONE).all()
    heights = [h.z_travel_mm for h in table_with(limits).heads]
    assert (end[:, 2] >= heights[0][0]).all()
    assert (end[:, 2] <= heights[0][1]).all()
    assert end[-1, 2] == found.start[2] == max(TRAVEL_Z, table_with(limits).travel_z_mm)
    assert end[-1, :2].tolist() == [0.0, 0.0], "the corner of the bed where sheets are laid"
    assert (np.abs(np.diff(np.vstack((found.start, end)), axis=0)).max(axis=1) > 0).sum() == len(
        found
    ) - (found.kind == Kind.DWELL).sum(), "every block goes somewhere or dwells"


@settings(max_examples=60)
@given(seed=SEED, limits=LIMITS, most_turns=st.sampled_from([1.0, 3.0]))
def test_c_stays_inside_the_limits_and_is_rewound_alone(seed, limits, most_turns):
    motions, order, _ = random_link_job(seed, most_turns=most_turns)
    table = table_with(limits)
    found = linked(motions, order, table)
    low, high = head_limits(table, 1)
    c = np.append(found.start[3], found.end[:, 3])
    assert (c >= low - 1e-8).all()
    assert (c <= high + 1e-8).all()
    between = found.cut < 0
    turn = np.abs(found.end[:, 3] - found.begins()[:, 3])
    far = between & (turn > np.pi + 1e-6)
    if limits is None:
        assert not far.any(), "an axis without end never turns back"
    if limits is None or low == -high:
        assert found.end[far, :3] == pytest.approx(found.begins()[far, :3], abs=CLOSE)


@settings(max_examples=40)
@given(seed=SEED, limits=LIMITS)
def test_c_goes_to_the_nearest_turn_that_keeps_the_whole_cut_inside(seed, limits):
    motions, order, bodies = random_link_job(seed, most_turns=2.0)
    table = table_with(limits)
    found = linked(motions, order, table)
    low, high = head_limits(table, 1)
    at, head = 0.0, None
    for k in kept_cuts(found):
        c = np.array([r[1][3] for r in bodies[k]])
        own = table.station(STATIONS[order.operation[k]]).head_id
        if own != head:
            at = 0.0 if limits else 2 * np.pi * round(at / (2 * np.pi))
        shifts = 2 * np.pi * np.arange(-40, 41)
        may = (c.min() + shifts >= low - 1e-9) & (c.max() + shifts <= high + 1e-9)
        expected = np.abs(c[0] + shifts[may] - at).min()
        ends = found.end[found.cut == k, 3]
        shift = ends[-1] - c[-1]
        assert abs(c[0] + shift - at) == pytest.approx(expected, abs=1e-6)
        at, head = ends[-1], own


@settings(max_examples=60)
@given(seed=SEED)
def test_tools_oscillation_and_vacuum_are_as_each_block_needs(seed):
    motions, order, _ = random_link_job(seed)
    found = linked(motions, order, table_with(None))
    station, stroke, opened = 0, 0.0, []
    events = list(found.events)
    begin = found.begins()
    for block in range(len(found) + 1):
        while events and events[0].before_block == block:
            event = events.pop(0)
            if event.code is EventCode.TOOL:
                assert stroke == 0.0, "the blade stands still while tools are changed"
                height = begin[block, 2] if block else found.start[2]
                assert height >= TRAVEL_Z - CLOSE
                station = event.value
            elif event.code is EventCode.OSCILLATION:
                assert event.value != stroke, "an event changes something"
                stroke = event.value
            else:
                assert (event.code, block) == (EventCode.VACUUM, 0)
                assert station == 0, "the sheet is held before a tool is called"
                opened.append(event.value)
        if block == len(found):
            break
        assert found.tool[block] == station
        if found.cut[block] >= 0:
            operation = order.operation[found.cut[block]]
            assert station == STATIONS[operation]
            if found.role[block] != Role.LINK:
                assert stroke == SETUPS[operation].stroke_hz
    assert stroke == 0.0
    assert opened == [1.0, 2.0]
    assert events == []


@settings(max_examples=40)
@given(seed=SEED, limits=LIMITS, dx=st.floats(-80, 80), dy=st.floats(-80, 80))
def test_moving_the_job_moves_the_motion(seed, limits, dx, dy):
    motions, order, _ = random_link_job(seed)
    shift = np.array((dx, dy, 0.0, 0.0))
    moved = [
        replace(m, start=m.start + shift, end=m.end + shift, centre=m.centre + shift[:2])
        for m in motions
    ]
    here, there = (linked(m, order, table_with(limits)) for m in (motions, moved))
    assert len(here) == len(there)
    assert here.events == there.events
    for name in ("kind", "role", "cut", "tool", "feed", "sweep_rad"):
        assert getattr(here, name).tolist() == getattr(there, name).tolist()
    first = int(np.argmax(here.cut >= 0)) if (here.cut >= 0).any() else 0
    rows = slice(max(first - 1, 0), len(here) - 1)
    assert there.end[rows] == pytest.approx(here.end[rows] + shift, abs=1e-9)


@settings(max_examples=30)
@given(seed=SEED)
def test_the_order_of_the_motions_does_not_matter(seed):
    motions, order, _ = random_link_job(seed)
    table = table_with(None)
    assert linked(motions, order, table).digest == linked(motions[::-1], order, table).digest


def two_cuts(rng_seed=0, **others):
    rng = np.random.default_rng(rng_seed)
    bodies = {0: body(rng, lift=LIFT), 1: body(rng, lift=LIFT)}
    _, order, _ = random_link_job(0)
    order = replace(
        order,
        contour=("a", "b"),
        operation=("cut", "cut"),
        pass_no=[0, 0],
        entry_s=[0.0, 0.0],
        reversed=[False, False],
        group=[0, 0],
        **others,
    )
    return bodies, order


def test_a_second_pass_from_where_the_first_ended_does_not_travel():
    rng = np.random.default_rng(4)
    first = body(rng, lift=LIFT)
    x, y, _, c = first[-1][1]
    second = body(rng, lift=LIFT, at=(x, y, c + 2 * np.pi))
    _, order = two_cuts()
    found = linked([motion_of({0: first, 1: second})], order, table_with(None))
    rows = np.flatnonzero(found.cut == 1)
    assert found.cut[rows[0] - 1] == 0
    assert found.role[rows[0]] == Role.PLUNGE


def test_a_full_circle_again_and_again_is_rewound_in_a_block_of_its_own():
    limits = (-3 * np.pi, 3 * np.pi)
    rng = np.random.default_rng(0)
    bodies, n = {}, 6
    for i in range(n):
        rows = body(rng, lift=LIFT, at=(400.0 + 50 * i, 400.0, 0.0), blocks=2, most_turns=0.0)
        x, y, z, c = rows[-2][1]
        turn = (Kind.LINE, (x, y, z, c + 2 * np.pi), None, 0, 5.0, FeedKind.ROTARY, 0.0, Role.TURN)
        lift = (Kind.LINE, (x, y, LIFT, c + 2 * np.pi), None, 0, 5.0, FeedKind.PATH, 0, Role.LIFT)
        bodies[i] = [*rows[:-1], turn, lift]
    _, order = two_cuts()
    order = replace(
        order,
        contour=tuple("abcdef"),
        operation=("cut",) * n,
        **{name: np.zeros(n) for name in ("pass_no", "entry_s", "reversed", "group")},
    )
    order = replace(order, group=np.zeros(n, np.int64))
    found = linked([motion_of(bodies)], order, table_with(limits))
    assert found.findings == ()
    alone = (found.cut < 0) & (np.abs(found.end[:, 3] - found.begins()[:, 3]) > 6.0)
    # One turn fits upwards from rest, so all others go back first, and the last way back to rest.
    assert alone.sum() == n
    assert (found.end[alone, 2] >= TRAVEL_Z).all()


def one_finding(found):
    (finding,) = found.findings
    text = sentence_of(finding) + cure_of(finding) + place_of(finding.where)
    assert "{" not in text
    assert entry_of(finding.code).severity is finding.severity
    return finding


def test_a_cut_that_turns_more_than_the_head_may_is_held_and_left_out():
    bodies, order = two_cuts()
    x, y, z, c = bodies[0][-2][1]
    far = c + 9.0
    bodies[0][-1:] = [
        (Kind.LINE, (x, y, z, far), None, 0.0, 10.0, FeedKind.ROTARY, 0.0, Role.TURN),
        (Kind.LINE, (x, y, LIFT, far), None, 0.0, 50.0, FeedKind.PATH, 0.0, Role.LIFT),
    ]
    found = linked([motion_of(bodies)], order, table_with((-4.0, 4.0)))
    finding = one_finding(found)
    assert finding.code == "SEQ-110"
    assert finding.severity is Severity.HOLDS_PART
    assert finding.where.contour == "a"
    assert finding.where.xy_mm == bodies[0][0][1][:2]
    assert finding.measured >= np.degrees(9.0) - 1e-9
    assert finding.limit == pytest.approx(np.degrees(8.0))
    assert kept_cuts(found) == [1]
    assert "contour a" in sentence_of(finding)


@pytest.mark.parametrize(
    ("sweep", "outside"), [(np.pi, True), (-np.pi, False), (np.pi / 2 - 0.01, False)]
)
def test_an_arc_beyond_the_reach_is_found_between_its_ends(sweep, outside):
    # From (1980, 300) about (1980, 330): only one of the two ways round passes x = 2010.
    bodies, order = two_cuts()
    centre = np.array((1980.0, 330.0))
    spoke = np.array((0.0, -30.0))
    cos, sin = np.cos(sweep), np.sin(sweep)
    x, y = centre + np.array(((cos, -sin), (sin, cos))) @ spoke
    bodies[0] = [
        (Kind.RAPID, (1980.0, 300.0, LIFT, 0.0), None, 0.0, 0.0, FeedKind.NONE, 0.0, Role.LINK),
        (Kind.ARC, (x, y, LIFT, sweep), centre, sweep, 300.0, FeedKind.PATH, 0.0, Role.CUT),
    ]
    if sweep == np.pi / 2 - 0.01:  # its far end stays short of the reach by a hair less than 20
        bodies[0] = [
            (kind, (end[0] - 10.0, *end[1:]), c if c is None else c - (10.0, 0.0), *rest)
            for kind, end, c, *rest in bodies[0]
        ]
    found = linked([motion_of(bodies)], order, table_with(None))
    if outside:
        finding = one_finding(found)
        assert (finding.code, finding.where.contour) == ("SEQ-120", "a")
        assert finding.measured == pytest.approx(2010.0)
        assert (finding.limit, finding.params["axis"]) == (2000.0, "x")
        assert kept_cuts(found) == [1]
    else:
        assert found.findings == ()


def test_a_tip_below_the_head_is_held():
    bodies, order = two_cuts()
    kind, (x, y, _, c), *rest = bodies[0][1]
    bodies[0][1] = (kind, (x, y, -3.5, c), *rest)
    finding = one_finding(linked([motion_of(bodies)], order, table_with(None)))
    assert (finding.code, finding.measured, finding.limit) == ("SEQ-121", -3.5, -3.0)


def test_nothing_left_blocks():
    _, order = two_cuts()
    found = linked([], order, table_with(None))
    finding = one_finding(found)
    assert (finding.code, finding.severity) == ("SEQ-140", Severity.BLOCKS)
    assert (len(found), found.events) == (0, ())


def test_findings_of_the_motions_go_on():
    bodies, order = two_cuts()
    (own,) = linked([], order, table_with(None)).findings
    found = linked([replace(motion_of(bodies), findings=(own,))], order, table_with(None))
    assert found.findings == (own,)


def wrong_inputs():
    bodies, order = two_cuts()
    plan = motion_of(bodies)
    none = [r if r[7] != Role.LINK else (*r[:7], Role.CUT) for r in bodies[0]]
    high = {k: s for k, s in SETUPS.items() if k != "cut"}
    low = [(r[0], (*r[1][:2], TOP + 1.0, r[1][3]), *r[2:]) for r in bodies[0]]
    yield "belongs to cut 2", ModelError, [replace(plan, cut=plan.cut + 1)], order, {}
    yield "belongs to cut -1", ModelError, [replace(plan, cut=plan.cut - 1)], order, {}
    yield "planned twice", ModelError, [plan, plan], order, {}
    yield "without a rapid", ModelError, [motion_of({0: none})], order, {}
    yield "below its lift", ModelError, [motion_of({0: low})], order, {}
    yield "inside the stock", ModelError, [motion_of({0: bodies[0][:-1]})], order, {}
    yield "table frame", ModelError, [replace(plan, frame="machine")], order, {}
    yield "is below 6.000", ModelError, [plan], order, {"travel_z_mm": 5.9}
    yield "is above 60.000", ModelError, [plan], order, {"travel_z_mm": 61.0}
    yield "has no setup", UnknownNameError, [plan], order, {"setups": high}
    yield "has no station", UnknownNameError, [plan], order, {"stations": {"score": 2}}
    yield "no station 9", UnknownNameError, [plan], order, {"stations": {"cut": 9}}
    yield "no vacuum zone 3", UnknownNameError, [plan], order, {"zones": (1, 3)}
    yield "name one twice", ModelError, [plan], order, {"zones": (1, 1)}
    mixed = replace(order, operation=("cut", "score"))
    yield "holds cuts of stations 1 and 2", ModelError, [plan], mixed, {}


@pytest.mark.parametrize(
    ("words", "error", "motions", "order", "others"),
    list(wrong_inputs()),
    ids=lambda v: v.replace(" ", "-") if isinstance(v, str) else "",
)
def test_what_cannot_be_linked_is_refused(words, error, motions, order, others):
    with pytest.raises(error, match=words):
        linked(motions, order, table_with(None), **others)


def test_strokes_change_between_cuts_of_one_tool():
    bodies, order = two_cuts()
    order = replace(order, operation=("cut", "trim"))
    bodies[1] = body(np.random.default_rng(1), lift=LIFT + 1.0)
    setups = SETUPS | {"trim": make_setup(stroke_hz=90.0, lift_z_mm=LIFT + 1.0)}
    found = linked([motion_of(bodies)], order, table_with(None), setups=setups, zones=())
    codes = [(e.code, e.value) for e in found.events]
    assert codes == [
        (EventCode.TOOL, 1.0),
        (EventCode.OSCILLATION, 90.0),
        (EventCode.OSCILLATION, 0.0),
    ]
    on = found.events[1].before_block
    assert (found.cut[on], found.role[on]) == (1, Role.PLUNGE)


def test_the_blade_stops_before_the_tool_goes_even_where_c_is_at_rest():
    rng = np.random.default_rng(2)
    bodies = {
        i: body(rng, lift=LIFT, at=(400.0 + 100.0 * i, 400.0, 0.0), most_turns=0.0)
        for i in range(2)
    }
    _, order = two_cuts()
    order = replace(order, operation=("shake", "cut"), group=[0, 1])
    found = linked([motion_of(bodies)], order, table_with(None), zones=())
    codes = [(e.code, e.value) for e in found.events]
    assert codes == [
        (EventCode.TOOL, 4.0),
        (EventCode.OSCILLATION, 110.0),
        (EventCode.OSCILLATION, 0.0),
        (EventCode.TOOL, 1.0),
    ]
    assert found.events[2].before_block == found.events[3].before_block, "no turn between them"
