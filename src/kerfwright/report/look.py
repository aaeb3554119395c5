"""Colours, sizes and the four verdict states as they stand on paper.

Ink carries everything; colour only repeats what a word, a shape and a hatch already say, so a
grey printer loses nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Colour = tuple[float, float, float]


def colour_of(text: str) -> Colour:
    """Return red, green and blue from 0 to 1 of ``#rrggbb``."""
    red, green, blue = (int(text[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return red, green, blue


PAPER: Final = colour_of("#ffffff")
INK: Final = colour_of("#20262b")
SOFT: Final = colour_of("#565d63")
RULE: Final = colour_of("#c4c1b8")
PANEL: Final = colour_of("#f2f1ec")
BED: Final = colour_of("#e9e7e0")
BAD: Final = colour_of("#c8102e")

PAGE_MM: Final = (210.0, 297.0)
"""A4, ISO 216."""
LEFT_MM: Final = 16.0
RIGHT_MM: Final = 194.0
BOTTOM_MM: Final = 17.0
TOP_MM: Final = 283.0
WIDTH_MM: Final = RIGHT_MM - LEFT_MM

TEXT_PT: Final = 8.5
SMALL_PT: Final = 7.0
HEAD_PT: Final = 11.0
TITLE_PT: Final = 19.0

Shape = Literal["disc", "triangle", "square", "diamond"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StateLook:
    """How one verdict state is shown.

    Parameters
    ----------
    colour, fill : Colour
        Of its mark and lines, and under a part.
    letter : str
        Stands inside its mark.
    shape : str
        Outline of the mark.
    hatch_deg : tuple of float
        Directions of the lines over a part; none for a part that is cut.
    hatch_mm : float
        Distance between those lines on paper [mm].
    """

    colour: Colour
    fill: Colour
    letter: str
    shape: Shape
    hatch_deg: tuple[float, ...] = ()
    hatch_mm: float = 2.0


STATES: Final[dict[str, StateLook]] = {
    "will_cut": StateLook(
        colour=colour_of("#1c6b3c"), fill=colour_of("#eef5f0"), letter="W", shape="disc"
    ),
    "check": StateLook(
        colour=colour_of("#8a5a00"),
        fill=colour_of("#fbf3e2"),
        letter="C",
        shape="triangle",
        hatch_deg=(45.0,),
        hatch_mm=2.4,
    ),
    "will_not_cut": StateLook(
        colour=BAD,
        fill=colour_of("#fbe6e9"),
        letter="X",
        shape="square",
        hatch_deg=(45.0, 135.0),
        hatch_mm=1.9,
    ),
    "needs_you": StateLook(
        colour=colour_of("#0b4f9e"),
        fill=colour_of("#e5eef8"),
        letter="?",
        shape="diamond",
        hatch_deg=(0.0,),
        hatch_mm=1.7,
    ),
}
"""By state of a verdict; the order is that of legends, best first."""

MAP_RAMP: Final[tuple[Colour, ...]] = tuple(
    colour_of(c) for c in ("#f4f3ee", "#d5e0e3", "#aec5cd", "#83a5b2", "#587f90", "#31586b")
)
"""Classes of the error map, light to dark: their order survives a grey printer."""
