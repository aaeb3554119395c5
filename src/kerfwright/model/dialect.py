"""What one family of controls expects of a program's text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_finite, require_word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dialect(Record):
    """How motion is written; the one owner of axis swap, signs, zeros and words.

    Parameters
    ----------
    id : str
        Names its traits, never a control.
    swap_xy : bool
        Whether the program's X is the table's y.
    sign_x, sign_y, sign_z, sign_c : {1, -1}
        Sense of each program axis against the table's, after the swap.
    c_zero_rad : float
        Program C when the blade points along +x of the table [rad].
    offsets_in : {'program', 'control'}
        Who applies head offsets.
    arcs : bool
        Whether G2 and G3 may be used.
    arc_chord_mm : float
        Greatest gap between an arc and the lines written for it, without arcs [mm].
    c_feed : {'degrees_per_minute', 'inverse_time'}
        How a block that moves C alone says its feed.
    decimals_mm, decimals_deg : int
        Decimals written.
    line_numbers : bool
        Whether lines begin with N.
    max_line_chars, max_lines : int
        Limits of the control.
    words : mapping of str to str
        Text for events: ``tool``, ``tool_off``, ``oscillation_on``, ``oscillation_off``,
        ``spindle_on``, ``spindle_off``, ``vacuum_on``, ``vacuum_off``, ``pause``, ``end``; the
        value stands for ``{value}``.
    """

    id: str
    swap_xy: bool = False
    sign_x: Literal[1, -1] = 1
    sign_y: Literal[1, -1] = 1
    sign_z: Literal[1, -1] = 1
    sign_c: Literal[1, -1] = 1
    c_zero_rad: float = 0.0
    offsets_in: Literal["program", "control"] = "control"
    arcs: bool = True
    arc_chord_mm: float = 0.001
    c_feed: Literal["degrees_per_minute", "inverse_time"] = "degrees_per_minute"
    decimals_mm: int = 4
    decimals_deg: int = 4
    line_numbers: bool = False
    max_line_chars: int = 80
    max_lines: int = 1_000_000
    words: Mapping[str, str]

    def __post_init__(self) -> None:
        require_finite(self)
        for name in ("sign_x", "sign_y", "sign_z", "sign_c"):
            require_word(f"dialect {self.id}: {name}", getattr(self, name), (1, -1))
        require_word(f"dialect {self.id}: offsets_in", self.offsets_in, ("program", "control"))
        feeds = ("degrees_per_minute", "inverse_time")
        require_word(f"dialect {self.id}: c_feed", self.c_feed, feeds)
        chord = self.arc_chord_mm
        require(chord > 0.0, f"dialect {self.id}: arc_chord_mm is {chord}, must be above 0")
        for name in ("decimals_mm", "decimals_deg", "max_line_chars", "max_lines"):
            value = getattr(self, name)
            require(value >= 1, f"dialect {self.id}: {name} is {value}, least is 1")
