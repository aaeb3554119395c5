"""Rows of motion as the blade makes them, and the time they take at feed."""

from __future__ import annotations

from math import cos, hypot, nan, pi, sin, tan, tau
from typing import NamedTuple

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner
from kerfwright.model.motion import FeedKind, Kind, Role
from kerfwright.toolpath.blade import Step
from kerfwright.toolpath.shapes import wrap

KIND, X, Y, Z, C, CX, CY, TURNED, FEED, FEED_KIND, ROLE, CUT, COLUMNS = range(13)
"""Columns of a row: a block of `ToolMotion` and the cut it belongs to."""

COUNT, AT_X, AT_Y, AT_Z, AT_C, TIME, IN_X, IN_Y, IN_C, STATE = range(10)
"""Where the tool is: rows so far, position, time since the first plunge, first position."""

# Floats, because the compiler would make one function for each value of a whole number.
_RAPID, _LINE, _ARC = float(Kind.RAPID), float(Kind.LINE), float(Kind.ARC)
_PATH, _ROTARY = float(FeedKind.PATH), float(FeedKind.ROTARY)
_LINK, _PLUNGE, _CUT = float(Role.LINK), float(Role.PLUNGE), float(Role.CUT)
_TURN, _LIFT = float(Role.TURN), float(Role.LIFT)
_HALF_TURN = 1e-9  # rad: so near to half a turn both ways round are equally short


class Out(NamedTuple):
    """What a cut is written to.

    Parameters
    ----------
    rows : ndarray of shape (N, 12), float
        Rows to fill in; none when they are only to be counted.
    at : ndarray of shape (9,), float
        Where the tool is.
    """

    rows: F64
    at: F64


@inner
def axis_at(x: float, y: float, heading: float, step: Step) -> tuple[float, float]:
    """Return where the C axis is when the tracked point is at a place: behind it, and aside."""
    u, v = cos(heading), sin(heading)
    return x - step.track * u + step.side * v, y - step.track * v - step.side * u


@inner
def _put(
    out: Out, kind: float, x: float, y: float, z: float, c: float, seconds: float, role: float
) -> None:
    n, at = int(out.at[COUNT]), out.at
    at[COUNT], at[AT_X], at[AT_Y], at[AT_Z], at[AT_C] = n + 1, x, y, z, c
    at[TIME] += seconds
    if len(out.rows):
        row = out.rows[n]
        row[KIND], row[X], row[Y], row[Z], row[C], row[ROLE] = kind, x, y, z, c, role
        row[CX], row[CY] = nan, nan


@inner
def _set_feed(out: Out, feed: float, feed_kind: float) -> None:
    """Give the last row its feed."""
    if len(out.rows):
        row = out.rows[int(out.at[COUNT]) - 1]
        row[FEED], row[FEED_KIND] = feed, feed_kind


@inner
def put_down(out: Out, x: float, y: float, heading: float, step: Step) -> None:
    """Travel lifted to where the tracked point shall go in, then go down."""
    ax, ay = axis_at(x, y, heading, step)
    at = out.at
    if at[COUNT] == 0:
        c = wrap(heading)
        at[IN_X], at[IN_Y], at[IN_C] = ax, ay, c
        _put(out, _RAPID, ax, ay, step.lift_z, c, 0.0, _LINK)
    else:
        turn = _shortest(heading, at[AT_C], at[IN_C])
        way = hypot(ax - at[AT_X], ay - at[AT_Y])
        seconds = max(way / step.feed, abs(turn) / step.turn)
        _put(out, _RAPID, ax, ay, step.lift_z, at[AT_C] + turn, seconds, _LINK)
    _put(out, _LINE, ax, ay, step.z, at[AT_C], (step.lift_z - step.z) / step.plunge, _PLUNGE)
    _set_feed(out, step.plunge, _PATH)


@inner
def _shortest(heading: float, c: float, first_c: float) -> float:
    """Return the shortest turn; where both ways are equal, the one towards the first C."""
    turn = wrap(heading - c)
    if abs(turn) < pi - _HALF_TURN:
        return turn
    if c - first_c > _HALF_TURN:
        return turn if turn < 0.0 else turn - tau
    return turn if turn > 0.0 else turn + tau


@inner
def lift(out: Out, step: Step) -> None:
    """Go straight up."""
    at = out.at
    seconds = (step.lift_z - at[AT_Z]) / step.plunge
    _put(out, _RAPID, at[AT_X], at[AT_Y], step.lift_z, at[AT_C], seconds, _LIFT)


@inner
def cut_line(out: Out, x: float, y: float, heading: float, step: Step) -> None:
    """Cut straight to where the tracked point shall be; takes up a small turn left over."""
    ax, ay = axis_at(x, y, heading, step)
    at = out.at
    seconds = hypot(ax - at[AT_X], ay - at[AT_Y]) / step.feed
    _put(out, _LINE, ax, ay, step.z, at[AT_C] + wrap(heading - at[AT_C]), seconds, _CUT)
    _set_feed(out, step.feed, _PATH)


@inner
def cut_arc(out: Out, x: float, y: float, heading: float, sweep: float, step: Step) -> None:
    """Cut along an arc to where the tracked point shall be; C turns with it."""
    ax, ay = axis_at(x, y, heading, step)
    half = abs(sweep) / 2.0
    way = hypot(ax - out.at[AT_X], ay - out.at[AT_Y]) * half / sin(half)
    if way <= step.noise:
        _turn_alone(out, sweep, step, _CUT)
    else:
        _put_arc(out, ax, ay, sweep, step, way / step.feed, _CUT)
        _set_feed(out, step.feed, _PATH)


@inner
def turn_in(out: Out, x: float, y: float, turn: float, step: Step) -> None:
    """Turn in the material about the tracked point: C alone only where that is the C axis."""
    arm = hypot(step.track, step.side)
    if arm * abs(turn) <= step.noise:
        _turn_alone(out, turn, step, _TURN)
    else:
        ax, ay = axis_at(x, y, out.at[AT_C] + turn, step)
        _put_arc(out, ax, ay, turn, step, abs(turn) / step.turn, _TURN)
        _set_feed(out, arm * step.turn, _PATH)


@inner
def _turn_alone(out: Out, turn: float, step: Step, role: float) -> None:
    at = out.at
    _put(out, _LINE, at[AT_X], at[AT_Y], step.z, at[AT_C] + turn, abs(turn) / step.turn, role)
    _set_feed(out, step.turn, _ROTARY)


@inner
def _put_arc(
    out: Out, x: float, y: float, sweep: float, step: Step, seconds: float, role: float
) -> None:
    """Put an arc of a sweep; its centre follows from where it really begins, so both ends fit."""
    at = out.at
    dx, dy = x - at[AT_X], y - at[AT_Y]
    lever = 0.5 / tan(sweep / 2.0)
    cx, cy = at[AT_X] + dx / 2.0 - dy * lever, at[AT_Y] + dy / 2.0 + dx * lever
    _put(out, _ARC, x, y, step.z, at[AT_C] + sweep, seconds, role)
    if len(out.rows):
        row = out.rows[int(at[COUNT]) - 1]
        row[CX], row[CY], row[TURNED] = cx, cy, sweep
