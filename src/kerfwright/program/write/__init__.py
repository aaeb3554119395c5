"""The writer: motion in the table frame to RS-274/NGC text."""

from __future__ import annotations

from kerfwright.model.dialect import Dialect
from kerfwright.model.motion import ToolMotion
from kerfwright.model.table import Table
from kerfwright.program.write.arcs import settle_arcs
from kerfwright.program.write.axes import Axes
from kerfwright.program.write.check import check_writable
from kerfwright.program.write.lines import assemble
from kerfwright.program.write.moves import moves_of
from kerfwright.program.write.refuse import ProgramRefusedError
from kerfwright.program.write.rows import rows_of

__all__ = ["ProgramRefusedError", "check_writable", "write_program"]


def write_program(
    motion: ToolMotion,
    table: Table,
    dialect: Dialect,
    *,
    title: str = "",
    z_zero_mm: float = 0.0,
    any_control: bool = False,
) -> str:
    """Return the text that makes a control move as planned.

    The text says everything once and depends on nothing left from before: header comments, one
    mode a line, the way to the start (Z first), then one block a line, each with its G word and
    the axes that change. Arcs obey the arc rule of NISTIR 6556 (radii to start and end differ by
    at most 0.002 mm) in the numbers as written; one that cannot is split or written as lines
    within `Dialect.arc_chord_mm`. Blocks that round to nothing are left out. After a tool change
    the next block names every axis; if it is no rapid, a rapid to where it begins goes before it.

    Parameters
    ----------
    motion : ToolMotion
        Frame 'table'. Roles and cuts leave no trace in the text.
    table : Table
        Its heads and stations say what offsets are.
    dialect : Dialect
        How this control wants it.
    title : str, default ''
        For people, in the first comment.
    z_zero_mm : float, default 0.0
        Height above the bed of the control's Z zero [mm].
    any_control : bool, default False
        Write for a dialect other than the table's own.

    Returns
    -------
    str
        Lines end with a line feed.

    Raises
    ------
    ProgramRefusedError
        If the motion cannot be written so that it is read back as what it is; it carries the
        finding, as `check_writable` gives it, or that a limit of the control was passed.
    """
    findings = check_writable(motion, table, dialect, any_control=any_control)
    if findings:
        raise ProgramRefusedError(findings[0])
    axes = Axes.of(table, dialect, z_zero_mm=z_zero_mm, is_offset=motion.offsets_in == "program")
    moves, centres = settle_arcs(moves_of(motion), axes, dialect)
    rows = rows_of(moves, centres, axes, dialect)
    return assemble(rows, motion, axes, dialect, title=title, z_zero_mm=z_zero_mm)
