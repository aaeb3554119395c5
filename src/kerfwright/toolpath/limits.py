"""What a blade cannot do well on a contour, as findings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import pi

import numpy as np

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.toolpath.blade import Step
from kerfwright.toolpath.deviation import deviation_of, joints_of, stepped_deviation
from kerfwright.toolpath.sections import FIRST, LAST, LOOP, SPAN, STEPPED
from kerfwright.toolpath.shapes import FORTH, Contour, Shapes, end_of, start_of
from kerfwright.toolpath.ways import run_of, way_of

NICK, NICK_X, NICK_Y, SIDE, OFF, OFF_X, OFF_Y, DOWN, DOWN_X, DOWN_Y, SHORT = range(11)
"""Columns of `judge`: worst nick, its place, length of that section; deviation and place;
deviation of a blade just put down and place; mean width of a loop narrower than the blade."""


@kernel
def judge(
    senses: I64,
    edges: F64,
    first: I64,
    closed: BOOL,
    sections: F64,
    begun: I64,
    step: Step,
) -> F64:
    """Return what each contour comes to in a pass, shape (K, 11) [mm].

    `senses` (K,) is the direction looked at, 0 to leave a contour out.
    """
    out = np.zeros((len(senses), SHORT + 1))
    for path in range(len(senses)):
        contour = Contour(edges[first[path] : first[path + 1]], closed[path])
        for i in range(begun[path], begun[path + 1] if senses[path] != 0 else 0):
            _nick_in(out[path], contour, sections[i], senses[path], step)
            _bend_in(out[path], contour, sections[i], step)
    return out


@inner
def _nick_in(row: F64, contour: Contour, section: F64, sense: int, step: Step) -> None:
    if section[LOOP]:
        if section[SPAN] < pi * 2.0 * step.half:
            row[SHORT] = section[SPAN] / pi  # mean width of a convex curve: Cauchy
        return
    _, _, start, end = way_of(run_of(contour, section, sense), section, step)
    if max(start, end) > row[NICK]:
        row[NICK], row[SIDE] = max(start, end), section[SPAN]
        if (start >= end) == (sense > 0):
            row[NICK_X], row[NICK_Y], _ = start_of(contour.edge, int(section[FIRST]), FORTH)
        else:
            row[NICK_X], row[NICK_Y], _ = end_of(contour.edge, int(section[LAST]), FORTH)


@inner
def _bend_in(row: F64, contour: Contour, section: F64, step: Step) -> None:
    off, x, y = deviation_of(contour, section, step.half, 1.0)
    if section[STEPPED]:
        off = stepped_deviation(contour, section, step)
    else:
        off += joints_of(contour, section, step)
        # Put down across a bend, a chord is off by half as much, to either side of it.
        chord = (step.back + step.front) / 2.0
        down, down_x, down_y = deviation_of(contour, section, chord, 0.0)
        if down / 2.0 > row[DOWN]:
            row[DOWN], row[DOWN_X], row[DOWN_Y] = down / 2.0, down_x, down_y
    if off > row[OFF]:
        row[OFF], row[OFF_X], row[OFF_Y] = off, x, y


def findings_of(
    judged: F64,
    shapes: Shapes,
    contours: tuple[str, ...],
    part_side: I64,
    chord_mm: float,
    limit_mm: float,
) -> Iterator[Finding]:
    """Yield what is wrong with each contour; `chord_mm` is the blade's at the top face."""
    bad = (judged[:, [NICK, OFF, DOWN]].max(axis=1, initial=0.0) > limit_mm) | (
        judged[:, SHORT] > 0
    )
    for k in np.flatnonzero(bad):
        row, name = judged[k], contours[k]
        if row[SHORT]:
            where = shapes.edge[shapes.first[k], :2]
            yield held("TLP-113", name, where, measured=chord_mm, limit=row[SHORT])
        elif row[DOWN] > limit_mm:
            yield held("TLP-121", name, row[[DOWN_X, DOWN_Y]], measured=row[DOWN], limit=limit_mm)
        elif row[OFF] > limit_mm:
            where = row[[OFF_X, OFF_Y]]
            yield held("TLP-120", name, where, Severity.WARN, measured=row[OFF], limit=limit_mm)
        if row[NICK] > limit_mm:
            yield _nick(row, name, part_side[k], chord_mm, limit_mm)


def _nick(row: F64, name: str, side: int, chord_mm: float, limit_mm: float) -> Finding:
    where, nick = row[[NICK_X, NICK_Y]], row[NICK]
    params = {"side": float(row[SIDE]), "nick": float(nick), "chord": chord_mm}
    if side == 0:
        return held(
            "TLP-112", name, where, Severity.WARN, measured=nick, limit=limit_mm, params=params
        )
    if row[SIDE] < chord_mm:
        return held("TLP-110", name, where, measured=chord_mm, limit=row[SIDE], params=params)
    return held("TLP-111", name, where, measured=nick, limit=limit_mm, params=params)


def held(
    code: str,
    contour: str | None,
    xy: F64 | None = None,
    severity: Severity = Severity.HOLDS_PART,
    *,
    measured: float | None = None,
    limit: float | None = None,
    unit: str = "mm",
    params: Mapping[str, str | float | int] | None = None,
) -> Finding:
    """Return a finding of this room."""
    place = None if xy is None else (float(xy[0]), float(xy[1]))
    return Finding(
        code=code,
        severity=severity,
        where=Place(stage="toolpath", contour=contour, xy_mm=place, frame="table"),
        measured=None if measured is None else float(measured),
        limit=None if limit is None else float(limit),
        unit=unit,
        params=params or {},
    )
