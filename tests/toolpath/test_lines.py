"""Creasing wheels and pens: where the lowest point goes, how deep, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, pi, radians

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kerfwright.errors import Severity, UnknownNameError, UsageError
from kerfwright.errors.messages import cure_of, load_catalogue, sentence_of
from kerfwright.geometry.paths import PathSet, make_circle, make_path
from kerfwright.model.cut import CutOrder
from kerfwright.model.motion import FeedKind, Kind, Role, ToolMotion
from kerfwright.model.operation import HeadKind, Process
from kerfwright.model.tooling import Pen, Wheel
from kerfwright.toolpath.wheel import contact_half_mm, least_radius_mm, sideways_mm
from toolpath.blade_sweep import distance_mm, positions
from toolpath.shop import SETUP, THROUGH, Job, joined, polygon, rectangle, rings, rounded
from toolpath.test_invariance import PLACED, moved, same

WHEEL = Wheel(
    id="wheel", diameter_mm=20.0, rim_mm=4.0, reference_mm=0.0, free_length_mm=6.0,
    fits=(HeadKind.CREASING_WHEEL,),
)  # fmt: skip
PEN = Pen(id="pen", line_mm=0.7, free_length_mm=2.0, fits=(HeadKind.PEN,))
CREASE = replace(
    THROUGH, process=Process.CREASING, head_kind=HeadKind.CREASING_WHEEL, depth_from="top",
    depth_mm=0.5, tool_id="wheel",
)  # fmt: skip
DRAW = replace(CREASE, process=Process.DRAWING, head_kind=HeadKind.PEN, depth_mm=0.3, tool_id="pen")
ROLL = replace(SETUP, lead_in_mm=2.0, lead_out_mm=3.0, lift_angle_rad=radians(12.0))
ON_LINE_MM = 1e-6


def crease(paths: PathSet, *, wheel=WHEEL, operation=CREASE, setup=ROLL, side=0) -> Job:
    return Job(paths, side, blade=wheel, operation=operation, setup=setup)


def draw(paths: PathSet, *, operation=DRAW, setup=SETUP) -> Job:
    return Job(paths, blade=PEN, operation=operation, setup=setup)


def polyline(*points: tuple[float, float]) -> PathSet:
    return make_path(points, closed=False)


def lowest(motion: ToolMotion, reference_mm: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where the lowest point of the tool goes below lift, its C, and the stroke of each place."""
    at, _, stroke = positions(motion)
    u = np.column_stack((np.cos(at[:, 3]), np.sin(at[:, 3])))
    return np.column_stack((at[:, :2] + reference_mm * u, at[:, 2])), at[:, 3], stroke


@st.composite
def open_lines(draw_) -> PathSet:
    n = draw_(st.integers(2, 5))
    steps = draw_(st.lists(st.tuples(st.floats(-2.5, 2.5), st.floats(4.0, 40.0)), min_size=n))
    heading = np.cumsum([turn for turn, _ in steps])
    way = np.array([length for _, length in steps])
    ends = np.cumsum(np.column_stack((np.cos(heading), np.sin(heading))) * way[:, None], axis=0)
    return make_path(np.vstack(((0.0, 0.0), ends)), closed=False)


@st.composite
def bent_lines(draw_) -> PathSet:
    """Lines and arcs that meet without a corner, with bends the wheel rolls."""
    points, bulges, heading = [np.zeros(2)], [], 0.0
    for _ in range(draw_(st.integers(1, 4))):
        sweep = draw_(st.just(0.0) | st.floats(-2.5, 2.5).filter(lambda a: abs(a) > 0.05))
        length = draw_(st.floats(8.0, 60.0)) + 8.0 * abs(sweep)
        half = sweep / 2.0
        chord = length if sweep == 0.0 else length * np.sin(half) / half
        way = np.array((np.cos(heading + half), np.sin(heading + half)))
        points.append(points[-1] + chord * way)
        bulges.append(np.tan(sweep / 4.0))
        heading += sweep
    return make_path(points, [*bulges, 0.0], closed=False)


CONTOURS = open_lines() | bent_lines() | rings() | st.builds(
    rounded, st.floats(30.0, 60.0), st.floats(30.0, 60.0), st.floats(8.0, 14.0)
)  # fmt: skip
WHEELS = st.floats(-6.0, 6.0).map(lambda at: replace(WHEEL, reference_mm=at)) | st.just(WHEEL)
INSIDE = st.floats(0.0, 5.0)
PASSES = st.integers(1, 3)


@given(CONTOURS, WHEELS, INSIDE, INSIDE, PASSES, st.floats(0.0, 0.99))
@settings(max_examples=80)
def test_the_line_is_rolled_at_full_depth_but_for_the_leads(
    path, wheel, lead_in, lead_out, passes, pick
):
    setup = replace(ROLL, lead_in_mm=lead_in, lead_out_mm=lead_out)
    job = crease(path, wheel=wheel, setup=setup, operation=replace(CREASE, passes=passes))
    made = job.choices()
    assume(len(made.contour))
    row = int(pick * len(made.contour))
    motion = job.cut(row)
    at, c, stroke = lowest(motion, wheel.reference_mm)
    deep = setup.top_z_mm - CREASE.depth_mm * (made.pass_no[row] + 1) / passes
    assert at[:, 2].min() == pytest.approx(deep, abs=1e-12), "as deep as asked"
    assert (at[:, 2] >= deep - 1e-12).all(), "and never deeper"
    touching = at[:, 2] <= setup.top_z_mm
    assert distance_mm(path, at[touching, :2]).max() < ON_LINE_MM
    is_loop = len(np.unique(stroke)) == 1 and bool(path.closed[0]) and path_is_smooth(motion)
    for name in np.unique(stroke):
        _check_stroke(at[stroke == name], c[stroke == name], lead_in, lead_out, deep)
    short = sum(_deep_length(at[stroke == name], deep) for name in np.unique(stroke))
    if is_loop:
        whole = path.lengths_mm()[0]  # the walk takes chords of arcs
        assert short >= whole * (1.0 - 1e-5), "all of a smooth closed line"
    _check_covered(path, at, stroke, deep, lead_in + lead_out)


def path_is_smooth(motion: ToolMotion) -> bool:
    return np.count_nonzero(motion.role == Role.LIFT) == 1


def _check_stroke(at, c, lead_in, lead_out, deep):
    """The wheel points along its way, and leads are as long as asked, or share a short line."""
    way = np.diff(at[:, :2], axis=0)
    length = np.hypot(*way.T)
    goes = length > 1e-9
    middle = (c[1:] + c[:-1])[goes] / 2.0
    along = way[goes] / length[goes, None]
    off = along[:, 1] * np.cos(middle) - along[:, 0] * np.sin(middle)
    assert np.abs(off).max() < 2e-4, "C along the tangent"
    assert (along[:, 0] * np.cos(middle) + along[:, 1] * np.sin(middle) > 0.0).all()
    fall = np.diff(at[:, 2])
    down, up = length[fall < -1e-12].sum(), length[fall > 1e-12].sum()
    share = min(1.0, length.sum() / max(lead_in + lead_out, 1e-9))
    assert down == pytest.approx(lead_in * share, abs=1e-3)
    assert up == pytest.approx(lead_out * share, abs=1e-3)
    assert at[:, 2].min() == pytest.approx(deep, abs=1e-12)


def _deep_length(at, deep):
    level = (at[1:, 2] <= deep + 1e-12) & (at[:-1, 2] <= deep + 1e-12)
    return np.hypot(*np.diff(at[:, :2], axis=0).T)[level].sum()


def _check_covered(path, at, stroke, deep, leads):
    """Points of the line further than the leads from every stroke's end were rolled deep."""
    ends = np.array([at[stroke == name, :2][[0, -1]] for name in np.unique(stroke)]).reshape(-1, 2)
    points = _along(path)
    far = np.hypot(*(points[:, None] - ends).transpose(2, 0, 1)).min(axis=1) > leads
    rolled = at[at[:, 2] <= deep + 1e-12, :2]
    for point in points[far]:
        assert np.hypot(*(rolled - point).T).min() < 0.1, "steps of the walk are 0.05 mm"


def _along(path: PathSet) -> np.ndarray:
    shares = np.linspace(0.01, 0.99, 9)
    points, n = path.points, len(path.points)
    out = []
    for i in range(n if path.closed[0] else n - 1):
        a, b, bulge = points[i], points[(i + 1) % n], path.bulges[i]
        if abs(bulge) < 1e-12:
            out += [a + share * (b - a) for share in shares]
    return np.array(out).reshape(-1, 2)


@given(CONTOURS, WHEELS, st.floats(-4.0, 4.0), st.floats(-4.0, 4.0), PLACED, st.floats(0.0, 0.99))
@settings(max_examples=60)
def test_creases_commute_with_moving_turning_and_mirroring(path, wheel, lead_in, lead_out, m, pick):
    setup = replace(ROLL, lead_in_mm=lead_in, lead_out_mm=lead_out)
    job = crease(path, wheel=wheel, setup=setup)
    made = job.choices()
    assume(len(made.contour))
    other = crease(path.transformed(m), wheel=wheel, setup=setup)
    row = int(pick * len(made.contour))
    same(moved(job.plan(job.order([row], made)), m), other.plan(other.order([row])))
    assert np.allclose(made.time_s, other.choices().time_s, rtol=1e-9)
    assert [f.code for f in made.findings] == [f.code for f in other.choices().findings]


@given(CONTOURS, WHEELS, st.floats(-4.0, 4.0), st.floats(-4.0, 4.0), st.floats(0.0, 0.99))
@settings(max_examples=40)
def test_a_reversed_crease_run_backwards_is_the_crease(path, wheel, lead_in, lead_out, pick):
    setup = replace(ROLL, lead_in_mm=lead_in, lead_out_mm=lead_out)
    job, turned = (
        crease(p, wheel=wheel, setup=setup) for p in (path, path.reversed_where())
    )  # fmt: skip
    made = job.choices()
    assume(len(made.contour))
    row = int(pick * len(made.contour))
    entry, back = float(made.entry_s[row]), bool(made.reversed[row])
    there = (1.0 - entry) if not path.closed[0] else (1.0 - entry) % 1.0
    same(job.plan(_order(entry, back=back)), turned.plan(_order(there, back=not back)))


def _order(entry: float, *, back: bool) -> CutOrder:
    return CutOrder(
        contour=("c0",), operation=("cut",), pass_no=np.zeros(1), entry_s=np.array([entry]),
        reversed=np.array([back]), group=np.zeros(1),
    )  # fmt: skip


@given(
    st.lists(CONTOURS, min_size=1, max_size=3), WHEELS, st.floats(-4.0, 4.0), PASSES,
    st.booleans(), st.data(),
)  # fmt: skip
@settings(max_examples=40)
def test_ends_and_times_are_those_of_the_plan(shapes, wheel, lead, passes, pens, data):
    paths = joined(
        *(p.transformed([[1, 0, 300.0 * i], [0, 1, 0]]) for i, p in enumerate(shapes))
    )  # fmt: skip
    setup = replace(ROLL, lead_in_mm=lead, lead_out_mm=-lead)
    if pens:
        job = draw(paths, operation=replace(DRAW, passes=passes))
    else:
        job = crease(paths, wheel=wheel, setup=setup, operation=replace(CREASE, passes=passes))
    made = job.choices()
    cut = made.contour * passes + made.pass_no
    rows = [int(data.draw(st.sampled_from(np.flatnonzero(cut == c)))) for c in np.unique(cut)]
    motion = job.plan(job.order(rows, made))
    assert np.unique(motion.cut).tolist() == list(range(len(rows)))
    for n, row in enumerate(rows):
        own = motion.end[motion.cut == n]
        assert own[0, [0, 1, 3]].tolist() == made.xyc_in[row].tolist()
        assert own[-1, [0, 1, 3]].tolist() == made.xyc_out[row].tolist()
        assert time_s(motion, n, job.setup) == pytest.approx(made.time_s[row], rel=1e-9)


def time_s(motion: ToolMotion, n: int, setup) -> float:
    """Seconds at feed, from the blocks alone; lifted moves at feed, C at its own rate."""
    total, begins = 0.0, motion.begins()
    for i in np.flatnonzero(motion.cut == n)[1:]:
        d = motion.end[i] - begins[i]
        way = hypot(d[0], d[1])
        if motion.kind[i] == Kind.ARC:
            way = np.hypot(*(motion.end[i, :2] - motion.centre[i])) * abs(motion.sweep_rad[i])
        if motion.kind[i] == Kind.RAPID:
            rates = (setup.feed_mm_s, setup.plunge_mm_s, setup.turn_rad_s)
            total += max(abs(x) / r for x, r in zip((way, d[2], d[3]), rates, strict=True))
        elif motion.feed_kind[i] == FeedKind.ROTARY:
            total += abs(d[3]) / motion.feed[i]
        else:
            total += hypot(way, d[2]) / motion.feed[i]
    return total


@given(open_lines() | bent_lines(), st.floats(-5.0, 5.0), st.floats(-5.0, 5.0))
@settings(max_examples=40)
def test_slopes_never_go_down_or_up_faster_than_a_plunge(path, lead_in, lead_out):
    setup = replace(ROLL, lead_in_mm=lead_in, lead_out_mm=lead_out)
    job = crease(path, setup=setup, operation=replace(CREASE, depth_mm=1.5))
    assume(len(job.choices().contour))
    motion = job.cut()
    d = np.abs(motion.end - motion.begins())
    way = np.hypot(d[:, 0], d[:, 1])
    radius = np.hypot(*(motion.end[:, :2] - motion.centre).T)
    way = np.where(motion.kind == Kind.ARC, radius * np.abs(motion.sweep_rad), way)
    fed = (motion.kind != Kind.RAPID) & (motion.feed_kind == FeedKind.PATH) & (d[:, 2] > 0.0)
    seconds = np.hypot(way, d[:, 2])[fed] / motion.feed[fed]
    assert (d[fed, 2] <= setup.plunge_mm_s * seconds * (1.0 + 1e-9)).all()
    assert (motion.feed[fed] <= setup.feed_mm_s).all()


@pytest.mark.parametrize("reference", [0.0, -5.0, 3.0])
def test_leads_before_and_after_the_line_leave_all_of_it_at_depth(reference):
    setup = replace(ROLL, lead_in_mm=-2.0, lead_out_mm=-3.0)
    wheel = replace(WHEEL, reference_mm=reference)
    at, _, _ = lowest(crease(polyline((0, 0), (40, 0)), wheel=wheel, setup=setup).cut(0), reference)
    assert at[:, 0].min() == pytest.approx(-2.0)
    assert at[:, 0].max() == pytest.approx(43.0)
    deep = at[at[:, 2] <= 2.5 + 1e-12, 0]
    assert (deep.min(), deep.max()) == (pytest.approx(0.0), pytest.approx(40.0))
    assert np.interp([-1.0, 41.5], *at[at[:, 2] <= 3.0][:, [0, 2]].T) == pytest.approx([2.75, 2.75])


def test_it_lifts_at_corners_above_the_lift_angle_and_turns_in_others():
    setup = replace(ROLL, lift_angle_rad=radians(10.0), lead_in_mm=1.0, lead_out_mm=1.0)
    for turn, strokes in ((radians(8.0), 1), (radians(12.0), 2)):
        end = (40.0 + 40.0 * np.cos(turn), 40.0 * np.sin(turn))
        motion = crease(polyline((0, 0), (40, 0), end), setup=setup).cut(0)
        assert np.count_nonzero(motion.role == Role.LIFT) == strokes
        assert np.count_nonzero(motion.role == Role.TURN) == 2 - strokes
        if strokes == 1:
            at = int(np.flatnonzero(motion.role == Role.TURN)[0])
            assert motion.end[at, 3] - motion.begins()[at, 3] == pytest.approx(turn)


def test_passes_go_deeper_by_the_same_share():
    job = crease(polyline((0, 0), (40, 0)), operation=replace(CREASE, depth_mm=1.5, passes=3))
    made = job.choices()
    assert made.before.tolist() == [[0, 1], [1, 2]]
    depths = [3.0 - job.plan(job.order([i], made)).end[:, 2].min() for i in (0, 2, 4)]
    assert depths == pytest.approx([0.5, 1.0, 1.5])


@pytest.mark.reference("half chord of a round blade, sqrt(h (D - h)): D 28, h 2 gives 7.2111")
def test_the_contact_of_a_wheel_is_a_chord_of_its_circle():
    assert contact_half_mm(replace(WHEEL, diameter_mm=28.0), 2.0) == pytest.approx(7.2111, abs=5e-5)
    assert contact_half_mm(WHEEL, 30.0) == 10.0
    assert contact_half_mm(WHEEL, -1.0) == 0.0


@pytest.mark.parametrize("depth", [0.3, 0.8, 1.5])
@pytest.mark.parametrize("diameter", [40.0, 100.0])
def test_bends_below_the_least_radius_are_not_rolled(depth, diameter):
    wheel = replace(WHEEL, diameter_mm=diameter, rim_mm=1.5)
    least = least_radius_mm(wheel, depth)
    half = contact_half_mm(wheel, depth)
    assert hypot(least, half) - least == pytest.approx(sideways_mm(wheel))
    operation = replace(CREASE, depth_mm=depth)
    for factor, held in ((1.05, False), (0.95, True)):
        path = make_circle((5.0, 5.0), factor * least)
        made = crease(path, wheel=wheel, operation=operation).choices()
        assert [f.code for f in made.findings] == ["TLP-305"] * held
        assert bool(len(made.contour)) is not held
    radius = float(made.findings[0].params["radius"])
    assert radius == pytest.approx(least, abs=0.05)


def test_a_bend_drawn_with_short_lines_is_as_tight_as_the_arc():
    """Each corner is small enough to be turned, all together they are not."""
    wheel = replace(WHEEL, diameter_mm=100.0, rim_mm=1.5)
    angle = np.linspace(0.0, pi, 60)
    held = polyline(*(20.0 * np.column_stack((np.cos(angle), np.sin(angle)))))
    assert [f.code for f in crease(held, wheel=wheel).choices().findings] == ["TLP-305"]


STRAIGHT = polyline((0, 0), (40, 0))
BARE = replace(ROLL, lead_in_mm=0.0, lead_out_mm=0.0)
PEN_ONLY = replace(WHEEL, fits=(HeadKind.PEN,))
CASES = [
    (crease(STRAIGHT, wheel=PEN_ONLY), "TLP-301", None, None, ("wheel", "creasing_wheel")),
    (crease(STRAIGHT, operation=replace(CREASE, side="inside")), "TLP-302", None, None,
     ("inside", "wheel")),
    (crease(STRAIGHT, operation=replace(CREASE, depth_mm=3.0)), "TLP-303", 3.0, 3.0, ("3 mm",)),
    (crease(STRAIGHT, wheel=replace(WHEEL, free_length_mm=0.4)), "TLP-304", 0.5, 0.4, ("0.4 mm",)),
    (crease(make_circle((0, 0), 0.5), setup=BARE), "TLP-305", None, 2.0, ("c0", "wheel", "1.4 mm")),
    (crease(polyline((0, 0), (4, 0))), "TLP-306", 4.0, 5.0, ("c0", "4 mm", "5 mm")),
    (crease(make_circle((0, 0), 5.0), setup=replace(ROLL, lead_in_mm=-30.0)), "TLP-307",
     10.0 * pi, 33.0, ("c0", "33 mm")),
    (draw(joined(polyline((0, 0)), STRAIGHT)), "TLP-308", None, None, ("c0",)),
]  # fmt: skip


@pytest.mark.parametrize(("job", "code", "measured", "limit", "words"), CASES)
def test_what_cannot_be_rolled_or_drawn_is_said(job, code, measured, limit, words):
    made = job.choices()
    assert [f.code for f in made.findings] == [code]
    found = made.findings[0]
    assert found.severity is load_catalogue()[code].severity
    if measured is not None:
        assert found.measured == pytest.approx(measured)
    if limit is not None:
        assert found.limit == pytest.approx(limit)
    for text in (sentence_of(found), cure_of(found)):
        assert "{" not in text
        assert "None" not in text
    assert [w for w in words if w not in sentence_of(found)] == []
    kept = {"c1"} if code == "TLP-308" else {"c0"} if found.severity is Severity.WARN else set()
    assert {made.contours[k] for k in made.contour} == kept
    order = _order(0.0, back=False)
    assert [f.code for f in job.plan(order).findings] == [code]
    assert bool(len(job.plan(order))) is ("c0" in kept)


def test_every_finding_of_lines_is_tried():
    assert {c for c in load_catalogue() if c.startswith("TLP-30")} == {case[1] for case in CASES}


@given(CONTOURS | rings(arcs=True), PASSES, st.floats(0.0, 0.99))
@settings(max_examples=60)
def test_a_pen_draws_all_of_a_line_in_one_go_and_leaves_c_alone(path, passes, pick):
    job = draw(path, operation=replace(DRAW, passes=passes))
    made = job.choices()
    assert not made.findings
    row = int(pick * len(made.contour))
    motion = job.cut(row)
    assert np.count_nonzero(motion.role == Role.LIFT) == 1
    assert not (motion.end[:, 3] != 0.0).any()
    assert not (motion.role == Role.TURN).any()
    assert motion.role[[0, 1]].tolist() == [Role.LINK, Role.PLUNGE]
    at, _, _ = lowest(motion, 0.0)
    down = at[:, 2] <= 3.0
    assert distance_mm(path, at[down, :2]).max() < ON_LINE_MM
    assert at[:, 2].min() == pytest.approx(3.0 - 0.3 * (made.pass_no[row] + 1) / passes)
    for point in np.vstack((_along(path), path.points)):
        assert np.hypot(*(at[down, :2] - point).T).min() < 0.1
    if not path.closed[0]:
        ends = path.points[[-1, 0] if made.reversed[row] else [0, -1]]
        assert np.abs(motion.end[[0, -1], :2] - ends).max() < ON_LINE_MM


@given(CONTOURS, PLACED, st.floats(0.0, 0.99))
@settings(max_examples=30)
def test_pen_lines_commute_with_moving_turning_and_mirroring(path, m, pick):
    job, other = draw(path), draw(path.transformed(m))
    made = job.choices()
    row = int(pick * len(made.contour))
    one, two = moved(job.cut(row), m), other.cut(row)
    assert one.kind.tolist() == two.kind.tolist()
    assert np.abs(one.end[:, :3] - two.end[:, :3]).max() < 1e-6
    assert np.abs(one.sweep_rad - two.sweep_rad).max() < 1e-6


def test_wrong_use_is_refused_in_a_sentence():
    job = crease(joined(STRAIGHT, rectangle(60, 0, 40, 20)))
    order = job.order([0])
    with pytest.raises(UsageError, match="pass 3"):
        job.plan(replace(order, pass_no=np.array([3])))
    with pytest.raises(UnknownNameError, match="contour c9"):
        job.plan(replace(order, contour=("c9",)))
    job.work["contours"] = ("a", "a")
    with pytest.raises(UsageError, match="stands for two"):
        job.choices()


def test_no_contour_at_all_is_no_trouble():
    job = crease(polygon((0, 0), (40, 0), (40, 30)))
    made = job.plan(replace(_order(0.0, back=False), operation=("other",)))
    assert len(made) == 0
