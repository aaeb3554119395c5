"""Creases and pen lines: clean programs pass, planted faults are found."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, sin

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kerfwright.errors import ModelError
from kerfwright.errors.messages import cure_of, sentence_of
from kerfwright.geometry.paths import PathSet, join_sets, make_circle, make_path
from kerfwright.geometry.plane_map import rigid_map
from kerfwright.model.motion import Kind
from tests.verify.bench import BLADE
from tests.verify.bench import operation as knife
from tests.verify.lines_maker import CREASE, DRAW, WHEEL, Lines, aside, codes, deepened
from tests.verify.planner import moved
from toolpath.test_lines import CONTOURS

STRAIGHT = make_path([(200, 200), (400, 200)], closed=False)
LINES = join_sets(
    [
        STRAIGHT,
        make_path([(200, 300), (400, 300), (400, 420)], closed=False),
        make_circle((700.0, 400.0), 150.0),
        make_path([(900, 200), (1100, 200), (1299, 210)], closed=False),
        make_path([(200, 600), (420, 600), (420, 700), (200, 700)], closed=True),
        make_path([(600, 700), (700, 700), (800, 800)], [0.0, 0.3, 0.0], closed=False),
    ]
)


def placed(path: PathSet, turn: float) -> PathSet:
    return path.transformed([[cos(turn), -sin(turn), 1200.0], [sin(turn), cos(turn), 800.0]])


LEADS = st.just(0.0) | st.floats(-6.0, 6.0).filter(lambda way: abs(way) > 0.3)
REFERENCES = st.sampled_from([0.0, -3.0, 2.5])


@pytest.mark.parametrize("operation", [CREASE, DRAW], ids=["wheel", "pen"])
@pytest.mark.parametrize("pick", [0.0, 0.99])
def test_lines_as_the_catalogue_sets_them_pass(operation, pick):
    lines = Lines(LINES, operation)
    result = lines.check(lines.motion(pick))
    assert result.passed, [sentence_of(f) for f in result.findings]
    assert not result.findings
    assert result.worst_mm.max() < 1e-3
    assert result.uncut_mm.max() == pytest.approx(0.0, abs=5e-3)


@given(
    CONTOURS, REFERENCES, LEADS, LEADS, st.integers(1, 2), st.floats(0.0, 0.99),
    st.floats(-pi, pi),
)  # fmt: skip
@settings(max_examples=25)
def test_whatever_is_rolled_passes(path, reference, lead_in, lead_out, passes, pick, turn):
    lines = Lines(
        placed(path, turn), replace(CREASE, passes=passes),
        tool=replace(WHEEL, reference_mm=reference), lead_in_mm=lead_in, lead_out_mm=lead_out,
    )  # fmt: skip
    assume(len(lines.choices().contour))
    result = lines.check(lines.motion(pick))
    assert result.passed, [sentence_of(f) for f in result.findings]


@given(CONTOURS, st.integers(1, 2), st.floats(0.0, 0.99), st.floats(-pi, pi))
@settings(max_examples=25)
def test_whatever_is_drawn_passes_wherever_c_is(path, passes, pick, turn):
    lines = Lines(placed(path, turn), replace(DRAW, passes=passes))
    motion = lines.motion(pick)
    assert lines.check(motion).passed, [sentence_of(f) for f in lines.check(motion).findings]
    end = motion.end.copy()
    end[:, 3] = np.linspace(0.0, 40.0, len(end))
    assert lines.check(replace(motion, end=end)).passed


FAULTS = st.sampled_from(["none", "aside", "shallow", "askew"])


@given(CONTOURS, FAULTS, LEADS, st.floats(-pi, pi))
@settings(max_examples=15)
def test_moving_and_turning_the_whole_changes_nothing(path, fault, lead, turn):
    # An askew lead outside is far off: whether it counts as past the end hangs on the last digit.
    lead_in = abs(lead) if fault == "askew" else lead
    lines = Lines(placed(path, 0.0), lead_in_mm=lead_in, lead_out_mm=abs(lead))
    assume(len(lines.choices().contour))
    motion = spoilt(lines.motion(), fault)
    x, y = 1200.0 * cos(turn) - 800.0 * sin(turn), 1200.0 * sin(turn) + 800.0 * cos(turn)
    m = rigid_map(1231.0 - x, 783.0 - y, turn)
    other = replace(
        motion,
        start=m_of(m, turn, motion.start), end=m_of(m, turn, motion.end),
        centre=m.map_points(np.nan_to_num(motion.centre)),
    )  # fmt: skip
    one, two = lines.check(motion), lines.check(other, lines.design(m))
    # The bed and the reach of the heads stay where they are.
    assert [[c for c in codes(r) if c < "VER-160"] for r in (one, two)] == [codes(one)] * 2
    assert one.worst_mm == pytest.approx(two.worst_mm, abs=1e-3)
    assert one.uncut_mm == pytest.approx(two.uncut_mm, abs=1e-3)


def m_of(m, turn, at):
    out = at.copy()
    out[..., :2] = m.map_points(at[..., :2].reshape(-1, 2)).reshape(at[..., :2].shape)
    out[..., 3] += turn
    return out


def spoilt(motion, fault: str):
    if fault == "aside":
        return aside(motion, 0.2, 0.3)
    if fault == "shallow":
        return deepened(motion, -0.3)
    return moved(motion, dc=0.1) if fault == "askew" else motion


BOTH = pytest.mark.parametrize("operation", [CREASE, DRAW], ids=["wheel", "pen"])


@BOTH
@pytest.mark.parametrize(("dx", "dy"), [(0.0, 0.3), (0.0, -0.3)])
def test_off_to_the_side(operation, dx, dy):
    lines = Lines(STRAIGHT, operation)
    result = lines.check(aside(lines.motion(), dx, dy))
    assert codes(result) == ["VER-113"]
    assert result.worst_mm[0] == pytest.approx(0.3, abs=1e-3)


@BOTH
@pytest.mark.parametrize("lead", [4.0, 0.0, -4.0])
@pytest.mark.parametrize("end", [(399, 200), (401, 200)], ids=["short", "long"])
def test_a_millimetre_short_or_long_at_an_end(operation, lead, end):
    if operation is DRAW and lead != 0.0:
        return
    leads = {"lead_in_mm": lead, "lead_out_mm": lead} if operation is CREASE else {}
    whole = Lines(STRAIGHT, operation, **leads)
    made = Lines(make_path([(200, 200), end], closed=False), operation, **leads)
    result = whole.check(made.motion())
    assert not result.passed
    if end == (399, 200):
        # Besides the millimetre, what of a slope is too shallow counts as well.
        assert {"VER-111", "VER-120"} & set(codes(result))
        assert 0.7 < result.uncut_mm[0] < 1.8
    else:
        assert set(codes(result)) <= {"VER-113", "VER-114"}


@BOTH
@pytest.mark.parametrize(("by", "code"), [(0.2, "VER-121"), (-0.2, "VER-120")])
def test_two_tenths_too_deep_or_too_shallow(operation, by, code):
    lines = Lines(LINES, operation)
    result = lines.check(deepened(lines.motion(), by))
    assert codes(result) == [code]
    assert len(result.findings) == len(LINES)
    assert result.findings[0].measured == pytest.approx(0.2, abs=1e-3)
    assert lines.check(deepened(lines.motion(), by / 4.0)).passed


def test_a_crease_that_goes_through():
    lines = Lines(STRAIGHT)
    result = lines.check(deepened(lines.motion(), 1.7))
    assert "VER-121" in codes(result)


def test_a_wheel_askew():
    lines = Lines(LINES)
    result = lines.check(moved(lines.motion(), dc=0.1))
    assert "VER-140" in codes(result)
    said = [f for f in result.findings if f.code == "VER-140"]
    assert len(said) == len(LINES)
    assert said[0].measured == pytest.approx(0.1, abs=1e-3)


def test_a_wheel_askew_in_a_lead_outside_only():
    lines = Lines(STRAIGHT, lead_in_mm=-4.0, lead_out_mm=-4.0)
    motion = lines.motion()
    end = motion.end.copy()
    first = int(np.flatnonzero((end[:, 2] < 2.0) & (end[:, 2] > 0.0))[0])
    end[first - 2 : first + 1, 3] += 0.1
    assert not lines.check(replace(motion, end=end)).passed


@BOTH
def test_the_wrong_tool(operation):
    lines = Lines(LINES, operation)
    motion = lines.motion()
    number = {CREASE: 7, DRAW: 6}[operation] if operation is CREASE else 6
    events = tuple(
        replace(e, value=float(number)) if e.code.value == "tool" else e for e in motion.events
    )
    wrong = replace(motion, tool=np.where(motion.tool > 0, number, 0), events=events)
    said = [f for f in lines.check(wrong).findings if f.code == "VER-130"]
    assert len(said) == len(LINES)


@BOTH
@pytest.mark.parametrize("k", range(len(LINES)))
def test_a_line_left_out(operation, k):
    rest = Lines(LINES.select([i for i in range(len(LINES)) if i != k]), operation)
    result = Lines(LINES, operation).check(rest.motion())
    assert codes(result) == ["VER-110"]
    assert [f.where.contour for f in result.findings] == [f"c{k}"]


@BOTH
@pytest.mark.parametrize("k", range(len(LINES)))
def test_a_line_done_twice(operation, k):
    twice = Lines(join_sets([LINES, LINES.select([k])]), operation)
    result = Lines(LINES, operation).check(twice.motion())
    assert codes(result) == ["VER-112"]
    assert [f.where.contour for f in result.findings] == [f"c{k}"]


@pytest.mark.parametrize("lead", [4.0, -4.0])
def test_a_lead_longer_than_asked_for(lead):
    """Inside the line it leaves more of it shallow; outside it is off the line."""
    asked = Lines(STRAIGHT, lead_in_mm=lead, lead_out_mm=lead)
    made = Lines(STRAIGHT, lead_in_mm=lead * 1.25, lead_out_mm=lead)
    said = codes(asked.check(made.motion()))
    assert said == ["VER-120"] if lead > 0.0 else {"VER-113", "VER-150"} & set(said)


@pytest.mark.parametrize("which", ["lead_in_mm", "lead_out_mm"])
@pytest.mark.parametrize("lead", [4.0, -4.0])
def test_a_wheel_set_straight_down_where_it_should_roll(which, lead):
    asked = Lines(STRAIGHT, lead_in_mm=lead, lead_out_mm=lead)
    made = Lines(STRAIGHT, **{"lead_in_mm": lead, "lead_out_mm": lead, which: 0.0})
    result = asked.check(made.motion())
    assert codes(result) == ["VER-145"]
    found = result.findings[0]
    assert found.measured == pytest.approx(1.5, abs=1e-3)
    way = "down" if which == "lead_in_mm" else "up"
    assert f"goes {way} 1.5" in sentence_of(found)
    assert cure_of(found)


def test_a_drop_in_the_middle_of_a_lead():
    lines = Lines(STRAIGHT)
    motion = lines.motion()
    end = motion.end.copy()
    i = int(np.flatnonzero(np.abs(end[:, 2] - 1.5) < 1e-6)[0])
    end[i - 1, 2] -= 0.5  # touches down half a millimetre deep
    result = lines.check(replace(motion, end=end))
    assert codes(result) == ["VER-145"]
    assert result.findings[0].measured == pytest.approx(0.5, abs=1e-3)


def test_a_wheel_turned_on_the_spot_at_depth():
    bent = make_path([(200, 300), (400, 300), (590, 330)], closed=False)
    wide = replace(WHEEL, rim_mm=6.0)
    made = Lines(bent, tool=wide, lift_angle_rad=0.5)
    assert made.check().passed
    result = Lines(bent).check(made.motion())
    assert codes(result) == ["VER-146"]
    found = result.findings[0]
    assert found.measured == pytest.approx(np.arctan2(30, 190), abs=1e-3)
    assert "1.500 mm deep" in sentence_of(found)


@pytest.mark.parametrize(("gap", "enters"), [(1.0, True), (4.5, False)])
def test_leads_outside_of_a_line_stay_out_of_other_parts(gap, enters):
    """A crease ends at the edge of its part, and the next part lies so far away."""
    outline = make_path([(150, 150), (400, 150), (400, 250), (150, 250)], closed=True)
    other = outline.transformed([[1, 0, 250.0 + gap], [0, 1, 0]])
    paths = join_sets([STRAIGHT, outline, other])
    lines = Lines(STRAIGHT, lead_in_mm=4.0, lead_out_mm=-4.0)
    design = lines.design(
        contours=("c0", "c1", "c2"), nominal=paths, operations=(CREASE, knife()),
        operation=np.array([0, 1, 1]), tools=(WHEEL, BLADE), tool=np.array([0, 1, 1]),
        map=np.zeros(3), leads_mm=np.array([[4.0, -4.0], [0.0, 0.0]]),
    )  # fmt: skip
    result = lines.check(design=design)
    said = [f for f in result.findings if f.where.contour == "c0"]
    assert [f.code for f in said] == ["VER-147"] * enters
    if enters:
        assert said[0].measured == pytest.approx(4.0 - gap, abs=0.06)
        assert "into another part" in sentence_of(said[0])


@pytest.mark.parametrize(("x", "enters"), [(402.0, True), (405.0, False)])
def test_leads_outside_of_a_line_stay_out_of_keep_outs(x, enters):
    keep_out = make_path([(x, 190), (x + 9, 190), (x + 9, 210), (x, 210)], closed=True)
    lines = Lines(STRAIGHT, lead_in_mm=4.0, lead_out_mm=-4.0)
    result = lines.check(design=lines.design(keep_outs=keep_out))
    assert codes(result) == ["VER-154"] * enters


def test_a_wheel_that_rolls_along_above_the_sheet_is_too_low():
    lines = Lines(STRAIGHT)
    motion = lines.motion()
    end = motion.end.copy()
    end[end[:, 2] < 3.0, 2] = 3.0
    assert "VER-153" in codes(lines.check(replace(motion, end=end)))


def test_a_rapid_along_the_slope_is_found():
    lines = Lines(STRAIGHT)
    motion = lines.motion()
    kind, feed_kind = motion.kind.copy(), motion.feed_kind.copy()
    i = int(np.flatnonzero(np.abs(motion.end[:, 2] - 1.5) < 1e-6)[0])
    kind[i], feed_kind[i] = Kind.RAPID, 0
    feed = np.where(kind == Kind.RAPID, 0.0, motion.feed)
    result = lines.check(replace(motion, kind=kind, feed=feed, feed_kind=feed_kind))
    assert "VER-151" in codes(result)


def test_leads_are_given_for_each_operation_or_not_at_all():
    lines = Lines(STRAIGHT)
    with pytest.raises(ModelError, match="2 rows for 1 operations"):
        lines.design(leads_mm=np.zeros((2, 2)))
    assert lines.design(leads_mm=np.zeros((0, 2))).row_leads_mm.tolist() == [[0.0, 0.0]]


def test_without_leads_in_the_design_slopes_are_too_shallow():
    lines = Lines(STRAIGHT)
    result = lines.check(design=lines.design(leads_mm=np.zeros((0, 2))))
    assert codes(result) == ["VER-120"]
