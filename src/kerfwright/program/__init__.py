"""Machine programs: written from planned motion, read back by a reader that shares no code.

RS-274/NGC text (NISTIR 6556), with a `Dialect` as the one owner of axis swap and signs, C sense
and nominal zero, head offsets, arcs, the feed of C-only blocks and the words for events.
`read` and `write` never import one another: what one gets wrong, the other must see.
"""

from kerfwright.program.air import air_cut
from kerfwright.program.dialects import dialect_ids, load_dialect
from kerfwright.program.read import ProgramLineError, read_program
from kerfwright.program.write import ProgramRefusedError, check_writable, write_program

__all__ = [
    "ProgramLineError",
    "ProgramRefusedError",
    "air_cut",
    "check_writable",
    "dialect_ids",
    "load_dialect",
    "read_program",
    "write_program",
]
