"""Random jobs for the order of cuts, and the rules of precedence told a second time, slowly.

Contours are rectangles nested in cells, with windows, parts inside windows, slits, kiss and score
lines; some lines lie across an outline. Whether one lies inside or across another is asked of
Shapely, pair by pair.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from kerfwright.geometry.paths import PathSet, join_sets, make_path
from kerfwright.model.cut import CutChoices, CutOrder
from kerfwright.model.material import Range
from kerfwright.model.operation import HeadKind, Operation, Process, Tolerance
from kerfwright.model.table import Head, Limits, LoadPose, Pump, Station, Table, Zone

HALF_TURN = np.pi
_GUESS = "common practice, no source"


def make_head(name, kind, *, x_mm=0.0, c_limits_rad=(-6 * np.pi, 6 * np.pi), tools=("a", "b")):
    return Head(
        id=name,
        kind=kind,
        offset_mm=np.array((x_mm, 2.0, 0.0)),
        offset_cov_mm2=np.eye(3) * 1e-4,
        c_zero_rad=0.0,
        c_limits_rad=c_limits_rad,
        mass_kg=4.0,
        depth_kind="bed",
        tools=tools,
        reach=(0.0, 0.0, 2000.0, 1500.0),
        z_travel_mm=(-3.0, 60.0),
    )


def make_table(*, c_limits_rad=(-6 * np.pi, 6 * np.pi), jump=(8.0, 8.0, 5.0, 0.3)):
    """Return an invented table with two knife heads and three stations."""
    return Table(
        id="pier",
        name="an invented table",
        bed=(0.0, 0.0, 2000.0, 1500.0),
        bed_surface="mat",
        bed_surface_mm=4.0,
        axes=Limits(
            speed=np.array((800.0, 700.0, 150.0, 15.0)),
            acceleration=np.array((2500.0, 3000.0, 1500.0, 150.0)),
            jump=np.array(jump),
            rapid_mm_s=900.0,
        ),
        gantry_kg=60.0,
        heads=(
            make_head("straight", HeadKind.TANGENTIAL_KNIFE, c_limits_rad=c_limits_rad),
            make_head(
                "shaker",
                HeadKind.OSCILLATING_KNIFE,
                x_mm=-90.0,
                c_limits_rad=c_limits_rad,
                tools=("a",),
            ),
        ),
        stations=(
            Station(number=1, head_id="straight", tool_id="a"),
            Station(number=2, head_id="straight", tool_id="b"),
            Station(number=4, head_id="shaker", tool_id="a"),
        ),
        zones=(
            Zone(number=1, box_mm=(0.0, 0.0, 1000.0, 1500.0)),
            Zone(number=2, box_mm=(1000.0, 0.0, 2000.0, 1500.0)),
        ),
        pump=Pump(
            id="blower",
            kind="blower",
            vacuum_kpa=Range(low=15, high=30, unit="kPa", source=_GUESS, date="2026-11-01"),
            flow_m3_h=Range(low=300, high=500, unit="m3/h", source=_GUESS, date="2026-11-01"),
        ),
        control="any",
        load_pose=LoadPose(x_mm=50.0, y_mm=50.0),
        z_reference="bed",
        travel_z_mm=25.0,
        clearance_mm=1.0,
    )


def make_operation(name, *, through, station, passes=1):
    """Return an operation of a station of `make_table`."""
    tool = "b" if station == 2 else "a"
    return Operation(
        id=name,
        process=Process.CUTTING if through else Process.PARTIAL_CUTTING,
        head_kind=HeadKind.OSCILLATING_KNIFE if station == 4 else HeadKind.TANGENTIAL_KNIFE,
        tool_id=tool,
        card_id=f"card-{name}",
        depth_mm=-0.3 if through else 1.0,
        depth_from="bottom" if through else "top",
        passes=passes,
        tolerance_mm=Tolerance(print_mm=0.3, size_mm=0.3),
    )


@dataclass(frozen=True, kw_only=True)
class OrderJob:
    """Everything `sequence.order` asks for."""

    paths: PathSet
    contours: tuple[str, ...]
    operations: tuple[Operation, ...]
    operation: np.ndarray
    choices: tuple[CutChoices, ...]

    def arguments(self) -> dict:
        return {
            "paths": self.paths,
            "contours": self.contours,
            "operations": self.operations,
            "operation": self.operation,
        }


def rectangle(x0, y0, x1, y1):
    return make_path([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], closed=True)


def random_paths(rng, *, n_cells):
    """Return nested paths in cells of a grid, with a hint for each: may it be cut through."""
    side = int(np.ceil(np.sqrt(n_cells)))
    made = []
    for cell in range(n_cells):
        x, y = 60.0 + (cell % side) * 110.0, 60.0 + (cell // side) * 110.0
        _fill(rng, (x, y, x + 100.0, y + 100.0), 0, made)
        if rng.random() < 0.2:  # a line across the outline, as scores often are
            at = x + rng.uniform(20.0, 80.0)
            made.append(make_path([(at, y - 4.0), (at, y + 60.0)], closed=False))
    return made


def _fill(rng, box, depth, made):
    x0, y0, x1, y1 = box
    small = min(x1 - x0, y1 - y0)
    if depth > 4 or small < 6.0:
        return
    pad = rng.uniform(0.08, 0.15) * small
    inner = (x0 + pad, y0 + pad, x1 - pad, y1 - pad)
    kind = rng.random()
    if kind < 0.15 and depth > 0:
        made.append(make_path([inner[:2], inner[2:]], closed=False))
    elif kind < 0.6 or depth == 0:
        made.append(rectangle(*inner))
        _fill(rng, inner, depth + 1, made)
    else:
        middle = (x0 + x1) / 2.0
        for half in ((x0, y0, middle, y1), (middle, y0, x1, y1)):
            _fill(rng, half, depth + 1, made)


def random_job(rng, *, n_cells=3, max_passes=2, missing=0.1, pairs=True):
    """Return a random job; a few lines have no choices, as if they could not be cut."""
    paths = random_paths(rng, n_cells=n_cells)
    operations = tuple(
        make_operation(
            f"op{i}",
            through=bool(rng.random() < 0.6),
            station=int(rng.choice((1, 2, 4))),
            passes=int(rng.integers(1, max_passes + 1)),
        )
        for i in range(4)
    )
    rows, names, operation = [], [], []
    for k, path in enumerate(paths):
        for o in rng.choice(4, size=1 + (rng.random() < 0.15), replace=False).tolist():
            rows.append(path)
            names.append(f"c{k}")
            operation.append(o)
    shuffled = rng.permutation(len(rows))
    rows = [rows[i] for i in shuffled]
    names = tuple(names[i] for i in shuffled)
    operation = np.array([operation[i] for i in shuffled])
    choices = tuple(
        random_choices(
            rng,
            rows,
            names,
            operations[o],
            np.flatnonzero(operation == o),
            missing=missing,
            pairs=pairs and o == 0,  # pairs of two operations may contradict each other
        )
        for o in range(4)
    )
    return OrderJob(
        paths=join_sets(rows),
        contours=names,
        operations=operations,
        operation=operation,
        choices=choices,
    )


def random_choices(rng, paths, names, operation, lines, *, missing=0.0, pairs=True):
    """Return entries at corners, both ways, of every pass of some lines of an operation."""
    kept = [int(k) for k in lines if rng.random() >= missing]
    columns = {n: [] for n in ("contour", "pass_no", "entry_s", "reversed", "in", "out", "time")}
    for i, k in enumerate(kept):
        path = paths[k]
        for number in range(operation.passes):
            for xyc_in, xyc_out, s, back in _ways(rng, path):
                columns["contour"].append(i)
                columns["pass_no"].append(number)
                columns["entry_s"].append(s)
                columns["reversed"].append(back)
                columns["in"].append(xyc_in)
                columns["out"].append(xyc_out)
                columns["time"].append(float(path.lengths_mm()[0]) / 300.0 + 0.1 * back)
    cuts = len(kept) * operation.passes
    before = np.zeros((0, 2), np.int64)
    if pairs and len(kept) > 1 and rng.random() < 0.3:
        before = np.array([[operation.passes - 1, (len(kept) - 1) * operation.passes]])
        before = before if _may_stand(paths, kept) and cuts > 1 else before[:0]
    return CutChoices(
        contours=tuple(names[k] for k in kept),
        operation=operation.id,
        contour=columns["contour"],
        pass_no=columns["pass_no"],
        entry_s=columns["entry_s"],
        reversed=np.array(columns["reversed"], bool),
        xyc_in=np.array(columns["in"]).reshape(-1, 3),
        xyc_out=np.array(columns["out"]).reshape(-1, 3),
        time_s=np.array(columns["time"]),
        before=before,
    )


def _may_stand(paths, kept):
    """Return whether a pair first -> last cannot contradict nesting: boxes apart."""
    a, b = (shapely.box(*paths[k].box_mm()) for k in (kept[0], kept[-1]))
    return not a.intersects(b)


def _ways(rng, path):
    points = path.points
    n = len(points)
    closed = bool(path.closed[0])
    corners = rng.permutation(n)[: rng.integers(1, 4)].tolist() if closed else [0, n - 1]
    for corner in corners:
        for back in (False, True) if closed else (corner != 0,):
            ahead = points[(corner + (-1 if back else 1)) % n] - points[corner]
            c = float(np.arctan2(ahead[1], ahead[0]))
            end = corner if closed else n - 1 - corner
            turn = (-1 if back else 1) * 2 * np.pi if closed else 0.0
            s = corner / n if closed else float(back)
            yield (*points[corner], c), (*points[end], c + turn), s, back


def line_geometry(job):
    """Return Shapely lines and polygons of all lines; rectangles and straight lines only."""
    lines, areas = [], []
    for k in range(len(job.paths)):
        path = job.paths.select([k])
        xy = path.points
        lines.append(shapely.LinearRing(xy) if path.closed[0] else shapely.LineString(xy))
        areas.append(shapely.Polygon(xy) if path.closed[0] else None)
    return lines, areas


def broken_rules(job: OrderJob, order: CutOrder):
    """Return every pair of cuts that stands the wrong way round, told from scratch."""
    lines, areas = line_geometry(job)
    ids = [o.id for o in job.operations]
    through = [job.operations[o].process is Process.CUTTING for o in job.operation]
    row = {(c, ids[o]): k for k, (c, o) in enumerate(zip(job.contours, job.operation, strict=True))}
    frees = {job.contours[k] for k in range(len(lines)) if through[k] and areas[k] is not None}
    inside = [
        [
            areas[b] is not None
            and job.contours[a] != job.contours[b]
            and areas[b].contains(lines[a])
            for b in range(len(lines))
        ]
        for a in range(len(lines))
    ]
    part = [
        min(
            (
                (areas[b].area, job.contours[b])
                for b in range(len(lines))
                if inside[a][b] and job.contours[b] in frees
            ),
            default=(np.inf, ""),
        )[1]
        for a in range(len(lines))
    ]
    at = [row[key] for key in zip(order.contour, order.operation, strict=True)]
    wrong = []
    for j in range(len(at)):
        for i in range(j + 1, len(at)):  # cut j is done before cut i: may i have to come first?
            a, b = at[i], at[j]
            if _must_precede(job, lines, areas, through, inside, part, a, b) or (
                a == b and order.pass_no[i] < order.pass_no[j]
            ):
                wrong.append(
                    (order.contour[i], order.operation[i], order.contour[j], order.operation[j])
                )
    return wrong + _broken_pairs(job, order)


def _must_precede(job, lines, areas, through, inside, part, a, b):
    if a == b:
        return False
    if job.contours[a] == job.contours[b]:
        if through[a] != through[b]:
            return through[b]
        return job.operation[a] < job.operation[b]
    if inside[a][b] and (through[b] or not through[a]):
        return True
    if not through[a] and through[b] and part[a] == part[b]:
        return True
    across = areas[b] is not None and through[b] and lines[a].crosses(lines[b])
    return across and (areas[a] is None or not through[a])


def _broken_pairs(job, order):
    wrong = []
    keys = list(zip(order.contour, order.operation, order.pass_no.tolist(), strict=True))
    place = {key: i for i, key in enumerate(keys)}
    for choice in job.choices:
        cuts = dict.fromkeys(zip(choice.contour.tolist(), choice.pass_no.tolist(), strict=True))
        named = [(choice.contours[c], choice.operation, p) for c, p in cuts]
        for first, second in choice.before.tolist():
            if place[named[first]] > place[named[second]]:
                wrong.append((*named[first], *named[second]))
    return wrong


def every_cut(job):
    """Return the cuts that have choices, sorted."""
    cuts = {
        (choice.contours[c], choice.operation, p)
        for choice in job.choices
        for c, p in zip(choice.contour.tolist(), choice.pass_no.tolist(), strict=True)
    }
    return sorted(cuts)
