"""One program and one design, made ready to be measured against one another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.model.design import Design, Tolerances
from kerfwright.model.motion import ToolMotion
from kerfwright.model.table import Table
from kerfwright.verify.assign import Assignment, assign
from kerfwright.verify.columns import F64, I64, SZ0, SZ1
from kerfwright.verify.moves import Moves, moves_of
from kerfwright.verify.near import Views, views_of
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
        Its strokes.
    views : Views
        Slices and the contours near them.
    assignment : Assignment
        Which contour each slice cuts.
    """

    motion: ToolMotion
    design: Design
    table: Table
    tolerances: Tolerances
    wanted: Wanted
    moves: Moves
    slices: Slices
    views: Views
    assignment: Assignment

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

    def main(self) -> I64:
        """Return the main views of slices whose blade the design knows."""
        known = self.slices.blade < len(self.moves.blades) - 1
        main = self.assignment.main
        return main[known[self.views.slice[main]]]

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
    slices = slices_of(moves)
    views = views_of(slices, wanted.shape, moves.blades, design.top_z_mm)
    return Case(
        motion=motion,
        design=design,
        table=table,
        tolerances=tolerances,
        wanted=wanted,
        moves=moves,
        slices=slices,
        views=views,
        assignment=assign(views, slices, moves, wanted, design, tolerances),
    )
