"""The head of a program: what it is, for people, and every mode, for the control."""

from __future__ import annotations

import textwrap
import unicodedata

from kerfwright.model.dialect import Dialect
from kerfwright.units import DEG_PER_RAD

MODES = ("G21", "G17", "G90", "G94", "G40", "G49", "G80", "G54")


def header(dialect: Dialect, *, title: str, z_zero_mm: float, room: int) -> list[str]:
    """Return comments and one mode a line.

    Parameters
    ----------
    dialect : Dialect
        What it speaks of.
    title : str
        First comment; empty for none.
    z_zero_mm : float
        Height of Z 0 above the bed [mm].
    room : int
        Characters a line may have.
    """
    notes = [f"job: {title}"] if title else []
    notes += [
        f"dialect {dialect.id}",
        f"axes: {axes_in_words(dialect)}",
        f"Z 0 is {z_zero_mm:.4f} mm above the bed",
        f"C {zero_deg(dialect):.4f} points along +x of the table, {c_sense(dialect)}",
        f"head offsets: {'in these numbers' if dialect.offsets_in == 'program' else 'control'}",
        f"units mm and deg, plane XY, absolute, feed per minute, C alone {c_feed(dialect)}",
    ]
    lines = [f"({part})" for note in notes for part in textwrap.wrap(plain(note), room - 2)]
    path_mode = dialect.words.get("path_mode")
    return [*lines, *MODES, *([path_mode] if path_mode else [])]


def plain(text: str) -> str:
    """Return text a comment may hold: printable ASCII without round brackets."""
    bare = unicodedata.normalize("NFKD", text)
    kept = (c for c in bare if not unicodedata.combining(c))
    return "".join(_PLAIN.get(c, c if " " <= c <= "~" else "?") for c in kept)


_PLAIN = {"(": "[", ")": "]", "\n": " ", "\t": " "}


def axes_in_words(dialect: Dialect) -> str:
    """Return which table axis each program axis is, as ``X +x, Y +y, Z +z``."""
    first, second = ("y", "x") if dialect.swap_xy else ("x", "y")
    pairs = ((dialect.sign_x, first), (dialect.sign_y, second), (dialect.sign_z, "z"))
    named = zip("XYZ", pairs, strict=True)
    return ", ".join(f"{axis} {'+' if sign > 0 else '-'}{name}" for axis, (sign, name) in named)


def zero_deg(dialect: Dialect) -> float:
    """Return the program's C of a blade along +x of the table [deg]."""
    return dialect.c_zero_rad * DEG_PER_RAD + 0.0


def c_sense(dialect: Dialect) -> str:
    """Return how C grows seen from above."""
    return "counter-clockwise" if dialect.sign_c > 0 else "clockwise"


def c_feed(dialect: Dialect) -> str:
    """Return what F of a block that turns C alone counts."""
    return "inverse time" if dialect.c_feed == "inverse_time" else "deg per minute"
