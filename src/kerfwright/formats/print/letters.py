"""Letters as strokes, so that a print file needs no font.

Each glyph is a few polylines on a grid of 5 columns (x 0 to 4) and 7 rows (y 0 to 6), written as
pairs of digits. Drawn for this project; small letters look like capitals.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from kerfwright.geometry.paths import PathSet, join_sets, make_path

_GLYPHS: Final = {
    " ": "",
    "A": "00 26 40,12 32",
    "B": "00 06 36 45 44 33 03,33 42 41 30 00",
    "C": "45 36 16 05 01 10 30 41",
    "D": "00 06 26 44 42 20 00",
    "E": "46 06 00 40,03 33",
    "F": "46 06 00,03 33",
    "G": "45 36 16 05 01 10 30 41 43 23",
    "H": "00 06,40 46,03 43",
    "I": "20 26,16 36,10 30",
    "J": "46 41 30 10 01",
    "K": "00 06,46 03 40",
    "L": "06 00 40",
    "M": "00 06 23 46 40",
    "N": "00 06 40 46",
    "O": "10 01 05 16 36 45 41 30 10",
    "P": "00 06 36 45 44 33 03",
    "Q": "10 01 05 16 36 45 41 30 10,22 40",
    "R": "00 06 36 45 44 33 03,23 40",
    "S": "45 36 16 05 04 13 33 42 41 30 10 01",
    "T": "20 26,06 46",
    "U": "06 01 10 30 41 46",
    "V": "06 20 46",
    "W": "06 10 23 30 46",
    "X": "00 46,06 40",
    "Y": "06 23 46,23 20",
    "Z": "06 46 00 40",
    "0": "10 01 05 16 36 45 41 30 10,01 45",
    "1": "15 26 20,10 30",
    "2": "05 16 36 45 44 00 40",
    "3": "06 46 23 33 42 41 30 10 01",
    "4": "30 36 02 42",
    "5": "46 06 03 33 42 41 30 10 01",
    "6": "45 36 16 05 01 10 30 41 42 33 03",
    "7": "06 46 10",
    "8": "13 04 05 16 36 45 44 33 13 02 01 10 30 41 42 33",
    "9": "01 10 30 41 45 36 16 05 04 13 43",
    "-": "13 33",
    "_": "00 40",
    ".": "20 21",
    ",": "21 10",
    ":": "21 22,24 25",
    "/": "00 46",
}
_UNKNOWN: Final = "00 06 46 40 00,00 46"  # a crossed box, so that a loss is seen
_ADVANCE: Final = 5.5
_ROWS: Final = 6.0


def text_strokes(text: str, *, at_mm: tuple[float, float], height_mm: float) -> PathSet:
    """Return the strokes of one row of text.

    Parameters
    ----------
    text : str
        Letters, digits and ``- _ . , : /``; anything else is drawn as a crossed box.
    at_mm : tuple of float
        Left end of the base line [mm].
    height_mm : float
        Height of the letters [mm].
    """
    unit = height_mm / _ROWS
    strokes = []
    for i, letter in enumerate(text.upper()):
        left = np.array((at_mm[0] + i * _ADVANCE * unit, at_mm[1]))
        for line in filter(None, _GLYPHS.get(letter, _UNKNOWN).split(",")):
            grid = np.array([[float(pair[0]), float(pair[1])] for pair in line.split()])
            strokes.append(make_path(left + grid * unit, closed=False))
    return join_sets(strokes)


def text_width_mm(text: str, *, height_mm: float) -> float:
    """Return the width one row of text takes, with the gap after its last letter [mm]."""
    return len(text) * _ADVANCE * height_mm / _ROWS
