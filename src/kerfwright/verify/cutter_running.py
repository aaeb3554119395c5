"""How cutters run: the way round, the spindle, straight plunges, depth against their length."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from kerfwright.model.motion import EventCode, ToolMotion
from kerfwright.model.tooling import Cutter
from kerfwright.verify.columns import BOOL, F64, HEAD, I64, LENGTH, SWEEP, X0, X1, Y0, Y1
from kerfwright.verify.cutter_case import CutterCase, known_ways
from kerfwright.verify.near import curve_boxes

_LEVEL = 1e-3  # slope below which a way counts as level
_ALONG = 0.9  # cosine of the angle to the contour up to which a way goes along it
_STEEP = 5.0  # a way that falls so many times faster than it goes aside is a plunge
_CORE = 0.5  # share of the radius around the axis that has to be free for a cutter without teeth


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What is wrong per contour, with a place each.

    Parameters
    ----------
    against : ndarray of shape (K,), float
        Length cut the wrong way round [mm].
    against_at : ndarray of shape (K,), int
        A way that does, -1 for none.
    stopped : ndarray of int
        Ways in the stock with the spindle off.
    plunges : ndarray of int
        Ways straight down into the full by a cutter that does not cut at its centre.
    too_long : ndarray of int
        The deepest way of each tool that works deeper than it cuts.
    """

    against: F64
    against_at: I64
    stopped: I64
    plunges: I64
    too_long: I64


def run_of(case: CutterCase, motion: ToolMotion) -> Run:
    """Look at how the cutters of a program run."""
    against, at = _against(case)
    on = _spindle(motion) > 0.0
    return Run(
        against=against,
        against_at=at,
        stopped=np.flatnonzero(~on[case.ways.block]),
        plunges=_plunges(case),
        too_long=_too_long(case),
    )


def _against(case: CutterCase) -> tuple[F64, I64]:
    """Return the length of level ways beside each contour that go the wrong way round."""
    meetings, routed, ways = case.meetings, case.routed, case.ways
    main = np.flatnonzero(meetings.row == meetings.row_of[meetings.way])
    main = main[known_ways(ways, meetings.way[main])]
    way, row = meetings.way[main], meetings.row[main]
    length = ways.pieces[way, LENGTH]
    level = np.abs(ways.heights[way, 0] - ways.heights[way, 1]) <= _LEVEL * length
    travel = ways.pieces[way, HEAD] + ways.pieces[way, SWEEP] / 2.0
    along = np.cos(travel - meetings.heading[main])
    routings = [case.design.operations[o].routing for o in case.design.operation.tolist()]
    allowance = np.array([0.0 if r is None else r.allowance_mm for r in routings], float)
    climbs = np.array([r is not None and r.sense == "climb" for r in routings], bool)
    side = routed.part_side[row]
    # The part on the right of travel: it lies right of the contour and both go the same way round.
    wanted = np.where(routed.is_on[row], 1.0, np.where(climbs[row], -1.0, 1.0) * side)
    most = routed.radius + allowance + case.tolerances.cut_mm
    beside = (np.abs(meetings.signed[main]) <= most[row]) & (length > 0.0) & level
    wrong = beside & (np.abs(along) >= _ALONG) & (along * wanted < 0.0)
    total = np.bincount(row[wrong], weights=length[wrong], minlength=len(routed.radius))
    at = np.full(len(routed.radius), -1, np.int64)
    at[row[wrong][::-1]] = way[wrong][::-1]
    return total.astype(np.float64), at


def _spindle(motion: ToolMotion) -> F64:
    """Return how fast the spindle turns in each block [Hz]."""
    events = [e for e in motion.events if e.code is EventCode.SPINDLE]
    value = np.array([0.0, *(e.value for e in events)])
    place = np.array([e.before_block for e in events], np.int64)
    turning: F64 = value[np.searchsorted(place, np.arange(len(motion)), side="right")]
    return turning


def _plunges(case: CutterCase) -> I64:
    """Return the ways straight down into the full, by cutters without teeth at the centre.

    Where an earlier way has freed the core around the axis, nothing is left for the centre.
    """
    ways = case.ways
    blunt = [isinstance(t, Cutter) and not t.plunges for t in case.design.tools]
    fall = ways.heights[:, 0] - ways.heights[:, 1]
    down = np.array([*blunt, False], bool)[ways.tool]
    down &= (fall > case.tolerances.depth_mm) & (fall > _STEEP * ways.pieces[:, LENGTH])
    index = np.flatnonzero(down)
    if not len(index):
        return index
    radius = _radius(case, ways.tool)
    core = _CORE * radius
    boxes = curve_boxes(ways.pieces)
    tree = shapely.STRtree(shapely.linestrings(boxes.reshape(-1, 2, 2)))
    points = shapely.points(ways.pieces[index][:, X1 : Y1 + 1])
    one, other = tree.query(points, predicate="dwithin", distance=radius.max())
    earlier = ways.block[other] < ways.block[index[one]]
    deep = ways.tips()[other] <= ways.heights[index[one], 1] + case.tolerances.depth_mm
    one, other = one[earlier & deep], other[earlier & deep]
    ends = ways.pieces[other][:, [X0, Y0, X1, Y1]].reshape(-1, 2, 2)
    apart = shapely.distance(points[one], shapely.linestrings(ends))
    rise = np.abs(ways.pieces[other, LENGTH] * ways.pieces[other, SWEEP]) / 8.0
    free = np.zeros(len(index), bool)
    free[one[apart + rise <= core[other]]] = True
    return index[~free]


def _too_long(case: CutterCase) -> I64:
    ways, found = case.ways, []
    depth = case.design.top_z_mm - ways.tips()
    for t, tool in enumerate(case.design.tools):
        own = np.flatnonzero(ways.tool == t)
        if isinstance(tool, Cutter) and len(own):
            i = int(own[np.argmax(depth[own])])
            if depth[i] > tool.length_mm + case.tolerances.program_mm:
                found.append(i)
    return np.array(found, np.int64)


def _radius(case: CutterCase, tool: I64) -> F64:
    sizes = [t.radius_mm if isinstance(t, Cutter) else 0.0 for t in case.design.tools]
    return np.array([*sizes, 0.0])[tool]


def is_wrong_tool(case: CutterCase, right: BOOL) -> BOOL:
    """Return which ways belong to contours none of which asks for the tool in use."""
    meetings = case.meetings
    good = np.zeros(len(case.ways), bool)
    good[meetings.way[right & meetings.shares]] = True
    wrong: BOOL = ~good & (meetings.row_of >= 0)
    return wrong
