"""One hand-built instance of every record of the model, each with all its fields filled."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.paths import empty_paths, join_sets, make_circle, make_path
from kerfwright.geometry.plane_map import PlaneMap, rigid_map
from kerfwright.geometry.uncertain_map import MapNode, UncertainMap
from kerfwright.model.cut import CutChoices, CutOrder, CutSetup
from kerfwright.model.design import Design, Tolerances
from kerfwright.model.dialect import Dialect
from kerfwright.model.drawing import ArtRef, Drawing, Stroke, UnitCandidate
from kerfwright.model.fit import SheetFit
from kerfwright.model.hold import HoldMode, HoldReport
from kerfwright.model.job import Job, JobChoices, JobInput, MarkChoices
from kerfwright.model.marks import FoundMarks, MarkLayout, MarkMatch, Photo, View
from kerfwright.model.material import Material, Range, Setting, SettingCard
from kerfwright.model.motion import Event, EventCode, FeedKind, Kind, Role, TimedMotion, ToolMotion
from kerfwright.model.operation import HeadKind, Operation, Process, Tolerance
from kerfwright.model.part import Part
from kerfwright.model.prior import PrintPrior
from kerfwright.model.routing import Routing, Tabs
from kerfwright.model.rules import Rule, RuleTable
from kerfwright.model.run import Release, SheetRun, SheetState, StageResult, StageState
from kerfwright.model.sheet import Layout, Sheet
from kerfwright.model.table import (
    Calibration,
    Head,
    Limits,
    LoadPose,
    Pump,
    Station,
    Table,
    Zone,
)
from kerfwright.model.tooling import Blade, Cutter, Pen, Wheel
from kerfwright.model.verdict import ErrorBudget, PlacedLines, Verdict, VerdictState
from kerfwright.model.verification import Verification

SHA = "0123456789abcdef" * 4

SQUARE = make_path([(0, 0), (100, 0), (100, 80), (0, 80)], closed=True)
CIRCLE = make_circle((50, 40), 12.5)
LINE = make_path([(5, 5), (20, 5)], [0.25, 0.0], closed=False)
THREE = join_sets([SQUARE, CIRCLE, LINE])

FINDING = Finding(
    code="ART-999",
    severity=Severity.HOLDS_PART,
    where=Place(
        stage="artwork",
        file="a.dxf",
        page=1,
        line=7,
        sheet="s1",
        contour="c2",
        xy_mm=(1.5, -0.0),
        frame="sheet",
    ),
    measured=0.1,
    limit=0.3,
    unit="mm",
    cure="ART-998",
    params={"what": "loop", "count": 3, "share": 0.5},
)

RANGE = Range(low=2.8, high=3.2, unit="mm", source="common practice, no source", date="2026-01-31")
SETTING = Setting(value=3.0, range=RANGE)
MATERIAL = Material(
    id="board-3", name="Board", kind="pvc_foam", thickness_mm=RANGE, ranges={"curl_mm": RANGE}
)
CARD = SettingCard(
    id="board-3-through",
    material_id="board-3",
    thickness_mm=RANGE,
    process=Process.CUTTING,
    head_kind=HeadKind.TANGENTIAL_KNIFE,
    tool_id="steep",
    values={"feed_mm_s": SETTING},
    proven_on="2026-02-01",
    by="A. Operator",
)
TOLERANCE = Tolerance(print_mm=0.5, size_mm=0.25)
THROUGH = Operation(
    id="through",
    process=Process.CUTTING,
    head_kind=HeadKind.TANGENTIAL_KNIFE,
    tool_id="steep",
    card_id="board-3-through",
    depth_mm=-0.3,
    depth_from="bottom",
    passes=2,
    tolerance_mm=TOLERANCE,
    feed_mm_s=120.0,
)
KISS = Operation(
    id="kiss",
    process=Process.PARTIAL_CUTTING,
    head_kind=HeadKind.OSCILLATING_KNIFE,
    tool_id="steep",
    card_id="board-3-kiss",
    side="on",
    depth_mm=0.14,
    depth_from="top",
    tolerance_mm=TOLERANCE,
    fidelity="print",
    quality="fine",
)
RULE = Rule(layer="outline", colour="#00ff00", name="Structural/Cutting", operation="through")
RULES = RuleTable(rules=(RULE, Rule(operation="")), operations=(THROUGH, KISS))
ART = ArtRef(sha256=SHA, page=2, box_mm=(0.0, 0.0, 100.0, 80.0))
STROKE = Stroke(colour="#00ff00", width_mm=0.25)
CANDIDATE = UnitCandidate(unit="in", width_mm=2540.0, height_mm=2032.0, evidence="header")
DRAWING = Drawing(
    paths=THREE,
    ids=("c1", "c2", "c3"),
    source=("LWPOLYLINE 2F", "CIRCLE 30", "ARC 31 in block b"),
    layer=("outline", "holes", ""),
    separation=("", "", "Cut"),
    step=("", "", "Structural/Cutting"),
    stroke=(STROKE, Stroke(), Stroke()),
    parent=np.array([-1, 0, 0]),
    art=ART,
    unit="mm",
    unit_is_certain=False,
    unit_candidates=(CANDIDATE,),
    fit_tolerance_mm=0.001,
    findings=(FINDING,),
)
PART = Part(
    id="p1",
    paths=THREE,
    contour_ids=("c1", "c2", "c3"),
    operations=(THROUGH, KISS),
    operation=np.array([0, 0, 1]),
    outline=0,
    quantity=2,
    priority=1,
    rotations_rad=(0.0, pi),
    mirror_ok=True,
    bleed_mm=3.0,
    art=ART,
)
SHEET = Sheet(
    id="s1",
    outline=make_path([(0, 0), (500, 0), (500, 300), (0, 300)], closed=True),
    holes=CIRCLE,
    keep_outs=SQUARE,
    thickness_mm=3.0,
    material_id="board-3",
    grain_rad=0.5,
    margin_mm=10.0,
    cost=12.5,
)
LAYOUT = Layout(
    sheets=(SHEET, replace(SHEET, id="s2", holes=empty_paths())),
    part=np.array([0, 0]),
    sheet=np.array([0, 1]),
    sheet_from_part=np.array(
        [[[1.0, 0.0, 20.0], [0.0, 1.0, 30.0]], [[0.0, -1.0, 250.0], [1.0, 0.0, 30.0]]]
    ),
    unplaced=("p7",),
    density=0.4,
)
BLADE = Blade(
    id="steep",
    width_mm=6.0,
    lead_rad=pi / 3,
    trail_rad=pi / 2,
    tip_mm=0.2,
    reference_mm=0.5,
    bevel="both",
    free_length_mm=12.0,
    fits=(HeadKind.TANGENTIAL_KNIFE,),
    source="common practice, no source",
)
LIMITS = Limits(
    speed=np.array([800.0, 700.0, 150.0, 15.0]),
    acceleration=np.array([2500.0, 3000.0, 1500.0, 150.0]),
    jump=np.array([8.0, 8.0, 5.0, 0.0]),
    rapid_mm_s=900.0,
    block_time_s=0.001,
)
CAMERA = Head(
    id="eye",
    kind=HeadKind.CAMERA,
    offset_mm=np.zeros(3),
    offset_cov_mm2=np.zeros((3, 3)),
    c_zero_rad=0.0,
    c_limits_rad=None,
    mass_kg=1.0,
    depth_kind="bed",
    tools=(),
    reach=(0.0, 0.0, 2000.0, 1000.0),
    z_travel_mm=(0.0, 60.0),
)
KNIFE = Head(
    id="straight",
    kind=HeadKind.TANGENTIAL_KNIFE,
    offset_mm=np.array([-80.0, 3.0, 0.5]),
    offset_cov_mm2=np.diag([0.01, 0.01, 0.02]),
    c_zero_rad=0.01,
    c_limits_rad=(-6 * pi, 6 * pi),
    mass_kg=4.0,
    depth_kind="foot",
    tools=("steep",),
    reach=(0.0, 0.0, 2000.0, 1000.0),
    z_travel_mm=(-3.0, 60.0),
)
STATION = Station(number=1, head_id="straight", tool_id="steep")
ZONE = Zone(number=1, box_mm=(0.0, 0.0, 1000.0, 1000.0))
PUMP = Pump(id="blower", kind="blower", vacuum_kpa=RANGE, flow_m3_h=RANGE)
POSE = LoadPose(x_mm=60.0, y_mm=50.0, turn_rad=0.02)
CALIBRATION = Calibration(name="offset", value=0.02, unit="mm", date="2026-01-31", by="A. Operator")
TABLE = Table(
    id="pier",
    name="A table",
    bed=(0.0, 0.0, 2000.0, 1000.0),
    bed_surface="mat",
    bed_surface_mm=3.0,
    axes=LIMITS,
    gantry_kg=60.0,
    heads=(CAMERA, KNIFE),
    stations=(STATION,),
    zones=(ZONE, Zone(number=2, box_mm=(1000.0, 0.0, 2000.0, 1000.0))),
    pump=PUMP,
    control="offsets-in-program-arcs",
    load_pose=POSE,
    z_reference="bed",
    travel_z_mm=25.0,
    clearance_mm=1.0,
    calibration=(CALIBRATION,),
    vacuum={"zone_leak_m3_h": RANGE},
)
SETUP = CutSetup(
    bottom_z_mm=0.0,
    top_z_mm=3.0,
    feed_mm_s=300.0,
    plunge_mm_s=60.0,
    turn_rad_s=15.0,
    lift_angle_rad=0.2,
    lift_z_mm=4.5,
    side_offset_mm=-0.05,
    stroke_hz=120.0,
    tolerance_mm=0.03,
)
CHOICES = CutChoices(
    contours=("c1", "c2"),
    operation="through",
    contour=np.array([0, 0, 1]),
    pass_no=np.array([0, 0, 0]),
    entry_s=np.array([0.0, 0.5, 1.0]),
    reversed=np.array([False, True, False]),
    xyc_in=np.arange(9.0).reshape(3, 3),
    xyc_out=np.arange(9.0, 18.0).reshape(3, 3),
    time_s=np.array([1.0, 2.0, 0.0]),
    before=np.array([[1, 0]]),
    findings=(FINDING,),
)
ORDER = CutOrder(
    contour=("c2", "c1", "c1"),
    operation=("through", "through", "kiss"),
    pass_no=np.array([0, 1, 0]),
    entry_s=np.array([0.0, 0.25, 1.0]),
    reversed=np.array([True, False, False]),
    group=np.array([0, 0, 1]),
    lower_bound_s=0.5,
)
MOTION = ToolMotion(
    frame="table",
    start=np.array([0.0, 0.0, 25.0, 0.0]),
    kind=np.array([Kind.RAPID, Kind.LINE, Kind.ARC, Kind.DWELL, Kind.LINE]),
    end=np.array(
        [
            [10.0, 0.0, 25.0, 0.0],
            [10.0, 0.0, -0.3, 0.0],
            [10.0, 20.0, -0.3, pi],
            [10.0, 20.0, -0.3, pi],
            [10.0, 20.0, -0.3, -0.0],
        ]
    ),
    centre=np.array([[np.nan] * 2, [np.nan] * 2, [10.0, 10.0], [np.nan] * 2, [np.nan] * 2]),
    sweep_rad=np.array([0.0, 0.0, pi, 0.0, 0.0]),
    feed=np.array([0.0, 60.0, 300.0, 0.0, 15.0]),
    feed_kind=np.array(
        [FeedKind.NONE, FeedKind.PATH, FeedKind.PATH, FeedKind.NONE, FeedKind.ROTARY]
    ),
    dwell_s=np.array([0.0, 0.0, 0.0, 0.25, 0.0]),
    role=np.array([Role.LINK, Role.PLUNGE, Role.CUT, Role.CUT, Role.TURN]),
    cut=np.array([-1, 0, 0, 0, 0]),
    tool=np.array([1, 1, 1, 1, 1]),
    events=(
        Event(before_block=0, code=EventCode.TOOL, value=1.0),
        Event(before_block=5, code=EventCode.VACUUM, value=-1.0),
    ),
    text_sha="",
    offsets_in="control",
    findings=(FINDING,),
)
TIMED = TimedMotion(
    motion=MOTION,
    s=np.array([0.0, 5.0, 10.0]),
    v=np.array([0.0, 40.0, 0.0]),
    block=np.array([0, 0, 1]),
    binding=np.array([1, 0, 5]),
    time_low_s=1.0,
    time_high_s=1.001,
    by_cause={"feed": 0.5, "corner": 0.501},
    by_cut=np.array([1.0]),
    block_s=np.array([0.1, 0.2, 0.4, 0.25, 0.051]),
    findings=(FINDING,),
)
DIALECT = Dialect(
    id="mirrored-x",
    swap_xy=True,
    sign_x=-1,
    sign_y=1,
    sign_z=-1,
    sign_c=1,
    c_zero_rad=0.1,
    offsets_in="program",
    arcs=False,
    arc_chord_mm=0.002,
    c_feed="inverse_time",
    decimals_mm=3,
    decimals_deg=5,
    line_numbers=True,
    max_line_chars=60,
    max_lines=5000,
    words={"tool": "T{value} M6", "end": "M30"},
)
TOLERANCES = Tolerances(cut_mm=0.05)
MAP = PlaneMap(
    affine=np.array([[1.001, 0.0, 60.0], [0.0, 0.999, 50.0]]),
    bow=np.array([[0.0, -1e-7, 0.0], [5e-8, 0.0, 0.0]]),
    steps=np.array([[1.0, 200.0, 0.1, -0.02]]),
    blend_mm=4.0,
    centres=np.array([[10.0, 10.0]]),
    weights=np.array([[1e-9, -1e-9]]),
    domain=(0.0, 0.0, 500.0, 300.0),
)
DESIGN = Design(
    contours=("c1", "c2", "c3"),
    nominal=THREE,
    operations=(THROUGH, KISS),
    operation=np.array([0, 0, 1]),
    tools=(BLADE, replace(BLADE, id="blunt", bevel="left")),
    tool=np.array([0, 0, 1]),
    maps=(MAP, rigid_map(60.0, 50.0, 0.02)),
    map=np.array([0, 0, 1]),
    bottom_z_mm=0.0,
    top_z_mm=3.0,
    travel_z_mm=25.0,
    keep_outs=CIRCLE,
    leads_mm=np.array([[0.0, 0.0], [5.0, -3.0]]),
)
VERIFICATION = Verification(
    program_sha=SHA,
    passed=False,
    contour=("c1", "c2"),
    worst_mm=np.array([0.01, 0.02]),
    worst_xy=np.array([[1.0, 2.0], [3.0, -4.0]]),
    uncut_mm=np.array([0.0, 0.5]),
    overcut_part_mm=np.array([0.0, 0.1]),
    overcut_waste_mm=np.array([0.2, 0.0]),
    strays=((5.0, 6.0),),
    limit_violations=("y is 12 mm beyond reach",),
    collisions=("a tip is too low",),
    findings=(FINDING,),
)
MARKS = MarkLayout(
    sheet="s1",
    xy=np.array([[20.0, 20.0], [480.0, 25.0], [470.0, 280.0], [30.0, 260.0]]),
    diameter_mm=6.0,
    quiet_mm=3.0,
    id="m1",
    ambiguity=2,
    losses_tolerated=1,
    worst_sd_mm=0.04,
    zones=CIRCLE,
    findings=(FINDING,),
)
PHOTO = Photo(
    image_sha=SHA,
    camera_xy_mm=np.array([80.0, 70.0]),
    px_per_mm=10.0,
    turn_rad=0.01,
    size_px=(1600, 1200),
    taken_at="2026-01-31T08:00:00Z",
)
FOUND = FoundMarks(
    xy=np.array([[200.0, 300.0], [900.5, 310.25]]),
    cov=np.array([[[1e-4, 0.0], [0.0, 2e-4]], [[3e-4, 1e-5], [1e-5, 1e-4]]]),
    score=np.array([1.0, 0.8]),
    diameter_px=np.array([60.0, 60.2]),
    findings=(FINDING,),
)
MATCH = MarkMatch(
    pairs=np.array([[0, 1], [1, 3]]),
    is_ambiguous=False,
    mirrored=True,
    table_from_sheet=np.array([[1.001, 0.0, 60.0], [0.0, 0.999, 50.0]]),
    votes=4,
    rival_votes=2,
    scale=(1.001, 0.999),
    findings=(FINDING,),
)
VIEW = View(camera_xy_mm=np.array([500.0, 80.0]), mark=1, search_mm=12.0)
PRIOR = PrintPrior(growth_sd=0.001)
NODE = MapNode(weight=1.0, map=MAP, factor=1e-3 * np.eye(12), dof=5.0, model="affine")
UNCERTAIN = UncertainMap(
    nodes=(NODE,), centre=np.array([250.0, 150.0]), length_mm=250.0, domain=(0.0, 0.0, 500.0, 300.0)
)
FIT = SheetFit(
    table_from_sheet=UNCERTAIN,
    marks=MARKS.xy,
    measured=MARKS.xy + 50.0,
    used=np.array([True, True, True, False]),
    residual=np.full((4, 2), 0.01),
    leave_one_out=np.full((4, 2), 0.02),
    noise_sd_mm=0.02,
    spare=2,
    undetectable_mm=0.15,
    mirrored=False,
    findings=(FINDING,),
)
BUDGET = ErrorBudget(
    head_cov_mm2=np.diag([1e-3, 2e-3]),
    repeat_sd_mm=0.02,
    motion_sd_mm={"tangential_knife": 0.015},
    other=(("feed step", 0.04),),
)
LINES = PlacedLines(
    contours=("c1", "c2", "c3"),
    paths=THREE,
    fidelity=("print", "size", "size"),
    print_mm=np.array([0.5, 0.5, 0.25]),
    size_mm=np.array([0.25, 0.25, 0.25]),
    head=("tangential_knife",) * 3,
    part=np.array([0, 0, 1]),
    rigid=np.array([[[1.0, 0.0, 20.0], [0.0, 1.0, 30.0]], [[0.0, -1.0, 250.0], [1.0, 0.0, 30.0]]]),
)
VERDICT = Verdict(
    contour="c1",
    state=VerdictState.CHECK,
    p_in_tolerance=0.93,
    worst_xy=np.array([120.0, 40.0]),
    limit_mm=0.25,
    reason="known to 0.31 mm at (120, 40), limit 0.25 mm",
    kind="print",
    expected_mm=0.12,
    bound_mm=0.31,
    part=1,
)
HOLD = HoldReport(
    placement=np.array([0, 1]),
    contour=("c1", "c2"),
    load_n=np.array([[10.0, 2.0], [0.0, 0.0]]),
    lift_n=np.array([1.0, 0.0]),
    moment_nmm=np.array([-50.0, 0.0]),
    hold_n=np.array([100.0, 80.0]),
    friction_low=0.25,
    friction_typical=0.4,
    margin_low=np.array([1.2, 1000.0]),
    margin_typical=np.array([3.0, 1000.0]),
    mode=np.array([HoldMode.SLIDES, HoldMode.NOTHING]),
    worst_xy=np.array([[100.0, 50.0], [300.0, 60.0]]),
    at_cut=np.array([2, -1]),
    at_block=np.array([4, -1]),
    freed_cut=np.array([2, -1]),
    freed_block=np.array([3, -1]),
    uncut_mm=np.array([0.0, 12.0]),
    at_s=np.array([10.0, -1.0]),
    freed_s=np.array([9.5, -1.0]),
    zones=(1, 2),
    zone_kpa=np.array([[12.0, 11.0], [10.0, 9.0]]),
    begin_kpa=np.array([[14.0, 13.0], [18.0, 17.0]]),
    end_kpa=np.array([[9.0, 8.0], [12.0, 11.0]]),
    bracket_gap=0.004,
    findings=(FINDING,),
)
RELEASE = Release(contour="c1", reason="spare_part", initials="A.O.")
INPUT = JobInput(
    name="order 7.dxf", sha256=SHA, size_bytes=1234, unit="mm", scale=2.0, page=2, quantity=3
)
MARK_CHOICES = MarkChoices(diameter_mm=5.0, count=8, face_down=True, prior=PRIOR)
JOB_CHOICES = JobChoices(
    table_id="pier",
    material_id="board-3",
    sheet=SHEET,
    tolerances=TOLERANCES,
    marks=MARK_CHOICES,
    nest=True,
    zones=(1, 2),
)
RESULT = StageResult(key=SHA[::-1], blob=SHA)
RUN = SheetRun(
    serial=2,
    sheet_id="s1",
    state=SheetState.READY,
    caliper_mm=2.95,
    photos=(PHOTO,),
    zones=(1,),
    end_photos=(PHOTO,),
    released=(RELEASE,),
    held=("c2",),
    held_because=(FINDING,),
    held_basis=SHA,
    results={"look": RESULT},
    stage_state={"look": StageState.LOOK_AGAIN},
    program_sha=SHA,
)
JOB = Job(
    id="order-7",
    version=3,
    inputs=(INPUT,),
    rules=RULES,
    choices=JOB_CHOICES,
    seeds={"sequence": 5},
    held=("c2",),
    held_because=(FINDING,),
    held_basis=SHA,
    pins={"tools/steep": SHA},
    results={"drawing": RESULT},
    state={"drawing": StageState.DONE},
    runs=(RUN,),
)

TABS = Tabs(length_mm=6.0, height_mm=2.5, spacing_mm=300.0)
ROUTING = Routing(
    sense="climb", allowance_mm=0.3, entry="helix", entry_rad=0.08, lead_mm=3.0, tabs=TABS
)
CUTTER = Cutter(
    id="end-mill",
    profile_mm=np.array([[2.9, 0.0], [3.0, 0.1], [3.0, 22.0]]),
    flutes=2,
    length_mm=22.0,
    free_length_mm=30.0,
    plunges=True,
    fits=(HeadKind.ROUTER_SPINDLE,),
    source="invented",
)
WHEEL = Wheel(
    id="roller",
    diameter_mm=60.0,
    rim_mm=1.5,
    reference_mm=-6.0,
    free_length_mm=8.0,
    fits=(HeadKind.CREASING_WHEEL,),
)
PEN = Pen(id="felt", line_mm=0.8, free_length_mm=3.0, fits=(HeadKind.PEN,))
SAMPLES = {
    type(record): record
    for record in (
        *(ART, STROKE, CANDIDATE, DRAWING, TOLERANCE, KISS, PART, SHEET, LAYOUT, BLADE),
        *(RANGE, SETTING, MATERIAL, CARD, LIMITS, KNIFE, STATION, ZONE, PUMP, POSE, CALIBRATION),
        *(TABLE, SETUP, CHOICES, ORDER, MOTION.events[0], MOTION, TIMED, DIALECT, TOLERANCES),
        *(DESIGN, RULE, RULES, VERIFICATION, INPUT, JOB_CHOICES, RESULT, JOB),
        *(MARKS, PHOTO, FOUND, MATCH, VIEW, PRIOR, FIT, BUDGET, LINES, VERDICT, HOLD),
        *(RELEASE, RUN, MARK_CHOICES, TABS, ROUTING, CUTTER, WHEEL, PEN),
    )
}
"""A sample of every record type of the model."""
