"""How much chip a cutter takes at once in each piece of its way: what its force grows with."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import Final

import numpy as np
import shapely

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.mechanics import chip_load_mm, thickest_chip_mm
from kerfwright.model.motion import EventCode, FeedKind, ToolMotion
from kerfwright.model.tooling import Cutter, Tool

SLOWEST_HZ: Final = 100.0
"""Revolutions counted with where the motion says none: 6000 a minute, slow and so unfavourable
(common practice, no source)."""
_APART_RADII = 4.0
"""Length of way, in radii, after which a cutter comes upon its own earlier pass."""
_SAME_MM = 1e-3


def spindle_hz(motion: ToolMotion) -> F64:
    """Return the revolutions per second in each block, 0 where none are said, (M,)."""
    out = np.zeros(len(motion))
    for event in motion.events:
        if event.code is EventCode.SPINDLE:
            out[event.before_block :] = event.value
    return out


def unsaid_turns(motion: ToolMotion, tools: Mapping[int, Tool]) -> tuple[Finding, ...]:
    """Return a finding where a cutter is fed and the motion says no revolutions."""
    fed = (motion.feed_kind == FeedKind.PATH) & (spindle_hz(motion) == 0.0)
    for number in np.unique(motion.tool[fed]).tolist():
        if isinstance(tools.get(number), Cutter):
            place = Place(stage="holddown", frame="table")
            return (
                Finding(
                    code="HLD-121",
                    severity=Severity.WARN,
                    where=place,
                    measured=SLOWEST_HZ,
                    unit="1/s",
                    params={"station": number},
                ),
            )
    return ()


def chip_areas_mm2(
    motion: ToolMotion,
    tools: Mapping[int, Tool],
    *,
    block: I64,
    begin: F64,
    end: F64,
    moves: BOOL,
    depth_mm: F64,
    radius_mm: F64,
) -> F64:
    """Return the greatest area of chip that a cutter takes at once in each piece, (N,) [mm2].

    The thickest chip times the depth that an earlier pass of the same cutter has left, times the
    teeth that are in a slot together: half of them, rounded up. Where an earlier pass ran a little
    beside, as before a finishing pass, the strip between is taken at full depth by one tooth. A
    plunge takes none: it pushes down.

    Parameters
    ----------
    motion : ToolMotion
        Feeds and revolutions.
    tools : mapping of int to Tool
        Tool by station number.
    block : ndarray of shape (N,), int
        Block of each piece.
    begin, end : ndarray of shape (N, 2), float
        Axis of the cutter [mm].
    moves : ndarray of shape (N,), bool
        Whether it moves sideways.
    depth_mm : ndarray of shape (N,), float
        Depth of the tip below the top face [mm].
    radius_mm : ndarray of shape (N,), float
        Radius of the cutter [mm].

    Notes
    -----
    Feed per tooth, width of engagement and thickness of the chip as in `mechanics`.
    """
    turns, out = spindle_hz(motion), np.zeros(len(block))
    left, strip = _left(motion.tool[block], begin, end, depth_mm, radius_mm)
    fed = moves & (motion.feed_kind[block] == FeedKind.PATH)
    for i in np.flatnonzero(fed).tolist():
        tool = tools[int(motion.tool[block[i]])]
        assert isinstance(tool, Cutter)  # noqa: S101 - the caller hands on cutters only
        turning = float(turns[block[i]]) or SLOWEST_HZ
        load = chip_load_mm(float(motion.feed[block[i]]), flutes=tool.flutes, spindle_hz=turning)
        whole = load * float(left[i]) * ceil(tool.flutes / 2)
        width = min(float(strip[i]), 2.0 * tool.radius_mm)
        beside = 0.0
        if width > _SAME_MM:
            beside = thickest_chip_mm(load, width, 2.0 * tool.radius_mm) * float(depth_mm[i])
        out[i] = max(whole, beside)
    return out


def _left(station: I64, begin: F64, end: F64, depth: F64, radius: F64) -> tuple[F64, F64]:
    """Return the depth an earlier pass has left, and how far beside it ran, of each piece [mm]."""
    left, strip = depth.copy(), np.zeros(len(depth))
    if not len(depth):
        return left, strip
    lines = shapely.linestrings(np.stack((begin, end), axis=1))
    middle = shapely.points((begin + end) / 2.0)
    length = np.hypot(*(end - begin).T)
    way = np.cumsum(length) - length / 2.0
    later, earlier = shapely.STRtree(lines).query(middle, "dwithin", distance=radius / 2.0)
    apart = way[later] - way[earlier] > _APART_RADII * radius[later] + length[earlier] / 2.0
    apart &= station[later] == station[earlier]
    later, earlier = later[apart], earlier[apart]
    done = np.zeros(len(depth))
    np.maximum.at(done, later, depth[earlier])
    deepest = depth[earlier] >= done[later] - _SAME_MM
    gap = shapely.distance(middle[later[deepest]], lines[earlier[deepest]])
    nearest = np.full(len(depth), np.inf)
    np.minimum.at(nearest, later[deepest], gap)
    is_beside = np.isfinite(nearest)
    strip[is_beside] = nearest[is_beside]
    return np.maximum(left - done, 0.0), strip
