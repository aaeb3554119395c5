"""The state of the control while a program runs, and the rows it leaves behind."""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field
from math import nan

from kerfwright.model.motion import EventCode
from kerfwright.program.read.meanings import Meaning

COLUMNS = 12
"""Numbers of a row: kind, x, y, z, c, centre x, centre y, sweep, feed (mm/s or deg/s), feed kind,
dwell, station."""


@dataclass(slots=True)
class State:
    """Modes and places. Places are as the program has them, X Y Z in mm and C in degrees.

    Parameters
    ----------
    x, y, z, c : float
        Where each axis is; NaN until it is programmed.
    first : dict of str to float
        First programmed place of each axis; NaN until there is one.
    placed : set of str
        Axes programmed since the start or the last tool change.
    is_loose : bool
        Whether an axis is missing in `placed`.
    mm : float
        Millimetres in one unit; NaN until G20 or G21.
    is_absolute, is_inverse : bool
        G90, G93.
    motion : int or None
        Code of the motion mode.
    feed : float
        F as given; 0 for none.
    feed_line : int
        Line that gave it.
    tool : int
        Station in use.
    standing : dict of str to float
        T and S as last given.
    spindle : Meaning or None
        How the spindle was switched on, None while it is off.
    ended : bool
        Whether M2 or M30 was read.
    last_line : int
        Line read last.
    rows : array of float
        `COLUMNS` numbers of each block so far, one after the other.
    blocks : int
        Number of blocks so far.
    events : list of tuple
        Block index, code and value of each event so far.
    """

    x: float = nan
    y: float = nan
    z: float = nan
    c: float = nan
    first: dict[str, float] = field(default_factory=lambda: dict.fromkeys("XYZC", nan))
    placed: set[str] = field(default_factory=set)
    is_loose: bool = True
    mm: float = nan
    is_absolute: bool = True
    is_inverse: bool = False
    motion: int | None = None
    feed: float = 0.0
    feed_line: int = 0
    tool: int = 0
    standing: dict[str, float] = field(default_factory=dict)
    spindle: Meaning | None = None
    ended: bool = False
    last_line: int = 1
    rows: array[float] = field(default_factory=lambda: array("d"))
    blocks: int = 0
    events: list[tuple[int, EventCode, float]] = field(default_factory=list)

    def add_row(self, row: tuple[float, ...]) -> None:
        """Add a block."""
        self.rows.extend(row)
        self.blocks += 1
