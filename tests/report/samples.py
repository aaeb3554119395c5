"""A ticket as a shop would have it: a thrown sheet of 24 parts, all four states among them."""

from __future__ import annotations

from typing import Any

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.paths import PathSet, join_sets, make_circle, make_path
from kerfwright.report import (
    CardValue,
    CheckLine,
    ErrorMap,
    FileLine,
    HoldLine,
    OperationLine,
    OverrideLine,
    PartLine,
    SheetPicture,
    TicketData,
    TimeLine,
    ToolLine,
)

TURN = np.deg2rad(3.4)
SHEET = (2440.0, 1220.0)
PLACE = np.array((110.0, 60.0))
KINDS = ("badge", "arrow", "panel", "ring", "plate", "sign")
NOT_CUT = {5: "check", 13: "will_not_cut", 20: "needs_you"}


def on_table(xy: Any) -> np.ndarray:
    c, s = np.cos(TURN), np.sin(TURN)
    return np.asarray(xy) @ np.array(((c, s), (-s, c))) + PLACE


def laid(paths: PathSet) -> PathSet:
    return PathSet(
        points=on_table(paths.points), bulges=paths.bulges, starts=paths.starts, closed=paths.closed
    )


def rectangle(x0: float, y0: float, x1: float, y1: float) -> PathSet:
    return make_path(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), closed=True)


def shape_of(kind: str, x: float, y: float) -> PathSet:
    """Contours of one kind in a cell of 300 by 240 mm."""
    hole = make_circle((x + 150.0, y + 120.0), 35.0)
    if kind == "ring":
        middle = (x + 150.0, y + 120.0)
        return join_sets((make_circle(middle, 110.0), make_circle(middle, 62.0)))
    if kind == "arrow":
        points = ((0, 80), (160, 80), (160, 10), (290, 120), (160, 230), (160, 160), (0, 160))
        return make_path([(x + a, y + b) for a, b in points], closed=True)
    if kind == "badge":
        points = ((0, 40), (260, 40), (260, 200), (0, 200))
        return make_path([(x + a, y + b) for a, b in points], (0, 1, 0, 0.4), closed=True)
    if kind == "plate":
        corners = [make_circle((x + a, y + b), 9.0) for a in (30, 270) for b in (30, 210)]
        return join_sets((rectangle(x + 5, y + 5, x + 295, y + 235), *corners))
    if kind == "sign":
        return join_sets((rectangle(x + 10, y + 60, x + 290, y + 180), hole))
    return rectangle(x + 10, y + 10, x + 290, y + 230)


def picture(columns: int = 6, rows: int = 4) -> SheetPicture:
    sets, part = [], []
    for k in range(columns * rows):
        x = 80.0 + (k % columns) * (SHEET[0] - 140.0) / columns
        y = 70.0 + (k // columns) * (SHEET[1] - 120.0) / rows
        contours = shape_of(KINDS[k % len(KINDS)], x, y)
        sets.append(contours)
        part += [k] * len(contours)
    marks = [(30, 30), (1220, 25), (2410, 30), (2412, 600), (2410, 1190), (1220, 1192), (30, 1190)]
    zones = [(x, y, x + 650.0, y + 750.0) for y in (0.0, 750.0) for x in (0, 650, 1300, 1950)]
    return SheetPicture(
        view_mm=(0.0, 0.0, 2600.0, 1500.0),
        sheet=laid(rectangle(0.0, 0.0, *SHEET)),
        outlines=laid(join_sets(sets)),
        part=np.array(part),
        marks_xy=on_table(marks),
        marks_used=np.array([True, True, True, False, True, True, True]),
        zone_box_mm=np.array(zones),
        zone=np.arange(1, 9),
    )


def error_map() -> ErrorMap:
    x, y = np.linspace(0.0, 2600.0, 66), np.linspace(0.0, 1500.0, 39)
    xx, yy = np.meshgrid((x[1:] + x[:-1]) / 2.0, (y[1:] + y[:-1]) / 2.0)
    c, s = np.cos(TURN), np.sin(TURN)
    u = (xx - PLACE[0]) * c + (yy - PLACE[1]) * s
    v = -(xx - PLACE[0]) * s + (yy - PLACE[1]) * c
    value = 0.11 + 0.32 * ((u - 900.0) / 1500.0) ** 2 + 0.05 * ((v - 600.0) / 600.0) ** 2
    inside = (u >= -60) & (u <= SHEET[0] + 60) & (v >= -60) & (v <= SHEET[1] + 60)
    return ErrorMap(x_mm=x, y_mm=y, deviation_mm=np.where(inside, value, np.nan), limit_mm=0.4)


def part_line(k: int, state: str) -> PartLine:
    limit = 0.25 if KINDS[k % len(KINDS)] == "ring" else 0.5
    reasons = {
        "will_cut": "",
        "check": "the sheet is known to 0.31 mm (95 %) at (1810, 144), limit 0.50 mm; one more "
        "mark at the right edge would help most",
        "will_not_cut": "0.612 mm promised, limit 0.50 mm: the feed step crosses the part",
        "needs_you": "no mark lies within 900 mm of this part, so its chance cannot be computed",
    }
    deviation = {"will_cut": 0.11 + 0.004 * k, "check": 0.31, "will_not_cut": 0.612}.get(state)
    bounds = (None, None) if deviation is None else (deviation - 0.052, deviation + 0.071)
    return PartLine(
        part=f"p{k + 1} {KINDS[k % len(KINDS)]}",
        state=state,
        follows="size" if k % len(KINDS) == 4 else "print",
        deviation_mm=deviation,
        low_mm=bounds[0],
        high_mm=bounds[1],
        limit_mm=limit,
        reason=reasons[state],
    )


def findings() -> tuple[Finding, ...]:
    return (
        Finding(
            code="ART-110",
            severity=Severity.BLOCKS,
            where=Place(stage="artwork"),
            params={"layer": "fold", "colour": "#ff0000", "names": "none", "count": 3},
        ),
        Finding(
            code="JOB-110",
            severity=Severity.WARN,
            where=Place(stage="job", sheet="s1"),
            measured=2512.25,
            limit=2430.5,
            unit="mm",
            params={"side": "width"},
        ),
    )


def ticket(**changes: Any) -> TicketData:
    """The sample with some fields changed."""
    count = 24
    fields: dict[str, Any] = {
        "job_id": "spring-display-0417",
        "sheet_id": "sheet-1",
        "serial": "S-000123",
        "title": "Spring display, shop window 4",
        "table": "Two heads, eight zones, 2600 x 1500",
        "material": "PVC foam board 3 mm",
        "thickness_mm": 3.0,
        "caliper_mm": 3.06,
        "tools": tools(),
        "zones_on": (1, 2, 3, 5, 6, 7),
        "operations": operations(),
        "times": times(),
        "time_low_s": 351.2,
        "time_high_s": 372.4,
        "picture": picture(),
        "error_map": error_map(),
        "parts": tuple(part_line(k, NOT_CUT.get(k, "will_cut")) for k in range(count)),
        "holds": tuple(
            HoldLine(
                part=f"p{k + 1} {KINDS[k % len(KINDS)]}",
                load_n=21.5 + k,
                hold_n=88.25 - 2.5 * k,
                margin=(88.25 - 2.5 * k) / (21.5 + k),
                least_margin=1.5,
                when=f"last 4 mm of contour c{3 * k + 1}",
            )
            for k in range(count)
        ),
        "findings": findings(),
        "files": (
            FileLine(name="print.pdf", sha256="9f86d081884c7d65" + "a" * 48, size_bytes=1843201),
            FileLine(name="program.nc", sha256="2c26b46b68ffc68f" + "b" * 48, size_bytes=48211),
        ),
        "checks": (
            CheckLine(
                what="Program read back against the design",
                result="worst 0.0412 mm of 0.1000 mm at c17",
                state="passed",
            ),
            CheckLine(
                what="Two marks looked at again", result="after the last cut", state="not_done"
            ),
        ),
        "overrides": (
            OverrideLine(
                what="p6 arrow: check before cutting",
                reason="customer saw the proof and accepts",
                initials="KW",
            ),
        ),
        "label_text": "spring-display-0417/sheet-1/S-000123",
        "made_on": "2026-11-25 09:40",
    }
    return TicketData(**(fields | changes))


def tools() -> tuple[ToolLine, ...]:
    values = (
        CardValue(name="feed", value=300.0, unit="mm/s", low=100.0, high=500.0),
        CardValue(name="plunge", value=60.0, unit="mm/s", low=20.0, high=120.0),
        CardValue(name="lift angle", value=12.0, unit="deg", low=5.0, high=20.0),
        CardValue(name="into the mat", value=0.3, unit="mm", low=0.2, high=0.6),
    )
    return (
        ToolLine(
            station=1,
            head="tangential knife",
            tool="steep-point-6",
            card="pvc-foam-3-through",
            values=values,
            proven="2026-11-20 by KW",
        ),
        ToolLine(
            station=2,
            head="oscillating knife",
            tool="long-steep-7",
            card="pvc-foam-3-fine",
            values=values[:2],
        ),
    )


def operations() -> tuple[OperationLine, ...]:
    return (
        OperationLine(
            operation="holes",
            process="cutting",
            station=1,
            cuts=28,
            length_mm=5120.6,
            first="p5/c12",
            last="p24/c71",
        ),
        OperationLine(
            operation="outlines",
            process="cutting",
            station=1,
            cuts=21,
            length_mm=19877.25,
            first="p1/c1",
            last="p24/c70",
        ),
    )


def times() -> tuple[TimeLine, ...]:
    rows = (
        ("cutting at the feed", 121.3, 128.14),
        ("speeding up and slowing down", 61.0, 64.33),
        ("corners and turns of the blade", 70.05, 74.88),
        ("plunges and lifts", 44.4, 46.02),
        ("ways in the air", 42.2, 45.61),
        ("least time of blocks", 12.25, 13.42),
    )
    return tuple(TimeLine(cause=c, low_s=a, high_s=b) for c, a, b in rows)
