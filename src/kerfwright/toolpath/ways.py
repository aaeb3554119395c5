"""How a section is cut so that no part is nicked: in one stroke, backwards, or from both ends.

The blade reaches further at the top face than at the reference plane: by its lead ahead and its
trail behind. Where that would nick a part, the more upright edge is put into the corner.
"""

from __future__ import annotations

from typing import NamedTuple

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner
from kerfwright.toolpath.blade import Step
from kerfwright.toolpath.entering import stand
from kerfwright.toolpath.sections import BEGIN, END, ROOM_0, ROOM_1, SPAN, STEEP_0, STEEP_1, STEPPED
from kerfwright.toolpath.shapes import BACK, FORTH, Contour, Run
from kerfwright.toolpath.steps import step_along
from kerfwright.toolpath.strokes import follow
from kerfwright.toolpath.writing import Out

ALONG, AGAINST, FROM_BOTH_ENDS = range(3)
"""Ways to cut a section, seen in the direction of the cut."""


class Corner(NamedTuple):
    """Room past a corner, and the depth in a part per millimetre after that."""

    room: float
    steep: float


@inner
def run_of(contour: Contour, section: F64, sense: int) -> Run:
    """Return a section as it is travelled."""
    return Run(contour, section[BEGIN] if sense > 0 else section[END], sense, section[SPAN])


@inner
def way_of(run: Run, section: F64, step: Step) -> tuple[int, float, float, float]:
    """Return the way, how far back a mere plunge reaches, and the nicks at start and end [mm].

    The first way that nicks no part beyond the tolerance, else the one that nicks least.
    """
    corner, far = _corners(section, run.sense)
    trail, lead = step.half - step.back, step.half - step.front
    slack = _slack(run, section, step.back, step.front)
    under = _share(slack, trail, lead, corner, far)
    nick, other = _nick(corner, under + trail), _nick(far, slack - under + lead)
    best, way = max(nick, other), ALONG
    if best <= step.tolerance or step.both_ways == 0.0:
        return way, under, nick, other
    slack = _slack(run, section, step.front, step.back)
    over = _share(slack, trail, lead, far, corner)
    at_start, at_end = _nick(corner, slack - over + lead), _nick(far, over + trail)
    # A way wins only by more than noise, so that a sheet moved is cut the same way.
    if max(at_end, at_start) < best - step.noise:
        best, way, under, nick, other = max(at_end, at_start), AGAINST, over, at_start, at_end
    if best > step.tolerance and slack <= 0.0:
        past = max(min(trail, lead), _half(run, step) + max(trail, lead) - run.length)
        at_start, at_end = _nick(corner, past), _nick(far, past)
        if max(at_start, at_end) < best - step.noise:
            way, nick, other = FROM_BOTH_ENDS, at_start, at_end
    return way, under, nick, other


@inner
def _corners(section: F64, sense: int) -> tuple[Corner, Corner]:
    """Return what lies past the start and the end of a section as travelled."""
    begin = Corner(section[ROOM_0], section[STEEP_0])
    end = Corner(section[ROOM_1], section[STEEP_1])
    return (begin, end) if sense > 0 else (end, begin)


@inner
def _nick(corner: Corner, past: float) -> float:
    """Return how deep a part is cut into by a blade that goes `past` a corner."""
    return max(past - corner.room, 0.0) * corner.steep


@inner
def _slack(run: Run, section: F64, back: float, front: float) -> float:
    """Return how much the chord at the reference plane is longer than the section, or 0."""
    if section[STEPPED]:
        return 0.0
    first, _ = stand(run, 0.0, FORTH, back)
    last, _ = stand(run, run.length, BACK, front)
    return max(first - last, 0.0)


@inner
def _share(slack: float, trail: float, lead: float, corner: Corner, far: Corner) -> float:
    """Return the part of the slack put before the start, so that the greater nick is least."""
    more = far.steep * (slack + lead - far.room) - corner.steep * (trail - corner.room)
    return min(max(more / (far.steep + corner.steep), 0.0), slack)


@inner
def _half(run: Run, step: Step) -> float:
    """Return how much of a section each of two strokes covers."""
    return min(max((run.length + step.overlap) / 2.0, step.back + step.front), run.length)


@inner
def cut_section(out: Out, contour: Contour, section: F64, sense: int, step: Step) -> None:
    """Cut a section that has ends."""
    there, back = run_of(contour, section, sense), run_of(contour, section, -sense)
    way, under, _, _ = way_of(there, section, step)
    half = _half(there, step)
    if way == ALONG:
        _cut(out, there, section, 0.0, there.length, under, step)
    elif way == AGAINST:
        _cut(out, back, section, 0.0, there.length, under, step)
    elif step.back >= step.front:  # the trailing edge is the more upright one
        _cut(out, there, section, 0.0, half, 0.0, step)
        _cut(out, back, section, 0.0, half, 0.0, step)
    else:
        _cut(out, back, section, there.length - half, there.length, 0.0, step)
        _cut(out, there, section, there.length - half, there.length, 0.0, step)


@inner
def _cut(
    out: Out, run: Run, section: F64, begin: float, end: float, under: float, step: Step
) -> None:
    if section[STEPPED]:
        step_along(out, run, begin, end, step)
    else:
        follow(out, run, begin, end, under, step)
