"""Programs of creases and pen lines, made by the product's own toolpath and read back as text."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright import catalog, program, sequence, toolpath, verify
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.plane_map import PlaneMap, rigid_map
from kerfwright.model.cut import CutChoices, CutOrder, CutSetup
from kerfwright.model.design import Design, Tolerances
from kerfwright.model.motion import ToolMotion
from kerfwright.model.operation import Operation
from kerfwright.model.table import Table
from kerfwright.model.tooling import Pen, Wheel
from kerfwright.model.verification import Verification

TOP, TRAVEL = 3.0, 30.0
TABLE = catalog.load_tables()["quay-3217"]
_RULES = {o.id: o for o in catalog.load_rule_tables()["corrugated-3"].operations}
CREASE, DRAW = _RULES["crease"], _RULES["label"]
_TOOLS, _CARDS = catalog.load_tools(), catalog.load_cards()
WHEEL, PEN = _TOOLS[CREASE.tool_id], _TOOLS[DRAW.tool_id]


def setup_of(operation: Operation, **changes: float) -> CutSetup:
    """Return the numbers of an operation as its setting card has them."""
    card = _CARDS[operation.card_id]
    rolls = operation.process is CREASE.process
    names = ("lift_angle_rad", "lead_in_mm", "lead_out_mm") if rolls else ()
    fields = {
        "bottom_z_mm": 0.0, "top_z_mm": TOP, "feed_mm_s": card.value("feed_mm_s"),
        "plunge_mm_s": card.value("plunge_mm_s"), "turn_rad_s": float(TABLE.axes.speed[3]),
        "lift_angle_rad": np.pi, "lift_z_mm": TOP + card.value("lift_mm"), "tolerance_mm": 0.03,
    }  # fmt: skip
    return CutSetup(**fields | {name: card.value(name) for name in names} | changes)


class Lines:
    """Some lines, one operation on them, and the program for it."""

    def __init__(
        self,
        paths: PathSet,
        operation: Operation = CREASE,
        *,
        tool: Wheel | Pen | None = None,
        table: Table = TABLE,
        **setup: float,
    ) -> None:
        self.paths, self.operation, self.table = paths, operation, table
        self.tool = tool or (WHEEL if operation.tool_id == WHEEL.id else PEN)
        self.setup = setup_of(operation, **setup)
        self.names = tuple(f"c{k}" for k in range(len(paths)))

    @property
    def _given(self) -> dict:
        sides = np.zeros(len(self.paths), np.int64)
        return {"contours": self.names, "part_side": sides, "setup": self.setup}

    def choices(self) -> CutChoices:
        return toolpath.choices(self.operation, self.tool, self.paths, **self._given)

    def order(self, choices: CutChoices, pick: float = 0.0) -> CutOrder:
        """Return an order that takes one way of each cut, by a share of all its ways."""
        cut = choices.contour * self.operation.passes + choices.pass_no
        ways = [np.flatnonzero(cut == c) for c in dict.fromkeys(cut.tolist())]
        rows = np.array([w[int(pick * len(w))] for w in ways], np.int64)
        n = len(rows)
        return CutOrder(
            contour=tuple(self.names[k] for k in choices.contour[rows]),
            operation=(self.operation.id,) * n, pass_no=choices.pass_no[rows],
            entry_s=choices.entry_s[rows], reversed=choices.reversed[rows], group=np.zeros(n),
        )  # fmt: skip

    def motion(self, pick: float = 0.0) -> ToolMotion:
        """Return the motion of the sheet, as it comes back from the text of the program."""
        order = self.order(self.choices(), pick)
        station = self.table.station_for(self.operation.head_kind, self.tool.id).number
        linked = sequence.link(
            [toolpath.plan(self.operation, self.tool, self.paths, order, **self._given)], order,
            self.table, stations={self.operation.id: station},
            setups={self.operation.id: self.setup}, travel_z_mm=TRAVEL, zones=(1, 2),
        )  # fmt: skip
        dialect = program.load_dialect(self.table.control)
        return program.read_program(program.write_program(linked, self.table, dialect), dialect)

    def design(self, plane_map: PlaneMap | None = None, **changes) -> Design:
        rows = np.zeros(len(self.paths), np.int64)
        fields = {
            "contours": self.names, "nominal": self.paths, "operations": (self.operation,),
            "operation": rows, "tools": (self.tool,), "tool": rows,
            "maps": (plane_map or rigid_map(0.0, 0.0, 0.0),), "map": rows, "bottom_z_mm": 0.0,
            "top_z_mm": TOP, "travel_z_mm": TRAVEL,
            "leads_mm": np.array([[self.setup.lead_in_mm, self.setup.lead_out_mm]]),
        }  # fmt: skip
        return Design(**fields | changes)

    def check(
        self,
        motion: ToolMotion | None = None,
        design: Design | None = None,
        tolerances: Tolerances | None = None,
    ) -> Verification:
        return verify.check_program(
            motion or self.motion(), design or self.design(), self.table, tolerances or Tolerances()
        )


def codes(result: Verification) -> list[str]:
    return sorted({f.code for f in result.findings})


def deepened(motion: ToolMotion, by: float) -> ToolMotion:
    """Return the program with the tool deeper wherever it is at full depth."""
    end = motion.end.copy()
    end[end[:, 2] <= end[:, 2].min() + 1e-6, 2] -= by
    return replace(motion, end=end)


def aside(motion: ToolMotion, dx: float, dy: float) -> ToolMotion:
    """Return the program shifted, but for where the head parks."""
    shift = np.array((dx, dy))
    end = motion.end.copy()
    end[np.abs(end[:, :2]).max(axis=1) > 120.0, :2] += shift
    return replace(motion, end=end, centre=motion.centre + shift)
