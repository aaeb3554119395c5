"""Planned motions of random cuts, for the tests of linking."""

from __future__ import annotations

import numpy as np

from kerfwright.model.cut import CutOrder, CutSetup
from kerfwright.model.motion import FeedKind, Kind, Role, ToolMotion
from studies._sequence_jobs import make_table

TRAVEL_Z = 14.0
TOP, LIFT = 5.0, 7.0
STATIONS = {"score": 2, "shake": 4, "cut": 1, "trim": 1}
ROWS = ("kind", "end", "centre", "sweep_rad", "feed", "feed_kind", "dwell_s", "role")


def make_setup(*, stroke_hz=0.0, lift_z_mm=LIFT):
    return CutSetup(
        bottom_z_mm=0.0,
        top_z_mm=TOP,
        feed_mm_s=300.0,
        plunge_mm_s=50.0,
        turn_rad_s=10.0,
        lift_angle_rad=0.3,
        lift_z_mm=lift_z_mm,
        stroke_hz=stroke_hz,
        tolerance_mm=0.1,
    )


SETUPS = {
    "score": make_setup(),
    "shake": make_setup(stroke_hz=110.0),
    "cut": make_setup(),
    "trim": make_setup(lift_z_mm=LIFT + 1.0),
}


def body(rng, *, lift, at=None, most_turns=1.0, blocks=6):
    """Return the columns of one cut: rapid above the entry, plunge, cut, lift."""
    x, y = rng.uniform(300.0, 1200.0, 2) if at is None else at[:2]
    c = rng.uniform(-9.0, 9.0) if at is None else at[2]
    rows = [(Kind.RAPID, (x, y, lift, c), None, 0.0, 0.0, FeedKind.NONE, 0.0, Role.LINK)]
    z = -0.3
    rows.append((Kind.LINE, (x, y, z, c), None, 0.0, 50.0, FeedKind.PATH, 0.0, Role.PLUNGE))
    for _ in range(rng.integers(1, blocks)):
        turn = rng.uniform(-1, 1) * most_turns * np.pi / 2
        kind = rng.integers(4)
        if kind == 0:
            c += turn
            rows.append((Kind.LINE, (x, y, z, c), None, 0, 10.0, FeedKind.ROTARY, 0.0, Role.TURN))
        elif kind == 1 and abs(turn) > 0.01:
            spoke = rng.uniform(-40, 40, 2)
            centre = np.array((x, y)) - spoke
            cos, sin = np.cos(turn), np.sin(turn)
            x, y = centre + np.array(((cos, -sin), (sin, cos))) @ spoke
            c += turn
            rows.append((Kind.ARC, (x, y, z, c), centre, turn, 300.0, FeedKind.PATH, 0.0, Role.CUT))
        elif kind == 2:
            rows.append((Kind.DWELL, (x, y, z, c), None, 0.0, 0, FeedKind.NONE, 0.1, Role.CUT))
        else:
            x, y = np.array((x, y)) + rng.uniform(-60, 60, 2)
            rows.append((Kind.LINE, (x, y, z, c), None, 0, 300.0, FeedKind.PATH, 0.0, Role.CUT))
    rows.append((Kind.LINE, (x, y, lift, c), None, 0.0, 50.0, FeedKind.PATH, 0.0, Role.LIFT))
    return rows


def motion_of(bodies):
    """Return the motion of a mapping from cut number to rows."""
    rows = [row for k in bodies for row in bodies[k]]
    cut = [k for k in bodies for _ in bodies[k]]
    nowhere = np.full(2, np.nan)
    centre = np.array([nowhere if r[2] is None else r[2] for r in rows]).reshape(-1, 2)
    return ToolMotion(
        start=rows[0][1],
        kind=[int(r[0]) for r in rows],
        end=[r[1] for r in rows],
        centre=centre,
        sweep_rad=[r[3] for r in rows],
        feed=[r[4] for r in rows],
        feed_kind=[int(r[5]) for r in rows],
        dwell_s=[r[6] for r in rows],
        role=[int(r[7]) for r in rows],
        cut=cut,
        tool=np.zeros(len(rows), np.int64),
    )


def random_link_job(seed, *, n=12, missing=0.2, most_turns=1.0):
    """Return motions and order of random cuts; some cuts of the order have no motion."""
    rng = np.random.default_rng(seed)
    tools = [str(t) for t in rng.choice(list(STATIONS), rng.integers(1, 5))]
    operation = [t for t in tools for _ in range(int(rng.integers(1, max(n // len(tools), 2))))]
    station = np.array([STATIONS[t] for t in operation])
    n = len(operation)
    order = CutOrder(
        contour=tuple(f"c{i}" for i in range(n)),
        operation=tuple(operation),
        pass_no=np.zeros(n, np.int64),
        entry_s=np.zeros(n),
        reversed=np.zeros(n, bool),
        group=np.cumsum(np.append(False, np.diff(station) != 0)),
    )
    kept = [i for i in range(n) if rng.random() >= missing] or [0]
    bodies, at = {}, None
    for i in kept:
        again = at if rng.random() < 0.25 else None  # as a second pass: begins where one ended
        lift = SETUPS[operation[i]].lift_z_mm
        bodies[i] = body(rng, lift=lift, at=again, most_turns=most_turns)
        x, y, _, c = bodies[i][-1][1]
        at = (x, y, c + 2 * np.pi * int(rng.integers(-1, 2)))
    motions = [
        motion_of({k: rows for k, rows in bodies.items() if operation[k] == name})
        for name in sorted({operation[k] for k in kept}, reverse=True)
    ]
    return motions, order, bodies


def table_with(limits):
    return make_table(c_limits_rad=limits)
