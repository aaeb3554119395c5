"""One program and one design, made ready to be measured against one another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.model.design import Design, Tolerances
from kerfwright.model.motion import ToolMotion
from kerfwright.model.table import Table
from kerfwright.verify.assign import Assignment, assign
from kerfwright.verify.columns import F64, I64, SZ0, SZ1
from kerfwright.verify.cutter_case import CutterCase, cutter_case
from kerfwright.verify.cutter_ways import cutter_stations
from kerfwright.verify.moves import Moves, moves_of
from kerfwright.verify.near import Views, views_of
from kerfwright.verify.outer_leads import OuterLeads, split_leads
from kerfwright.verify.slices import Slices, slices_of
from kerfwright.verify.wanted import Wanted, wanted_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What was asked, what was read, and which belongs to which.

    Parameters
    ----------
    motion : ToolMotion
        The program as read.
    design : Design
        What is wanted.
    table : Table
        Where it runs.
    tolerances : Tolerances
        What is accepted.
    wanted : Wanted
        The contours in the table frame.
    moves : Moves
        The program in the table frame.
    slices : Slices
        Its strokes, without leads of wheels outside of their lines.
    outer : OuterLeads
        Those leads.
    views : Views
        Slices and the contours near them.
    assignment : Assignment
        Which contour each slice cuts.
    cutting : CutterCase
        What is to be routed and what cutters do; slices, views and assignment are of all others.
    """

    motion: ToolMotion
    design: Design
    table: Table
    tolerances: Tolerances
    wanted: Wanted
    moves: Moves
    slices: Slices
    outer: OuterLeads
    views: Views
    assignment: Assignment
    cutting: CutterCase

    @property
    def rows(self) -> int:
        """Number of rows of the design."""
        return len(self.design.contours)

    @property
    def face_z(self) -> float:
        """Height below which a tip is in the stock [mm]."""
        return self.design.top_z_mm - self.tolerances.program_mm

    @property
    def tips(self) -> F64:
        """Lowest tip of each slice [mm]."""
        lowest: F64 = np.minimum(self.slices.at[:, SZ0], self.slices.at[:, SZ1])
        return lowest

    @property
    def stroke_row(self) -> I64:
        """Contour each stroke follows, whatever its tool, -1 for none."""
        row = self.assignment.stroke_row.copy()
        cut = self.cutting.meetings.stroke_row
        row[: len(cut)] = np.where(cut >= 0, cut, row[: len(cut)])
        return row

    def main(self) -> I64:
        """Return the main views of slices whose blade the design knows."""
        known = self.slices.blade < len(self.moves.blades) - 1
        main = self.assignment.main
        return main[known[self.views.slice[main]]]

    def station_of(self, index: I64) -> I64:
        """Return the station of some slices."""
        station: I64 = self.moves.station[self.slices.block[index]]
        return station

    def picked(self, index: I64) -> tuple[I64, I64, I64, I64, F64, I64, F64]:
        """Return near, first, last, row, slice, blade of some views, and all blades."""
        own = self.views.slice[index]
        return (
            self.views.near,
            self.views.first[index],
            self.views.last[index],
            self.views.row[index],
            self.slices.at[own],
            self.slices.blade[own],
            self.moves.blades,
        )


def prepare(motion: ToolMotion, design: Design, table: Table, tolerances: Tolerances) -> Case:
    """Return a program and a design made ready."""
    wanted = wanted_of(design, tolerances)
    moves = moves_of(motion, design, table, tolerances)
    cutting = cutter_case(design, tolerances, wanted, moves)
    slices = slices_of(moves, cutter_stations(moves, design))
    slices, outer = split_leads(slices, moves, wanted, design, tolerances)
    routed = cutting.routed.is_routed
    views = views_of(slices, wanted.shape, moves.blades, design.top_z_mm, routed)
    return Case(
        motion=motion,
        design=design,
        table=table,
        tolerances=tolerances,
        wanted=wanted,
        moves=moves,
        slices=slices,
        outer=outer,
        views=views,
        assignment=assign(views, slices, moves, wanted, design, tolerances),
        cutting=cutting,
    )
