"""Whatever a reader can produce ends in findings, never in an exception; invariants hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import CancelledError
from kerfwright.geometry.plane_map import PlaneMap, rigid_map
from kerfwright.model.motion import Event, EventCode, FeedKind, Kind, ToolMotion
from kerfwright.verify import check_program
from tests.verify.bench import BEVEL, KISS, TABLE, THROUGH, TIGHT, TRAVEL, design
from tests.verify.planner import Program, moved, plan, turned
from tests.verify.shapes import circle, lined, random_outline, rectangle, rounded

WIDE = replace(
    TABLE,
    bed=(-9e3, -9e3, 9e3, 9e3),
    heads=tuple(replace(h, reach=(-9e3, -9e3, 9e3, 9e3), c_limits_rad=None) for h in TABLE.heads),
)


def told(result):
    return sorted((f.code, f.where.contour or "") for f in result.findings)


# ---------------------------------------------------------------- anything at all

NUMBERS = st.one_of(
    st.sampled_from([0.0, 1.0, -0.3, 2.6, 3.0, 12.0, 50.0, 1e-12, -1e5, 1e9, -1e200, 1.7e308]),
    st.floats(-200.0, 200.0),
)


@st.composite
def any_motion(draw):
    n = draw(st.integers(0, 12))
    kind = np.array(draw(st.lists(st.integers(0, 3), min_size=n, max_size=n)), np.int64)
    numbers = draw(st.lists(NUMBERS, min_size=4 * n, max_size=4 * n))
    arc = kind == Kind.ARC
    places = np.array(draw(st.lists(NUMBERS, min_size=2 * n, max_size=2 * n))).reshape(-1, 2)
    centre = np.where(arc[:, None], places, np.nan)
    sweeps = draw(
        st.lists(
            st.sampled_from([-6.28, -1.0, 1e-9, 0.5, 3.14, 6.28, 40.0]), min_size=n, max_size=n
        )
    )
    feeds = (kind == Kind.LINE) | arc
    codes = st.sampled_from(list(EventCode))
    events = draw(
        st.lists(
            st.tuples(st.integers(0, n), codes, st.sampled_from([0.0, 1.0, 150.0])), max_size=5
        )
    )
    return ToolMotion(
        start=np.array(draw(st.lists(NUMBERS, min_size=4, max_size=4))),
        kind=kind,
        end=np.array(numbers, float).reshape(-1, 4),
        centre=centre,
        sweep_rad=np.where(arc, np.array(sweeps, float), 0.0),
        feed=np.where(feeds, 10.0, 0.0),
        feed_kind=np.where(feeds, int(FeedKind.PATH), int(FeedKind.NONE)),
        dwell_s=np.where(kind == Kind.DWELL, 0.5, 0.0),
        role=np.zeros(n, np.int64),
        cut=np.full(n, -1),
        tool=np.array(
            draw(st.lists(st.sampled_from([0, 1, 2, 3, 5, 7]), min_size=n, max_size=n)), np.int64
        ),
        events=tuple(Event(before_block=b, code=c, value=v) for b, c, v in sorted(events)),
        offsets_in=draw(st.sampled_from(["program", "control"])),
    )


DESIGNS = [
    design([]),
    design([rectangle(0.0, 0.0, 60.0, 40.0), circle((30.0, 20.0), 5.0)]),
    design([rounded(0.0, 0.0, 60.0, 40.0, 3.0), lined((0.0, 0.0), (50.0, 1.0))], [KISS, BEVEL]),
    design(
        [circle((30.0, 20.0), 5.0)], plane_map=PlaneMap(affine=np.array([[1, 0, 1e9], [0, 1, 0]]))
    ),
    design(
        [circle((0.0, 0.0), 5.0)], plane_map=PlaneMap(affine=np.array([[1e200, 0, 0], [0, 1, 0]]))
    ),
]


@given(any_motion(), st.sampled_from(DESIGNS), st.sampled_from(["bed", "top"]))
@settings(max_examples=150)
def test_any_motion_ends_in_findings(motion, wanted, reference):
    result = check_program(motion, wanted, replace(TABLE, z_reference=reference), TIGHT)
    assert len(result.worst_mm) == len(wanted.contours)
    assert np.isfinite(result.worst_xy).all()
    if len(wanted.contours):
        assert not result.passed, "no random motion cuts these contours well"


def test_nothing_at_all():
    result = check_program(Program().motion(), design([]), TABLE, TIGHT)
    assert result.passed
    assert result.findings == ()


def test_motion_without_cuts():
    program = Program()
    program.event(EventCode.TOOL, 1)
    program.rapid(x=50.0, y=50.0)
    wanted = design([rectangle(0.0, 0.0, 60.0, 40.0)])
    assert told(check_program(program.motion(), wanted, TABLE, TIGHT)) == [("VER-110", "c0")]


def test_zero_length_blocks_and_dwells_change_nothing():
    wanted = design([rectangle(10.0, 10.0, 60.0, 40.0), circle((120.0, 40.0), 15.0)])
    motion = plan(wanted)
    rows = np.repeat(np.arange(len(motion)), 2)
    second = np.concatenate(([False], rows[1:] == rows[:-1]))
    columns = {
        name: getattr(motion, name)[rows]
        for name in ("end", "feed", "feed_kind", "dwell_s", "role", "cut", "tool")
    }
    doubled = replace(
        motion,
        kind=np.where(second, int(Kind.LINE), motion.kind[rows]),
        centre=np.where(second[:, None], np.nan, motion.centre[rows]),
        sweep_rad=np.where(second, 0.0, motion.sweep_rad[rows]),
        events=(),
        **columns | {"feed": np.where(second, 5.0, motion.feed[rows]),
                     "feed_kind": np.where(second, 1, motion.feed_kind[rows])},
    )  # fmt: skip
    one, two = (check_program(m, wanted, TABLE, TIGHT) for m in (motion, doubled))
    assert told(two) == told(one) == []
    np.testing.assert_allclose(two.worst_mm, one.worst_mm, atol=6e-4)


def test_thousands_of_strays():
    program = Program()
    program.event(EventCode.TOOL, 1)
    for i in range(3000):
        program.rapid(x=float(i % 60) * 20.0, y=float(i // 60) * 20.0, z=TRAVEL)
        program.line(z=-0.3)
        program.rapid(z=TRAVEL)
    result = check_program(program.motion(), design([]), WIDE, TIGHT)
    assert len(result.strays) == 3000
    assert told(result) == [("VER-150", "")]


def test_progress_is_told_and_may_stop_the_check():
    wanted = design([rectangle(10.0, 10.0, 60.0, 40.0)])
    seen = []
    check_program(plan(wanted), wanted, TABLE, TIGHT, progress=lambda *a: seen.append(a))
    assert [done for done, _ in seen] == list(range(1, len(seen) + 1))
    assert {total for _, total in seen} == {len(seen)}

    def stop(done, total):
        msg = f"stopped at {done} of {total}"
        raise CancelledError(msg)

    with pytest.raises(CancelledError):
        check_program(plan(wanted), wanted, TABLE, TIGHT, progress=stop)


def test_arguments_are_left_alone():
    wanted = design([rectangle(10.0, 10.0, 60.0, 40.0)])
    motion = plan(wanted)
    before = (motion.digest, wanted.digest, TABLE.digest)
    check_program(motion, wanted, TABLE, TIGHT)
    assert (motion.digest, wanted.digest, TABLE.digest) == before


# ---------------------------------------------------------------- invariants


def random_job(seed):
    rng = np.random.default_rng(seed)
    paths = [random_outline(rng, 60.0 * i, 0.0) for i in range(2)]
    operations = [THROUGH, KISS] if rng.integers(2) else [THROUGH, THROUGH]
    wanted = design(paths, operations, plane_map=rigid_map(100.0, 200.0, rng.uniform(-3.0, 3.0)))
    motion = plan(wanted)
    if rng.integers(2):
        motion = moved(motion, *rng.uniform(-0.1, 0.1, 2), dc=rng.choice((0.0, 0.03)))
    return wanted, motion


def compare(one, two, *, tolerance=2e-3):
    assert told(one) == told(two)
    for name in ("worst_mm", "uncut_mm", "overcut_part_mm"):
        np.testing.assert_allclose(getattr(one, name), getattr(two, name), atol=tolerance)


@given(
    st.integers(0, 10**6), st.floats(-3.0, 3.0), st.floats(-500.0, 500.0), st.floats(-500.0, 500.0)
)
@settings(max_examples=25)
def test_it_commutes_with_moving_and_turning_the_table(seed, angle, dx, dy):
    wanted, motion = random_job(seed)
    old = wanted.maps[0].affine
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    new = PlaneMap(affine=np.column_stack((turn @ old[:, :2], turn @ old[:, 2] + (dx, dy))))
    one = check_program(motion, wanted, WIDE, TIGHT)
    two = check_program(turned(motion, angle, dx, dy), replace(wanted, maps=(new,)), WIDE, TIGHT)
    compare(one, two)
    for k in np.flatnonzero(one.worst_mm > 0.01):
        back = turn @ one.worst_xy[k] + (dx, dy)
        assert np.isfinite(back).all()


@given(st.integers(0, 10**6))
@settings(max_examples=25)
def test_the_drawn_direction_does_not_matter(seed):
    wanted, motion = random_job(seed)
    other = replace(wanted, nominal=wanted.nominal.reversed_where())
    compare(check_program(motion, wanted, WIDE, TIGHT), check_program(motion, other, WIDE, TIGHT))


@given(st.integers(0, 10**6))
@settings(max_examples=15)
def test_the_order_of_the_contours_does_not_matter(seed):
    wanted, motion = random_job(seed)
    swapped = replace(
        wanted,
        contours=wanted.contours[::-1],
        nominal=wanted.nominal.select([1, 0]),
        operation=wanted.operation[::-1],
        tool=wanted.tool[::-1],
    )
    one, two = (check_program(motion, d, WIDE, TIGHT) for d in (wanted, swapped))
    assert told(one) == told(two)
    np.testing.assert_allclose(one.worst_mm, two.worst_mm[::-1], atol=1e-12)


@given(st.integers(0, 10**6), st.floats(0.002, 0.3), st.floats(-3.1, 3.1))
@settings(max_examples=25)
def test_a_shift_is_measured_as_what_it_is(seed, size, angle):
    """On a closed contour some edge lies across any shift; nothing deviates by more than it."""
    rng = np.random.default_rng(seed)
    wanted = design([circle((100.0, 100.0), rng.uniform(15.0, 40.0))])
    motion = plan(wanted)
    plain = check_program(motion, wanted, WIDE, TIGHT).worst_mm[0]
    result = check_program(
        moved(motion, size * np.cos(angle), size * np.sin(angle)), wanted, WIDE, TIGHT
    )
    # The chord's ends lie outside, so the shift outwards adds up with the chord's own deviation.
    assert size - 1e-3 <= result.worst_mm[0] <= size + plain + 1e-9
    assert result.passed == (result.worst_mm[0] <= TIGHT.cut_mm)
