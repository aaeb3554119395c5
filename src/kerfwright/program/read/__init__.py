"""The strict reader: RS-274/NGC text to motion in the table frame.

Rules are those of NISTIR 6556 (line grammar, modal groups, order of execution, arcs), narrowed
where the standard leaves open what the machine will do; see `read_program`.
"""

from __future__ import annotations

import hashlib

from kerfwright.model.dialect import Dialect
from kerfwright.model.motion import ToolMotion
from kerfwright.program.read.block import parse_block
from kerfwright.program.read.execute import execute
from kerfwright.program.read.meanings import Meanings
from kerfwright.program.read.refuse import ProgramLineError, refusal
from kerfwright.program.read.state import State
from kerfwright.program.read.text import is_marked, useful_lines
from kerfwright.program.read.undo import motion_of

__all__ = ["ProgramLineError", "read_program"]


def read_program(text: str, dialect: Dialect, *, z_zero_mm: float = 0.0) -> ToolMotion:
    """Read a program's text as the control would, and undo the dialect.

    Read are G0 to G3, G4, G17, G20, G21, G40, G49, G54, G61, G61.1, G64, G80, G90, G91, G93,
    G94, G98, G99, the end (M2, M30) and the words of the dialect. Everything else is an error.

    Narrower than the standard: the first length needs G20 or G21 before it, because the end of a
    program resets all modes but the units (NISTIR 6556, from memory); a feed does not outlive a
    change of units or of feed mode; arcs, G91 and G93 need to know where they begin, and a tool
    change makes that unknown; block delete is refused; nothing but blank lines and the closing
    percent sign follows M2 or M30; words the standard leaves to the builder of the machine stand
    alone on their line. What follows a closing percent sign is no part of the program.

    Parameters
    ----------
    text : str
        The whole program.
    dialect : Dialect
        What the control makes of it.
    z_zero_mm : float, default 0.0
        Height above the bed of the control's Z zero [mm].

    Returns
    -------
    ToolMotion
        Frame 'table', `offsets_in` of the dialect, no cuts, role UNKNOWN, `text_sha` of the text.
        The machine comes from wherever it is, so each axis starts at its first programmed value,
        or at 0 if it has none; a line that moves no axis from a known place is no block.

    Raises
    ------
    ProgramLineError
        For the first line that breaks a rule: a `ProgramSyntaxError` that carries its finding.
    ModelError
        If the dialect's own words are malformed.
    """
    state, meanings = State(), Meanings(dialect)
    for line, code in useful_lines(text, dialect):
        execute(state, parse_block(code, line), meanings)
    if not state.ended and not is_marked(text):
        raise refusal("PRG-107", state.last_line)
    sha = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
    return motion_of(state, dialect, z_zero_mm=z_zero_mm, text_sha=sha)
