"""Routed contours and what the cutters do near them, made ready to be measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.model.design import Design, Tolerances
from kerfwright.verify.columns import BOOL, F64, I64
from kerfwright.verify.cutter_cover import swept_stretches, tips_over
from kerfwright.verify.cutter_near import Meetings, Routed, meetings_of, routed_of
from kerfwright.verify.cutter_spans import Scale, scale_of
from kerfwright.verify.cutter_ways import UNKNOWN, Ways, ways_of
from kerfwright.verify.moves import Moves
from kerfwright.verify.wanted import Wanted

NEAR_MM = 1.0
"""What a cutter leaves more than so far beside the wall is not cut at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutterCase:
    """What is to be routed, what cutters do, and which lies near which.

    Parameters
    ----------
    design : Design
        What is wanted.
    tolerances : Tolerances
        What is accepted.
    wanted : Wanted
        The contours in the table frame.
    moves : Moves
        The program in the table frame.
    routed : Routed
        What the routed rows ask for.
    ways : Ways
        What cutters do in the stock.
    meetings : Meetings
        Ways near contours.
    scale : Scale
        All routed contours on one scale.
    first, near : ndarray of int
        Ways ``near[first[i]:first[i + 1]]`` lie near the i-th piece of the scale.
    """

    design: Design
    tolerances: Tolerances
    wanted: Wanted
    moves: Moves
    routed: Routed
    ways: Ways
    meetings: Meetings
    scale: Scale
    first: I64
    near: I64

    @property
    def face_z(self) -> float:
        """Height below which a tip is in the stock [mm]."""
        return self.design.top_z_mm - self.tolerances.program_mm

    def swept(self, limit_z: F64, slack_mm: F64, picked: I64, *, loose: bool) -> F64:
        """Return what is swept of some pieces of the scale with the tip at or below a height.

        Parameters
        ----------
        limit_z, slack_mm : ndarray of shape (K,) and (len(picked),), float
            Greatest height of the tip per contour; material beside the wall that counts as swept
            per piece [mm].
        picked : ndarray of int
            Pieces of the scale.
        loose : bool
            Whether ways count only beside themselves, see `swept_stretches`.
        """
        count = self.first[picked + 1] - self.first[picked]
        first = np.concatenate(([0], np.cumsum(count)))
        index = np.repeat(self.first[picked] - first[:-1], count) + np.arange(first[-1])
        own, spans = swept_stretches(
            self.wanted.shape.pieces[self.scale.piece[picked]],
            first,
            self.near[index],
            *self.cutters(),
            self.ways.goes,
            limit_z[self.scale.row[picked]],
            slack_mm,
            self.routed.is_on[self.scale.row[picked]],
            self.design.top_z_mm,
            loose,
        )
        return self.scale.lift(picked[own], spans)

    def cutters(self) -> tuple[F64, F64, I64, F64, I64]:
        """Return ways, their heights and tools, profiles of the tools and where each begins."""
        routed, ways = self.routed, self.ways
        return ways.pieces, ways.heights, ways.tool, routed.profile, routed.knots

    def lowest_tips(self, at: F64) -> F64:
        """Return the lowest tip that comes by places of the scale, infinite for none [mm]."""
        own = self.scale.find(at)
        pieces = self.wanted.shape.pieces[self.scale.piece[own]]
        return tips_over(
            pieces,
            at - self.scale.base[own],
            own,
            self.first,
            self.near,
            *self.cutters(),
            self.routed.is_on[self.scale.row[own]],
            self.design.top_z_mm,
            NEAR_MM,
        )


def cutter_case(design: Design, tolerances: Tolerances, wanted: Wanted, moves: Moves) -> CutterCase:
    """Return the routed side of a case."""
    routed = routed_of(design, wanted, tolerances.program_mm, tolerances.depth_mm)
    ways = ways_of(moves, design)
    meetings = meetings_of(ways, routed, wanted, moves, design, tolerances.sum_mm)
    scale = scale_of(wanted.shape, routed.is_routed)
    first, near = _ways_near(meetings, ways, scale, len(wanted.shape.pieces))
    return CutterCase(
        design=design,
        tolerances=tolerances,
        wanted=wanted,
        moves=moves,
        routed=routed,
        ways=ways,
        meetings=meetings,
        scale=scale,
        first=first,
        near=near,
    )


def known_ways(ways: Ways, index: I64) -> BOOL:
    """Return which ways are made by a cutter the design names."""
    known: BOOL = ways.tool[index] != UNKNOWN
    return known


def _ways_near(meetings: Meetings, ways: Ways, scale: Scale, pieces: int) -> tuple[I64, I64]:
    """Return the ways near each piece of the scale, by known cutters only."""
    count = np.diff(meetings.first)
    way = np.repeat(meetings.way, count)
    number = np.full(pieces, -1, np.int64)
    number[scale.piece] = np.arange(len(scale.piece))
    own = number[meetings.near]
    keep = known_ways(ways, way) & (own >= 0)
    way, own = way[keep], own[keep]
    order = np.lexsort((way, own))
    return np.searchsorted(own[order], np.arange(len(scale.piece) + 1)), way[order]
